
"""A whole folder: what is found, what it depends on, what loading does not load."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from pathlib import Path

import pytest
from station_folder import CASES, STATION, make, problems, suite

from stationtest.errors import FileProblems, UsageError
from stationtest.files.suite import case_files, find_station


def test_the_files_that_the_result_depends_on(tmp_path: Path) -> None:
    make(tmp_path)
    (tmp_path / "requirements.csv").write_text("id,text\nURS-12,a\nURS-13,b\n", encoding="utf-8")
    (tmp_path / "run.yaml").write_text("who: A\n", encoding="utf-8")
    files = suite(tmp_path).files
    assert [(file.path, file.role) for file in files] == [
        ("station.yaml", "station"),
        ("requirements.csv", "requirements"),
        ("cases/a.case.yaml", "cases"),
        ("run.yaml", "run"),
        ("recordings/day1.csv", "recording"),
    ]
    assert files[0].bytes == len(STATION.encode()) and all(len(file.sha256) == 64 for file in files)


def test_second_tables_are_found_by_the_recordings_name(tmp_path: Path) -> None:
    text = STATION.replace("target: part", "presentations: {file: recordings/*_truth.csv, start: s, end: e, target: p}")
    make(tmp_path, station=text)
    assert problems(tmp_path) == [
        "station.yaml:29:3: recordings.recordings/*.csv.presentations: there is no file recordings/day1_truth.csv; did you mean "
        "recordings/day1.csv? [no-file]"
    ]
    (tmp_path / "recordings" / "day1_truth.csv").write_text("s,e,p\n", encoding="utf-8")
    assert [file.path for file in suite(tmp_path).files if file.role == "presentations"] == ["recordings/day1_truth.csv"]


def test_a_path_that_was_meant_from_the_station_folder(tmp_path: Path) -> None:
    make(tmp_path, cases=CASES.replace("../recordings/day1.csv", "recordings/day1.csv"))
    (told,) = problems(tmp_path)
    assert told.endswith("readings: there is no file cases/recordings/day1.csv; did you mean ../recordings/day1.csv? [no-file]")


def test_a_section_that_is_misspelt_is_one_problem(tmp_path: Path) -> None:
    """Outputs, sets, recordings and cases name what stands in it; nothing of that is wrong."""
    for section, wrong in (("channels", "chanels"), ("targets", "tragets"), ("inputs", "input")):
        (tmp_path / section).mkdir()
        make(tmp_path / section, station=STATION.replace(f"\n{section}:", f"\n{wrong}:"))
        (told,) = problems(tmp_path / section)
        assert f"there is no key `{wrong}` here; did you mean `{section}`?" in told and told.endswith("[unknown-key]")


def test_no_station(tmp_path: Path) -> None:
    assert problems(tmp_path) == [
        f"there is no station.yaml in {tmp_path}; `stationtest new FOLDER` makes a station folder [no-station]"
    ]
    with pytest.raises(UsageError, match=r"there is no station.yaml in .* or above it; .* \[no-station\]"):
        find_station(str(tmp_path))


def test_the_nearest_station_at_or_above(tmp_path: Path) -> None:
    make(tmp_path)
    inner = tmp_path / "first_day"
    inner.mkdir()
    assert find_station(str(tmp_path / "cases" / "a.case.yaml")) == str(tmp_path) == find_station(str(inner))
    make(inner)
    assert find_station(str(inner / "cases")) == str(inner)
    assert case_files(str(tmp_path)) == ["cases/a.case.yaml"]  # a station inside is not part of this one


def test_a_station_without_cases_loads(tmp_path: Path) -> None:
    assert suite(make(tmp_path, cases=None)).cases == ()


def test_a_file_that_cannot_be_opened(tmp_path: Path) -> None:
    make(tmp_path)
    (tmp_path / "cases" / "b.case.yaml").mkdir()
    assert problems(tmp_path) == ["cases/b.case.yaml: the file cannot be opened: is a directory [unreadable]"]


def test_a_file_that_is_too_large_is_refused_without_reading_it_whole(tmp_path: Path) -> None:
    make(tmp_path)
    with open(tmp_path / "cases" / "b.case.yaml", "wb") as file:
        file.truncate(1_000_000_000)  # a sparse file of one line of 1 GB
    assert problems(tmp_path) == [
        "cases/b.case.yaml:1:1: the file is too large; found more than 20000000 bytes; allowed at most 20000000 [too-large]"
    ]


def test_problems_and_suites_travel(tmp_path: Path) -> None:
    loaded = suite(make(tmp_path))
    assert pickle.loads(pickle.dumps(loaded)) == loaded
    (tmp_path / "station.yaml").write_text("a: b\n", encoding="utf-8")
    with pytest.raises(FileProblems) as error:
        suite(tmp_path)
    assert pickle.loads(pickle.dumps(error.value)).problems == error.value.problems


def test_loading_loads_neither_numpy_nor_pyarrow(tmp_path: Path) -> None:
    make(tmp_path)
    code = (
        "import sys; from stationtest import plugins; from stationtest.files.suite import load; "
        f"load({str(tmp_path)!r}, expectations=plugins.load().expectations); "
        "print([name for name in ('numpy', 'pyarrow', 'scipy', 'colour', 'jinja2', 'rich', 'pytest') if name in sys.modules])"
    )
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=True)
    assert done.stdout.strip() == "[]"


def test_ten_thousand_cases_share_what_is_the_same(tmp_path: Path) -> None:
    one = CASES[CASES.index("  REC-01:") :]
    many = CASES[: CASES.index("  REC-01:")] + "".join(one.replace("REC-01", f"REC-{number}") for number in range(10_000))
    loaded = suite(make(tmp_path, cases=many))
    assert len(loaded.cases) == 10_000 and len(loaded.readings()) == 1


def test_how_long_a_target_takes_to_fill_the_spot(tmp_path: Path) -> None:
    """A24: a spot of 4 mm at 0.5 m/s is covered 8 ms after the first touch; a sensor may state that time itself instead."""
    for number, (words, expected) in enumerate((("spot: 4 mm", 8_000_000), ("edge: 5 ms", 5_000_000), ("serial: x", None))):
        (tmp_path / str(number)).mkdir()
        text = STATION.replace("between:", "belt_speed: 500 mm/s\nbetween:").replace("full_scale:", f"{words}\n    full_scale:")
        station = suite(make(tmp_path / str(number), station=text)).station
        assert station.fill_ns(station.sensors[0]) == expected
