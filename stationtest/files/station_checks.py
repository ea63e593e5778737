"""What must hold between the entries of a station file: names that clash, logic that loops, colours that cannot be compared."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from typing import Any

from stationtest.errors import Problem
from stationtest.files.channel_checks import ChannelChecks, colour_problems
from stationtest.files.evidence_fields import evidence_problems
from stationtest.files.form_checks import form_problems
from stationtest.files.group_checks import group_problems, item_problems
from stationtest.files.paths import Folder
from stationtest.files.reaches import TravelFields, travel_problems
from stationtest.files.scalars import Names
from stationtest.files.sensor_checks import sensor_problems
from stationtest.files.station_fields import (
    LogicFields,
    OutputFields,
    SetFields,
    StationFields,
    TargetFields,
)
from stationtest.files.tree import Map, Tree, Word
from stationtest.files.words import listed

Told = tuple[tuple[str | int, ...], str, str]

LATER = "held_until", "held_from", "held_while"
KEPT_CONDITIONS = (
    "specimen", "sensor", "touching", "set", "item", "target", "id", "valid_from", "valid_until",
    "first", "after", "during", "event",
)  # fmt: skip


def near_names(tree: Tree, root: Map) -> Iterator[Problem]:
    """Names that are one, or differ only in leading zeros, case or blanks, within what shares a name space."""
    for sections in (("sensors",), ("targets",), ("channels", "inputs", "outputs"), ("sets", "items"), ("conditions",)):
        seen: dict[str, tuple[str, Word]] = {}
        for section in sections:
            for name in root.get(section, ()) if isinstance(root.get(section), Map | list) else ():
                if not isinstance(name, Word):
                    continue
                form = "".join(unicodedata.normalize("NFKC", name).casefold().split()).lstrip("0") or "0"
                other, first = seen.setdefault(form, (section, name))
                if first is name or (first == name and other == section and section != "inputs"):
                    continue  # a key that stands twice is told by the tree
                where = f"of {other} in line {first.line}"
                message = (
                    f"this name is given already, to one {where}"
                    if first == name
                    else f"this name differs from `{first}` {where} only in leading zeros, case or blanks"
                )
                yield Problem(tree.place(name), f"{section}.{name}", message, "duplicate-name")


class Checks:
    """The second pass over a typed station. `run` yields the path of a key, what is wrong with it, and the code."""

    def __init__(self, fields: StationFields, names: Names, folder: Folder) -> None:
        self.fields = fields
        self.names = names
        self.folder = folder
        self.targets: dict[str, TargetFields] = fields.targets if isinstance(fields.targets, dict) else {}
        self.channels = ChannelChecks(fields, names, folder)

    def run(self) -> Iterator[Told]:
        for name, sensor in self.fields.sensors.items():
            for loc, message, code in sensor_problems(sensor, self.folder):
                yield ("sensors", name, *loc), message, code
        for name, target in self.targets.items():
            if target.colour:
                for loc, message, code in colour_problems(target.colour):
                    yield ("targets", name, "colour", *loc), message, code
        for name, channel in self.fields.channels.items():
            for loc, message, code in self.channels.channel(channel):
                yield ("channels", name, *loc), message, code
        for name in self.fields.groups:
            for loc, message, code in group_problems(name, self.fields):
                yield ("groups", name, *loc), message, code
        for name, item in self.fields.items.items():
            for loc, message, code in item_problems(item):
                yield ("items", name, *loc), message, code
        for name, output in self.fields.outputs.items():
            if output.delays_in == "controller" and not self.fields.scan.worst:
                message = "how far a controller's delays step is its worst scan, and `scan: {worst: ...}` is not stated"
                yield ("outputs", name, "delays_in"), message, "missing-key"
            for loc, message, code in self._output(output):
                yield ("outputs", name, *loc), message, code
        yield from self._loops()
        for name, kind in self.fields.sets.items():
            for loc, message, code in self._set(kind):
                yield ("sets", name, *loc), message, code
        for pattern, form in self.fields.recordings.items():
            for loc, message, code in form_problems(form, self.folder, self.names.channel):
                yield ("recordings", pattern, *loc), message, code
        for number, name in enumerate(self.fields.required_in_run):
            if name in self.fields.required_in_run[:number]:
                yield ("required_in_run", number), f"this fact is asked for twice; found {name}", "duplicate-name"
        for name in self.fields.conditions:
            if name in KEPT_CONDITIONS:
                message = f"this word has a meaning of its own in `where:`; found {name}; allowed any other word"
                yield ("conditions", name), message, "reserved-word"
        yield from self._travel()
        for name, evidence in self.fields.evidence.items():
            for loc, message, code in evidence_problems(evidence):
                yield ("evidence", name, *loc), message, code
        for key in ("requirements", "specimens"):
            if path := getattr(self.fields, key):
                problem = self.folder.problem(self.folder.relative(path, ""))
                if problem:
                    yield (key,), *problem

    def _travel(self) -> Iterator[Told]:
        stated: list[tuple[tuple[str, ...], TravelFields]] = []
        if self.fields.travel is not None:
            stated.append((("travel",), self.fields.travel))
        for pattern, form in self.fields.recordings.items():
            if form.travel is not None:
                stated.append((("recordings", pattern, "travel"), form.travel))
        for loc, travel in stated:
            columns = [name for form in self.fields.recordings.values() for name in form.conditions]
            if travel.standstill is not None and "belt" in (*self.fields.conditions, *columns):
                message = "with this key the condition `belt` follows from the travel, so no column can say it as well"
                yield (*loc, "standstill"), message, "contradiction"
            for inner, message, code in travel_problems(travel):
                yield (*loc, *inner), message, code
            if travel.input is not None and travel.input in self._used_inputs():
                yield (
                    (*loc, "input"),
                    "pulses of the belt are counted and not kept, so this input cannot stand in logic, sets or gates as well",
                    "contradiction",
                )

    def _used_inputs(self) -> set[str]:
        used: set[str] = set()
        for output in self.fields.outputs.values():
            used.update(_signals(output))
            used.update(edge.input for edge in (output.held_until, output.held_from, output.decided_at) if edge)
            used.update(name for name in (output.held_while, output.enabled_while) if name)
        used.update(channel.enabled_while for channel in self.fields.channels.values() if channel.enabled_while)
        for kind in self.fields.sets.values():
            used.update(edge.input for edge in (kind.from_, kind.to) if edge)
        used.update(form.gate.input for form in self.fields.recordings.values() if form.gate)
        return used

    def _output(self, output: OutputFields) -> Iterator[Told]:
        yield from _one_of(output, ())
        if output.held_until and output.held_while:
            yield (
                ("held_while",),
                "a latch is cleared either at an edge (held_until) or with an input (held_while)",
                "contradiction",
            )
        if output.held_from and not output.held_until:
            yield ("held_from",), "this key needs `held_until` beside it", "contradiction"
        remembers = output.held_until or output.held_while or (output.pulse and not output.decided_at)
        for name in () if remembers else _signals(output):
            channel = self.fields.channels.get(name)
            if channel is not None and channel.read_as == "edge" and channel.held_for is None:
                yield (
                    (),
                    f"channel {name} is read by its edges, which last no time: this output needs a latch "
                    "(held_until, held_while) or a pulse",
                    "contradiction",
                )
        if output.acts_after is not None and not output.decided_at:
            yield (
                ("acts_after",),
                "only what is decided at an edge can act later: this key needs `decided_at` beside it",
                "contradiction",
            )
        for key in LATER:
            if output.decided_at and getattr(output, key) is not None:
                yield (
                    (key,),
                    "an output that is decided at an edge holds until the next decision; it has no latch",
                    "contradiction",
                )

    def _loops(self) -> Iterator[Told]:
        uses = {
            name: [part for part in _signals(output) if part in self.fields.outputs]
            for name, output in self.fields.outputs.items()
        }
        settled: set[str] = set()
        for start in uses:
            trail: list[tuple[str, Iterator[str]]] = [(start, iter(uses[start]))] if start not in settled else []
            while trail:
                _, rest = trail[-1]
                onward = next(rest, None)
                names = [name for name, _ in trail]
                if onward is None:
                    settled.add(trail.pop()[0])
                elif onward in names:
                    loop = [*names[names.index(onward) :], onward]
                    yield ("outputs", loop[-2]), f"this logic depends on itself: {' → '.join(loop)}", "loop"
                    settled.update(names)
                    break
                elif onward not in settled:
                    trail.append((onward, iter(uses[onward])))

    def _set(self, kind: SetFields) -> Iterator[Told]:
        if (kind.from_ is None) != (kind.to is None):
            missing = "to" if kind.to is None else "from"
            yield (
                (missing,),
                "this key is missing; a set has both `from` and `to`, or neither and a set column in its recordings",
                "missing-key",
            )


def _one_of(logic: LogicFields, loc: tuple[str, ...]) -> Iterator[Told]:
    given = [key for key in ("any_of", "all_of", "none_of", "at_least") if getattr(logic, key) is not None]
    if len(given) != 1:
        yield (
            loc,
            (f"logic is exactly one of any_of, all_of, none_of and at_least; found {listed(given) or 'none'}"),
            ("contradiction" if given else "missing-key"),
        )
    if logic.at_least and logic.at_least.n > len(logic.at_least.of):
        yield (*loc, "at_least"), f"{logic.at_least.n} of {len(logic.at_least.of)} can never be on", "contradiction"
    for part in _parts(logic):
        if isinstance(part, LogicFields):
            yield from _one_of(part, loc)


def _parts(logic: LogicFields) -> list[Any]:
    return [*(logic.any_of or ()), *(logic.all_of or ()), *(logic.none_of or ()), *(logic.at_least.of if logic.at_least else ())]


def _signals(logic: LogicFields) -> Iterator[str]:
    for part in _parts(logic):
        if isinstance(part, LogicFields):
            yield from _signals(part)
        else:
            yield part
