"""Exports of devices: keys and values from CSV, JSON or YAML, and whether they are what station.yaml declares (A29).

Keys inside keys are joined by dots. Values stay text. Amounts are compared exactly, in the unit that either states.
"""

from __future__ import annotations

import csv
import json
import os
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from stationtest.errors import Problem
from stationtest.files.quantities import amount
from stationtest.files.suggest import nearest
from stationtest.files.tree import MAX_BYTES, TOO_LARGE, Items, Map, parse
from stationtest.files.words import shown
from stationtest.model.settings_found import Compared, Export, SettingKey, SettingsFound
from stationtest.place import Place

Values = dict[str, tuple[str, Place]]

PARTS = ("scan", "sensors", "channels", "outputs")
"""What of station.yaml a device holds, for counting what was not compared."""


def read(data: bytes, path: str) -> tuple[Values, list[Problem]]:
    """Values and their places by key. `.json` and `.yaml` may nest; anything else has a key and a value in each line, parted by
    `;`, a tab, `,` or `=`, whichever its first line has most of."""
    if len(data) > MAX_BYTES:
        return {}, [Problem(Place(path, 1, 0), "", TOO_LARGE, "too-large")]
    suffix = os.path.splitext(path)[1].lower()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        return {}, [Problem(Place(path, line, 0), "", "the file is not UTF-8 text; save it as UTF-8", "unreadable")]
    found: Values = {}
    problems: list[Problem] = []
    if suffix in (".yaml", ".yml"):
        tree = parse(data, path)
        if tree.problems:
            return {}, list(tree.problems)
        pairs = list(_flat(tree.root))
    elif suffix == ".json":
        try:
            pairs = list(_flat(json.loads(text, parse_float=str, parse_int=str, object_pairs_hook=_Pairs)))
        except (json.JSONDecodeError, RecursionError) as error:
            line = getattr(error, "lineno", 1)
            return {}, [Problem(Place(path, line, 0), "", f"the file cannot be read as JSON: {error}", "unreadable")]
    else:
        pairs = list(_lines(text))
    for key, value, line in pairs:
        if key in found:
            message = f"the key {shown(key)} stands twice in this export"
            problems.append(Problem(Place(path, line, 0), key, message, "duplicate-key"))
        found.setdefault(key, (value, Place(path, line, 0)))
    if not found and not problems:
        problems.append(Problem(Place(path, 1, 0), "", "there are no keys and values in this file", "unreadable"))
    return found, problems


class _Pairs(list[tuple[str, Any]]):
    """A JSON object with its keys in order, those that stand twice too."""


def _flat(node: Any, prefix: str = "") -> Iterator[tuple[str, str, int]]:
    if isinstance(node, Map | _Pairs):
        for key, value in node.items() if isinstance(node, Map) else node:
            yield from _flat(value, f"{prefix}.{key}" if prefix else str(key))
    elif isinstance(node, Items | list):
        for number, value in enumerate(node, 1):
            yield from _flat(value, f"{prefix}.{number}")
    elif prefix:
        text = {True: "true", False: "false", None: ""}[node] if node is None or isinstance(node, bool) else str(node)
        yield prefix, text, getattr(node, "line", 0)


def _lines(text: str) -> Iterator[tuple[str, str, int]]:
    lines = text.replace("\r\n", "\n").split("\n")
    first = next((line for line in lines if line.strip()), "")
    separator = max(";\t,=", key=first.count)
    for number, line in enumerate(lines, 1):
        cells = next(csv.reader([line], delimiter=separator), [])
        if len(cells) >= 2 and cells[0].strip():
            yield cells[0].strip(), cells[1].strip(), number


# --- against station.yaml -------------------------------------------------------------------------------------------------------


def setting_of(written: Mapping[str, Any], path: str) -> Any:
    """The setting at a path such as `channels.1.tolerance`, list items counted from 1; None where there is none."""
    node: Any = written
    rest = path
    while rest:
        if isinstance(node, Mapping):
            key = max((key for key in node if rest == key or rest.startswith(f"{key}.")), key=len, default=None)
            if key is None:
                return None
            node, rest = node[key], rest[len(key) + 1 :]
        else:
            head, _, rest = rest.partition(".")
            if not (isinstance(node, list) and head.isdecimal() and 1 <= int(head) <= len(node)):
                return None
            node = node[int(head) - 1]
    return node


def settings(written: Mapping[str, Any]) -> list[str]:
    """The paths of everything that a device may hold."""
    return [key for part in PARTS for key, _, _ in _leaves(written.get(part), part)]


def _leaves(node: Any, path: str) -> Iterator[tuple[str, Any, int]]:
    parts = node.items() if isinstance(node, Mapping) else enumerate(node, 1) if isinstance(node, list) else None
    if parts is None:
        if node is not None:
            yield path, node, 0
        return
    for key, value in parts:
        yield from _leaves(value, f"{path}.{key}")


def compare(
    written: Mapping[str, Any], keys: Sequence[SettingKey], exports: Sequence[tuple[Export, Values]]
) -> tuple[SettingsFound, list[Problem]]:
    """Every mapped setting beside what was found. A problem where no export has a mapped key."""
    first = _merged(exports, again=False)
    later = _merged(exports, again=True)
    compared, problems = [], []
    for one in keys:
        if one.key not in first:
            near = nearest(one.key, first)
            message = f"no export has the key {shown(one.key)}" + (f"; did you mean {shown(near)}?" if near else "")
            problems.append(Problem(one.place, f"settings_keys.{one.setting}", message, "unknown-name"))
            continue
        declared, (found, place) = setting_of(written, one.setting), first[one.key]
        compared.append(
            Compared(
                setting=one.setting, key=one.key, declared=str(declared), found=found,
                after=later[one.key][0] if one.key in later else None, agrees=same(str(declared), found, one), place=place,
            )
        )  # fmt: skip
    both = [key for key in first if key in later] if later else []
    gone = [key for key in (*first, *later) if (key in first) != (key in later)] if later else []
    changed = [(key, first[key][0], later[key][0]) for key in both if first[key][0] != later[key][0]]
    changed += [(key, first.get(key, ("absent",))[0], later.get(key, ("absent",))[0]) for key in dict.fromkeys(gone)]
    mapped = {one.setting for one in keys}
    return (
        SettingsFound(
            exports=tuple(export for export, _ in exports),
            compared=tuple(compared),
            changed=tuple(changed),
            not_compared=sum(path not in mapped for path in settings(written)),
        ),
        problems,
    )


def _merged(exports: Sequence[tuple[Export, Values]], again: bool) -> Values:
    found: Values = {}
    for export, values in exports:
        if export.again == again:
            for key, value in values.items():
                found.setdefault(key, value)
    return found


def same(declared: str, found: str, by: SettingKey) -> bool:
    """Whether a device's value is the declared one: the same amount, or the same word once its words are ours."""
    found = dict(by.words).get(found, found)
    if by.decimal == "comma":
        found = found.replace(",", ".", 1)
    mine, theirs = amount(declared), amount(found)
    if theirs is not None and theirs[1] == "" and by.unit is not None:
        theirs = amount(f"{found} {by.unit}")
    return mine == theirs if mine is not None and theirs is not None else declared == found
