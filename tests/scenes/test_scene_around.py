"""What a scene says beside its readings: events, conditions; what `check` says of every scene; whatever stands in the file."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scene_kit import BOXES, CASES, SCENE, STATION, make, problems, suite

from stationtest import cli, plugins
from stationtest.engine import running
from stationtest.errors import CODES, StationtestError

WITH_MORE = STATION.replace("sets:\n", "events: [changeover]\nsets:\n") + "conditions:\n  height: [low, high]\n"
MORE = SCENE + "conditions: {height: high}\nevents: {changeover: [2 s, 6 s]}\n"
AFTER = CASES.replace("present: [mint, chamomile]", "present: [mint, chamomile]\n    where: {after: changeover, height: high}")


def first_case(folder: Path) -> dict:
    return running.run(suite(folder), plugins.load()).record["result"]["cases"][0]


def test_cases_pick_by_events_and_conditions_of_a_scene(tmp_path: Path) -> None:
    """Targets come every 140 ms from 0.396 s on: those that begin at 2 s or later are numbers 12 to 59, 48 of them."""
    assert first_case(make(tmp_path, MORE, station=WITH_MORE, cases=AFTER))["found"] == 48
    none = AFTER.replace("height: high", "height: low")
    assert first_case(make(tmp_path, MORE, station=WITH_MORE, cases=none))["found"] == 0


def test_they_are_written_out_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = make(tmp_path, MORE, station=WITH_MORE, cases=AFTER)
    direct = first_case(folder)
    out = folder / "recordings" / "line.parquet"
    assert cli.main(["simulate", str(folder / "scenes" / "line.scene.yaml"), "-o", str(out)]) == 0
    events = folder / "recordings" / "line_events.csv"
    assert events.read_text(encoding="utf-8") == 'time,event,note\n2000000000,"changeover",\n6000000000,"changeover",\n'
    form = capsys.readouterr().out.partition("recordings:\n")[2]
    assert "conditions: {height: height}" in form and 'events: "recordings/line_events.csv"' in form
    (folder / "station.yaml").write_text(WITH_MORE.replace("recordings:\n", f"recordings:\n{form}"), encoding="utf-8")
    later = AFTER.replace("scene: ../scenes/line.scene.yaml", "readings: ../recordings/line.parquet")
    (folder / "cases" / "line.case.yaml").write_text(later, encoding="utf-8")
    assert {key: first_case(folder)[key] for key in ("found", "conforming", "verdict")} == {
        key: direct[key] for key in ("found", "conforming", "verdict")
    }
    assert cli.main(["simulate", str(folder / "scenes" / "line.scene.yaml"), "-o", str(out.with_name("other.parquet"))]) == 0
    out.unlink()
    assert cli.main(["simulate", str(folder / "scenes" / "line.scene.yaml"), "-o", str(out)]) == 2
    assert "line_events.csv is there already" in capsys.readouterr().err and not out.exists()


@pytest.mark.parametrize(
    ("old", "new", "answer"),
    [
        ("height: high", "height: hihg", "conditions.height: height has no value of this name; did you mean `high`?"),
        ("height: high", "hight: high", "there is no condition of this name; did you mean `height`?"),
        ("changeover: [2 s", "change: [2 s", "there is no event of this name; did you mean `changeover`?"),
    ],
)
def test_what_the_station_does_not_declare(tmp_path: Path, old: str, new: str, answer: str) -> None:
    (found,) = problems(make(tmp_path, MORE.replace(old, new), station=WITH_MORE))
    assert answer in found


def test_check_tells_of_every_scene(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of those too that no case names, down to what only the physics knows."""
    folder = make(tmp_path, BOXES)
    (folder / "scenes" / "spare.scene.yaml").write_text(SCENE.replace("count: 60", "count: 7"), encoding="utf-8")
    assert cli.main(["check", str(folder)]) == 0
    said = capsys.readouterr().out
    assert "scenes/line.scene.yaml: a scene, seed 7; 14360 readings, one every 1 ms" in said
    assert "30 sets box" in said and "inputs: box in, box out" in said
    assert "scenes/spare.scene.yaml: a scene" in said and "7 presentations at 500 mm/s: 4 mint, 3 chamomile" in said
    wrong = SCENE.replace("Lab: [82, 2, 46]", "Lab: [98, 2, 146]")
    (folder / "scenes" / "spare.scene.yaml").write_text(wrong, encoding="utf-8")
    assert cli.main(["check", str(folder)]) == 2
    assert "spare.scene.yaml:12:3: surfaces.chamomile.colour: Lab: [98, 2, 146]: no reflectance" in capsys.readouterr().err


def test_a_station_with_problems_still_has_its_scenes_typed(tmp_path: Path) -> None:
    found = problems(make(tmp_path, SCENE.replace("seed: 7", "seed: seven"), station=STATION.replace("spot: 4 mm", "spot: 4")))
    assert len(found) == 2 and any("seed: this is not a whole number" in line for line in found)


_PIECES = st.sampled_from(
    ["a", ": ", "- ", "\n", "\n  ", "{", "}", "[", "]", ", ", "'", '"', "1 ms", "-1", "0", "100 %", "1e9", "mint", "box", "é"]
)


def _answer(folder: Path) -> None:
    try:
        suite(folder)
    except StationtestError as error:
        assert error.problems and all(problem.code in CODES and "\n" not in problem.message for problem in error.problems)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(_PIECES, max_size=12).map("".join), st.integers(0, len(BOXES)), st.integers(0, 40))
def test_any_text_in_a_scene(tmp_path: Path, text: str, at: int, cut: int) -> None:
    _answer(make(tmp_path, BOXES[:at] + text + BOXES[at + cut :]))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(max_size=200) | st.binary(max_size=80).map(lambda data: data.decode("latin-1")))
def test_any_text_in_a_spectrum(tmp_path: Path, text: str) -> None:
    _answer(make(tmp_path, SCENE.replace("grey: 6 %", "spectrum: belt.csv"), belt=text))
