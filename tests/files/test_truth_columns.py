# ruff: noqa: E501 (messages stand whole on one line)
"""A column of truth for each sensor (A27): from the words of a form to the model, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from station_folder import STATION, make, problems, suite

SENSOR = STATION[STATION.index("  sachet:") : STATION.index("targets:")]
TWO = STATION.replace("targets:\n", SENSOR.replace("sachet", "sleeve") + "targets:\n", 1).replace(
    "reference:", "sensor: sachet, reference:"
)
OWN = TWO.replace("target: part", "target: {sachet: part, sleeve: label}, specimen: {sleeve: nr}, set: box")


def test_from_the_words_to_the_model(tmp_path: Path) -> None:
    (form,) = suite(make(tmp_path, station=OWN)).station.recordings
    assert (form.target, form.specimen, form.set) == (None, None, "box")
    assert form.by_sensor == (("target", "sachet", "part"), ("target", "sleeve", "label"), ("specimen", "sleeve", "nr"))
    assert [form.says(role) for role in ("target", "specimen", "set", "item")] == [True, True, True, False]


PROBLEMS = [
    ("sleeve: label", "slevee: label", "target.slevee: there is no sensor of this name; did you mean `sleeve`?; found slevee; allowed sachet, sleeve [unknown-name]"),
    ("{sachet: part, sleeve: label}", "{}", "target: "),
    ("{sachet: part, sleeve: label}", "[part, label]", "target: "),
    ("{sachet: part, sleeve: label}", "part", "specimen: this can be stated for each sensor only where `target` is, such as {lid: COLUMN, tin: COLUMN} [contradiction]"),
    ("{sachet: part, sleeve: label}", "{sachet: part}", "specimen.sleeve: `target` names no column for sensor sleeve, so nothing is presented to it [contradiction]"),
    ("set: box", "sensor: at", "target: the column `sensor` says whose the truth of a row is, so columns for each sensor cannot say it as well [contradiction]"),
    ("set: box", "gate: {input: box in, list: recordings/list.txt}", "target: the list of a gate has one column for this, so it cannot be stated for each sensor [contradiction]"),
    ("set: box", "presentations: {file: recordings/p.txt, start: a, end: b, target: c}", "target: what was presented stands either in a column here or in the second table under `presentations:` [contradiction]"),
    ("time: {column: t, in: ms}, every: 1 ms, gap: 3 ms,", "rows: trials,", "target: a row of a table of trials is one presentation before one sensor: name one column, and the column `sensor` [contradiction]"),
    ("sleeve: label", "sleeve: I1", "target.sleeve: truth cannot be taken from the station's own signals; found column I1, which is inputs.box in [contradiction]"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "answer"), PROBLEMS, ids=[f"{new[:20]} {k}" for k, (_, new, _) in enumerate(PROBLEMS)])
def test_what_is_refused(tmp_path: Path, old: str, new: str, answer: str) -> None:
    assert OWN.count(old) == 1
    make(tmp_path, station=OWN.replace(old, new))
    found = problems(tmp_path)
    assert any(answer in problem and problem.startswith("station.yaml:") for problem in found), found


def test_only_the_form_of_a_stream_has_columns_for_each_sensor(tmp_path: Path) -> None:
    """A second table has a column `sensor`; what stands in it is one column for all."""
    second = TWO.replace("target: part", "presentations: {file: recordings/p.txt, start: a, end: b, target: {sachet: c}}")
    make(tmp_path, station=second)
    assert any("presentations.target: " in problem for problem in problems(tmp_path))
