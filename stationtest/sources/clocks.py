"""Instants of one clock on another: offset and drift in closed form, in whole nanoseconds, without a float.

    t' = t + offset + drift * (t - t0)          the way a relation is stated
    t  = t0 + (t' - offset - t0) / (1 + drift)  the way back

each rounded once to the nearest nanosecond, halves up. A relation is good to +-within; along several their doubts add up.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stationtest.model.recording_tables import ClockRelation

Ints = NDArray[np.int64]

E12 = 10**12
_BASE = 10**6
LONGEST_NS = 2**53
"""How far from its first row (104 days) a time may lie where there is a drift; beyond it the arithmetic would overflow."""
FURTHEST_NS = 2**62
"""How far from 0 (146 years) a time may lie on either clock, as an offset may."""


def scaled(x: Ints, num: int, den: int) -> Ints:
    """round(x * num / den), halves up, exact for |x| < 2**53, |num| < 10**9 and den up to 2 * 10**12."""
    high, low = np.divmod(x, _BASE)
    whole, rest = np.divmod(high * num, den)
    return whole * _BASE + (rest * _BASE + low * num + den // 2) // den


@dataclass(frozen=True, slots=True)
class Step:
    """One relation, along it or back; `t0_ns` is the first row of the first table on its clock."""

    relation: ClockRelation
    t0_ns: int
    back: bool

    def to(self, t_ns: Ints) -> Ints:
        """The same instants on the other clock. OverflowError where they lie too far from the first row, or from 0."""
        offset, drift, t0 = self.relation.offset_ns, self.relation.drift_e12, self.t0_ns
        offset = -offset if self.back else offset
        if len(t_ns):
            least, most = int(t_ns.min()) + offset, int(t_ns.max()) + offset
            if max(-least, most) > FURTHEST_NS:
                raise OverflowError("beyond all dates")
            start = t0 if self.back else t0 + offset
            if drift and max(start - least, most - start) >= LONGEST_NS:
                raise OverflowError("more than 104 days from the first row, from where the drift counts")
        moved = t_ns + offset
        if not drift:
            return moved
        if self.back:
            return moved - scaled(moved - t0, drift, E12 + drift)
        return moved + scaled(t_ns - t0, drift, E12)


@dataclass(frozen=True, slots=True)
class Way:
    """From one clock to another. `within_ns` is None where no relation is stated: nobody knows how they lie to each other."""

    steps: tuple[Step, ...]
    within_ns: int | None

    def to(self, t_ns: Ints) -> Ints:
        """The same instants at the end of the way."""
        for step in self.steps:
            t_ns = step.to(t_ns)
        return t_ns


def way(relations: Sequence[ClockRelation], begin: str, end: str, first_ns: Callable[[str], int]) -> Way:
    """The way from clock to clock; `first_ns(clock)` is the first row of the first table on a clock."""
    ways: dict[str, tuple[Step, ...]] = {begin: ()}
    waiting = [begin]
    while waiting and end not in ways:
        here = waiting.pop(0)
        for relation in relations:
            for a, b, back in ((relation.clock, relation.to, False), (relation.to, relation.clock, True)):
                if a == here and b not in ways:
                    ways[b] = (*ways[here], Step(relation, first_ns(relation.clock), back))
                    waiting.append(b)
    if end not in ways:
        return Way((), None)
    return Way(ways[end], sum(step.relation.within_ns for step in ways[end]))
