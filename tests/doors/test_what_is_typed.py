"""What a user types at the command line: paths from where he stands, misspelt options, folders that are no station."""

from __future__ import annotations

from pathlib import Path

import pytest
import station_kit as kit


@pytest.fixture(scope="module")
def station(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return kit.station(tmp_path_factory.mktemp("typed") / "here" / "my_station", kit.PASSES)


@pytest.mark.parametrize("path", ["my_station/recordings/day1.csv", "recordings/day1.csv", "./my_station/recordings/day1.csv"])
def test_a_recording_by_either_path(path: str, station: Path, tmp_path: Path) -> None:
    """From the working folder, or from the station's: the record names it in the same way."""
    run = kit.command("run", "my_station", "--readings", path, "-o", tmp_path / "o", cwd=station.parent)
    assert run.returncode == 0, run.stdout + run.stderr
    assert [source["key"] for source in kit.record_of(tmp_path / "o")["result"]["sources"]] == ["recordings/day1.csv"]
    observed = kit.command("observe", "my_station", path, "--csv", "-", cwd=station.parent)
    assert observed.returncode == 0 and '"recordings/day1.csv"' in observed.stdout.splitlines()[1]


def test_inside_the_folder_and_by_a_whole_path(station: Path) -> None:
    for given, path, cwd in ((".", "recordings/day1.csv", station), (station, station / "recordings/day1.csv", station.parent)):
        observed = kit.command("observe", given, path, "--csv", "-", cwd=cwd)
        assert observed.returncode == 0 and '"recordings/day1.csv"' in observed.stdout.splitlines()[1], observed.stderr


def test_a_file_that_is_nowhere(station: Path) -> None:
    run = kit.command("run", "my_station", "--readings", "recordings/dya1.csv", cwd=station.parent)
    assert run.stderr == (
        "--readings: there is no file recordings/dya1.csv; did you mean recordings/day1.csv? [no-file]\n"
    )


def test_in_the_folder_itself_all_paths_are_written_alike(tmp_path: Path) -> None:
    folder = kit.station(tmp_path, kit.PASSES)
    assert kit.command("run", ".", cwd=folder).stdout.splitlines()[-1].startswith("report: runs/")
    kit.station(folder, kit.PASSES.replace("present: [mint, chamomile]", "present: [mint, camomile]"))
    told = kit.command("check", ".", cwd=folder).stderr.splitlines()
    assert len(told) == 1 and told[0].startswith("cases/all.case.yaml:8:21: "), told


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["run", "my_station", "--onyl", "X"], "stationtest run: there is no option --onyl; did you mean --only? [usage]"),
        (["check", "my_station", "--onyl=X"], "stationtest check: there is no option --onyl [usage]"),
        (["check", "my_station", "more"], "stationtest check: there is no place for more here [usage]"),
        (["check", "nowhere"], "there is no folder nowhere [no-station]"),
        (
            ["check", "my_station/station.yaml"],
            "my_station/station.yaml is a file; the folder that holds station.yaml is due here [no-station]",
        ),
        (
            ["check", "."],
            "there is no station.yaml in .; below it are the stations ./my_station: name one [no-station]",
        ),
        (
            ["new", "my_station"],
            "my_station is already there and is not empty; nothing is ever written over it: name a new folder [exists]",
        ),
    ],
)
def test_what_does_not_fit(arguments: list[str], words: str, station: Path) -> None:
    done = kit.command(*arguments, cwd=station.parent)
    assert done.returncode == 2 and done.stderr.splitlines()[-1] == words


def test_a_station_without_a_case(tmp_path: Path) -> None:
    made = kit.station(tmp_path / "s")
    (made / "cases" / "all.case.yaml").unlink()
    check = kit.command("check", made)
    assert check.returncode == 0
    said = "there is no case yet, so there is nothing to judge: write one in cases/NAME.case.yaml"
    assert check.stdout.splitlines()[-1] == said


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("between: bare belt", "inputs: [gate]\noutputs: {flap: {any_of: [1], decided_at: gate fall}}\nbetween: bare belt",
         "outputs.flap.decided_at: there is no input of this name; did you mean `gate falls`?; found gate fall"),
        ("between: bare belt", "inputs: [gate]\ntravel: {input: gate, per_pulse: 4 ms}\nbetween: bare belt",
         "travel.per_pulse: `ms` is a unit of duration, and a length is due here; found 4 ms"),
        ("tolerance: 0.05, hysteresis: 10 %,\n", "tolerance: 0,05, hysteresis: 10 %,\n",
         "channels.1.tolerance: numbers are written with a decimal point, not a comma; found 0,05; allowed 0.05 [wrong-value]"),
    ],
)  # fmt: skip
def test_the_word_that_was_meant(old: str, new: str, words: str, tmp_path: Path) -> None:
    made = kit.station(tmp_path / "s", kit.PASSES)
    text = (made / "station.yaml").read_text(encoding="utf-8")
    assert old in text
    (made / "station.yaml").write_text(text.replace(old, new, 1), encoding="utf-8")
    assert words in kit.command("check", made).stderr


def test_a_key_of_the_file_is_not_told_as_one_of_a_case(tmp_path: Path) -> None:
    made = kit.station(tmp_path / "s", kit.PASSES)
    path = made / "cases" / "all.case.yaml"
    path.write_text(path.read_text(encoding="utf-8").replace("day1.csv", "day9.csv"), encoding="utf-8")
    (line,) = kit.command("check", made).stderr.splitlines()
    assert ":1:12: readings: there is no file recordings/day9.csv; did you mean recordings/day1.csv?" in line


def test_an_empty_file(tmp_path: Path) -> None:
    made = kit.station(tmp_path / "s", kit.PASSES)
    (made / "recordings" / "day1.csv").write_bytes(b"")
    assert kit.command("check", made).stderr == f"{made}/recordings/day1.csv: the file is empty [empty-recording]\n"
