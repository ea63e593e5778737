"""tests/values/timing.csv: timer, bistable, edge and counter tables after IEC 61131-3.

Rules: timers, 2nd ed. Table 38 and 3rd ed. Table 46 with Figure 15; bistables, 2nd ed. bodies; edges, 3rd ed. Table 44; counters,
2nd ed. final draft and 3rd ed. Table 45; as copied in the public repositories that the column `provenance` names. The standard
itself was not seen. The numbers in the sequences are made up to fit the rules.
"""

from __future__ import annotations

import csv
from pathlib import Path

_TEXT = (Path(__file__).parent.parent / "values/timing.csv").read_text(encoding="utf-8")
ROWS = {row["id"]: row for row in csv.DictReader(_TEXT.splitlines())}


def rows(*blocks):
    return [name for name, row in ROWS.items() if row["block"] in blocks]


def parameters(row):
    return {key: int(value) for key, value in (part.split("=") for part in row["parameters"].split(";"))}
