"""The demo shows what it says it shows: two faults, each mended by one setting; and not shown, not judged.

What is expected here comes from the script that made the readings and from plain arithmetic on its truth columns, not from
stationtest: how far apart the sachets lie, which are foreign, how many readings were lost.
"""

from __future__ import annotations

import csv
import importlib.metadata
import importlib.util
import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "example_station"
FIRST_DAY = DEMO / "first_day"

# what each fault makes fail: README names them
HELD_OVER = {"SORT-01", "COUNT-01"}
TOO_WIDE = {"NEAR-01", "NEAR-03", "BOX-04"}


def copy_of(folder: Path, to: Path) -> Path:
    return Path(shutil.copytree(folder, to, ignore=shutil.ignore_patterns("runs", "first_day")))


def run(station: Path, out: Path) -> tuple[int, dict[str, Any], str]:
    """Exit code, record and terminal of `stationtest run`."""
    command = [sys.executable, "-m", "stationtest", "run", str(station), "-o", str(out)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode in (0, 1), done.stdout + done.stderr
    assert (out / "report.html").stat().st_size > 10_000
    return done.returncode, json.loads((out / "record.json").read_bytes()), done.stdout


def verdicts(record: dict[str, Any]) -> dict[str, str]:
    return {case["id"]: case["verdict"] for case in record["result"]["cases"]}


def case(record: dict[str, Any], case_id: str) -> dict[str, Any]:
    return next(case for case in record["result"]["cases"] if case["id"] == case_id)


@pytest.fixture(scope="module")
def as_it_is(tmp_path_factory: pytest.TempPathFactory) -> tuple[int, dict[str, Any], str]:
    return run(DEMO, tmp_path_factory.mktemp("demo") / "run")


@pytest.fixture(scope="module")
def mended(tmp_path_factory: pytest.TempPathFactory) -> tuple[int, dict[str, Any], str]:
    folder = copy_of(DEMO, tmp_path_factory.mktemp("mended") / "station")
    text = (folder / "station.yaml").read_text(encoding="utf-8")
    for wrong, right in (("tolerance: 0.018", "tolerance: 0.012"), ("off_delay: 45 ms", "off_delay: 10 ms")):
        assert text.count(wrong) == 1
        text = text.replace(wrong, right)
    (folder / "station.yaml").write_text(text, encoding="utf-8")
    return run(folder, folder / "runs" / "mended")


@pytest.fixture(scope="module")
def first_day(tmp_path_factory: pytest.TempPathFactory) -> tuple[int, dict[str, Any], str]:
    return run(FIRST_DAY, tmp_path_factory.mktemp("first_day") / "run")


def truth(name: str = "sorting.parquet") -> list[tuple[str, str, int, int]]:
    """Target, specimen, start and end in ms of every presentation, from the truth columns."""
    table = pq.read_table(DEMO / "recordings" / name, columns=["t", "target", "specimen"])
    columns = [table[column].to_pylist() for column in ("t", "target", "specimen")]
    found: list[tuple[str, str, int, int]] = []
    for ms, target, specimen in zip(*columns, strict=True):
        if found and found[-1][:2] == (target, specimen) and found[-1][3] == ms:
            found[-1] = (*found[-1][:3], ms + 1)
        else:
            found.append((target, specimen, ms, ms + 1))
    return found


def test_it_has_the_promised_size() -> None:
    rows = sum(pq.read_metadata(path).num_rows for path in (DEMO / "recordings").glob("*.parquet"))
    assert rows >= 10 * 60 * 1000  # ten minutes at 1 kHz
    assert sum(path.stat().st_size for path in (DEMO / "recordings").iterdir()) < 10_000_000


def test_the_script_makes_the_recordings_again(tmp_path: Path) -> None:
    spec = importlib.util.spec_from_file_location("make_recordings", DEMO / "make_recordings.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    module.main(tmp_path)
    made = [path.relative_to(tmp_path) for path in sorted(tmp_path.rglob("*")) if path.is_file()]
    assert len(made) == 10
    for path in made:
        if path.suffix == ".parquet":  # the bytes may change with pyarrow, what is in them may not
            assert pq.read_table(DEMO / path).equals(pq.read_table(tmp_path / path)), path
        else:
            assert (DEMO / path).read_bytes() == (tmp_path / path).read_bytes(), path


def test_the_script_shares_no_code_with_the_package() -> None:
    assert "import stationtest" not in (text := (DEMO / "make_recordings.py").read_text(encoding="utf-8"))
    assert "from stationtest" not in text


def test_the_two_faults_are_named(as_it_is: tuple[int, dict[str, Any], str]) -> None:
    code, record, terminal = as_it_is
    assert code == 1
    assert record["result"]["verdict"] == "fail"
    assert len(record["result"]["cases"]) >= 25
    assert {name for name, verdict in verdicts(record).items() if verdict != "pass"} == HELD_OVER | TOO_WIDE
    held = case(record, "SORT-01")
    assert "chamomile" in held["reason"] and "channel 3" in held["reason"] and "held over from hibiscus" in held["reason"]
    wide = case(record, "NEAR-01")
    assert "verbena" in wide["reason"] and "channel 1" in wide["reason"]
    for case_id in HELD_OVER | TOO_WIDE:
        assert case_id in terminal


def test_held_over_is_what_the_distances_on_the_belt_say(as_it_is: tuple[int, dict[str, Any], str]) -> None:
    """Channel 3 stays on for 45 ms after it last matched, which is at most an edge of 8 ms before hibiscus has left."""
    _, record, _ = as_it_is
    listed = truth()
    gaps = [
        c[2] - a[3]
        for a, b, c in zip(listed, listed[1:], listed[2:], strict=False)
        if a[0] == "hibiscus" and not b[0] and c[0] == "chamomile"
    ]
    assert sum(gap < 45 - 8 for gap in gaps) > 59
    stratum = next(part for part in case(record, "SORT-01")["strata"] if part["label"] == "chamomile")
    assert sum(gap < 45 - 8 for gap in gaps) <= stratum["nonconforming"] <= sum(gap < 45 for gap in gaps)


def test_every_case_passes_once_both_are_mended(mended: tuple[int, dict[str, Any], str]) -> None:
    code, record, _ = mended
    assert {name: verdict for name, verdict in verdicts(record).items() if verdict != "pass"} == {}
    assert code == 0
    assert record["result"]["verdict"] == "pass"
    assert not record["result"]["partial"]


def test_numbers_of_trials_are_those_of_the_truth(mended: tuple[int, dict[str, Any], str]) -> None:
    _, record, _ = mended
    listed = truth()
    for stratum in case(record, "SORT-01")["strata"]:
        assert stratum["found"] == sum(target == stratum["label"] for target, *_ in listed)
    with (DEMO / "recordings" / "sleeves_truth.csv").open(encoding="utf-8", newline="") as file:
        labels = sum(row["target"] == "label" for row in csv.DictReader(file))
    assert case(record, "SLEEVE-01")["found"] == labels
    assert case(record, "SLEEVE-01")["basis"] == "recorded"
    assert case(record, "HAND-01")["basis"] == "by hand"
    assert case(record, "SORT-01")["basis"] == "computed"


def test_the_matrix_of_what_a_person_saw_holds_those_trials_alone(mended: tuple[int, dict[str, Any], str]) -> None:
    """Counted in the table by hand; what was computed or recorded stands in a matrix of its own."""
    with (DEMO / "recordings" / "hand_trials.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file, delimiter=";") if row["void"] == "no"]
    found = {each["title"]: each for each in mended[1]["result"]["figures"] if each["kind"] == "matrix"}
    assert [title.split(" of ")[1] for title in found] == ["sachet, computed", "sachet, by hand", "sleeve, recorded"]
    by_hand = found["Which target switched which channel of sachet, by hand"]
    assert by_hand["description"].endswith("Of recordings/hand_trials.csv.")
    for target, cells in zip(by_hand["data"]["targets"], by_hand["data"]["cells"], strict=True):
        lit = [sum(row["part"] == target and row[f"lamp {k}"] == "lit" for row in rows) for k in range(1, 5)]
        assert [cell["fired"] for cell in cells] == lit
        assert {cell["n"] for cell in cells} == {sum(row["part"] == target for row in rows)}


def test_requirements_are_covered_verified_otherwise_and_not_covered(mended: tuple[int, dict[str, Any], str]) -> None:
    states = {row["id"]: row["state"] for row in mended[1]["result"]["requirements"]}
    assert states["URS-11"] == "verified otherwise"
    assert states["URS-22"] == "not covered"
    assert {state for name, state in states.items() if name not in ("URS-11", "URS-22")} == {"shown"}


def test_the_first_day_shows_the_two_other_verdicts(first_day: tuple[int, dict[str, Any], str]) -> None:
    code, record, _ = first_day
    assert code == 1
    assert verdicts(record) == {
        "FIRST-01": "not shown",
        "FIRST-02": "not shown",
        "FIRST-03": "not shown",
        "FIRST-04": "not judged",
        "FIRST-05": "pass",
    }
    assert case(record, "FIRST-01")["found"] == 20
    assert "39" in case(record, "FIRST-01")["reason"]  # 59 - 20
    assert "gap" in case(record, "FIRST-02")["reason"]
    assert "needs times" in case(record, "FIRST-04")["reason"]


def test_the_demo_does_not_collect_the_first_day(as_it_is: tuple[int, dict[str, Any], str]) -> None:
    assert not any(name.startswith("FIRST") for name in verdicts(as_it_is[1]))


@pytest.mark.parametrize(("named", "first_day_is_in"), [("example_station", False), ("example_station/first_day", True)])
def test_pytest_collects_a_station_in_another_only_where_it_is_named(named: str, first_day_is_in: bool) -> None:
    points = importlib.metadata.entry_points(group="pytest11")
    plugin = [] if any(point.value == "stationtest.pytest_plugin" for point in points) else ["-p", "stationtest.pytest_plugin"]
    command = [sys.executable, "-m", "pytest", *plugin, named, "--collect-only", "-q"]
    told = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert ("::FIRST-01" in told) == first_day_is_in
    assert ("::SORT-01" in told) != first_day_is_in
