"""The files of a first station: small, commented, with a recording made by a seeded generator.

Everything in it is made up. Counts are those of a 12-bit sensor over a white and a black reference, with a noise of a few counts.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

STATION = """\
# What the station is made of. `stationtest check FOLDER` says what was understood, and every mistake with its line.
station: first-station
title: A first station, to be replaced by your own
drawing: rev A                          # free text that identifies the build

# How the controller sees an output: it is seen for sure if it lasts the worst scan and the input filter together.
scan: {worst: 8 ms, input_filter: 2 ms}
between: bare belt                      # what the spot sees when nothing is presented
belt_speed: 500 mm/s

sensors:
  eye:
    reads: linear RGB
    columns: {red: r, green: g, blue: b}     # bands to columns of the recording
    full_scale: 4095
    dark: [12, 11, 14]                  # counts in the dark, bands in the order red, green, blue
    white: [3650, 3720, 3590]           # counts on the white reference
    spot: 4 mm                          # with belt_speed: how long the edges of a target last
    level: {at_least: 10 %, at_most: 95 %}

targets:
  mint: {title: Mint sachet}
  chamomile: {title: Chamomile sachet}
  bare belt: {background: yes}

# Each channel looks for one colour, here one that it was taught from a recording of its own.
channels:
  1: {reference: {learned: recordings/taught.csv, target: mint}, distance: sensor chromaticity, tolerance: 0.05, hysteresis: 10 %,
      switches: on match, off_delay: 5 ms}
  2: {reference: {learned: recordings/taught.csv, target: chamomile}, distance: sensor chromaticity, tolerance: 0.05,
      hysteresis: 10 %, switches: on match, off_delay: 5 ms}

# How this plant writes its logs. Nothing is guessed: separator, unit of time, names of columns.
recordings:
  "recordings/*.csv":
    {separator: semicolon, decimal: point, time: {column: ms, in: ms}, every: 1 ms, gap: 3 ms, target: part, specimen: no}
"""

CASES = """\
# What the station must do. Ids are for ever: records and requirements refer to them.
readings: [../recordings/day1.csv]
# How much must be shown, unless a case says its own. 59 trials without a nonconforming one show 95 % at 95 % confidence.
evidence: {reliability: 95 %, confidence: 95 %, of: presentations}

cases:
  REC-01:
    title: Each sachet fires its own channel and no other
    requirement: URS-1
    present: [mint, chamomile]          # evidence is asked of each by itself
    expect: {own_channel_only: yes}
    do: Put 59 sachets of each sort past the sensor, in any order, at the speed of production.

  BELT-01:
    title: Nothing switches on the bare belt
    requirement: URS-2
    present: {between: bare belt}
    expect: {no_channel: yes}
    evidence: {duration: 5 s, events: none}
"""

REQUIREMENTS = """\
id,text,verified_by
URS-1,Every sachet is recognised as what it is,
URS-2,The bare belt switches nothing,
URS-3,The sensor is mounted as drawn,inspection of the drawing
"""

RUN = """\
# Who, where and when: printed in every report; what is missing is printed as not recorded.
who: not a real person
site: nowhere
started: 2026-01-01
notes: readings made by a program
"""

COUNTS = {"": (150, 140, 150), "mint": (520, 1400, 760), "chamomile": (3000, 2150, 640)}
NOISE = 3.0
PRESENTED_MS, BETWEEN_MS = 60, 60


def files() -> dict[str, str]:
    """Every file by its path in the station folder. The same text each time."""
    return {
        "station.yaml": STATION,
        "cases/first.case.yaml": CASES,
        "requirements.csv": REQUIREMENTS,
        "run.yaml": RUN,
        "recordings/taught.csv": _recording(["mint", "chamomile"] * 3, seed=1),
        "recordings/day1.csv": _recording(["mint", "chamomile"] * 59, seed=2),
    }


def _recording(parts: list[str], seed: int) -> str:
    chance = random.Random(seed)
    lines = ["ms;r;g;b;part;no"]
    for ms, (part, number) in enumerate(_rows(parts)):
        bands = ";".join(str(round(chance.gauss(count, NOISE))) for count in COUNTS[part])
        lines.append(f"{ms};{bands};{part};{number}")
    return "\n".join(lines) + "\n"


def _rows(parts: list[str]) -> Iterator[tuple[str, str]]:
    """What lies under the spot in each millisecond, and its specimen: ten of each sort, put through again and again."""
    for number, part in enumerate(parts):
        yield from [("", "")] * BETWEEN_MS
        yield from [(part, str(number // 2 % 10 + 1))] * PRESENTED_MS
    yield from [("", "")] * BETWEEN_MS
