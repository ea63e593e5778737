"""What must hold within a case: one kind of evidence, one unit of trial, names that a mapping of free words may hold."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Any

from stationtest.files import expect_checks
from stationtest.files.case_fields import CaseFields, PresentFields
from stationtest.files.evidence_fields import EvidenceFields, evidence_problems
from stationtest.files.scalars import Names
from stationtest.files.suggest import allowed_words, nearest
from stationtest.files.words import listed, shown
from stationtest.model.station import GRADES

Told = tuple[tuple[str, ...], str, str]

FOLLOWS_PRESENT = ("outputs", "neighbours")  # one trial is what is presented: a presentation, a set or an item
TOGETHER = ("alike",)  # what is presented together: a set, or an item
SETS_ONLY = ("set", "order", "alike")
COUNTS_RUNS = ("count",)  # over a set where a set is presented, else over the whole recording
REGISTERED = ("grade", "lot", "made_by", "confirmed_by")  # columns of specimens.csv that need no declaration
FREE_WHERE = ("specimen", *REGISTERED, "set", "item")
TOUCHING = ("yes", "no")
EVENT_WORDS = ("during", "event", "first", "after")


def unit_of(expected: Sequence[tuple[str, str]], kind: str) -> str:
    """The unit of trial of a case whose expectations agree."""
    name, unit = expected[0]
    if name in COUNTS_RUNS and kind != "set":
        return "run"
    if kind == "item" and name in (*FOLLOWS_PRESENT, *TOGETHER):
        return "item"
    return "set" if name in FOLLOWS_PRESENT and kind == "set" else unit


class Checks:
    """The second pass over a typed case. `run` yields the path of a key, what is wrong with it, and the code."""

    def __init__(
        self,
        fields: CaseFields,
        expected: Sequence[tuple[str, str]],
        names: Names,
        members: Mapping[str, tuple[str, ...]],
        requirements: Collection[str] | None,
        register: Mapping[str, Collection[str]] | None,
        written: Mapping[str, Any],
    ) -> None:
        self.fields = fields
        self.expected = expected
        self.names = names
        self.members = members
        self.requirements = requirements
        self.register = register
        self.written = written  # the expectations as they stand in the file

    def run(self) -> Iterator[Told]:
        yield from self._present()
        yield from self._units()
        if self.fields.evidence is not None:
            for loc, message, code in evidence_problems(self.fields.evidence):
                yield ("evidence", *loc), message, code
            yield from self._evidence_fits(self.fields.evidence)
        yield from self._where()
        yield from expect_checks.problems(self.written, self._kind, self.fields.where or (), self.names)
        for requirement in self.fields.requirement or ():
            if self.requirements is not None and requirement not in self.requirements:
                yield ("requirement",), _unknown("requirement", requirement, self.requirements), "unknown-name"
        for tag in self.fields.tags or ():
            if not tag.replace("-", "_").isidentifier():
                yield ("tags",), f"a tag is one word of letters, digits, `_` and `-`; found {shown(tag)}", "wrong-value"

    @property
    def _kind(self) -> str:
        present = self.fields.present
        if not isinstance(present, PresentFields):
            return "targets"
        return "between" if present.between is not None else "item" if present.item is not None else "set"

    def _present(self) -> Iterator[Told]:
        present = self.fields.present
        if isinstance(present, list) and len(set(present)) < len(present):
            yield ("present",), f"a target stands twice in this list; found {listed(present)}", "duplicate-name"
        if not isinstance(present, PresentFields):
            return
        which = [key for key in ("complete", "lacking", "contents", "extra") if getattr(present, key) is not None]
        kinds = [key for key in ("between", "set_", "item") if getattr(present, key) is not None]
        if len(kinds) != 1:
            yield (
                ("present",),
                "what is presented is exactly one of a target, a list of targets, `between:`, `set:` and `item:`",
                ("contradiction" if kinds else "missing-key"),
            )
        elif present.matching is not None and present.item is None:
            yield ("present", "matching"), "this belongs to `item:`", "contradiction"
        elif present.set_ is None and which:
            yield ("present", which[0]), "this belongs to `set:`", "contradiction"
        elif present.set_ is not None and len(which) != 1:
            yield (
                ("present",),
                (f"a set is presented as exactly one of complete, lacking, contents and extra; found {listed(which) or 'none'}"),
                ("contradiction" if which else "missing-key"),
            )
        elif present.set_ is not None:
            members = self.members.get(present.set_)
            if present.lacking is not None and members is not None and present.lacking not in ("each", "any", *members):
                allowed = ("each", "any", *members)
                yield ("present", "lacking"), _unknown("member of the set", present.lacking, allowed), "unknown-name"
            if present.extra is not None and present.extra not in ("any", *self.names.target):
                yield ("present", "extra"), _unknown("target", present.extra, ("any", *self.names.target)), "unknown-name"

    def _units(self) -> Iterator[Told]:
        units = {name: unit_of([(name, unit)], self._kind) for name, unit in self.expected}
        if len(set(units.values())) > 1:
            spoken = listed(f"{name} of a {unit}" for name, unit in units.items())
            yield (
                ("expect",),
                f"expectations of one case speak of the same unit of trial; found {spoken}; allowed one unit, or two cases",
                "mixed-units",
            )
            return
        for name, unit in units.items():
            if unit == "presentation" and self._kind == "set":
                yield ("expect", name), "this expectation speaks of a presentation, and the case presents sets", "mixed-units"
            elif unit == "neighbouring pair" and self._kind != "targets":
                message = "this expectation speaks of neighbours among targets; present: a target, or a list of them"
                yield ("expect", name), message, "mixed-units"
            elif self._kind == "item" and unit != "item":
                yield ("expect", name), f"this expectation speaks of a {unit}, and the case presents items", "mixed-units"
            elif name in SETS_ONLY and unit != "item" and self._kind != "set":
                yield ("expect", name), "this expectation speaks of sets; present: {set: NAME, ...}", "mixed-units"

    def _evidence_fits(self, evidence: EvidenceFields) -> Iterator[Told]:
        unit = unit_of(self.expected, self._kind)
        if (unit == "run") != (evidence.runs is not None):
            message = (
                "this expectation speaks of the run as a whole: evidence: {runs: 1}"
                if unit == "run"
                else f"`runs` counts whole runs, and this case is judged on each {unit}"
            )
            yield ("evidence",), message, "contradiction"
        if evidence.duration is not None and self._kind != "between":
            yield (
                ("evidence", "duration"),
                "evidence by duration is for stretches between: present: {between: NAME}",
                "contradiction",
            )

    def _where(self) -> Iterator[Told]:
        for key, values in (self.fields.where or {}).items():
            allowed: Collection[str] | None = None
            if key in self.names.conditions:
                allowed = self.names.conditions[key]
            elif key in EVENT_WORDS:
                yield from self._event(key, values)
                continue
            elif key == "sensor":
                allowed = self.names.sensor
            elif key == "touching":
                allowed = TOUCHING
            elif self.register is not None and key in self.register:
                allowed = self.register[key]
            elif key == "grade":
                allowed = GRADES
            elif key not in FREE_WHERE:
                known = (*self.names.conditions, "sensor", "touching", *FREE_WHERE, *EVENT_WORDS)
                yield ("where", key), _unknown("condition", key, known), "unknown-name"
            for value in values:
                if allowed is not None and value not in allowed:
                    near = nearest(value, allowed)
                    message = f"`{shown(value)}` is no value of {key}" + (f"; did you mean `{near}`?" if near else "")
                    yield ("where", key), f"{message}; allowed {allowed_words(allowed)}", "unknown-name"

    def _event(self, key: str, values: Sequence[str]) -> Iterator[Told]:
        if key == "first":
            if len(values) != 1 or not values[0].isdecimal() or not 0 < int(values[0]) < 10**9:
                message = f"a number of trials is due here; found {shown(listed(values))}; allowed a whole number from 1"
                yield ("where", key), message, "wrong-value"
            if "after" not in (self.fields.where or {}):
                yield ("where", key), "the first after what? this key needs `after: EVENT` beside it", "missing-key"
            return
        for value in values:
            if value not in self.names.event:
                yield ("where", key), _unknown("event", value, self.names.event), "unknown-name"
            elif key == "event" and value not in self.names.lasting:
                message = f"this event is an instant, in which nothing begins; found {shown(value)}; allowed "
                message += "`after:` or `during:`, or an end of it in station.yaml: events: {NAME: {until: EVENT}}"
                yield ("where", key), message, "contradiction"


def _unknown(what: str, given: str, allowed: Iterable[str]) -> str:
    near = nearest(given, allowed)
    return (
        f"there is no {what} of this name"
        + (f"; did you mean `{near}`?" if near else "")
        + f"; found {shown(given)}; allowed {allowed_words(allowed)}"
    )
