"""Lengths of belt from the file to the verdict: a flap 620 mm behind the gate, boxes every 180 mm, a stop of the belt on the way.

The recording is made here by stepping a belt and a shift register millisecond by millisecond, in plain Python; every reject is to
come when its own box has moved 620 mm (way = speed x time).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import stationtest
from stationtest import plugins
from stationtest.engine import observing
from stationtest.files import suite as suites

STATION = """
station: belt
scan: {{worst: 4 ms}}
sensors:
  eye: {{reads: CIELAB, columns: {{L: L, a: a, b: b}}, illuminant: D65, observer: 2 deg}}
targets:
  good: {{colour: {{Lab: [50, 0, 0], illuminant: D65, observer: 2 deg}}}}
  bad: {{title: Bad}}
channels:
  ok: {{reference: good, distance: CIE 1976 L*a*b*, tolerance: 1, off_delay: 10 ms}}
inputs: [gate, encoder]
outputs:
  seen good: {{all_of: [ok], held_until: gate}}
  flap: {{none_of: [seen good], decided_at: gate, acts_after: 620 mm, pulse: 60 mm}}
recordings:
  "recordings/*.csv":
    {{time: {{column: t, in: ms}}, every: 1 ms, gap: 5 ms, target: target, specimen: no,
      inputs: {{gate: gate, encoder: enc}}{flap}}}
travel: {travel}
"""
CASES = """
readings: ../recordings/r.csv
evidence: {trials: 3}
cases:
  BAD:
    title: A bad one is thrown out at the flap
    present: bad
    expect: {outputs: {flap: {is: on, from: gate, after: 610 mm, within: 30 mm, lasts: at least 40 mm}}}
  GOOD:
    title: A good one is not thrown out
    present: good
    expect: {outputs: {flap: {is: off, from: gate, until: next decision}}}
"""


def recording(kinds: list[str], stops: dict[int, int], extra_mm: float = 0.0) -> str:
    """Rows at 1 kHz: the belt at 0.5 mm a row, standing for `stops[position]` ms; a part of 60 mm every 180 mm; the gate 70 mm
    after its start; the flap `620 + extra_mm` after the gate, for 60 mm."""
    ends = 180 * len(kinds) + 900
    rows, way, t, waits = [], 0.0, 0, dict(stops)
    gates = {round((180 * k + 170) * 2): kind for k, kind in enumerate(kinds)}
    rejects = [position / 2 + 620 + extra_mm for position, kind in gates.items() if kind == "bad"]
    while way < ends:
        k, inside = int(way // 180), way % 180
        target = kinds[k] if k < len(kinds) and 100 <= inside < 160 else ""
        a = {"good": 0, "bad": 20, "": 40}[target]
        gate = any(position <= way * 2 < position + 20 for position in gates)
        flap = any(at <= way < at + 60 for at in rejects)
        count = int(way / 0.5)
        rows.append(f"{t},50,{a},0,{target},{k if target else ''},{gate:d},{int(way / 4) % 2},{count % 1000},{flap:d}")
        t += 1
        if waits.get(int(way), 0):
            waits[int(way)] -= 1
        else:
            way += 0.5
    return "\n".join(["t,L,a,b,target,no,gate,enc,pos,flap", *rows]) + "\n"


COUNT = "{column: pos, per_count: 0.5 mm, wraps_at: 1000}"
KINDS = ["good", "bad", "bad", "good", "bad", "good", "good", "bad", "good", "good"]
STOPS = {500: 3000, 901: 700, 1400: 12000}


def folder_of(path: Path, text: str, way: str = COUNT, *, recorded: bool = False) -> Path:
    (path / "recordings").mkdir(parents=True)
    (path / "cases").mkdir()
    flap = ", outputs: {flap: flap}" if recorded else ""
    (path / "station.yaml").write_text(STATION.format(travel=way, flap=flap))
    (path / "cases" / "a.case.yaml").write_text(CASES)
    (path / "recordings" / "r.csv").write_text(text)
    return path


def counts(folder: Path) -> dict[str, Any]:
    result = stationtest.run(stationtest.load(str(folder)))["result"]
    return {case["id"]: (case["conforming"], case["nonconforming"], case["not_judged"]) for case in result["cases"]}


@pytest.mark.parametrize("recorded", [False, True])
@pytest.mark.parametrize("way", [COUNT, "{input: encoder, per_pulse: 8 mm}"])
def test_three_boxes_under_way_and_a_stop(tmp_path: Path, way: str, recorded: bool) -> None:
    """Computed and recorded alike. 8 mm a pulse leave 10 mm of doubt, as wide as half the window: still told for a recorded flap;
    the computed one has the doubt twice, in the output and in the window."""
    found = counts(folder_of(tmp_path, recording(KINDS, STOPS), way, recorded=recorded))
    if way == COUNT:
        assert found["BAD"] == (4, 0, 0)
        assert found["GOOD"] == (5, 0, 1)  # nothing was decided after the last one, so nobody knows where its time ends
    else:
        assert found["BAD"][1] == 0 and (found["BAD"][0] or not recorded)


def test_a_flap_that_counts_milliseconds_is_caught(tmp_path: Path) -> None:
    """Recorded rejects 40 mm late: not one of them belongs to its box."""
    found = counts(folder_of(tmp_path, recording(KINDS, STOPS, extra_mm=40), recorded=True))
    assert found["BAD"] == (0, 4, 0)


def test_a_flap_that_throws_out_the_box_behind_is_caught(tmp_path: Path) -> None:
    """Recorded rejects 180 mm late hit the next box: bad ones stay, good ones behind a bad one are thrown out."""
    found = counts(folder_of(tmp_path, recording(KINDS, STOPS, extra_mm=180), recorded=True))
    behind = [KINDS[k + 1] for k in range(len(KINDS) - 1) if KINDS[k] == "bad"]
    assert behind == ["bad", "good", "good", "good"]  # the second bad one is thrown out, by luck
    assert found["BAD"] == (1, 3, 0) and found["GOOD"][1] == 3


def test_a_stated_speed_knows_no_stop(tmp_path: Path) -> None:
    """Without stops the speed is right; with them every reject that had one on its way seems late."""
    steady = "{speed: 500 mm/s}"
    assert counts(folder_of(tmp_path / "a", recording(KINDS, {}), steady, recorded=True))["BAD"] == (4, 0, 0)
    assert counts(folder_of(tmp_path / "b", recording(KINDS, STOPS), steady, recorded=True))["BAD"][1] >= 2


def test_the_same_observations_however_it_is_cut(tmp_path: Path) -> None:
    """One file, and a folder of three parts (the rows of the grid cells stay the same)."""
    text = recording(KINDS * 8, {500: 3000, 5000: 40_000, 9000: 30_000})
    whole = folder_of(tmp_path / "whole", text)
    lines = text.splitlines()
    parts = folder_of(tmp_path / "parts", text)
    (parts / "recordings" / "r.csv").unlink()
    (parts / "recordings" / "r.csv").mkdir()
    for k, (low, high) in enumerate([(1, 30_000), (30_000, 70_001), (70_001, len(lines))]):
        (parts / "recordings" / "r.csv" / f"{k}.csv").write_text("\n".join([lines[0], *lines[low:high]]) + "\n")
    belts = []
    for folder in (whole, parts):
        loaded = plugins.load()
        observed = observing.observe(suites.load(str(folder), expectations=loaded.expectations), "recordings/r.csv", loaded)
        assert observed.belt is not None
        flap = observed.signals["output", "flap"]
        belts.append((observed.belt.at_ns.tolist(), observed.belt.at_nm.tolist(), flap.must.tolist()))
    assert belts[0] == belts[1]
    assert len(lines) > 70_000 and len(belts[0][0]) < 60  # a handful of points for 38 s of belt and its stops


@pytest.mark.parametrize("way", ["{column: pos, per_count: 0.5 mm, wraps_at: 1000, %s}", "{input: encoder, per_pulse: 8 mm, %s}"])
def test_a12_presentations_during_which_the_belt_stood(tmp_path: Path, way: str) -> None:
    """Parts lie from 100 to 160 mm of every 180 mm: a stop at 500 mm lies at 140 of the third, at 1400 mm at 140 of the eighth,
    and one at 901 mm at 1, in a gap."""
    folder = folder_of(tmp_path / "a", recording(KINDS, STOPS), way % "standstill: 200 ms")
    where = CASES.replace("    present: bad\n", "    present: [good, bad]\n    where: {belt: stopped}\n").split("  GOOD:")[0]
    (folder / "cases" / "a.case.yaml").write_text(where)
    loaded = plugins.load()
    observed = observing.observe(suites.load(str(folder), expectations=loaded.expectations), "recordings/r.csv", loaded)
    names, codes = observed.presentations.conditions["belt"]
    assert [names[code] for code in codes] == ["stopped" if k in (2, 7) else "running" for k in range(len(KINDS))]


def test_pulses_in_the_log_of_a_controller(tmp_path: Path) -> None:
    """The same line with gate, flap and encoder in a log of changes, on a clock that is 37 ms ahead: the same verdicts."""
    text = recording(KINDS, STOPS)
    folder = folder_of(tmp_path / "a", text, "{input: encoder, per_pulse: 8 mm}", recorded=True)
    rows = [line.split(",") for line in text.splitlines()[1:]]
    sensor = ["t,L,a,b,target,no", *(",".join(row[:6]) for row in rows)]
    log, last = ["ts,tag,val"], {"gate": "", "enc": "", "flap": ""}
    for row in rows:
        for tag, value in (("gate", row[6]), ("enc", row[7]), ("flap", row[9])):
            if value != last[tag]:
                log.append(f"{int(row[0]) + 37},{tag},{value}")
                last[tag] = value
    (folder / "recordings" / "sensor.csv").write_text("\n".join(sensor) + "\n")
    (folder / "recordings" / "plc.csv").write_text("\n".join(log) + "\n")
    (folder / "recordings" / "r.recording.yaml").write_text(
        "tables:\n"
        "  colour: {file: sensor.csv, kind: readings, time: t, unit: ms, gap: longer than 5 ms, target: target, specimen: no}\n"
        "  logic: {file: plc.csv, layout: long, unit: ms, time: ts, name: tag, value: val, rows_are: changes,\n"
        "          signals: {gate: gate, encoder: enc, flap: flap}}\n"
        "clocks:\n"
        "  logic: {to: colour, offset: -37 ms, within: 0 ms}\n"
    )
    tidy = counts(folder)
    (folder / "cases" / "a.case.yaml").write_text(CASES.replace("r.csv", "r.recording.yaml"))
    assert counts(folder) == tidy
    assert tidy["BAD"][0] == 4
