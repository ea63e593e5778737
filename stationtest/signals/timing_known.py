"""Known answers of timers, latches, edges and counting, for the selftest: sequences derived from IEC 61131-3, in milliseconds.

The rules are those of the standard (timers: 2nd ed. Table 38, 3rd ed. Table 46 and Figure 15; bistables: 2nd ed.; edges: 3rd ed.
Table 44; counters: 3rd ed. Table 45) at second hand, as copied in public repositories and texts; the numbers are ours. No row
rests on what the standard leaves open.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import nan
from typing import TYPE_CHECKING

import numpy as np

from stationtest.signals import ternary, timers
from stationtest.signals.intervals import empty, intervals

if TYPE_CHECKING:
    from stationtest.signals.intervals import Ints

TIMERS = "timing diagrams of IEC 61131-3 (2nd ed. Table 38; 3rd ed. Table 46 and Figure 15)"
BISTABLES = "IEC 61131-3 RS, reset dominant: Q1 := NOT R1 AND (S OR Q1)"
EDGES = "IEC 61131-3, 3rd ed., Table 44 (R_TRIG, F_TRIG)"
COUNTERS = "IEC 61131-3, 3rd ed., Table 45 (CTU)"

Answer = tuple[str, float, float, float, str]


def known_answers() -> Iterator[Answer]:
    """For each check: name, what is computed here, what the rule says, how far they may differ (not at all), and the source."""
    figure = intervals([(100, 350), (500, 560), (700, 900)])
    yield from _instants("TON 100: figure", timers.on_delay(figure, 100), [200, 350, 800, 900], TIMERS)
    interrupted = intervals([(100, 180), (190, 280), (290, 500)])
    yield from _instants("TON 100: each fall restarts it", timers.on_delay(interrupted, 100), [390, 500], TIMERS)
    yield from _instants("TOF 300: gap of 299", timers.off_delay(intervals([(100, 150), (449, 500)]), 300), [100, 800], TIMERS)
    gap_301 = timers.off_delay(intervals([(100, 150), (451, 500)]), 300)
    yield from _instants("TOF 300: gap of 301", gap_301, [100, 450, 451, 800], TIMERS)
    yield from _instants("TP 100: longer input", timers.pulse(intervals([(100, 900)]), 100), [100, 200], TIMERS)
    yield from _instants("TP 100: shorter input", timers.pulse(intervals([(100, 101)]), 100), [100, 200], TIMERS)
    held = timers.pulse(intervals([(100, 250), (260, 270)]), 100)
    yield from _instants("TP 100: held, then new", held, [100, 200, 260, 360], TIMERS)
    series = timers.off_delay(timers.on_delay(intervals([(100, 300)]), 20), 50)
    yield from _instants("TON 20, TOF 50 in series", series, [120, 350], TIMERS)

    no_edges = ternary.Edges(np.empty(0, dtype=np.int64), empty())
    twice_set = _latched([(5, 6), (30, 31)], [(90, 91)], no_edges)
    yield from _instants("RS: set twice, then reset", twice_set, [5, 90], BISTABLES)
    both = _latched([(10, 30)], [(20, 40)], no_edges)
    yield from _instants("RS: both on, reset wins", both, [10, 20], BISTABLES)
    still_set = _latched([(10, 50)], [(20, 40), (60, 70)], no_edges)
    yield from _instants("RS: still set as the reset ends", still_set, [10, 20, 40, 60], BISTABLES)

    scans = ternary.known(intervals([(1, 3), (4, 5)]))
    yield from _instants("R_TRIG: 0 1 1 0 1", ternary.rising(scans, (0, 5)).sure, [1, 4], EDGES)
    scans = ternary.known(intervals([(0, 1), (3, 4)]))
    yield from _instants("F_TRIG: 1 0 0 1 0", ternary.falling(scans, (0, 5)).sure, [1, 4], EDGES)
    five = ternary.known(intervals((scan, scan + 1) for scan in range(0, 10, 2)))
    for name, count in zip(("fewest", "most"), ternary.pulse_range(five, np.array([0]), np.array([10]), 0), strict=True):
        yield f"CTU: five pulses, {name}", float(count[0]), 5.0, 0.0, COUNTERS


def _latched(sets: list[tuple[int, int]], resets: list[tuple[int, int]], no_edges: ternary.Edges) -> Ints:
    released = ternary.none_of(ternary.known(intervals(resets)))
    return ternary.latch(ternary.known(intervals(sets)), no_edges, released)[0].must


def _instants(name: str, computed: Ints, expected: list[int], source: str) -> Iterator[Answer]:
    found = computed.ravel().tolist()
    for index, instant in enumerate(expected):
        value = float(found[index]) if len(found) == len(expected) else nan
        yield f"{name}, change {index + 1}", value, float(instant), 0.0, source
