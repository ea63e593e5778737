"""The shape in which presentations are handed on: ranges of rows while streaming, one table at the end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stationtest.model.observations import CUT_END, CUT_START, GAP, UNKNOWN_TARGET, VOID
from stationtest.signals.batch import TRUTH, UNKNOWN, Ints

NOBODY = -1
FOREVER = 2**62


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What a builder must know: the sensors of the recording, `every` and `gap` of its form, the station's `between` target, the
    edge of each sensor, and the names of the conditions."""

    sensors: tuple[str, ...]
    every_ns: int
    gap_ns: int
    between: str | None = None
    edge_ns: Mapping[str, int] = field(default_factory=dict)
    conditions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Ranges:
    """Rows of one batch by presentation, all arrays (K,): rows [i0, i1), of which [p0, p1) is plateau (p0 == p1: none).

    `id` is the presentation's number while streaming, `sensor` indexes the builder's sensors, `between` tells stretches between.
    No range is empty. Where stretches between are not declared, rows of nobody are in no range.
    """

    i0: Ints
    i1: Ints
    p0: Ints
    p1: Ints
    id: Ints
    sensor: Ints
    between: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.i0)


@dataclass(frozen=True, slots=True)
class PresentationTable:
    """All presentations (P,), sorted by start, then sensor.

    Code columns index `tables[name]` ('target', 'specimen', 'set', 'item', each condition), -1 where not known; `sensor` indexes
    `sensors`. Conditions are those of the first row.
    """

    sensors: tuple[str, ...]
    tables: Mapping[str, tuple[str, ...]]
    ids: Ints
    sensor: Ints
    target: Ints
    specimen: Ints
    set: Ints
    item: Ints
    conditions: Mapping[str, Ints]
    between: NDArray[np.bool_]
    start_ns: Ints
    end_ns: Ints
    first_row: Ints
    rows: Ints
    longest_step_ns: Ints
    status: Ints
    touches_before: NDArray[np.bool_]
    touches_after: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.ids)


def with_plateau(
    t: Ints, sensor: int, i0: Ints, i1: Ints, ids: Ints, between: NDArray[np.bool_], start_ns: Ints, end_ns: Ints, edge_ns: int
) -> Ranges:
    """Ranges of one sensor in a batch, with the rows of [start + edge, end - edge)."""
    if edge_ns:
        p0 = np.maximum(i0, np.searchsorted(t, start_ns + edge_ns))
        p1 = np.minimum(i1, np.searchsorted(t, end_ns - edge_ns))
        p1 = np.maximum(p0, p1)
        outside = p0 >= i1
        p0, p1 = np.where(outside, i0, p0), np.where(outside, i0, p1)
    else:
        p0, p1 = i0, i1
    return Ranges(i0, i1, p0, p1, ids, np.full(len(i0), sensor), between)


def joined_ranges(parts: Sequence[Ranges]) -> Ranges:
    """Ranges of several sensors, sensor by sensor."""
    if len(parts) == 1:
        return parts[0]
    return Ranges(*(np.concatenate([getattr(part, name) for part in parts]) for name in Ranges.__slots__))


def assembled(
    facts: Facts, columns: Sequence[Mapping[str, NDArray]], tables: Mapping[str, Sequence[str]], rows: int
) -> PresentationTable:
    """The table of all stretches of all sensors. `columns` holds for each sensor what was found of it, in order of time."""
    words = {name: list(tables.get(name, ())) for name in (*TRUTH[:-1], *facts.conditions)}
    belt = UNKNOWN
    if facts.between is not None:
        if facts.between not in words["target"]:
            words["target"].append(facts.between)
        belt = facts.between
    mystery = words["target"].index(UNKNOWN) if UNKNOWN in words["target"] else -2
    done = []
    for sensor, found in enumerate(columns):
        if not found:
            continue
        part = dict(found)
        n = len(part["id"])
        for name in words:
            part.setdefault(name, np.full(n, -1, np.int32))
        bare = part["target"] < 0
        adjacent = part["end_ns"][:-1] == part["start_ns"][1:]
        touching = adjacent & ~bare[:-1] & ~bare[1:]
        part["before"], part["after"] = np.append(False, touching)[:n], np.append(touching, False)[:n]
        for name in TRUTH[1:-1]:
            part[name] = np.where(bare, -1, part[name])
        part["target"] = np.where(bare, words["target"].index(belt) if facts.between is not None else -1, part["target"])
        part["between"], part["sensor"] = bare, np.full(n, sensor)
        part["status"] = (
            np.where((part["longest"] > facts.gap_ns) | part["gap"] | (part["rows"] == 0), GAP, 0)
            | np.where(part.get("cut_start", part["first_row"] == 0), CUT_START, 0)
            | np.where(part.get("cut_end", part["first_row"] + part["rows"] >= rows), CUT_END, 0)
            | np.where(part["target"] == mystery, UNKNOWN_TARGET, 0)
            | np.where(part.get("void", False), VOID, 0)
        )
        keep = part["id"] != NOBODY
        done.append({key: column[keep] for key, column in part.items()})
    keys = done[0].keys() if done else ()
    whole = {key: np.concatenate([part[key] for part in done]) for key in keys}
    if not whole:
        raise ValueError("no batch was walked over")
    order = np.lexsort((whole["sensor"], whole["start_ns"]))
    whole = {key: column[order] for key, column in whole.items()}
    ints = {name: whole[name].astype(np.int64) for name in (*TRUTH[:-1], *facts.conditions)}
    return PresentationTable(
        sensors=facts.sensors,
        tables={name: tuple(listed) for name, listed in words.items()},
        ids=whole["id"],
        sensor=whole["sensor"],
        target=ints["target"],
        specimen=ints["specimen"],
        set=ints["set"],
        item=ints["item"],
        conditions={name: ints[name] for name in facts.conditions},
        between=whole["between"],
        start_ns=whole["start_ns"],
        end_ns=whole["end_ns"],
        first_row=whole["first_row"],
        rows=whole["rows"],
        longest_step_ns=whole["longest"],
        status=whole["status"].astype(np.int64),
        touches_before=whole["before"],
        touches_after=whole["after"],
    )
