"""Recorded signals against computed ones, edge by edge (A33): the comparison behind `agrees` and its figures.

Edges of one direction are paired in order, at most `edges_within` apart once the latency is taken off the recorded ones. A pair
belongs to the presentation in which its computed edge lies, a lone edge to the one in which it lies itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from stationtest.expectations.timeline import next_start
from stationtest.expectations.view import View
from stationtest.signals import intervals

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]

COMPUTED, RECORDED = 0, 1


@dataclass(frozen=True, slots=True)
class Lone:
    """An edge without a partner, on the recording's clock; `nearest_ns`: how much later the nearest one of the other side comes
    once the latency is taken off, None if that has none at all."""

    rise: bool
    recorded: bool
    at_ns: int
    nearest_ns: int | None


@dataclass(frozen=True, slots=True)
class Compared:
    """`signals` (K names) that are both recorded and computed. For each presentation and signal (P, K): the first edge without a
    partner (-1 none), whether it rose as computed and as recorded, whether it was compared, whether the computed state is not
    known for sure. `difference` (P,) is the largest of its pairs.

    `pairs` (n, 4): signal, 1 for a rise, computed instant, recorded less latency less computed; `lone` (m, 4): signal, 1 for a
    rise, `COMPUTED` or `RECORDED`, instant on the recording's clock. Both in order of time.
    """

    signals: tuple[tuple[str, str], ...]
    alone: Ints
    rose: tuple[Bools, Bools]
    compared: Bools
    unknown: Bools
    difference: Ints
    pairs: Ints
    lone: Ints
    latency_ns: int

    def first(self, row: int, k: int) -> Lone:
        """The first edge without a partner of a presentation and signal that have one."""
        lone = self.lone[self.lone[:, 0] == k]
        instants = lone[:, 3] - np.where(lone[:, 2] == RECORDED, self.latency_ns, 0)
        mine = lone[np.flatnonzero(instants == self.alone[row, k])[0]]
        rise, of = int(mine[1]), int(mine[2])
        paired = self.pairs[(self.pairs[:, 0] == k) & (self.pairs[:, 1] == rise)]
        partners = np.concatenate(
            (paired[:, 2] + (paired[:, 3] if of == COMPUTED else 0), instants[(lone[:, 1] == rise) & (lone[:, 2] != of)])
        )
        apart = partners - self.alone[row, k]
        nearest = int(apart[np.abs(apart).argmin()]) if len(apart) else None
        return Lone(rise=bool(rise), recorded=of == RECORDED, at_ns=int(mine[3]), nearest_ns=nearest)

    def name(self, k: int) -> str:
        kind, name = self.signals[k]
        return f"channel {name}" if kind == "channel" else name


def compare(view: View, fields: Any) -> Compared:
    """All presentations of a recording by `agrees.Fields`."""
    return view.once(("agrees", fields), lambda: _compare(view, fields))


def _compare(view: View, fields: Any) -> Compared:
    shown, did, clock = view.obs.presentations, view.obs.responses, view.obs.clock
    asked = [("channel", name) for name in did.channels] + [("output", name) for name in fields.outputs]
    signals = tuple(key for key in asked if _both(view, key))
    shape = (len(shown), len(signals))
    difference, alone = np.zeros(shape[0], dtype=np.int64), np.full(shape, -1, dtype=np.int64)
    compared, unknown, *rose = (np.zeros(shape, dtype=np.bool_) for _ in range(4))
    span, until = (clock.first_ns, clock.end_ns), next_start(view, "presentation")
    pairs, lone = [np.empty((0, 4), dtype=np.int64)], [np.empty((0, 4), dtype=np.int64)]
    for k, (kind, name) in enumerate(signals):
        recorded, computed = view.obs.signals[kind, name], view.obs.signals[f"computed {kind}", name]
        mine = did.applies[:, did.channels.index(name)] if kind == "channel" else np.ones(shape[0], dtype=np.bool_)
        rows = np.flatnonzero(mine & ~shown.between)
        rows = rows[np.argsort(shown.start_ns[rows], kind="stable")]
        compared[rows, k] = True
        open_time = intervals.subtract(computed.can, computed.must)
        unknown[rows, k] = intervals.overlap(open_time, shown.start_ns[rows], until[rows]) > 0
        both = zip(intervals.edges(computed.must, span), intervals.edges(recorded.must, span), strict=True)
        for rise, (ours, theirs) in zip((1, 0), both, strict=True):
            taken_off = theirs - fields.latency
            a, b = _paired(ours, taken_off, fields.edges_within)
            apart = taken_off[b] - ours[a]
            owner, owned = _owners(rows, shown.start_ns, until, ours[a])
            np.maximum.at(difference, owner, np.abs(apart)[owned])
            pairs.append(_rows(k, rise, ours[a], apart))
            if rise:
                for which in rose:
                    which[owner, k] = True
            for of, instants, late in ((COMPUTED, np.delete(ours, a), 0), (RECORDED, np.delete(taken_off, b), fields.latency)):
                owner, owned = _owners(rows, shown.start_ns, until, instants)
                if rise:
                    rose[of][owner, k] = True
                earlier = (alone[owner, k] < 0) | (instants[owned] < alone[owner, k])
                # of several lone edges of one presentation the first stays: they come in order of time
                first = np.unique(owner[earlier], return_index=True)[1]
                alone[owner[earlier][first], k] = instants[owned][earlier][first]
                lone.append(_rows(k, rise, np.full(len(instants), of), instants + late))
    return Compared(
        signals, alone, (rose[COMPUTED], rose[RECORDED]), compared, unknown, difference, _in_order(pairs, 2), _in_order(lone, 3),
        fields.latency,
    )  # fmt: skip


def _both(view: View, key: tuple[str, str]) -> bool:
    recorded = view.obs.signals.get(key)
    return recorded is not None and recorded.basis == "recorded" and (f"computed {key[0]}", key[1]) in view.obs.signals


def _owners(rows: Ints, starts: Ints, until: Ints, instants: Ints) -> tuple[Ints, Bools]:
    """The presentation that each instant belongs to, of those that belong to one, and which do."""
    of = np.searchsorted(starts[rows], instants, "right") - 1
    owner = rows[np.maximum(of, 0)] if len(rows) else np.zeros(len(of), dtype=np.int64)
    owned = (of >= 0) & (instants < until[owner]) if len(rows) else np.zeros(len(of), dtype=np.bool_)
    return owner[owned], owned


def _rows(k: int, rise: int, third: Ints, fourth: Ints) -> Ints:
    return np.column_stack((np.full(len(third), k), np.full(len(third), rise), third, fourth)).astype(np.int64)


def _in_order(parts: list[Ints], column: int) -> Ints:
    whole = np.concatenate(parts)
    return whole[np.lexsort((whole[:, 1], whole[:, 0], whole[:, column]))]


def _paired(ours: Ints, theirs: Ints, within: int) -> tuple[list[int], list[int]]:
    """Indices of edges paired in order, at most `within` apart."""
    a: list[int] = []
    b: list[int] = []
    i = j = 0
    first, second = ours.tolist(), theirs.tolist()
    while i < len(first) and j < len(second):
        apart = second[j] - first[i]
        if abs(apart) <= within:
            a.append(i)
            b.append(j)
            i, j = i + 1, j + 1
        elif apart > 0:
            i += 1
        else:
            j += 1
    return a, b
