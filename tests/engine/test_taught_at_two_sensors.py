"""Two sensors that are taught on one target of one recording: each keeps the colour that it saw itself."""

from __future__ import annotations

from pathlib import Path

import pytest

import stationtest

STATION = """
station: two
between: belt
sensors:
  left: {reads: linear RGB, columns: {red: r1, green: g1, blue: b1}}
  right: {reads: linear RGB, columns: {red: r2, green: g2, blue: b2}}
targets: {mint: {title: Mint}, belt: {background: yes}}
channels:
  1: {sensor: left, reference: REFERENCE, distance: sensor chromaticity, tolerance: 0.05}
  2: {sensor: right, reference: REFERENCE, distance: sensor chromaticity, tolerance: 0.05}
inputs: [teach]
recordings:
  "recordings/*.csv": {time: {column: t, in: ms}, every: 1 ms, gap: 3 ms, target: part, specimen: no, sensor: at, inputs: {teach: teach}, on: ["1"], off: ["0"]}
"""  # noqa: E501
CASES = """
readings: [../recordings/day.csv]
evidence: {trials: 2, of: presentations}
cases:
  BOTH-01: {title: Each fires at its own sensor, present: mint, expect: {own_channel_only: yes}}
"""
# one green, seen by a sensor that was set up on white and by one that was not
SEEN = {"": "100,100,100,100,100,100", "mint": "300,700,400,900,600,100"}


@pytest.mark.parametrize(
    "reference",
    [
        "{learned: recordings/day.csv, target: mint, samples: 10}",
        "{learned_at: teach, target: mint, samples: 10, meanwhile: off}",
    ],
)
def test_each_sensor_compares_with_what_it_saw_itself(tmp_path: Path, reference: str) -> None:
    (tmp_path / "cases").mkdir()
    (tmp_path / "recordings").mkdir()
    (tmp_path / "station.yaml").write_text(STATION.replace("REFERENCE", reference))
    (tmp_path / "cases" / "a.case.yaml").write_text(CASES)
    rows, t = ["t,r1,g1,b1,r2,g2,b2,part,no,at,teach"], 0
    for number, (part, at) in enumerate([("", "left"), *[("mint", "left"), ("", "left"), ("mint", "right"), ("", "left")] * 4]):
        for k in range(20):
            teach = int(number in (1, 3) and 5 <= k < 10)
            rows.append(f"{t},{SEEN[part]},{part},{number if part else ''},{at if part else ''},{teach}")
            t += 1
    (tmp_path / "recordings" / "day.csv").write_text("\n".join(rows) + "\n")
    record = stationtest.run(stationtest.load(tmp_path))
    (case,) = record["result"]["cases"]
    assert case["verdict"] == "pass", case["reason"]
