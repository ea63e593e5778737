# ruff: noqa: E501 (messages stand whole on one line)
"""The two examples of the design, as printed there, with a station folder around them."""

from __future__ import annotations

from pathlib import Path

from station_folder import make, problems, suite

STATION = """\
# station.yaml
station: tea-sampler-2
title: Tea sampler line 2, sachet and box check
drawing: rev C                      # free text that identifies the build
scan: {worst: 11 ms, input_filter: 3 ms}     # an output is seen for sure if it lasts both
between: bare belt                  # what the spot sees when nothing is presented

sensors:
  sachet:
    serial: demo-A17
    reads: linear RGB               # linear RGB | XYZ | CIELAB | bands
    columns: {red: r, green: g, blue: b}
    full_scale: 4095
    dark: [12, 11, 14]
    white: [3650, 3720, 3590]       # counts on the white reference
    to_xyz: [[0.41, 0.36, 0.18], [0.21, 0.72, 0.07], [0.02, 0.12, 0.95]]   # if calibrated; else only sensor chromaticity
    illuminant: D65
    observer: 2 deg
    level: {at_least: 30 %, at_most: 95 %}
    when_dark: {below: 2 %, channels: off}

targets:
  mint: {colour: {Lab: [63, -28, 14], illuminant: D65, observer: 2 deg}}
  chamomile: {colour: {Lab: [82, 2, 46], illuminant: D65, observer: 2 deg}}
  bare belt: {background: yes}

channels:
  1: {sensor: sachet, reference: mint, distance: CIE 1976 u'v', tolerance: 0.012, hysteresis: 10 %,
      switches: on match, on_delay: 0 ms, off_delay: 40 ms}
  2: {sensor: sachet, reference: {learned: recordings/learning.csv, target: chamomile}, distance: CIEDE2000, tolerance: 4}

inputs: [box in, box out]

recordings:                         # how this plant's logs are written, by file pattern, first match wins
  "recordings/*.csv":
    {separator: semicolon, decimal: comma, time: {column: Zeit, in: ms}, every: 1 ms, gap: 5 ms, target: Teil, specimen: Nr, set: Karton,
     inputs: {box in: I01, box out: I02}, channels: {1: Q01, 2: Q02}, outputs: {flap: Q10}, on: ["1"], off: ["0"]}

sets:
  full box: {members: {mint: 1, chamomile: 1}, from: box in, to: box out, output: box complete}

outputs:
  box complete: {all_of: [1, 2], held_until: box out}            # a latch for each member, cleared by the edge
  flap: {none_of: [box complete], decided_at: box out, pulse: 120 ms}
"""

CASES = """\
# cases/recognition.case.yaml
readings: [../recordings/day1.parquet]           # or: scene: ../scenes/line-speed.scene.yaml
evidence: {reliability: 95 %, confidence: 95 %, of: presentations}   # for cases that don't say their own; there is no built-in default

cases:
  REC-01:
    title: Each sachet fires its own channel and no other
    requirement: [URS-12, URS-13]
    present: [mint, chamomile]                   # evidence is asked of each by itself
    expect: {own_channel_only: yes}
  BELT-01:
    title: Nothing switches on the bare belt
    present: {between: bare belt}
    expect: {no_channel: yes}
    evidence: {duration: 10 min, events: none}
  SET-02:
    title: A box that lacks one sachet is thrown out
    requirement: URS-15
    present: {set: full box, lacking: each}
    expect:
      outputs: {flap: {is: on, from: box out, within: 200 ms, lasts: at least 100 ms}}
"""

PARQUET = """\
  "recordings/*.parquet": {time: {column: t, in: ms}, every: 1 ms, gap: 5 ms, target: part}
"""


def _folder(tmp_path: Path, station: str) -> Path:
    folder = make(tmp_path, station=station, cases=None)
    (folder / "cases" / "recognition.case.yaml").write_text(CASES, encoding="utf-8")
    for name in ("learning.csv", "day1.parquet"):
        (folder / "recordings" / name).write_bytes(b"")
    return folder


def test_the_language_of_both_is_accepted_as_printed(tmp_path: Path) -> None:
    """The one thing that the printed station lacks is a form for the Parquet file that the printed cases name."""
    assert problems(_folder(tmp_path, STATION)) == [
        "cases/recognition.case.yaml:2:12: readings: no entry under `recordings:` of the station says how this file is written; "
        "found recordings/day1.parquet; allowed recordings/*.csv [no-form]",
    ]


def test_with_a_form_for_the_parquet_file_they_load(tmp_path: Path) -> None:
    loaded = suite(_folder(tmp_path, STATION.replace("\nsets:", f"{PARQUET}\nsets:")))
    assert [case.id for case in loaded.cases] == ["REC-01", "BELT-01", "SET-02"]
    assert [case.unit for case in loaded.cases] == ["presentation", "presentation", "set"]
    assert [label for label, _ in loaded.cases[2].strata] == ["full box, lacking mint", "full box, lacking chamomile"]
    assert loaded.station.scan.seen_ns == 14_000_000
    assert loaded.station.channel("1").distance == "CIE 1976 u'v'"
    assert [file.path for file in loaded.files] == [
        "station.yaml",
        "cases/recognition.case.yaml",
        "recordings/learning.csv",
        "recordings/day1.parquet",
    ]
