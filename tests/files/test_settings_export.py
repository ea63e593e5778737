# ruff: noqa: E501 (messages stand whole on one line)
"""Exports of devices against station.yaml (A29): formats, amounts in units, what differs, what changed in the run."""

from __future__ import annotations

from pathlib import Path

import pytest
from station_folder import CASES, STATION, make, problems, suite

from stationtest.engine import as_found
from stationtest.errors import FileProblems
from stationtest.files import settings_export
from stationtest.model.settings_found import SettingKey

KEYS = """\
settings_keys:
  channels.1.tolerance: CH1.TOL
  channels.1.off_delay: {key: CH1.TOFF, in: ms}
  channels.1.switches: {key: CH1.MODE, words: {"1": on match, "0": off match}}
  sensors.sachet.dark.2: DARK.2
"""
GOOD = "CH1.TOL;4.0\nCH1.TOFF;0\nCH1.MODE;1\nDARK.2;11\nFIRMWARE;2.7\n"
RUN = "who: A\nsettings_as_found: {file: found.csv, read: 2026-03-01T08:10, by: trial crew 1}\n"


def folder(path: Path, export: str = GOOD, run: str = RUN, **files: str) -> Path:
    return make(path, STATION + KEYS, CASES, **{"run.yaml": run, "found.csv": export, **files})


def test_what_is_the_same_agrees_in_whatever_unit_and_digits(tmp_path: Path) -> None:
    found = suite(folder(tmp_path)).settings_found
    assert found is not None and not found.differences()
    assert [(one.setting, one.declared, one.found, one.agrees) for one in found.compared] == [
        ("channels.1.tolerance", "4", "4.0", True),
        ("channels.1.off_delay", "0 ms", "0", True),
        ("channels.1.switches", "on match", "1", True),
        ("sensors.sachet.dark.2", "11", "11", True),
    ]
    roles = {part.path: part.role for part in suite(tmp_path).files}
    assert roles["found.csv"] == "settings"


@pytest.mark.parametrize(
    ("declared", "found", "by", "same"),
    [
        ("0.012", "0.0120", {}, True),
        ("0.012", "1.2E-2", {}, True),
        ("0.012", "0.015", {}, False),
        ("0.012", "0,012", {"decimal": "comma"}, True),
        ("0.012", "0,012", {}, False),
        ("40 ms", "0.04 s", {}, True),
        ("40 ms", "40", {"unit": "ms"}, True),
        ("40 ms", "40", {}, False),  # a bare number has no unit until one is declared
        ("40 ms", "40000", {"unit": "us"}, True),
        ("10 %", "10", {"unit": "%"}, True),
        ("4 mm", "4 ms", {}, False),
        ("on match", "ON", {"words": (("ON", "on match"),)}, True),
        ("on match", "OFF", {"words": (("ON", "on match"),)}, False),
    ],
)
def test_a29_amounts_are_compared_exactly(declared: str, found: str, by: dict[str, object], same: bool) -> None:
    assert settings_export.same(declared, found, SettingKey(setting="s", key="k", **by)) is same  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("a.csv", "key,value\nCH1.TOL,0.012\n"),
        ("a.txt", "CH1.TOL = 0.012\n"),
        ("a.tsv", "CH1.TOL\t0.012\tnote\n"),
        ("a.json", '{"CH1": {"TOL": 0.0120, "on": true, "list": [1, {"x": null}]}}'),
        ("a.yaml", "CH1:\n  TOL: 0.012\n"),
    ],
)
def test_formats(name: str, text: str) -> None:
    found, refused = settings_export.read(text.encode(), name)
    assert not refused and float(found["CH1.TOL"][0]) == 0.012
    if name == "a.json":
        assert found["CH1.TOL"][0] == "0.0120", "digits stay as they stand"
        assert (found["CH1.on"][0], found["CH1.list.1"][0], found["CH1.list.2.x"][0]) == ("true", "1", "")


@pytest.mark.parametrize(
    ("name", "data", "told"),
    [
        ("a.csv", b"A;1\nA;2\n", "a.csv:2: A: the key A stands twice in this export [duplicate-key]"),
        ("a.json", b'{"A": 1, "A": 2}', "a.json: A: the key A stands twice in this export [duplicate-key]"),
        ("a.json", b'{"A": 1', "a.json:1: the file cannot be read as JSON: Expecting ',' delimiter: line 1 column 8 (char 7) [unreadable]"),
        ("a.csv", b"nothing here\n", "a.csv:1: there are no keys and values in this file [unreadable]"),
        ("a.csv", b"A;1\n\xff;2\n", "a.csv:2: the file is not UTF-8 text; save it as UTF-8 [unreadable]"),
        ("a.yaml", b"A: [1\n", "a.yaml:1:4: "),
    ],
)  # fmt: skip
def test_files_that_are_refused(name: str, data: bytes, told: str) -> None:
    problem = str(settings_export.read(data, name)[1][0])
    assert problem.startswith(told) and "\n" not in problem


def test_a29_every_difference_is_named(tmp_path: Path) -> None:
    """Tolerance 4 declared, 4.5 in the sensor; polarity the other way round."""
    made = suite(folder(tmp_path, GOOD.replace("4.0", "4.5").replace("MODE;1", "MODE;0")))
    assert made.settings_found is not None
    assert [words for _, _, words in made.settings_found.differences()] == [
        "station.yaml says 4, and 4.5 was found under CH1.TOL",
        "station.yaml says on match, and 0 was found under CH1.MODE",
    ]
    (caution,) = as_found.cautions(made)
    assert "channels.1.tolerance: station.yaml says 4, and 4.5 was found" in caution["text"]


def test_a29_taken_again_at_the_end(tmp_path: Path) -> None:
    run = RUN.replace("crew 1}", "crew 1, again: {file: after.csv, read: 2026-03-01T17:00, by: trial crew 2}}")
    same = suite(folder(tmp_path, run=run, **{"after.csv": GOOD})).settings_found
    assert same is not None and same.again and not same.differences() and same.compared[0].after == "4.0"
    changed = suite(folder(tmp_path, run=run, **{"after.csv": GOOD.replace("2.7", "2.8").replace("DARK.2;11\n", "")})).settings_found
    assert changed is not None
    assert changed.changed == (("FIRMWARE", "2.7", "2.8"), ("DARK.2", "11", "absent"))
    assert changed.differences()[0][2] == "this was 2.7 before the run and 2.8 after it"


def test_sensor_and_controller_may_be_two_files(tmp_path: Path) -> None:
    run = "settings_as_found:\n  - {file: found.csv, read: 2026-03-01, by: A}\n  - {file: plc.json, read: 2026-03-01, by: B}\n"
    made = folder(tmp_path, GOOD.replace("CH1.TOFF;0\n", ""), run, **{"plc.json": '{"CH1": {"TOFF": 0}}'})
    found = suite(made).settings_found
    assert found is not None and [one.agrees for one in found.compared] == [True] * 4


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (("CH1.TOL;", "CH1_TOL;"), "station.yaml:31:3: settings_keys.channels.1.tolerance: no export has the key CH1.TOL; did you mean CH1_TOL? [unknown-name]"),
        (("file: found.csv", "file: fuond.csv"), "run.yaml:2:1: settings_as_found.file: there is no file fuond.csv; did you mean found.csv? [no-file]"),
        (("file: found.csv", "file: ../found.csv"), "run.yaml:2:1: settings_as_found.file: this path leaves the station folder; found ../found.csv; allowed files inside it, or --allow-outside [outside-folder]"),
        ((", by: trial crew 1", ""), "run.yaml:2:1: settings_as_found.by: this key is missing"),
        (("channels.1.tolerance", "channels.1.tolerence"), "station.yaml:31:3: settings_keys.channels.1.tolerence: there is no such setting in this file; did you mean `channels.1.tolerance`?; found channels.1.tolerence; allowed a path such as channels.1.tolerance, items of a list counted from 1 [unknown-name]"),
        (("sensors.sachet.dark.2", "sensors.sachet.dark"), "station.yaml:34:3: settings_keys.sensors.sachet.dark: there is no such setting in this file"),
    ],
)  # fmt: skip
def test_refusals(tmp_path: Path, change: tuple[str, str], told: str) -> None:
    made = folder(tmp_path)
    for file in ("station.yaml", "run.yaml", "found.csv"):
        text = (made / file).read_text(encoding="utf-8")
        (made / file).write_text(text.replace(*change), encoding="utf-8")
    (problem,) = problems(made)
    assert problem.startswith(told)


def test_a29_a_run_on_a_recorded_basis_stops(tmp_path: Path) -> None:
    made = suite(folder(tmp_path, GOOD.replace("4.0", "4.5")))
    demanded = made.cases[0].__class__(**{**{k: getattr(made.cases[0], k) for k in made.cases[0].__slots__}, "basis": "recorded"})
    with pytest.raises(FileProblems) as caught:
        as_found.stop_if_they_differ(made, [demanded], {})
    (problem,) = caught.value.problems
    assert str(problem).endswith("found.csv:1: channels.1.tolerance: station.yaml says 4, and 4.5 was found under CH1.TOL; mend the one or the other [settings-differ]")
    agreed = suite(folder(tmp_path))
    as_found.stop_if_they_differ(agreed, [demanded], {})
