"""Interval algebra: a digital signal as the half-open stretches [start, end) in which it is on.

An interval list is an int64 array of shape (n, 2) in nanoseconds, sorted, with no empty, overlapping or touching rows; every
function takes such lists and gives such lists. A span is a pair (start, end). Windows are two arrays of equal length, in any
order, that may overlap. Work grows with the number of intervals, never with the number of readings.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from stationtest.model.observations import NEVER

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]
    Span = tuple[int, int]

FAR = 2**61
"""'For ever' in nanoseconds (73 years): beyond every clock of a recording, and still safe to add a delay to."""


def empty() -> Ints:
    """A signal that is never on."""
    return np.empty((0, 2), dtype=np.int64)


def intervals(pairs: Iterable[Sequence[int]]) -> Ints:
    """An interval list from pairs (start, end) in any order; what overlaps or touches is joined, what is empty is dropped."""
    return merge(np.array([tuple(pair) for pair in pairs], dtype=np.int64).reshape(-1, 2))


def merge(pairs: Ints) -> Ints:
    """The interval list that covers what the rows of `pairs` (n, 2) cover."""
    pairs = pairs[pairs[:, 0] < pairs[:, 1]]
    if len(pairs) < 2:
        return pairs
    pairs = pairs[np.argsort(pairs[:, 0], kind="stable")]
    reach = np.maximum.accumulate(pairs[:, 1])
    first = np.flatnonzero(np.concatenate(([True], pairs[1:, 0] > reach[:-1])))
    last = np.append(first[1:], len(pairs)) - 1
    return np.column_stack((pairs[first, 0], reach[last]))


def from_mask(t_ns: Ints, mask: Bools, end_ns: int) -> Ints:
    """Where `mask` (n,) is true, each reading holding from its instant `t_ns` (n,) to the next one, the last to `end_ns`."""
    if len(t_ns) == 0:
        return empty()
    change = np.flatnonzero(np.diff(mask.astype(np.int8), prepend=0, append=0))
    instants = np.append(t_ns, np.int64(end_ns))
    return instants[change].reshape(-1, 2)


def union(*lists: Ints) -> Ints:
    """On where at least one is on."""
    return merge(np.concatenate(lists)) if lists else empty()


def intersect(a: Ints, b: Ints) -> Ints:
    """On where both are on."""
    low = np.searchsorted(b[:, 1], a[:, 0], "right")
    count = np.searchsorted(b[:, 0], a[:, 1], "left") - low
    of_a = np.repeat(np.arange(len(a)), count)
    of_b = np.arange(len(of_a)) - np.repeat(np.cumsum(count) - count, count) + np.repeat(low, count)
    return np.column_stack((np.maximum(a[of_a, 0], b[of_b, 0]), np.minimum(a[of_a, 1], b[of_b, 1])))


def clip(iv: Ints, span: Span) -> Ints:
    """The part that lies in `span`."""
    inside = iv[(iv[:, 1] > span[0]) & (iv[:, 0] < span[1])] if span[0] < span[1] else empty()
    return np.clip(inside, span[0], span[1])


def complement(iv: Ints, span: Span = (-FAR, FAR)) -> Ints:
    """On where `iv` is off, within `span`."""
    if span[0] >= span[1]:
        return empty()
    ends = np.concatenate(([span[0]], clip(iv, span).ravel(), [span[1]])).reshape(-1, 2)
    return ends[ends[:, 0] < ends[:, 1]]


def subtract(a: Ints, b: Ints) -> Ints:
    """On where `a` is on and `b` is off."""
    return intersect(a, complement(b))


def at_least(lists: Sequence[Ints], n: int, span: Span = (-FAR, FAR)) -> Ints:
    """On where at least `n` of the lists are on, within `span`."""
    if n <= 0:
        return complement(empty(), span)
    starts = np.concatenate([empty()[:, 0], *(iv[:, 0] for iv in lists)])
    ends = np.concatenate([empty()[:, 0], *(iv[:, 1] for iv in lists)])
    instants, where = np.unique(np.concatenate((starts, ends)), return_inverse=True)
    step = np.concatenate((np.ones(len(starts), dtype=np.int64), -np.ones(len(ends), dtype=np.int64)))
    change = np.zeros(len(instants), dtype=np.int64)
    np.add.at(change, where, step)
    return clip(from_mask(instants, np.cumsum(change) >= n, FAR), span)


def fill_gaps(iv: Ints, shorter_than: int) -> Ints:
    """Off-times shorter than `shorter_than` ns between two on-times become on."""
    if len(iv) < 2:
        return iv
    keep = iv[1:, 0] - iv[:-1, 1] >= shorter_than
    return np.column_stack((iv[np.append(True, keep), 0], iv[np.append(keep, True), 1]))


def drop_short(iv: Ints, shorter_than: int) -> Ints:
    """On-times shorter than `shorter_than` ns become off."""
    return iv[iv[:, 1] - iv[:, 0] >= shorter_than]


def total(iv: Ints) -> int:
    """Total on-time in ns."""
    return int((iv[:, 1] - iv[:, 0]).sum())


def contains(iv: Ints, t: ArrayLike) -> Bools:
    """Whether the signal is on at each instant `t`."""
    t = np.asarray(t, dtype=np.int64)
    at = np.searchsorted(iv[:, 0], t, "right")
    return t < _prepended(iv[:, 1])[at]


def before(iv: Ints, t: ArrayLike) -> Bools:
    """Whether the signal is on just before each instant `t` (the left limit): what a decision at `t` reads."""
    t = np.asarray(t, dtype=np.int64)
    at = np.searchsorted(iv[:, 0], t, "left")
    return t <= _prepended(iv[:, 1])[at]


def edges(iv: Ints, span: Span) -> tuple[Ints, Ints]:
    """Rising and falling instants seen within `span`: a signal that is on in the first row has had no edge (counter-example A25),
    and none falls because the recording ends."""
    starts, ends = iv[:, 0], iv[:, 1]
    return starts[(starts > span[0]) & (starts < span[1])], ends[(ends > span[0]) & (ends < span[1])]


def overlap(iv: Ints, starts: Ints, ends: Ints) -> Ints:
    """On-time in ns within each window [start, end)."""
    return _on_before(iv, np.maximum(starts, ends)) - _on_before(iv, starts)


def starting_in(iv: Ints, starts: Ints, ends: Ints) -> tuple[Ints, Ints]:
    """Index of the first interval that starts in each window [start, end), and how many do."""
    first = np.searchsorted(iv[:, 0], starts, "left")
    return first, np.maximum(np.searchsorted(iv[:, 0], ends, "left") - first, 0)


def longest_in(iv: Ints, starts: Ints, ends: Ints) -> Ints:
    """Longest unbroken on-time in ns within each window [start, end); an interval that reaches out of the window is cut there."""
    if len(iv) == 0 or len(starts) == 0:
        return np.zeros(len(starts), dtype=np.int64)
    low = np.searchsorted(iv[:, 1], starts, "right")
    high = np.searchsorted(iv[:, 0], ends, "left")
    padded = np.concatenate((iv, [[0, 0]]))
    head = np.minimum(padded[low, 1], ends) - np.maximum(padded[low, 0], starts)
    tail = np.minimum(padded[high - 1, 1], ends) - np.maximum(padded[high - 1, 0], starts)
    whole = np.maximum.reduceat(padded[:, 1] - padded[:, 0], np.column_stack((low + 1, high - 1)).clip(0, len(iv)).ravel())[::2]
    longest = np.maximum(np.maximum(head, tail), np.where(high - low > 2, whole, 0))
    return np.where(high > low, np.maximum(longest, 0), 0)


def first_lasting(iv: Ints, starts: Ints, ends: Ints, at_least_ns: int) -> Ints:
    """Start of the first on-time of at least `at_least_ns` within each window (cut at the window); `NEVER` where none is."""
    long = np.concatenate((drop_short(iv, max(at_least_ns, 1)), [[FAR, FAR]]))
    under_way = np.searchsorted(long[:, 1], starts, "right").clip(0, len(long) - 1)
    head = np.maximum(long[under_way, 0], starts)
    head_lasts = np.minimum(long[under_way, 1], ends) - head >= max(at_least_ns, 1)
    following = long[np.searchsorted(long[:, 0], starts, "left").clip(0, len(long) - 1), 0]
    follows = ends - following >= max(at_least_ns, 1)
    return np.where(head_lasts, head, np.where(follows, following, NEVER))


def _prepended(ends: Ints) -> Ints:
    return np.concatenate((np.array([NEVER], dtype=np.int64), ends))


def _on_before(iv: Ints, t: Ints) -> Ints:
    """On-time in ns before each instant."""
    finished = np.concatenate((np.zeros(1, dtype=np.int64), np.cumsum(iv[:, 1] - iv[:, 0])))
    begun = np.searchsorted(iv[:, 0], t, "left")
    rest: Ints = np.maximum(_prepended(iv[:, 1])[begun] - t, 0)
    return finished[begun] - rest
