"""Fewer points and fewer intervals than there are, without hiding an extreme: for figures only, never for a verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]


def extremes(values: Floats, most: int) -> Ints:
    """Rows to keep so that at most `most` are left: the least and the greatest of each equal stretch, in order; all if few."""
    n = len(values)
    if n <= most:
        return np.arange(n, dtype=np.int64)
    edges = np.linspace(0, n, most // 2 + 1).astype(np.int64)
    kept = set()
    for start, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        if end > start:
            kept.add(start + int(np.argmin(values[start:end])))
            kept.add(start + int(np.argmax(values[start:end])))
    return np.array(sorted(kept), dtype=np.int64)


def least(values: Floats, most: int) -> Ints:
    """Rows to keep: the least of each equal stretch of rows, at most `most` of them."""
    n = len(values)
    if n <= most:
        return np.arange(n, dtype=np.int64)
    edges = np.linspace(0, n, most + 1).astype(np.int64)
    return np.array(
        [a + int(np.argmin(values[a:b])) for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)], dtype=np.int64
    )


def every_kth(n: int, most: int) -> slice:
    """A slice that takes every k-th of n, at most `most` of them, from the first on."""
    return slice(None, None, max(1, -(-n // most)))


def joined(intervals: Ints, nearer_than: int) -> Ints:
    """Sorted intervals (n, 2) with breaks shorter than `nearer_than` closed."""
    if len(intervals) < 2:
        return intervals
    ordered = intervals[np.argsort(intervals[:, 0], kind="stable")]
    ends = np.maximum.accumulate(ordered[:, 1])
    begins = np.flatnonzero(ordered[1:, 0] - ends[:-1] >= max(1, nearer_than)) + 1
    first = np.concatenate(([0], begins))
    last = np.concatenate((begins - 1, [len(ordered) - 1]))
    return np.column_stack((ordered[first, 0], ends[last]))


def clipped(intervals: Ints, start: int, end: int) -> list[list[int]]:
    """The parts of intervals (n, 2) within [start, end), as built-in integers."""
    if not len(intervals):
        return []
    inside = intervals[(intervals[:, 1] > start) & (intervals[:, 0] < end)]
    return [[int(a), int(b)] for a, b in np.clip(inside, start, end).tolist()]
