"""station.yaml to `model.Station`: every problem it has, and as much of the station as can be known for checking the cases."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from stationtest.errors import Problem
from stationtest.files import station_checks, station_model
from stationtest.files.evidence_fields import EvidenceFields, evidence_problems
from stationtest.files.field_problems import locate, typed
from stationtest.files.paths import Folder
from stationtest.files.quantities import amount
from stationtest.files.scalars import Names
from stationtest.files.station_fields import MAPPED, RESERVED_KEYS, StationFields
from stationtest.files.suggest import nearest
from stationtest.files.tree import Hole, Map, Tree, Word, plain
from stationtest.files.words import shown
from stationtest.model.settings_found import SettingKey
from stationtest.model.station import Station
from stationtest.place import Place

FILE = "station.yaml"
BELT_STATES = ("running", "stopped")


@dataclass(slots=True)
class StationFile:
    """What is known of a station file. `station` is None if it has problems; `names` is filled as far as the file allows."""

    names: Names
    station: Station | None = None
    written: dict[str, Any] = field(default_factory=dict)
    fields: StationFields | None = None
    patterns: tuple[str, ...] = ()
    requirements: str | None = None
    specimens: str | None = None
    problems: list[Problem] = field(default_factory=list)
    readable: bool = True  # False where there is no mapping to take names from

    def sound_evidence(self) -> dict[str, EvidenceFields]:
        """The demands for evidence that cases may name, without those that have problems of their own."""
        defined = self.fields.evidence if self.fields else {}
        return {name: evidence for name, evidence in defined.items() if not any(evidence_problems(evidence))}


def read_station(tree: Tree, folder: Folder) -> StationFile:
    """The typed station. Problems of the tree are in the result."""
    root = tree.root
    if not isinstance(root, Map):
        problems = list(tree.problems)
        if root is not None:
            problems.append(
                Problem(tree.place(root), "", "a station file is a mapping that begins with `station: NAME`", "wrong-value")
            )
        return StationFile(Names(), problems=problems, readable=False)
    problems, reserved = list(tree.problems), _reserved(root)
    root = _without(root, reserved)
    meant = _as_meant(root)
    names = names_of(meant)
    problems += [
        Problem(tree.place(word), str(word), "this word is kept for a later version of the files", "reserved-word")
        for word in reserved
    ]
    problems += station_checks.near_names(tree, root)
    fields, found = typed(StationFields, root, tree.path, context=names)
    problems += found
    known = fields if fields is not None else _reduced(meant, found, tree.path, names)
    if known is not None:
        said = station_checks.Checks(known, names, folder)
        for loc, message, code in said.run():
            _, at, path = locate(meant, loc)
            problems.append(Problem(Place(tree.path, at.line, at.column), ".".join(path), message, code))
    file = StationFile(names, fields=fields, problems=problems)
    file.patterns = tuple(str(pattern) for pattern in _map(root, "recordings"))
    file.requirements, file.specimens = (_path(root, key) for key in ("requirements", "specimens"))
    if fields is not None and not problems:
        file.station = station_model.station(fields, root, tree, folder)
        file.written = plain(_dumped(fields))
        if file.station.settings_keys:
            file.problems += _untold(file.station.settings_keys, file.written)
    return file


def _untold(keys: Iterable[SettingKey], written: dict[str, Any]) -> Iterator[Problem]:
    """Keys of devices for settings that this file does not have."""
    from stationtest.files import settings_export  # few stations name keys of devices

    for one in keys:
        value = settings_export.setting_of(written, one.setting)
        if value is None or isinstance(value, dict | list):
            near = nearest(one.setting, settings_export.settings(written))
            hint = f"; did you mean `{near}`?" if near else ""
            message = f"there is no such setting in this file{hint}; found {shown(one.setting)}"
            allowed = "a path such as channels.1.tolerance, items of a list counted from 1"
            yield Problem(one.place, f"settings_keys.{one.setting}", f"{message}; allowed {allowed}", "unknown-name")
        elif one.unit is not None and (mine := amount(str(value))) is not None:
            theirs = amount(f"1 {one.unit}")
            if theirs is None or theirs[1] != mine[1]:
                due = f"a unit of {mine[1]}" if mine[1] else "no unit"
                message = f"{one.setting} is {shown(str(value))}, so {due} is due here; found {shown(one.unit)}"
                yield Problem(one.place, f"settings_keys.{one.setting}.in", message, "contradiction")


def names_of(root: Map) -> Names:
    """The names that a station declares, taken from the nodes, so that they are known even where its entries have problems."""
    conditions = {
        str(key): tuple(map(str, value)) if isinstance(value, list) else () for key, value in _map(root, "conditions").items()
    }
    forms = [root, *(form for form in _map(root, "recordings").values() if isinstance(form, Map))]
    travels = [travel for form in forms if isinstance(travel := form.get("travel"), Map)]
    if any("standstill" in travel for travel in travels):
        conditions.setdefault("belt", BELT_STATES)
    return Names(
        target=_names(root, "targets"),
        channel=_names(root, "channels"),
        sensor=_names(root, "sensors"),
        input=_names(root, "inputs"),
        output=_names(root, "outputs"),
        set=_names(root, "sets"),
        item=_names(root, "items"),
        evidence=_names(root, "evidence"),
        event=tuple(dict.fromkeys((*_names(root, "events"), *_ends(root).values()))),
        lasting=tuple(_ends(root)),
        decided=tuple(
            str(name) for name, output in _map(root, "outputs").items() if isinstance(output, Map) and _decided(root, output)
        ),
        conditions=conditions,
        travel="travel" in root
        or any(isinstance(form, Map) and "travel" in form for form in _map(root, "recordings").values()),
    )


def _decided(root: Map, output: Map) -> bool:
    """Whether an output is decided at an edge, or is any of some that are."""
    outputs = _map(root, "outputs")
    read = output.get("any_of")
    parts = [outputs.get(name) for name in read if isinstance(name, str)] if isinstance(read, list) else []
    return "decided_at" in output or any(isinstance(part, Map) and "decided_at" in part for part in parts)


def _names(root: Map, section: str) -> tuple[str, ...]:
    value = root.get(section)
    return tuple(str(name) for name in value if isinstance(name, str)) if isinstance(value, list | dict) else ()


def _ends(root: Map) -> dict[str, str]:
    """The events that last, and what ends each."""
    until = {str(name): kind.get("until") for name, kind in _map(root, "events").items() if isinstance(kind, Map)}
    return {name: str(end) for name, end in until.items() if isinstance(end, Word) and not isinstance(end, Hole)}


def _map(root: Map, section: str) -> Mapping[str, Any]:
    value = root.get(section)
    return value if isinstance(value, Map) else {}


def _path(root: Map, key: str) -> str | None:
    value = root.get(key)
    return str(value) if isinstance(value, Word) and not isinstance(value, Hole) else None


def _reserved(root: Map) -> list[str]:
    return [key for key, value in root.items() if key in RESERVED_KEYS or (key == "requirements" and isinstance(value, Map))]


def _as_meant(root: Map) -> Map:
    """The file with the sections whose keys are misspelt under their right keys: one wrong letter is one problem, not one for
    each name that stands in the section."""
    keys: dict[Any, Any] = {key: key for key in root}
    for key in keys:
        near = nearest(key, StationFields.model_fields) if key not in StationFields.model_fields else None
        if near is not None and near not in root:
            keys[key] = Word(near)
            keys[key].line, keys[key].column, keys[key].quoted = key.line, key.column, key.quoted
    meant = Map({keys[key]: value for key, value in root.items()})
    meant.line, meant.column = root.line, root.column
    return meant


def _without(root: Map, dropped: list[str]) -> Map:
    if not dropped:
        return root
    rest = Map({key: value for key, value in root.items() if key not in dropped})
    rest.line, rest.column = root.line, root.column
    return rest


def _reduced(root: Map, found: list[Problem], path: str, names: Names) -> StationFields | None:
    """The station without the entries that have problems, so that the others can still be checked against each other."""
    rest = Map(root)
    rest.line, rest.column = root.line, root.column
    for problem in found:
        section, _, entry = problem.key.partition(".")
        if section in MAPPED and isinstance(rest.get(section), Map):
            kept = Map({key: value for key, value in rest[section].items() if not (entry == key or entry.startswith(f"{key}."))})
            kept.line, kept.column = root.line, root.column
            rest[section] = kept
        elif section != "station":
            rest.pop(section, None)
    rest.setdefault("station", "station")
    return typed(StationFields, rest, path, context=names)[0]


def _dumped(fields: StationFields) -> dict[str, Any]:
    dumped = fields.model_dump(by_alias=True, exclude_none=True)
    return {key: value for key, value in dumped.items() if value not in ({}, [])}
