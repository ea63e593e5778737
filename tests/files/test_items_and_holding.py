# ruff: noqa: E501 (messages stand whole on one line)
"""Kinds of items, channels held for them, cases that present them: from the words to the model, and what is refused (A27)."""

from __future__ import annotations

from pathlib import Path

import pytest
from station_folder import CASES, STATION, make, problems, suite

SENSOR = STATION[STATION.index("  sachet:") : STATION.index("targets:")]
ONE = "  1: {reference: mint, distance: CIEDE2000, tolerance: 4}"
TWO = "  2: {reference: {learned: recordings/day1.csv, target: chamomile}, distance: CIEDE2000, tolerance: 4}"
HELD = ONE.replace("{reference", "{sensor: sachet, held_for: item, over: 300 ms, reference")
TINS = (
    STATION.replace("targets:\n", SENSOR.replace("sachet", "sleeve") + "targets:\n", 1)
    .replace(ONE, HELD)
    .replace(TWO, TWO.replace("{reference", "{sensor: sleeve, reference"))
    .replace("conditions:", "items:\n  tin: {at: [sachet, sleeve], matching: [[mint, chamomile], [chamomile, mint]]}\nconditions:")
)
TIN_10 = """\
readings: [../recordings/day1.csv]
evidence: {trials: 3}
cases:
  TIN-10:
    title: A wrong lid is thrown out
    rows:
      - {id: right, present: {item: tin, matching: yes}, expect: {outputs: {flap: {is: off, from: box out, until: next decision}}}}
      - {id: wrong, present: {item: tin, matching: no}, expect: {outputs: {flap: {is: on, from: box out, after: 40 ms, within: 15 ms}}}}
      - {id: any, present: {item: tin}, expect: {alike: {distance: CIEDE2000, at_most: 3}}}
"""


def test_items_and_what_is_held_for_them(tmp_path: Path) -> None:
    found = suite(make(tmp_path, station=TINS, cases=TIN_10))
    (kind,) = found.station.items
    assert (kind.name, kind.at) == ("tin", ("sachet", "sleeve"))
    assert kind.matches(("mint", "chamomile")) and not kind.matches(("mint", "mint"))
    held = found.station.channel("1").held
    assert held is not None and (held.over, held.until) == (300_000_000, None)
    assert found.station.channel("2").held is None
    assert [(case.id, case.unit, case.present.item, case.present.matching) for case in found.cases] == [
        ("TIN-10.right", "item", "tin", True),
        ("TIN-10.wrong", "item", "tin", False),
        ("TIN-10.any", "item", "tin", None),
    ]
    assert [label for case in found.cases for label, _ in case.strata] == ["tin, matching", "tin, not matching", "tin"]


def test_items_match_if_their_parts_are_one_target_unless_stated(tmp_path: Path) -> None:
    text = TINS.replace(", matching: [[mint, chamomile], [chamomile, mint]]", "")
    kind = suite(make(tmp_path, station=text)).station.items[0]
    assert kind.matches(("mint", "mint")) and not kind.matches(("mint", "chamomile"))


STATION_PROBLEMS = [
    ("at: [sachet, sleeve]", "at: [sachet]", "items.tin.at: this has the wrong number of entries; found 1; allowed at least 2 [wrong-value]"),
    ("at: [sachet, sleeve]", "at: [sachet, sleve]", "items.tin.at.2: there is no sensor of this name; did you mean `sleeve`?"),
    ("at: [sachet, sleeve]", "at: [sachet, sachet]", "items.tin.at.2: sensor sachet stands twice; an item is presented once at each place [duplicate-name]"),
    ("[mint, chamomile], [", "[mint, chamomile, mint], [", "items.tin.matching.1: each of these lists names one target for each place; found 3 for sachet, sleeve [contradiction]"),
    ("[chamomile, mint]", "[mint, chamomile]", "items.tin.matching.2: these targets stand here already [duplicate-name]"),
    ("[chamomile, mint]", "[chamomile, mnt]", "items.tin.matching.2.2: there is no target of this name; did you mean `mint`?"),
    ("over: 300 ms", "over: 300", "channels.1.over: a bare number needs a unit"),
    ("over: 300 ms, ", "", "channels.1.held_for: a channel is held for an item either `over:` a time or length or `until:` an edge; found none [missing-key]"),
    ("over: 300 ms", "over: 300 ms, until: box out", "channels.1.held_for: a channel is held for an item either `over:` a time or length or `until:` an edge; found over and until [contradiction]"),
    ("held_for: item, ", "", "channels.1.over: this belongs to `held_for: item` [contradiction]"),
    ("held_for: item", "held_for: set", "channels.1.held_for: this word is not known here"),
    ("over: 300 ms", "until: box ot", "channels.1.until: there is no input of this name; did you mean `box out`?"),
    ("  tin: {at", "  full box: {at", "items.full box: this name is given already, to one of sets in line 34 [duplicate-name]"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "answer"), STATION_PROBLEMS, ids=[new[:30] for _, new, _ in STATION_PROBLEMS])
def test_a_station_that_cannot_be(tmp_path: Path, old: str, new: str, answer: str) -> None:
    assert old in TINS
    make(tmp_path, station=TINS.replace(old, new, 1), cases=CASES)
    assert any(answer in problem for problem in problems(tmp_path)), problems(tmp_path)


CASE_PROBLEMS = [
    ("{item: tin, matching: yes}", "{item: tinn, matching: yes}", "there is no item of this name; did you mean `tin`?"),
    ("{item: tin, matching: yes}", "{item: tin, matching: maybe}", "present.matching: "),
    ("{item: tin, matching: yes}", "{item: tin, complete: yes}", "present.complete: this belongs to `set:` [contradiction]"),
    ("{item: tin, matching: yes}", "{set: full box, complete: yes, matching: yes}", "present.matching: this belongs to `item:` [contradiction]"),
    ("{item: tin, matching: yes}", "{item: tin, set: full box, complete: yes}", "present: what is presented is exactly one of a target, a list of targets, `between:`, `set:` and `item:` [contradiction]"),
    ("{item: tin, matching: yes}", "mint", ""),
    ("{alike: {distance: CIEDE2000, at_most: 3}}", "{own_channel_only: yes}", "expect.own_channel_only: this expectation speaks of a presentation, and the case presents items [mixed-units]"),
    ("{alike: {distance: CIEDE2000, at_most: 3}}", "{set: complete}", "expect.set: this expectation speaks of a set, and the case presents items [mixed-units]"),
    ("{alike: {distance: CIEDE2000, at_most: 3}}", "{drift: {of: level, over: 3, at_most: 2 %}}", "expect.drift: this expectation speaks of a run, and the case presents items [mixed-units]"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "answer"), CASE_PROBLEMS, ids=[new[:40] for _, new, _ in CASE_PROBLEMS])
def test_a_case_that_cannot_be(tmp_path: Path, old: str, new: str, answer: str) -> None:
    assert old in TIN_10
    make(tmp_path, station=TINS, cases=TIN_10.replace(old, new, 1))
    found = problems(tmp_path)
    assert any(answer in problem for problem in found) if answer else not found, found
