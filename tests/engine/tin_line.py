"""Tins under one sensor and lids under another at the same time: a station folder with CSV files, for tests of several sensors.

The readings are made here: a* of each sensor is that of what its own column names, 90 where it names nothing.
"""

from __future__ import annotations

from itertools import groupby

import numpy as np

from stationtest import plugins
from stationtest.engine import observing, running
from stationtest.files import suite as suites

MS = 1_000_000
A = {"green": 0, "blue": 30, "": 90}
OWN = "target: {tin: tin part, lid: lid part}, specimen: {tin: tin nr, lid: lid nr}"
SENSOR = "{{reads: CIELAB, columns: {{L: L{0}, a: a{0}, b: b{0}}}, illuminant: D65, observer: 2 deg, spot: 2 mm}}"
STATION = """
station: tins
scan: {worst: 8 ms}
between: bare belt
belt_speed: 500 mm/s
sensors:
  tin: SENSOR1
  lid: SENSOR2
targets:
  green: {colour: {Lab: [50, 0, 0], illuminant: D65, observer: 2 deg}}
  blue: {colour: {Lab: [50, 30, 0], illuminant: D65, observer: 2 deg}}
  bare belt: {background: yes}
channels:
  tin green: {sensor: tin, reference: green, distance: CIE 1976 L*a*b*, tolerance: 5}
  tin blue: {sensor: tin, reference: blue, distance: CIE 1976 L*a*b*, tolerance: 5}
  lid green: {sensor: lid, reference: green, distance: CIE 1976 L*a*b*, tolerance: 5}
  lid blue: {sensor: lid, reference: blue, distance: CIE 1976 L*a*b*, tolerance: 5}
recordings:
  "recordings/*.csv": {time: {column: t, in: ms}, every: 1 ms, gap: 3 ms, TRUTH}
""".replace("SENSOR1", SENSOR.format(1)).replace("SENSOR2", SENSOR.format(2))
TABLE = "presentations: {file: recordings/truth.txt, start: start, end: end, target: target, specimen: nr, sensor: place}"
CASES = """
readings: ../recordings/r.csv
evidence: {trials: 2}
cases:
  TIN-1: {title: Each tin fires its own channel, present: [green, blue], where: {sensor: tin}, expect: {own_channel_only: yes}}
  LID-1: {title: Each lid fires its own channel, present: [green, blue], where: {sensor: lid}, expect: {own_channel_only: yes}}
  BELT-1: {title: Nothing fires between, present: {between: bare belt}, expect: {no_channel: yes}}
"""
HEAD = "t,L1,a1,b1,L2,a2,b2,tin part,lid part,tin nr,lid nr"


def parts_of(seed: int) -> dict[str, list[tuple[str, int, int]]]:
    """For each sensor (part, number, ms), some of them touching the one before."""
    rng = np.random.default_rng(seed)
    found: dict[str, list[tuple[str, int, int]]] = {}
    for place in ("tin", "lid"):
        row: list[tuple[str, int, int]] = [("", 0, 45)]
        for number in range(14):
            row.append((str(rng.choice(["green", "blue"])), number, int(rng.integers(30, 90))))
            row += [("", 0, int(rng.integers(15, 60)))] if rng.random() < 0.7 else []
        found[place] = row
    return found


def rows_of(parts: dict[str, list[tuple[str, int, int]]]) -> dict[str, list[tuple[str, int]]]:
    """What is before each sensor in each ms: (part, number); both end bare, at one time."""
    found = {place: [(part, number) for part, number, length in row for _ in range(length)] for place, row in parts.items()}
    longest = max(map(len, found.values())) + 60
    return {place: [*rows, *[("", 0)] * (longest - len(rows))] for place, rows in found.items()}


def folder_of(path, rows, form=OWN, reads=None, lost=(), station=STATION):
    """`reads` (place, ms) gives another a* than that of what is there; rows in `lost` are not in the file."""
    (path / "recordings").mkdir(parents=True)
    (path / "cases").mkdir()
    reads, lines = reads or {}, [HEAD]
    for t, ((tin, tin_nr), (lid, lid_nr)) in enumerate(zip(rows["tin"], rows["lid"], strict=True)):
        a, b = reads.get(("tin", t), A[tin]), reads.get(("lid", t), A[lid])
        numbers = f"{f'T{tin_nr}' if tin else ''},{f'L{lid_nr}' if lid else ''}"
        if t not in lost:
            lines.append(f"{t},50,{a},0,50,{b},0,{tin},{lid},{numbers}")
    (path / "recordings" / "r.csv").write_text("\n".join(lines) + "\n")
    truth = [
        (start, end, part, f"{place[0].upper()}{number}", place)
        for place in rows for start, end, part, number in machine(rows[place]) if part
    ]  # fmt: skip
    table = "\n".join(["start,end,target,nr,place", *(",".join(map(str, row)) for row in sorted(truth))])
    (path / "recordings" / "truth.txt").write_text(table + "\n")
    (path / "station.yaml").write_text(station.replace("TRUTH", form))
    (path / "cases" / "a.case.yaml").write_text(CASES)
    return path


def machine(rows: list[tuple[str, int]]) -> list[tuple[int, int, str, int]]:
    """Row by row: a presentation begins where the part or its number changes. (start, end, part, number), ends excluded."""
    found, at = [], 0
    for (part, number), run in groupby(rows, key=lambda row: row if row[0] else ("", 0)):
        length = len(list(run))
        found.append((at, at + length, part, number))
        at += length
    return found


def observed(path):
    suite = suites.load(str(path), expectations=plugins.load().expectations)
    return observing.observe(suite, "recordings/r.csv", plugins.load())


def record_of(path):
    return running.run(suites.load(str(path), expectations=plugins.load().expectations), plugins.load()).record


def judged(path):
    return {case["id"]: case for case in record_of(path)["result"]["cases"]}


def counts(case):
    return [(one["conforming"], one["nonconforming"], one["not_judged"]) for one in case["strata"]]


def two_and_two(**keys):
    """Green and blue tins from 100 ms, 60 ms each; lids the other way round, 30 ms later: by hand they overlap by 30 ms."""
    def place(first, second, begin):
        return [("", 0)] * begin + [(first, 1)] * 60 + [("", 0)] * 40 + [(second, 2)] * 60 + [("", 0)] * (400 - begin - 160)

    return {"tin": place("green", "blue", 100), "lid": place("blue", "green", 130)} | keys
