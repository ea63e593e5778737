# ruff: noqa: E501 (messages stand whole on one line)
"""What one trial is (A19), and logic that nests over one name space and refuses loops (A31)."""

from __future__ import annotations

from pathlib import Path

import pytest
from station_folder import CASES, STATION, make, problems, suite

from stationtest import plugins
from stationtest.files.case_checks import unit_of

# Counter-example A19, its table: expectation, what one trial is where a target, a set or an item is presented
UNITS = [
    ("own_channel_only", "presentation", None, None),
    ("only_channels", "presentation", None, None),
    ("channels", "presentation", None, None),
    ("silent", "presentation", None, None),
    ("no_channel", "presentation", None, None),
    ("outputs", "presentation", "set", "item"),
    ("set", None, "set", None),
    ("pulses", "presentation", None, None),
    ("response", "presentation", None, None),
    ("held", "presentation", None, None),
    ("margin", "presentation", None, None),
    ("level", "presentation", None, None),
    ("order", None, "set", None),
    ("count", "run", "set", None),
    ("alike", None, "set", "item"),
    ("drift", "run", None, None),
    ("agrees", "presentation", None, None),
]


@pytest.mark.parametrize(("name", "target", "set_", "item"), UNITS, ids=[row[0] for row in UNITS])
def test_a19_what_one_trial_is(name: str, target: str | None, set_: str | None, item: str | None) -> None:
    unit = plugins.load().expectations[name].unit
    for kind, expected in (("targets", target), ("set", set_), ("item", item)):
        if expected is not None:
            assert unit_of([(name, unit)], kind) == expected


WRITTEN = {
    "own_channel_only": "yes", "only_channels": "1", "channels": "1", "silent": "1", "no_channel": "yes", "set": "complete",
    "pulses": "{channels: own, exactly: 1}", "response": "{at_most: 15 ms, from: start}", "held": "at least 5 ms",
    "margin": "{must_fire: at least 0.1}", "level": "{at_least: 8 %}", "order": "[1, 2]", "count": "{output: flap}",
    "alike": "{distance: CIEDE2000, at_most: 2}", "drift": "{of: level, over: 10, at_most: 3 %}", "agrees": "{edges_within: 12 ms}",
    "outputs": "{flap: {is: off, from: box out}}",
}  # fmt: skip
PRESENT = {"target": "mint", "set": "{set: full box, complete: yes}", "item": "{item: tin}"}


@pytest.mark.parametrize("shape", PRESENT)
@pytest.mark.parametrize("row", UNITS, ids=[row[0] for row in UNITS])
def test_a19_an_expectation_of_another_unit_is_refused(tmp_path: Path, row: tuple[str, ...], shape: str) -> None:
    name, unit = row[0], row[1 + list(PRESENT).index(shape)]
    station = STATION.replace("targets:\n", "  sleeve: {reads: CIELAB, columns: {L: x, a: y, b: z}, illuminant: D65, observer: 2 deg}\ntargets:\n", 1)
    station = station.replace("conditions:", "items:\n  tin: {at: [sachet, sleeve]}\nconditions:").replace("{reference:", "{sensor: sachet, reference:")
    evidence = "{runs: 1}" if unit == "run" or (unit is None and row[1] == "run") else "{trials: 3}"
    case = f"readings: ../recordings/day1.csv\ncases:\n  A: {{title: A, present: {PRESENT[shape]}, expect: {{{name}: {WRITTEN[name]}}}, evidence: {evidence}}}\n"
    found = problems(make(tmp_path, station=station, cases=case))
    if unit is not None or (name == "drift" and shape == "set"):  # the run over a set's members is a run too
        assert found == []
    else:
        assert any("mixed-units" in problem for problem in found), found


def test_a19_expectations_of_two_units_in_one_case(tmp_path: Path) -> None:
    case = CASES.replace("{own_channel_only: yes}", "{own_channel_only: yes, drift: {of: level, over: 10, at_most: 3 %}}")
    assert [problem.rpartition(": ")[2] for problem in problems(make(tmp_path, cases=case))] == [
        "expectations of one case speak of the same unit of trial; found own_channel_only of a presentation and drift of a run; allowed one unit, or two cases [mixed-units]"
    ]


NESTED = """\
  either: {any_of: [1, {all_of: [2, box in]}, {none_of: [complete, {at_least: {n: 2, of: [1, 2, box out]}}]}]}
"""


def test_a31_logic_nests_over_channels_inputs_and_outputs(tmp_path: Path) -> None:
    station = suite(make(tmp_path, station=STATION.replace("outputs:\n", "outputs:\n" + NESTED))).station
    logic = station.output("either").logic
    assert list(logic.names()) == ["1", "2", "box in", "complete", "1", "2", "box out"]
    assert logic.of[2].of[1].n == 2  # type: ignore[union-attr]


LOOPS = [
    ("  a: {any_of: [1, {none_of: [a]}]}\n", "outputs.a: this logic depends on itself: a → a [loop]"),
    ("  a: {any_of: [1, {all_of: [b, 2]}]}\n  b: {none_of: [{at_least: {n: 1, of: [c]}}]}\n  c: {all_of: [{any_of: [a]}], held_until: box out}\n",
     "this logic depends on itself: a → b → c → a [loop]"),
]  # fmt: skip


@pytest.mark.parametrize(("outputs", "message"), LOOPS, ids=["by itself", "through others and a latch"])
def test_a31_a_loop_is_refused_however_deep(tmp_path: Path, outputs: str, message: str) -> None:
    found = problems(make(tmp_path, station=STATION.replace("outputs:\n", "outputs:\n" + outputs)))
    assert any(message in problem for problem in found), found


REFUSED = [
    ("{any_of: [1, {all_of: [2], any_of: [1]}]}", "logic is exactly one of any_of, all_of, none_of and at_least; found any_of and all_of [contradiction]"),
    ("{any_of: [{none_of: []}]}", "outputs.a.any_of.1.none_of: this has the wrong number of entries; found 0; allowed at least 1 [wrong-value]"),
    ("{any_of: [{at_least: {n: 3, of: [1, 2]}}]}", "3 of 2 can never be on [contradiction]"),
    ("{any_of: [{none_of: [boxin]}]}", "there is no channel, input or output of this name; did you mean `box in`?"),
    ("{any_of: [{none_off: [1]}]}", "there is no key `none_off` here; did you mean `none_of`?"),
    ("{decided_at: box out}", "logic is exactly one of any_of, all_of, none_of and at_least; found none [missing-key]"),
]


@pytest.mark.parametrize(("logic", "message"), REFUSED, ids=[logic for logic, _ in REFUSED])
def test_a31_logic_that_cannot_be(tmp_path: Path, logic: str, message: str) -> None:
    found = problems(make(tmp_path, station=STATION.replace("outputs:\n", f"outputs:\n  a: {logic}\n")))
    assert any(message in problem for problem in found), found


@pytest.mark.parametrize(("old", "new"), [("inputs: [box in", "inputs: [1, box in"), ("outputs:\n", "outputs:\n  box in: {any_of: [1]}\n")])
def test_a31_channels_inputs_and_outputs_share_one_name_space(tmp_path: Path, old: str, new: str) -> None:
    assert any("this name is given already" in problem for problem in problems(make(tmp_path, station=STATION.replace(old, new, 1))))
