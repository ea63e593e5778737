"""A small station folder for the tests of the files, and how to change one thing in it."""

from __future__ import annotations

from pathlib import Path

from stationtest import plugins
from stationtest.errors import StationtestError
from stationtest.files.suite import load
from stationtest.model.case import Suite

STATION = """\
station: tea-sampler-2
between: bare belt
sensors:
  sachet:
    reads: linear RGB
    columns: {red: r, green: g, blue: b}
    full_scale: 4095
    dark: [12, 11, 14]
    white: [3650, 3720, 3590]
    to_xyz: [[0.41, 0.36, 0.18], [0.21, 0.72, 0.07], [0.02, 0.12, 0.95]]
    illuminant: D65
    observer: 2 deg
targets:
  mint: {colour: {Lab: [63, -28, 14], illuminant: D65, observer: 2 deg}}
  chamomile: {title: Chamomile}
  bare belt: {background: yes}
channels:
  1: {reference: mint, distance: CIEDE2000, tolerance: 4}
  2: {reference: {learned: recordings/day1.csv, target: chamomile}, distance: CIEDE2000, tolerance: 4}
inputs: [box in, box out]
outputs:
  complete: {all_of: [1, 2], held_until: box out}
  flap: {none_of: [complete], decided_at: box out, pulse: 120 ms}
sets:
  full box: {members: {mint: 1, chamomile: 1}, from: box in, to: box out, output: complete}
conditions:
  height: [low, high]
recordings:
  "recordings/*.csv": {time: {column: t, in: ms}, every: 1 ms, gap: 3 ms, target: part, inputs: {box in: I1, box out: I2}}
"""

CASES = """\
readings: [../recordings/day1.csv]
evidence: {reliability: 95 %, confidence: 95 %, of: presentations}
cases:
  REC-01:
    title: Each sachet fires its own channel
    requirement: [URS-12, URS-13]
    present: [mint, chamomile]
    expect: {own_channel_only: yes}
"""


def make(folder: Path, station: str = STATION, cases: str | None = CASES, **files: str) -> Path:
    """A station folder; `files` are further files, with `__` for `/` and the last `_` of the name for the dot."""
    (folder / "cases").mkdir(exist_ok=True)
    (folder / "recordings").mkdir(exist_ok=True)
    (folder / "recordings" / "day1.csv").write_text("t,r,g,b,part,I1,I2\n0,1,2,3,,0,0\n", encoding="utf-8")
    (folder / "station.yaml").write_text(station, encoding="utf-8")
    if cases is not None:
        (folder / "cases" / "a.case.yaml").write_text(cases, encoding="utf-8")
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def suite(folder: Path, **options: bool) -> Suite:
    return load(str(folder), expectations=plugins.load().expectations, **options)


def problems(folder: Path, **options: bool) -> list[str]:
    """The printed problems, without the folder in front of the paths."""
    try:
        suite(folder, **options)
    except StationtestError as error:
        return [str(problem).replace(f"{folder}/", "") for problem in error.problems]
    return []
