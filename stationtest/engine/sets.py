"""Sets: which presentations belong together, what each set holds, and whether truth calls it complete.

With a `set` column truth says which presentations make a set; the station's inputs then only say when it came and went, so
that an input that bounces is found and not believed (counter-example A6). Without one, the edges of the inputs bound the sets.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stationtest.model.observations import CUT_END, CUT_START, GAP, SILENT, UNKNOWN_TARGET, Sets, Signal
from stationtest.model.station import Edge, SetKind, Station
from stationtest.signals import intervals

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Members:
    """The presentations as far as sets need them, (P,); `set_code` is -1 where the recording names no set."""

    target: Ints
    start_ns: Ints
    end_ns: Ints
    between: Bools
    status: Ints
    set_code: Ints


@dataclass(slots=True)
class _Found:
    kind: int
    name: str
    start: int
    end: int
    status: int
    rows: Ints


def assemble(
    station: Station, members: Members, set_names: Sequence[str], targets: Sequence[str], edges: Mapping[Edge, Ints],
    span: tuple[int, int],
) -> tuple[Sets, Ints, list[str]]:  # fmt: skip
    """(sets sorted by start, the set of each presentation (P,) or -1, notes worth a reader's eye)."""
    found: list[_Found] = []
    notes: list[str] = []
    for number, kind in enumerate(station.sets):
        if (members.set_code >= 0).any():
            # one `set` column: it belongs to the kind whose members it holds; with one kind there is no question
            found += _by_column(number, kind, members, set_names, edges, span, notes, station, targets)
        elif kind.from_edge in edges and kind.to_edge in edges:
            found += _by_edges(number, kind, members, edges, span, notes)
    found.sort(key=lambda one: (one.start, one.kind))
    belongs = np.full(len(members.start_ns), -1, np.int64)
    counts = np.zeros((len(found), len(targets)), np.int64)
    complete = np.zeros(len(found), bool)
    for index, one in enumerate(found):
        belongs[one.rows] = index
        counts[index] = np.bincount(members.target[one.rows], minlength=len(targets))[: len(targets)]
        complete[index] = is_complete(station.sets[one.kind], counts[index], targets)
        kinds_of_doubt = np.bitwise_or.reduce(members.status[one.rows]) if len(one.rows) else 0
        one.status |= int(kinds_of_doubt) & (GAP | UNKNOWN_TARGET)
    table = Sets(
        kinds=tuple(kind.name for kind in station.sets),
        names=tuple(one.name for one in found),
        targets=tuple(targets),
        kind=np.array([one.kind for one in found], np.int64),
        start_ns=np.array([one.start for one in found], np.int64),
        end_ns=np.array([one.end for one in found], np.int64),
        status=np.array([one.status for one in found], np.int64),
        complete=complete,
        counts=counts,
    )
    return table, belongs, notes


def without_silent_edges(station: Station, sets: Sets, signals: Mapping[tuple[str, str], Signal]) -> Sets:
    """The sets, marked where the log of an input that bounds them is silent: it may have been two."""
    status = sets.status.copy()
    for number, kind in enumerate(station.sets):
        for edge in (kind.from_edge, kind.to_edge):
            signal = signals.get(("input", edge.input)) if edge else None
            if signal is not None and signal.unknown is not None:
                doubtful = intervals.overlap(signal.unknown, sets.start_ns - 1, sets.end_ns + 1) > 0
                status[doubtful & (sets.kind == number)] |= SILENT
    return replace(sets, status=status)


def is_complete(kind: SetKind, counts: Ints, targets: Sequence[str]) -> bool:
    """The counts equal the members'; more of anything only where the set allows extras (counter-example A14)."""
    wanted = np.zeros(len(targets), np.int64)
    for target, number in kind.members:
        if target in targets:
            wanted[list(targets).index(target)] = number
        else:
            return False
    return bool((counts >= wanted).all() if kind.extras_allowed else (counts == wanted).all())


def _by_edges(
    number: int, kind: SetKind, members: Members, edges: Mapping[Edge, Ints], span: tuple[int, int], notes: list[str]
) -> list[_Found]:
    assert kind.from_edge is not None and kind.to_edge is not None
    begins, ends = edges[kind.from_edge], edges[kind.to_edge]
    found: list[_Found] = []
    marks = _marks(kind, begins, ends, notes)
    open_at: int | None = None
    status = 0
    if marks and marks[0][1] == 0:
        open_at, status = span[0], CUT_START
    for at, begin in marks:
        if begin:
            open_at, status = at, 0
        elif open_at is not None:
            found.append(_Found(number, str(len(found) + 1), open_at, at, status, np.empty(0, np.int64)))
            open_at = None
    if open_at is not None:
        found.append(_Found(number, str(len(found) + 1), open_at, span[1], CUT_END, np.empty(0, np.int64)))
    if found:
        starts = np.array([one.start for one in found])
        ends_ = np.array([one.end for one in found])
        whose = np.searchsorted(starts, members.start_ns, "right") - 1
        inside = (whose >= 0) & ~members.between & (members.start_ns < ends_[np.maximum(whose, 0)])
        for one in found:
            low, high = np.searchsorted(members.start_ns, [one.start, one.end])
            rows = np.arange(low, high)
            one.rows = rows[inside[low:high]]
    return found


def _marks(kind: SetKind, begins: Ints, ends: Ints, notes: list[str]) -> list[tuple[int, int]]:
    """The edges that bound sets, in order: instant, and 1 for one that begins a set. Two of a kind in a row are a finding: the
    station's input bounced, or missed one (A6)."""
    marks = sorted([(int(t), 0) for t in ends] + [(int(t), 1) for t in begins])
    for (before, first), (at, second) in itertools.pairwise(marks):
        if first == second:
            edge, other = (kind.from_edge, kind.to_edge) if second else (kind.to_edge, kind.from_edge)
            notes.append(f"two {edge} before a {other}: at {before / 1e9:.3f} s and at {at / 1e9:.3f} s")
    return marks


def _by_column(
    number: int, kind: SetKind, members: Members, names: Sequence[str], edges: Mapping[Edge, Ints], span: tuple[int, int],
    notes: list[str], station: Station, targets: Sequence[str],
) -> list[_Found]:  # fmt: skip
    rows = np.flatnonzero((members.set_code >= 0) & ~members.between)
    order = rows[np.argsort(members.set_code[rows], kind="stable")]
    codes = members.set_code[order]
    heads = np.flatnonzero(np.append(True, codes[1:] != codes[:-1])) if len(order) else np.empty(0, np.int64)
    groups = np.split(order, heads[1:]) if len(order) else []
    if len(station.sets) > 1:
        mine = {name for name, _ in kind.members}
        others = {name for other in station.sets if other is not kind for name, _ in other.members}
        groups = [g for g in groups if _fits({targets[t] for t in members.target[g]}, mine, others, number)]
    groups.sort(key=lambda group: int(members.start_ns[group[0]]))
    begins = edges.get(kind.from_edge) if kind.from_edge else None
    ends = edges.get(kind.to_edge) if kind.to_edge else None
    if begins is not None and ends is not None:
        _marks(kind, begins, ends, notes)
    found = []
    for group in groups:
        start, end = int(members.start_ns[group].min()), int(members.end_ns[group].max())
        status = 0
        name = names[members.set_code[group[0]]]
        if begins is not None and ends is not None:
            before = np.searchsorted(begins, start, "right") - 1
            after = np.searchsorted(ends, end, "left")
            within = ends[np.searchsorted(ends, start, "right") : after]
            if len(within):
                notes.append(
                    f"{kind.name} {name}: {kind.to_edge} also at {within[0] / 1e9:.3f} s, while the set was still coming"
                )
            status |= CUT_START if before < 0 else 0
            status |= CUT_END if after >= len(ends) else 0
            start = int(begins[before]) if before >= 0 else span[0]
            end = int(ends[after]) if after < len(ends) else span[1]
        found.append(_Found(number, name, start, end, status, group))
    return found


def _fits(present: set[str], mine: set[str], others: set[str], number: int) -> bool:
    if present & mine and not present & (others - mine):
        return True
    return number == 0 and not present & (mine | others)
