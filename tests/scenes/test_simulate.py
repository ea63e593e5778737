"""`stationtest simulate`: a scene as a recording, which is judged like the scene, says what it is, and is never half-written."""

from __future__ import annotations

import re
import shutil
from collections import namedtuple
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest
from scene_kit import BOXES, CASES, SCENE, STATION, make, opened, suite, whole

from stationtest import cli, plugins
from stationtest.engine import running
from stationtest.engine.picturing import picture
from stationtest.report.scene_page import render
from stationtest.sources.scenes import written

SET_CASES = CASES + """\
  BOX-01:
    title: A complete box passes the flap
    present: {set: box, complete: yes}
    expect: {outputs: {flap: {is: off, from: box out}}}
  BOX-02:
    title: A box that lacks its mint is thrown out
    present: {set: box, lacking: mint}
    evidence: {trials: 1}
    expect: {outputs: {flap: {is: on, from: box out, within: 30 ms, lasts: at least 50 ms}}}
"""


def simulate(folder: Path, *words: str) -> int:
    return cli.main(["simulate", str(folder / "scenes" / "line.scene.yaml"), *words])


def test_the_recording_is_judged_like_the_scene(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The printed form pasted, the same cases on both: the same verdicts, counts and reasons, and the same numbers behind."""
    folder = make(tmp_path, BOXES.replace("{missing: mint, sets: [3]}", "{missing: mint, sets: [3, 9]}"), cases=SET_CASES)
    assert simulate(folder, "-o", str(folder / "recordings" / "line.parquet")) == 0
    said = capsys.readouterr().out
    form = said.partition("recordings:\n")[2]
    assert "line.parquet" in said.splitlines()[0] and form
    station = (folder / "station.yaml").read_text(encoding="utf-8")
    (folder / "station.yaml").write_text(station.replace("recordings:\n", f"recordings:\n{form}"), encoding="utf-8")
    cases = SET_CASES.replace("scene: ../scenes/line.scene.yaml", "readings: ../recordings/line.parquet")
    direct = running.run(suite(folder), plugins.load())
    (folder / "cases" / "line.case.yaml").write_text(cases, encoding="utf-8")
    later = running.run(suite(folder), plugins.load())
    assert later.record["result"]["verdict"] == direct.record["result"]["verdict"]
    verdicts = []
    for run in (direct, later):
        wanted = ("id", "verdict", "basis", "reason", "found", "conforming", "nonconforming", "not_judged", "strata")
        verdicts.append([{key: case[key] for key in wanted} for case in run.record["result"]["cases"]])
    assert verdicts[0] == verdicts[1]
    assert {case["verdict"] for case in verdicts[0]} >= {"pass"}
    one, other = direct.observations["scenes/line.scene.yaml"], later.observations["recordings/line.parquet"]
    for name in ("fired", "silent", "first_on_ns", "on_ns", "critical_any", "critical_sure", "closeness_max"):
        assert np.array_equal(getattr(one.responses, name), getattr(other.responses, name), equal_nan=True), name
    for key, signal in one.signals.items():
        assert (signal.must == other.signals[key].must).all() and (signal.can == other.signals[key].can).all()


def test_a_simulated_recording_says_so_itself(tmp_path: Path) -> None:
    """Read by its form like any other, verdicts on it are still simulated."""
    cases = CASES.replace("scene: ../scenes/line.scene.yaml", "readings: ../recordings/line.parquet")
    station = STATION.replace("{time: {column: t, in: ms}", "{time: {column: time, in: ns}")
    folder = make(tmp_path, station=station, cases=cases)
    assert simulate(folder, "-o", str(folder / "recordings" / "line.parquet")) == 0
    result = running.run(suite(folder), plugins.load()).record["result"]
    assert result["simulated"] and {case["basis"] for case in result["cases"]} == {"simulated"}
    assert result["sources"][0]["reader"]["simulated"] == "scenes/line.scene.yaml, seed 7"


def test_the_file_holds_the_counts_and_the_truth(tmp_path: Path) -> None:
    folder = make(tmp_path, BOXES)
    assert simulate(folder) == 0
    table = pq.read_table(folder / "scenes" / "line.parquet")  # beside the scene
    batch = whole(opened(folder))
    assert table.column_names == ["time", "r", "g", "b", "target", "specimen", "set", "box in", "box out"]
    assert table["r"].to_numpy().tolist() == batch.bands["eye"][0].tolist()
    words = [batch.tables["target"][code] if code >= 0 else None for code in batch.codes["target"]]
    assert table["target"].to_pylist() == words
    assert table["time"].to_numpy()[1] == 1_000_000


def test_columns_of_one_name_are_kept_apart(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = make(tmp_path, station=STATION.replace("red: r,", "red: time,"))
    assert simulate(folder) == 0
    assert pq.read_schema(folder / "scenes" / "line.parquet").names[:2] == ["scene time", "time"]
    assert "{column: scene time, in: ns}" in capsys.readouterr().out


def test_nothing_is_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = make(tmp_path)
    there = folder / "scenes" / "line.parquet"
    there.write_text("mine", encoding="utf-8")
    assert simulate(folder) == 2
    assert "is there already and is not written over" in capsys.readouterr().err and there.read_text(encoding="utf-8") == "mine"


def test_readings_are_written_as_parquet_only(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = make(tmp_path)
    assert simulate(folder, "-o", str(folder / "line.csv")) == 2
    assert "to a file NAME.parquet; found" in capsys.readouterr().err and not (folder / "line.csv").exists()


def test_a_scene_longer_than_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """104 days at 1 kHz is some 50 GB; the disk has 20 MB more than is kept free."""
    folder = make(tmp_path, SCENE.replace("count: 60", "lasts: 2400 h").replace("gap: 30 mm", "gap: 9 m"))
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage(10**9, 0, written.LEFT_FREE + 20_000_000))
    assert simulate(folder) == 2
    said = capsys.readouterr().err
    assert re.search(r"would take about [4-6]\d(\.\d)? GB beside 16\.8 MB that stay free, and 36\.8 MB are free; make the", said)
    assert said.endswith("make the scene shorter [cannot-write]\n")
    assert sorted(path.name for path in (folder / "scenes").iterdir()) == ["line.scene.yaml", "taught.scene.yaml"]


def test_nothing_half_written_is_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk fills up on the way."""
    folder = make(tmp_path)

    def full(*args: object, **kwargs: object) -> None:
        raise OSError(28, "No space left on device")

    scene = opened(folder)
    monkeypatch.setattr(written, "_rest", full)
    with pytest.raises(Exception, match="no space left on device"):
        written.write(scene, str(folder / "scenes" / "line.parquet"))
    assert sorted(path.name for path in (folder / "scenes").iterdir()) == ["line.scene.yaml", "taught.scene.yaml"]


@pytest.mark.parametrize(
    ("name", "answer"),
    [
        ("nowhere.scene.yaml", "there is no file"),
        ("station.yaml", "a scene is a file NAME.scene.yaml"),
    ],
)
def test_a_wrong_path(tmp_path: Path, name: str, answer: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["simulate", str(make(tmp_path) / name)]) == 2
    assert answer in capsys.readouterr().err


def test_messages_name_the_scene_as_it_was_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    scene = make(tmp_path) / "scenes" / "line.scene.yaml"
    scene.write_text(scene.read_text(encoding="utf-8").replace("seed: 7", "seed: seven"), encoding="utf-8")
    monkeypatch.chdir(scene.parent)
    assert cli.main(["simulate", "line.scene.yaml"]) == 2
    place = capsys.readouterr().err.partition(": seed: ")[0].rpartition(":")[0].rpartition(":")[0]
    assert not Path(place).is_absolute() and Path(place).resolve() == scene


def test_other_readings_under_the_same_cases(tmp_path: Path) -> None:
    """The cases keep their ids, the source is what was put under them, and the record calls itself partial."""
    folder = make(tmp_path)
    out = tmp_path / "out"
    assert cli.main(["run", str(folder), "--readings", "scenes/taught.scene.yaml", "-o", str(out)]) == 1
    import json

    result = json.loads((out / "record.json").read_text(encoding="utf-8"))["result"]
    assert [source["key"] for source in result["sources"]] == ["scenes/taught.scene.yaml"]
    assert result["partial"]
    assert result["partial_because"] == [
        "The cases were judged on scenes/taught.scene.yaml, not on the readings that they name."
    ]


def test_other_readings_twice_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Trials would count twice."""
    twice = ["--readings", "scenes/taught.scene.yaml"] * 2
    assert cli.main(["run", str(make(tmp_path)), *twice]) == 2
    assert capsys.readouterr().err == (
        "--readings: this recording is named twice; found scenes/taught.scene.yaml [duplicate-name]\n"
    )


def test_a_scene_is_simulated_whatever_is_wrong_with_others(tmp_path: Path) -> None:
    folder = make(tmp_path)
    (folder / "scenes" / "draft.scene.yaml").write_text("every: often\n", encoding="utf-8")
    assert simulate(folder) == 0 and cli.main(["observe", str(folder), "scenes/line.scene.yaml"]) == 0
    assert cli.main(["check", str(folder)]) == 2


def test_observing_a_scene_that_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["observe", str(make(tmp_path)), "scenes/lin.scene.yaml"]) == 2
    said = capsys.readouterr().err
    assert "there is no file scenes/lin.scene.yaml; did you mean scenes/line.scene.yaml? [no-file]" in said
    assert cli.main(["observe", str(tmp_path), "scenes/line.scene.yaml"]) == 0


def test_other_readings_that_are_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = make(tmp_path)
    assert cli.main(["run", str(folder), "--readings", "scenes/taugt.scene.yaml"]) == 2
    said = capsys.readouterr().err
    assert "--readings: there is no file scenes/taugt.scene.yaml; did you mean scenes/taught.scene.yaml?" in said


# --- the picture --------------------------------------------------------------------------------------------------------------


def test_the_picture_shows_what_the_scene_holds(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One page that loads nothing, with a title, a description and a table for each figure, loudly simulated."""
    folder = make(tmp_path, BOXES)
    page = tmp_path / "scene.html"
    assert simulate(folder, "--picture", str(page)) == 0
    assert not (folder / "scenes" / "line.parquet").exists()
    text = page.read_text(encoding="utf-8")
    assert text.count("<svg class=\"figure\"") == 3 and text.count("<title id=") == 3 and text.count("<desc id=") == 3
    assert text.count("<details>") == 3 and "<strong>Simulated.</strong>" in text
    assert not re.search(r"<script|src=|url\(|https?://(?!www.w3.org)", text)
    assert simulate(folder, "--picture", str(page)) == 2
    assert "is there already and is not written over" in capsys.readouterr().err


def test_the_picture_is_of_the_readings(tmp_path: Path) -> None:
    """Its points are readings, its spectra those of the scene: the belt is 6 % grey at every wavelength."""
    scene = opened(make(tmp_path, BOXES))
    spectra, geometry, readings = picture(scene)["figures"]
    belt = next(curve for curve in spectra["data"]["below"] if curve["name"] == "bare belt")
    assert {value for _, value in belt["points"]} == {0.06} and len(belt["points"]) == 81
    assert geometry["data"]["standoff"] == 40 and geometry["data"]["view_deg"] == 45
    first = geometry["data"]["targets"][0]
    assert (first["name"], first["from"], first["to"]) == ("mint", -20, 20)
    counts = whole(scene).bands["eye"]
    for number, band in enumerate(readings["data"]["bands"]):
        assert all(counts[number][t // 1_000_000] == value for t, value in band["points"])
    assert readings["data"]["presented"][0] == {"label": "mint", "start_ns": 396_000_000, "end_ns": 484_000_000}
    # from 40 ms before a box for 20 ms: 356 to 376 ms, of which the stretch, which begins a third of 88 ms before, has the end
    assert readings["data"]["inputs"][0] == {"name": "box in", "on": [[367_000_000, 376_000_000], [816_000_000, 836_000_000]]}


@pytest.mark.parametrize(
    "shape",
    [
        "rib: {at: 20 mm, width: 6 mm, height: 1 mm, flanks: 45 deg}",
        "cylinder: {radius: 20 mm, axis: across}",
        "cylinder: {radius: 20 mm, axis: along}, sideways: 4 mm",
    ],
)
def test_shapes_are_drawn(tmp_path: Path, shape: str) -> None:
    text = SCENE.replace("mint: {length: 40 mm", f"mint: {{{shape}, length: 40 mm")
    page = render(picture(opened(make(tmp_path, text))))
    told = "rib 6.00 mm wide" if "rib" in shape else "its axis across" if "across" in shape else "its axis along"
    assert told in page
