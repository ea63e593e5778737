"""Only files are read, and links to them: a pipe is refused in one sentence wherever it is named, and not waited for.

Outside the project: pathname resolution and FIFOs of POSIX.1-2017; no byte 0 in a path (XBD 3.271); PEP 383 for names that are
not UTF-8.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from station_folder import CASES, make, problems

from stationtest import cli
from stationtest.files.paths import Folder

pytestmark = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes of POSIX")
SAID = "it is a pipe, a socket or a device, and only files are read, since a record must hold what was in them"


@pytest.mark.parametrize(
    ("path", "word"),
    [
        ("recordings/day1.csv", f"cases/a.case.yaml:1:12: readings: {SAID}; found recordings/day1.csv [unreadable]"),
        ("cases/b.case.yaml", f"cases/b.case.yaml: the file cannot be opened: {SAID} [unreadable]"),
        ("scenes/b.scene.yaml", f"scenes/b.scene.yaml: the file cannot be opened: {SAID} [unreadable]"),
    ],
)
def test_a_pipe_in_a_station(path: str, word: str, tmp_path: Path) -> None:
    make(tmp_path)
    (tmp_path / path).parent.mkdir(exist_ok=True)
    (tmp_path / path).unlink(missing_ok=True)
    os.mkfifo(tmp_path / path)
    assert word in problems(tmp_path)


@pytest.mark.parametrize("name", ["corrections.csv", "specimens.csv", "requirements.csv", "run.yaml"])
def test_what_is_taken_if_it_is_there_is_not_passed_over_in_silence(name: str, tmp_path: Path) -> None:
    (tmp_path / "s").mkdir()
    make(tmp_path / "s")
    for leads_to, said in ((tmp_path / "s" / "gone", "no"), (tmp_path, "outside" if name != "run.yaml" else "directory")):
        (tmp_path / "s" / name).symlink_to(leads_to)
        (told,) = problems(tmp_path / "s")
        assert told.startswith(f"{name}: ") and said in told, told
        (tmp_path / "s" / name).unlink()
    os.mkfifo(tmp_path / "s" / name)
    (told,) = problems(tmp_path / "s")
    assert told.startswith(f"{name}: ") and SAID in told


def test_a_link_is_followed(tmp_path: Path) -> None:
    make(tmp_path)
    (tmp_path / "recordings/day1.csv").rename(tmp_path / "recordings/first.csv")
    (tmp_path / "recordings/day1.csv").symlink_to("first.csv")
    assert problems(tmp_path) == []
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "recordings/day1.csv").unlink()
    (tmp_path / "recordings/day1.csv").symlink_to("../pipe")
    assert SAID in problems(tmp_path)[0]


@pytest.mark.parametrize(
    "command", ["look {}", "observe {station} recordings/p.csv", "run {station} --readings recordings/p.csv"]
)
def test_a_pipe_that_is_typed(command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    make(tmp_path)
    os.mkfifo(tmp_path / "recordings" / "p.csv")
    line = command.format(tmp_path / "recordings" / "p.csv", station=tmp_path)
    assert cli.main(line.split()) == 2
    (told,) = capsys.readouterr().err.splitlines()
    assert SAID in told and told.endswith("[unreadable]")


@pytest.mark.parametrize(
    ("old", "new", "at"),
    [
        ("../recordings/day1.csv", '"../recordings/day1\\0.csv"', "cases/a.case.yaml:1:12"),
        ("Each", '"Each \\x1b[2J"', "cases/a.case.yaml"),
    ],
)
def test_a_character_that_is_no_text(old: str, new: str, at: str, tmp_path: Path) -> None:
    assert old in CASES
    make(tmp_path, cases=CASES.replace(old, new, 1))
    told = problems(tmp_path)[0]
    assert told.startswith(at) and "this text holds a character that is no text (U+00" in told


@pytest.mark.parametrize("path", ["a\0b", "recordings/\udcff.csv"])
def test_a_name_that_no_record_can_hold(path: str, tmp_path: Path) -> None:
    problem = Folder(str(tmp_path)).problem(path)
    assert problem is not None and problem[1] == "no-file" and "is not UTF-8 text" in problem[0]


def test_a_file_whose_name_is_not_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    make(tmp_path)
    try:
        (tmp_path / "cases" / "\udcff.case.yaml").write_text(CASES)
    except OSError:
        pytest.skip("this file system has names of UTF-8 only")
    assert "a record cannot name a file whose name is not utf-8 text" in problems(tmp_path)[0]
    assert cli.main(["run", str(tmp_path), "-o", str(tmp_path / "\udcff")]) == 2
    assert "it is not UTF-8 text" in capsys.readouterr().err
