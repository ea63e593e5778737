"""The offset and drift between two clocks, from edges that both logs saw: a proposal, with how well it fits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]

CLUSTER_NS = 20_000_000
NEAR_NS = 25_000_000
FIRST = 40
BLOCK = 50
LEAST = 5
FINEST_NS = 100_000
FASTEST_E12 = 10**9  # 1000 ppm, as `drift` of a relation


@dataclass(frozen=True, slots=True)
class Sync:
    """t' = t + offset + drift * (t - t0), to +-`within_ns`, for `matched` of `of` edges, which lie from `early_ns` (not positive)
    to `late_ns` beside it, half of them by at most `half_ns`. `also_ns`: another offset that fits the first edges nearly as well,
    None if there is none."""

    offset_ns: int
    drift_e12: int
    within_ns: int
    matched: int
    of: int
    also_ns: int | None
    early_ns: int
    late_ns: int
    half_ns: int

    @property
    def doubt(self) -> float:
        """How far off edges lie, as a mean of logarithms: with a partner by `within`, without one as far as it is sought."""
        matched, lost = np.log(max(self.within_ns, FINEST_NS)), np.log(NEAR_NS)
        return float(matched * self.matched + lost * (self.of - self.matched)) / self.of


def common(a: Ints, b: Ints, t0: int) -> Sync | None:
    """How the clock of the edges `b` lies to that of `a`, both rising; None if less than half of `a` have a partner, or their
    drift is none of two clocks.

    The offset of the first edges is where most differences cluster; from there on it is followed, edge by edge, with the drift
    that fits best (least squares).
    """
    if len(a) < LEAST or len(b) < LEAST:
        return None
    start, also = _first_offset(a, b)
    fit = (float(start), 0.0)
    pairs = np.empty((0, 2))
    for begin in range(0, len(a), BLOCK):
        here = a[begin : begin + BLOCK]
        found = _matched(here, b, fit, t0)
        pairs = np.concatenate((pairs, found))
        if len(pairs) >= 2 * LEAST:
            slope, offset = np.polyfit(pairs[:, 0], pairs[:, 1], 1)
            fit = (float(offset), float(slope))
        elif len(pairs):
            fit = (float(np.median(pairs[:, 1])), 0.0)
    if len(pairs) < max(LEAST, len(a) // 2):
        return None
    offset_ns, drift = round(fit[0] / 1000) * 1000, round(fit[1] * 1e8) * 10_000  # whole us, hundredths of a ppm
    if abs(drift) >= FASTEST_E12:
        return None
    left = np.rint(pairs[:, 1] - offset_ns - drift / 1e12 * pairs[:, 0]).astype(np.int64)
    early, late, half = min(int(left.min()), 0), max(int(left.max()), 0), int(np.median(np.abs(left)))
    within = -(-max(-early, late) // FINEST_NS) * FINEST_NS
    return Sync(offset_ns, drift, within, len(pairs), len(a), also, early, late, half)


def _first_offset(a: Ints, b: Ints) -> tuple[int, int | None]:
    """Where most differences of the first edges lie together, and the next best place if it is nearly as good."""
    differences = np.sort((b[None, : 40 * FIRST] - a[:FIRST, None]).ravel())
    together = np.searchsorted(differences, differences + CLUSTER_NS, "right") - np.arange(len(differences))
    best = int(np.argmax(together))
    inside = differences[best : best + together[best]]
    offset = int(np.median(inside))
    elsewhere = np.where(np.abs(differences - offset) > 2 * CLUSTER_NS, together, 0)
    second = int(np.argmax(elsewhere))
    return offset, int(differences[second]) if elsewhere[second] > 0.9 * together[best] else None


def _matched(a: Ints, b: Ints, fit: tuple[float, float], t0: int) -> NDArray[np.float64]:
    """(k, 2): since t0, and the difference to the nearest edge of b, where that is as near as expected."""
    since = (a - t0).astype(np.float64)
    expected = a + np.rint(fit[0] + fit[1] * since).astype(np.int64)
    after = np.clip(np.searchsorted(b, expected), 1, len(b) - 1)
    nearer = np.where(np.abs(b[after - 1] - expected) <= np.abs(b[after] - expected), after - 1, after)
    good = np.abs(b[nearer] - expected) <= NEAR_NS
    return np.column_stack((since[good], (b[nearer] - a)[good].astype(np.float64)))
