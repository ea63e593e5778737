"""With xdist: the same record with workers, each recording observed once, workers that die, and what may travel."""

from __future__ import annotations

import datetime
import decimal
import enum
import pathlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import station_kit as kit

from stationtest.files import canonical

HOOK = """
import os

def pytest_runtest_setup(item):
    from stationtest.engine import observing
    if not hasattr(observing, "counted"):
        observing.counted = True
        real = observing.observe
        def observe(suite, key, parts, **named):
            with open(os.environ["OBSERVED"], "a") as file:
                file.write(f"{key}\\n")
            return real(suite, key, parts, **named)
        observing.observe = observe
"""
DIES = """
import os

def pytest_runtest_call(item):
    if item.name == "GOOD-01" and hasattr(item.config, "workerinput"):
        os._exit(1)
"""


def test_the_same_record_with_two_workers_and_each_recording_observed_once(tmp_path: Path) -> None:
    kit.station(tmp_path / "station")
    (tmp_path / "conftest.py").write_text(HOOK)
    alone = kit.pytest_run("station", "--station-record=alone", cwd=tmp_path, OBSERVED=str(tmp_path / "alone.txt"))
    two = kit.pytest_run("station", "-n", "2", "--station-record=two", cwd=tmp_path, OBSERVED=str(tmp_path / "two.txt"))
    assert (alone.returncode, two.returncode) == (1, 1), two.stdout + two.stderr
    first, second = kit.record_of(tmp_path / "alone"), kit.record_of(tmp_path / "two")
    assert canonical.dumps(first["result"]) == canonical.dumps(second["result"])
    assert (first["run"]["workers"], second["run"]["workers"]) == (0, 2)
    for name in ("alone.txt", "two.txt"):
        assert sorted((tmp_path / name).read_text().split()) == ["hand/trials.csv", "recordings/day1.csv"]
    for word in ("NOT SHOWN", "NOT JUDGED", "FAILED"):
        assert word in two.stdout


def test_a_worker_that_dies_leaves_a_case_not_judged(tmp_path: Path) -> None:
    kit.station(tmp_path / "station")
    (tmp_path / "conftest.py").write_text(DIES)
    done = kit.pytest_run("station", "-n", "2", "--station-record=out", cwd=tmp_path)
    assert done.returncode == 1
    cases = {case["id"]: case for case in kit.record_of(tmp_path / "out")["result"]["cases"]}
    assert cases["GOOD-01"]["verdict"] == "not judged" and cases["GOOD-01"]["reason"].startswith("no result came back")
    assert {name: case["verdict"] for name, case in cases.items() if name != "GOOD-01"} == {
        name: verdict for name, verdict in kit.VERDICTS.items() if name != "GOOD-01"
    }


def test_a_part_with_workers(tmp_path: Path) -> None:
    kit.station(tmp_path / "station")
    done = kit.pytest_run("station", "-n", "2", "-k", "GOOD or FEW", "--station-record=out", cwd=tmp_path)
    assert "first-station: partial, 2 of 4 cases judged: 2 not selected (-k GOOD or FEW)" in done.stdout
    counts = kit.record_of(tmp_path / "out")["result"]["counts"]
    assert (counts["planned"], counts["selected"], counts["executed"]) == (4, 2, 2)


def test_a_recording_that_is_refused_with_workers(tmp_path: Path) -> None:
    path = kit.station(tmp_path / "station") / "recordings" / "day1.csv"
    path.write_text(path.read_text().replace("\n7;", "\n6;", 1))
    done = kit.pytest_run("station", "-n", "2", "--station-record=out", cwd=tmp_path)
    assert done.stdout.count("[unsorted-time]") >= 3 and "INTERNALERROR" not in done.stdout
    assert not (tmp_path / "out").exists()


class Colour(enum.Enum):
    RED = 1


class Word(enum.StrEnum):
    PASS = "pass"


class MyInt(int):
    pass


FOREIGN: list[Any] = [
    np.float64(1.5), np.float32(1.5), np.int64(3), np.bool_(True), np.str_("x"), np.array([1]),
    Colour.RED, Word.PASS, MyInt(3), datetime.datetime(2026, 1, 2), datetime.timedelta(1), pathlib.PurePosixPath("x"),
    decimal.Decimal("1.5"), b"x", {1}, (1,), {1: 2}, object(), float("nan"), float("inf"), 2**53,
]  # fmt: skip


@pytest.mark.parametrize("value", FOREIGN, ids=[f"{number} {type(value).__name__}" for number, value in enumerate(FOREIGN)])
def test_what_is_not_plain_is_stopped_before_it_travels(value: Any) -> None:
    """A numpy scalar, a date or a path in a report kills a whole run with workers; here it is an error where it came up."""
    with pytest.raises((TypeError, ValueError)):
        canonical.dumps({"folder": "x", "result": {"value": value}})


@pytest.mark.parametrize("value", [None, True, 3, -2.5, "x", [1, [2]], {"a": {"b": None}}], ids=repr)
def test_what_is_plain_travels(value: Any) -> None:
    import json

    assert json.loads(canonical.dumps({"value": value})) == {"value": value}
