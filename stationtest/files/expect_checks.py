"""What the expectations of a case need beside them: an event to count from, a set to deserve something, a window to be missed."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from stationtest.files.names import AS_THE_SET, Names
from stationtest.files.suggest import allowed_words

Told = tuple[tuple[str, ...], str, str]

ALL_SENSORS = "all sensors"
NAMES_AN_EVENT = ("event", "during", "after")


def problems(written: Mapping[str, Any], kind: str, where: Collection[str], names: Names) -> Iterator[Told]:
    """`written` are the expectations as they stand in the file, by name; `kind` is what the case presents."""
    for name, fields in written.items():
        if _from_event(fields) and not set(NAMES_AN_EVENT) & set(where):
            message = "`from: event` needs to know which: where: {event: NAME}, {during: NAME} or {after: NAME}"
            yield ("expect", name), message, "missing-key"
        if isinstance(fields, Mapping) and fields.get("on") == ALL_SENSORS and (message := _on_all_sensors(kind, names)):
            yield ("expect", name, "on"), message, "contradiction"
    outputs = written.get("outputs")
    for name, asked in (outputs if isinstance(outputs, Mapping) else {}).items():
        if isinstance(asked, Mapping) and asked.get("is") == AS_THE_SET:
            yield from _as_the_set(name, asked, kind, names)
    neighbours = written.get("neighbours")
    for name in neighbours if isinstance(neighbours, Mapping) else ():
        mine = outputs.get(name) if isinstance(outputs, Mapping) else None
        if not isinstance(mine, Mapping) or mine.get("is") == "off":
            message = (
                "a neighbour is missed in a window of its own, which the same case says: outputs: {NAME: {is: on, from: ..., "
                f"within: ...}}}}; found no such window of {name}"
            )
            yield ("expect", "neighbours", name), message, "missing-key"


def _on_all_sensors(kind: str, names: Names) -> str:
    """Why the other sensors cannot be asked, or nothing if they can."""
    if len(names.sensor) == 1:
        return "this station has one sensor, so there is no other to ask"
    if kind == "between":
        return "a stretch between is that of one sensor while another may have a target; each is asked in its own stretches"
    return ""


def _as_the_set(name: str, asked: Mapping[str, Any], kind: str, names: Names) -> Iterator[Told]:
    if kind != "set":
        yield ("expect", "outputs", name, "is"), f"`{AS_THE_SET}` speaks of sets; present: {{set: NAME, ...}}", "mixed-units"
    if "from" not in asked and name not in names.decided:
        message = f"this key is missing; {name} has no `decided_at` in station.yaml from which it could count"
        allowed = f"start, end, covered, event, or an edge of {allowed_words(names.input)}"
        yield ("expect", "outputs", name, "from"), f"{message}; allowed {allowed}", "missing-key"


def _from_event(written: Any) -> bool:
    """Whether an expectation counts from an event, at any depth."""
    parts = written.items() if isinstance(written, Mapping) else ()
    return any((key == "from" and part == "event") or _from_event(part) for key, part in parts)
