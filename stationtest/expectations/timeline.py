"""Instants and windows of presentations and sets on the recording's clock, and what an output did in them.

Everything is worked out for all presentations or sets of a recording at once and kept in the view. Windows are half-open.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stationtest.expectations.items import Items, belongs, items
from stationtest.expectations.view import View
from stationtest.expectations.wording import seconds
from stationtest.model.observations import NEVER, Presentations, Sets, Signal
from stationtest.model.station import Edge
from stationtest.signals import intervals

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]


def table(view: View, unit: str) -> Presentations | Sets | Items:
    """The table that holds the trials of this unit."""
    if unit == "item":
        return items(view)
    return view.obs.sets if unit == "set" else view.obs.presentations


def label(view: View, unit: str, row: int) -> str:
    """`full box 12`, `tin with lid T7`, `mint`: what one row of the table is called."""
    rows = table(view, unit)
    if isinstance(rows, Presentations):
        return rows.targets[rows.target[row]]
    kinds = rows.kinds if isinstance(rows, Sets) else [kind.name for kind in view.station.items]
    return f"{kinds[rows.kind[row]]} {rows.names[row]}"


def edge_instants(view: View, edge: Edge) -> Ints:
    """When the input rises (or falls) within the recording. An input that is on in the first row has had no edge (A25)."""
    return view.once(("edge", edge), lambda: _edge_instants(view, edge))


def _edge_instants(view: View, edge: Edge) -> Ints:
    signal = view.obs.signals.get(("input", edge.input))
    if signal is None:
        return np.empty(0, dtype=np.int64)
    instants = signal.must[:, 1 if edge.falls else 0]
    if signal.unknown is not None:  # what is on from where its log begins to speak need not have risen there
        instants = np.setdiff1d(instants, signal.unknown[:, 0 if edge.falls else 1])
    clock = view.obs.clock
    return instants[(instants > clock.first_ns) & (instants < clock.end_ns)]


def next_start(view: View, unit: str) -> Ints:
    """Where the next set begins, the last part of the next item, or the next presentation on that sensor that is no stretch
    between; the end of the recording for the last."""
    return view.once(("next start", unit), lambda: _next_start(view, unit))


def _next_start(view: View, unit: str) -> Ints:
    rows, end = table(view, unit), view.obs.clock.end_ns
    if isinstance(rows, Sets):
        return _following(rows.start_ns, rows.start_ns, end)
    if isinstance(rows, Items):
        return _following(rows.last_ns, rows.last_ns, end)
    following = np.full(len(rows), end, dtype=np.int64)
    for s in range(len(rows.sensors)):
        mine = np.flatnonzero(rows.sensor == s)
        following[mine] = _following(rows.start_ns[mine], rows.start_ns[mine][~rows.between[mine]], end)
    return following


def _following(after: Ints, starts: Ints, end: int) -> Ints:
    """For each instant, the first of `starts` later than it, else `end`."""
    ordered = np.append(np.sort(starts), np.int64(end))
    return ordered[np.searchsorted(ordered[:-1], after, "right")]


def reference_instants(view: View, unit: str, origin: str | Edge) -> Ints:
    """The instant from which each row of the table counts: its start, end, covering of the spot, or an edge. `NEVER` where
    there is none.

    An edge is the first at or after the start, of an item the start of its last part. It must come before the next item, or
    the next set that the same edge opens (what other edges open may be parts of one box); else it is the last one since
    whatever came before had ended. An edge that opens other sets than this one is the last one before it.
    """
    return view.once(("reference", unit, origin), lambda: _reference_instants(view, unit, origin))


def _reference_instants(view: View, unit: str, origin: str | Edge) -> Ints:
    found, signal = _found_instants(view, unit, origin), None
    if isinstance(origin, Edge):
        signal = view.obs.signals.get(("input", origin.input))
    if signal is None or signal.unknown is None:
        return found
    start = counts_from(table(view, unit))  # another edge may have come where the log does not say
    doubtful = intervals.overlap(signal.unknown, np.minimum(start, found), np.maximum(start, found)) > 0
    return np.where(doubtful, NEVER, found)


def _found_instants(view: View, unit: str, origin: str | Edge) -> Ints:
    rows = table(view, unit)
    if origin == "start":
        return rows.start_ns
    if origin == "end":
        return rows.end_ns
    if isinstance(origin, str):
        return rows.covered_ns if isinstance(rows, Presentations) else np.full(len(rows), NEVER, dtype=np.int64)
    instants = edge_instants(view, origin)
    if not len(instants) or not len(rows):
        return np.full(len(rows), NEVER, dtype=np.int64)
    start = counts_from(rows)
    at = np.searchsorted(instants, start, "left")
    first = np.append(instants, np.int64(NEVER))[at]
    if isinstance(rows, Presentations):
        return first
    before = np.append(np.int64(NEVER), instants)[at]
    order = np.argsort(start, kind="stable")
    previous_end = np.full(len(rows), NEVER + 1, dtype=np.int64)
    previous_end[order[1:]] = rows.end_ns[order[:-1]]
    at_end = np.searchsorted(instants, rows.end_ns, "left")
    closing = np.append(instants, np.int64(NEVER))[at_end] == rows.end_ns
    since, until, opens_others = previous_end + 1, next_start(view, unit), np.zeros(len(rows), dtype=np.bool_)
    if isinstance(rows, Sets):
        began, until, opens_others = _opened_alike(view, rows, origin)
        since = np.where(opens_others, began, since)
    belongs = (first != NEVER) & (first < until) & ~opens_others
    return np.where(closing, rows.end_ns, np.where(belongs, first, np.where(before >= since, before, NEVER)))


def _opened_alike(view: View, sets: Sets, origin: Edge) -> tuple[Ints, Ints, Bools]:
    """Where the set before each began, and where the next one will, among those of kinds that the same edge opens, or none; and
    whether the edge asked for opens others than this one."""
    opened_by = {kind.name: kind.from_edge for kind in view.station.sets}
    edges = [opened_by.get(name) for name in sets.kinds]
    group = np.array([edges.index(edge) for edge in edges], dtype=np.int64)[sets.kind]
    began, following = np.full(len(sets), NEVER + 1, dtype=np.int64), np.full(len(sets), view.obs.clock.end_ns, dtype=np.int64)
    for number in np.unique(group).tolist():
        mine = np.flatnonzero(group == number)
        order = mine[np.argsort(sets.start_ns[mine], kind="stable")]
        began[order[1:]], following[order[:-1]] = sets.start_ns[order[:-1]], sets.start_ns[order[1:]]
    others = np.array([edge != origin and origin in edges for edge in edges], dtype=np.bool_)
    return began, following, others[sets.kind]


def counts_from(rows: Presentations | Sets | Items) -> Ints:
    """From when an edge belongs to each row: the start, or that of an item's last part, which is where it is judged."""
    return rows.last_ns if isinstance(rows, Items) else rows.start_ns


@dataclass(frozen=True, slots=True)
class Runs:
    """A signal as runs of 'may be on' (R,), each with its first stretch of 'on for sure' (NEVER where it has none)."""

    start: Ints
    end: Ints
    sure_start: Ints
    sure_end: Ints
    more_sure_starts: Ints  # starts of further sure stretches inside a run: pulses that may be one

    @property
    def sure(self) -> Bools:
        return self.sure_start != NEVER


def runs(view: View, kind: str, name: str, *, said: bool = False) -> Runs | None:
    """The runs of a signal; None if the recording has no such signal. `said`: only what its log says, not what it leaves open."""
    return view.once(("runs", kind, name, said), lambda: _runs(view, view.obs.signals.get((kind, name)), said))


def _runs(view: View, signal: Signal | None, said: bool) -> Runs | None:
    if signal is None:
        return None
    can, must = signal.can, signal.must
    silent = signal.unknown
    if silent is None and signal.basis == "recorded":
        silent = view.obs.gaps
    if said and silent is not None:
        can = intervals.union(must, intervals.subtract(can, silent))
    of = np.searchsorted(can[:, 0], must[:, 0], "right") - 1
    first = np.ones(len(must), dtype=np.bool_)
    first[1:] = of[1:] != of[:-1]
    sure = np.full((len(can), 2), NEVER, dtype=np.int64)
    sure[of[first]] = must[first]
    return Runs(can[:, 0], can[:, 1], sure[:, 0], sure[:, 1], must[~first, 0])


def pulse_range(view: View, name: str, starts: Ints, ends: Ints) -> tuple[Ints, Ints] | None:
    """Fewest and most pulses of an output that begin in each window; None if the recording has no such output."""
    found = runs(view, "output", name)
    if found is None:
        return None

    def begun(instants: Ints) -> Ints:
        return np.searchsorted(instants, ends, "left") - np.searchsorted(instants, starts, "left")

    fewest = begun(np.sort(found.sure_start[found.sure]))
    return fewest, np.maximum(fewest, begun(found.start) + begun(found.more_sure_starts))


def in_gap(view: View, starts: Ints, ends: Ints, output: str) -> Bools:
    """Whether each window touches a stretch in which an output is not known: a gap in the readings, or in its own log."""
    signal = view.obs.signals.get(("output", output))
    gaps = view.obs.gaps if signal is None or signal.unknown is None else signal.unknown
    if not len(gaps):
        return np.zeros(len(starts), dtype=np.bool_)
    return np.searchsorted(gaps[:, 0], ends, "left") > np.searchsorted(gaps[:, 1], starts, "right")


def deciding_perhaps(view: View, unit: str, row: int) -> str:
    """`; channel 1 was on for 3 ms at 9.400 s (mint), perhaps seen`: the perhaps inside a presentation, set or item, '' if there
    is none."""
    shown, did = view.obs.presentations, view.obs.responses
    rows = np.array([row]) if unit in ("presentation", "neighbouring pair") else np.flatnonzero(belongs(view, unit)[0] == row)
    for p in rows.tolist():
        for c in np.flatnonzero(did.perhaps[p]).tolist():
            on = f"{int(did.longest_ns[p, c]) / 1e6:g} ms"
            at = f"{shown.targets[shown.target[p]]}, {seconds(shown.start_ns[p])}"
            return f"; channel {did.channels[c]} was on for {on} at {at}, perhaps seen"
    return ""


def seen_on_output(view: View, unit: str, name: str) -> Ints | None:
    """A table without times: 1, 0 or -1 (not noted) for each presentation; a set or item was on if one of its rows was."""
    seen = view.obs.outputs_seen.get(name)
    if seen is None or unit == "presentation":
        return seen
    return view.once(("seen", unit, name), lambda: _seen_together(seen, *belongs(view, unit)))


def _seen_together(seen: Ints, of: Ints, count: int) -> Ints:
    sets = np.full(count, -2, dtype=np.int64)
    member = of >= 0
    unknown = np.zeros(len(sets), dtype=np.bool_)
    np.maximum.at(sets, of[member], seen[member])
    unknown[of[member & (seen < 0)]] = True
    return np.where(sets == 1, 1, np.where(unknown | (sets < 0), -1, 0))


def unknown_until(view: View, name: str) -> int:
    """Up to when the state of an output was not known: what may be on in the first row, and was not yet on for sure (A25)."""
    found, first = runs(view, "output", name), view.obs.clock.first_ns
    if found is None or not len(found.start) or found.start[0] > first:
        return first
    sure = int(found.sure_start[0])
    return max(first, min(int(found.end[0]), sure) if sure != NEVER else int(found.end[0]))
