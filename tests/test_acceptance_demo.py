"""The twelve cases of an acceptance: a line that does all of it right passes each, one with a fault for each case fails each.

How many trials each fault makes nonconforming follows from the script's own list of faults by counting, written beside each
case; the numbers of boxes are counted again in its truth tables with Python's csv alone.
"""

from __future__ import annotations

import csv
import shutil
import subprocess
import sys
from bisect import bisect_left
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest

import stationtest

ROOT = Path(__file__).resolve().parent.parent
ACCEPTANCE = ROOT / "example_station" / "acceptance"
PARTS = 60  # specimens of each target
BOX = {"mint": "Q01", "chamomile": "Q02", "hibiscus": "Q03", "rooibos": "Q04"}

# case: (trials of a line that is right, how many of them the faults make nonconforming, and why that many)
EXPECTED: dict[str, tuple[int, int, str]] = {
    **{f"REC-01.{tea}": (PARTS, 0, "counted below: the first sachet of each of 40 boxes answers twice") for tea in BOX},
    "NEAR-02.mint light": (0, 60, "trials counted below; 12 light parts, five times each on the second day"),
    "NEAR-02.mint dark": (0, 60, "trials counted below; 12 dark parts, five times each on the second day"),
    "NEAR-02.verbena light": (60, 60, "all: 12 parts, five times each"),
    "NEAR-02.verbena dark": (60, 60, "all"),
    "BROWN-03.low": (2 * PARTS, 3, "three parts of cocoa husk"),
    "BROWN-03.nominal": (2 * PARTS, 3, "three parts"),
    "BROWN-03.high": (2 * PARTS, 3, "three parts"),
    "BELT-04.running": (10, 1, "one event"),
    "BELT-04.splice": (10, 1, "one event"),
    "BELT-04.stopped": (10, 1, "one event"),
    "SET-05": (4 * 299, 11, "4 missed; rejects of 4 hit the next box too, a neighbour of 5; a good box thrown out is one of 2"),
    "SET-06": (1228, 5, "one thrown out by itself, 4 by the rejects of the boxes before them"),
    "SET-07": (30, 1, "one"),
    "LABEL-08.none": (PARTS, 1, "one part, once of five times"),
    "LABEL-08.back": (PARTS, 1, "one part"),
    "FOIL-09.apart": (PARTS, 1, "one part"),
    "FOIL-09.touching": (PARTS, 1, "one part: the second of two that touch"),
    "TIN-10.right": (60, 1, "one of 60 pairs"),
    "TIN-10.wrong": (60, 1, "one of 60 pairs"),
    "STOP-11.stop short": (22, 1, "one comes as if the belt had gone on"),
    "STOP-11.stop full": (22, 1, "one thrown out"),
    "STOP-11.power": (21, 1, "one missed"),
    "SAFE-12.unplugged": (12, 12, "the alarm came once, too late, for all 12 boxes"),
    "SAFE-12.dark": (12, 12, "the alarm came too late"),
    "SAFE-12.blinded": (12, 1, "one box let go"),
}
CUT = {"SET-06": 1}  # after the last box nothing was decided, so nobody knows where its time ends


def made(folder: Path, *faults: str) -> Path:
    shutil.copytree(ACCEPTANCE, folder)
    subprocess.run([sys.executable, str(ACCEPTANCE / "make_recordings.py"), str(folder), *faults], check=True)
    return folder


def judged(folder: Path) -> dict[str, Any]:
    return {case["id"]: case for case in stationtest.run(stationtest.load(str(folder)))["result"]["cases"]}


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def limit_samples_of_mint(folder: Path, grade: str) -> int:
    """How often the mint parts of a grade were presented on the first two days, by the register and the truth tables."""
    parts = {row["id"] for row in table(folder / "specimens.csv") if row["grade"] == grade}
    truth = [row for day in (1, 2) for row in table(folder / "recordings" / f"day{day}_truth.csv")]
    return sum(row["target"] == "mint" and row["specimen"] in parts for row in truth)


def parts_that_answered_twice(folder: Path, tea: str) -> int:
    """Parts with two rises of their channel in one of their first five presentations, by the controller's log alone."""
    log = table(folder / "recordings" / "day1_plc.csv")
    rises = [float(row["TS"]) for row in log if row["TAG"] == BOX[tea] and row["VAL"] == "TRUE"]
    shown: dict[str, list[int]] = defaultdict(list)
    for row in table(folder / "recordings" / "day1_truth.csv"):
        if row["target"] == tea:
            first, last = bisect_left(rises, float(row["start"])), bisect_left(rises, float(row["end"]))
            shown[row["specimen"]].append(last - first)
    assert {len(each) >= 5 for each in shown.values()} == {True}
    return sum(max(each[:5]) == 2 for each in shown.values())


@pytest.fixture(scope="module")
def right_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made(tmp_path_factory.mktemp("acceptance") / "right")


@pytest.fixture(scope="module")
def right(right_folder: Path) -> dict[str, Any]:
    return judged(right_folder)


@pytest.fixture(scope="module")
def faulty_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made(tmp_path_factory.mktemp("acceptance") / "faulty", "--faults")


@pytest.fixture(scope="module")
def faulty(faulty_folder: Path) -> dict[str, Any]:
    return judged(faulty_folder)


def test_the_recordings_that_lie_there_are_those_of_the_script(right_folder: Path) -> None:
    for made_now in sorted([*right_folder.glob("recordings/*_*"), right_folder / "specimens.csv"]):
        lies_there = ACCEPTANCE / made_now.relative_to(right_folder)
        if made_now.suffix == ".parquet":
            assert pq.read_table(made_now).equals(pq.read_table(lies_there)), made_now.name
        else:
            assert made_now.read_bytes() == lies_there.read_bytes(), made_now.name


def test_every_case_has_its_line(right: dict[str, Any]) -> None:
    assert set(right) == set(EXPECTED)
    assert {case_id.partition(".")[0] for case_id in right} == {
        "REC-01", "NEAR-02", "BROWN-03", "BELT-04", "SET-05", "SET-06", "SET-07", "LABEL-08", "FOIL-09", "TIN-10", "STOP-11",
        "SAFE-12",
    }  # fmt: skip


@pytest.mark.parametrize("case_id", EXPECTED)
def test_a_line_that_is_right_passes(right: dict[str, Any], right_folder: Path, case_id: str) -> None:
    case, (trials, _, _) = right[case_id], EXPECTED[case_id]
    if not trials:
        trials = limit_samples_of_mint(right_folder, f"{case_id.split()[1]} limit")
    assert case["verdict"] == "pass", case["reason"]
    cut = CUT.get(case_id, 0)
    assert (case["conforming"], case["nonconforming"], case["not_judged"]) == (trials - cut, 0, cut)
    assert case["basis"] == ("computed" if case_id.startswith("NEAR") else "recorded")


@pytest.mark.parametrize("case_id", EXPECTED)
def test_each_case_finds_its_fault(faulty: dict[str, Any], faulty_folder: Path, case_id: str) -> None:
    case, (trials, wrong, why) = faulty[case_id], EXPECTED[case_id]
    assert case["verdict"] == "fail"
    if not trials:
        trials = limit_samples_of_mint(faulty_folder, f"{case_id.split()[1]} limit")
    if not wrong:
        wrong = parts_that_answered_twice(faulty_folder, case_id.partition(".")[2])
        assert wrong > 0
    cut = CUT.get(case_id, 0)
    assert (case["conforming"], case["nonconforming"], case["not_judged"]) == (trials - wrong - cut, wrong, cut), why


def test_the_boxes_counted_in_the_truth_tables(right_folder: Path) -> None:
    """By Python's csv: 299 boxes lack each of the four, all between complete ones; 30 hold two mint and no hibiscus."""
    boxes: dict[str, Counter[str]] = defaultdict(Counter)
    for row in table(right_folder / "recordings" / "day1_truth.csv"):
        if row["set"]:
            boxes[row["set"]][row["target"]] += 1
    members = {"mint", "chamomile", "hibiscus", "rooibos"}
    lacking = Counter(next(iter(members - set(box))) for box in boxes.values() if len(box) == 3 and box["mint"] < 2)
    assert lacking == dict.fromkeys(members, 299)
    assert sum(box["mint"] == 2 for box in boxes.values()) == 30
    assert sum(len(box) == 4 for box in boxes.values()) == EXPECTED["SET-06"][0]


def test_the_belt_lay_bare_for_half_an_hour_each(right_folder: Path) -> None:
    lasted: Counter[str] = Counter()
    for row in table(right_folder / "recordings" / "day1_truth.csv"):
        if row["target"] == "bare belt":
            lasted[row["mark"] or row["belt"]] += float(row["end"]) - float(row["start"])  # type: ignore[assignment]
    assert set(lasted) == {"running", "splice", "stopped"} and min(lasted.values()) >= 30 * 60_000
