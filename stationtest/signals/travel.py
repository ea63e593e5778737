"""The belt as a second clock: how far it has moved at an instant, and when it will have moved so far.

A `Belt` is straight between its points, so both directions are piecewise linear; results are whole nanometres and nanoseconds,
right to 1 of them (products are made in double precision: three roundings in a recording of ten hours are 0.02 ns). Outside the
recording nothing is known of the belt: an instant there stays as it is, and a length that is not reached before the end of the
recording is reached at `end + 1`, which is past it. While the belt stands, no length is reached.

Since the way is known to a doubt only, there are three answers: `reached` at the stated value, and `earliest` and `latest` with
the doubt. Where the way was lost in between (`lost_ns`), it may have been any: the earliest is where it was lost.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationtest.model.travel import Belt, Length, Reach
from stationtest.signals.intervals import FAR, merge

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

class OnBelt(NamedTuple):
    """A length of the belt of one recording; without a belt nothing is known of it but that time does not go back."""

    belt: Belt | None
    length: Length


class Stepped(NamedTuple):
    """A delay that a controller counts: over `ns` after, or up to one scan later (A33)."""

    ns: int
    scan_ns: int


Delay = int | OnBelt | Stepped
"""A delay on the clock in ns, on the belt, or in the steps of a controller."""


def on_belt(reach: Reach, belt: Belt | None) -> Delay:
    """What a file states as a time or a length, for one recording."""
    return OnBelt(belt, reach) if isinstance(reach, Length) else reach


def position_nm(belt: Belt, t_ns: Ints) -> Ints:
    """How far the belt has moved since the first row, at each instant (n,); before the first row and after the end as there."""
    k = np.searchsorted(belt.at_ns, t_ns, "right").clip(1, len(belt.at_ns) - 1)
    t0, x0 = belt.at_ns[k - 1], belt.at_nm[k - 1]
    share = ((t_ns - t0) / (belt.at_ns[k] - t0)).clip(0.0, 1.0)
    return x0 + np.rint(share * (belt.at_nm[k] - x0)).astype(np.int64)


def doubt_nm(belt: Belt, length_nm: int) -> int:
    """How much a length of belt may be off, in nm, rounded up."""
    return belt.doubt_nm + int(np.ceil(belt.doubt_share * length_nm))


def reached(t_ns: Ints, delay: Delay) -> Ints:
    """The instant (n,) at which `delay` after `t_ns` (n,) is over, by the position as it is stated."""
    if isinstance(delay, OnBelt):
        return _moved(delay, t_ns, 0)
    return t_ns + (delay if isinstance(delay, int) else delay.ns)


def earliest(t_ns: Ints, delay: Delay) -> Ints:
    """The first instant (n,) at which `delay` after `t_ns` may be over."""
    if not isinstance(delay, OnBelt):
        return reached(t_ns, delay)
    if delay.belt is None:
        return t_ns
    belt = delay.belt
    at = _moved(delay, t_ns, -doubt_nm(belt, delay.length.nm))
    lost = np.append(belt.lost_ns[:, 0], FAR)
    following = np.maximum(lost[np.searchsorted(belt.lost_ns[:, 1], t_ns, "right")], t_ns)
    return np.minimum(at, following)


def latest(t_ns: Ints, delay: Delay) -> Ints:
    """The last instant (n,) at which `delay` after `t_ns` may be over; what is lost of the way counts as standing."""
    if not isinstance(delay, OnBelt):
        return reached(t_ns, delay) + (0 if isinstance(delay, int) else delay.scan_ns)
    if delay.belt is None:
        return np.maximum(t_ns, FAR)
    # what began before the first row may have begun just before it
    return _moved(delay, np.maximum(t_ns, delay.belt.at_ns[0]), doubt_nm(delay.belt, delay.length.nm))


def _moved(delay: OnBelt, t_ns: Ints, more_nm: int) -> Ints:
    belt = delay.belt
    if belt is None:
        return t_ns
    at = first_at(belt, position_nm(belt, t_ns) + max(delay.length.nm + more_nm, 0))
    outside = (t_ns < belt.at_ns[0]) | (t_ns > belt.at_ns[-1])
    return np.where(outside, t_ns, np.maximum(at, t_ns))


def first_at(belt: Belt, wanted: Ints) -> Ints:
    """The first instant (n,) at which the belt has moved so far, in nm since the first row; `end + 1` if it never did."""
    k = np.searchsorted(belt.at_nm, wanted, "left")
    n = len(belt.at_nm)
    inner = k.clip(1, n - 1)
    t0, x0 = belt.at_ns[inner - 1], belt.at_nm[inner - 1]
    way = np.maximum(belt.at_nm[inner] - x0, 1)
    share = ((wanted - x0) / way).clip(0.0, 1.0)
    # the first whole nanosecond at which it is reached; a millionth less, so that rounding does not make it one later
    at = t0 + np.ceil(share * (belt.at_ns[inner] - t0) - 1e-6).astype(np.int64)
    return np.where(k == n, belt.at_ns[-1] + 1, np.where(k == 0, belt.at_ns[0], at))


def way_nm(belt: Belt, from_ns: Ints, to_ns: Ints) -> Ints:
    """How far the belt moved between two instants (n,) each, by the position as it is stated."""
    return position_nm(belt, to_ns) - position_nm(belt, from_ns)


def standing(belt: Belt, step_nm: int, for_ns: int) -> Ints:
    """Where the belt stands (n, 2): no more than a step comes for at least `for_ns`."""
    lasts, way = np.diff(belt.at_ns), np.diff(belt.at_nm)
    slow = way.astype(np.float64) * for_ns < float(step_nm) * lasts
    stretches = merge(np.column_stack((belt.at_ns[:-1], belt.at_ns[1:]))[slow])
    return stretches[stretches[:, 1] - stretches[:, 0] >= for_ns]


def lost_between(belt: Belt, from_ns: Ints, to_ns: Ints) -> Bools:
    """(n,) whether some of the way between two instants is not known: lost, or outside the recording."""
    lost = np.searchsorted(belt.lost_ns[:, 0], to_ns, "left") > np.searchsorted(belt.lost_ns[:, 1], from_ns, "right")
    return lost | (from_ns < belt.at_ns[0]) | (to_ns > belt.at_ns[-1])


def thinned(t_ns: Ints, x_nm: Ints, most_nm: int) -> Ints:
    """Which points (n,) of a rising line to keep, so that straight lines between them miss no dropped one by more than `most_nm`.

    The first and last are kept; a stretch that is not straight enough is cut at its worst point, the first of several (Ramer
    1972; Douglas and Peucker 1973, with the distance along the position axis).
    """
    kept = np.array([0, len(t_ns) - 1]) if len(t_ns) > 1 else np.arange(len(t_ns))
    low, high = kept[:-1], kept[1:]
    low, high = low[high - low > 1], high[high - low > 1]
    while len(low):
        inner = high - low - 1
        heads = np.cumsum(inner) - inner
        of = np.repeat(np.arange(len(low)), inner)
        i = np.arange(int(inner.sum())) - heads[of] + low[of] + 1
        a, b = low[of], high[of]
        share = (t_ns[i] - t_ns[a]) / (t_ns[b] - t_ns[a])
        off = np.abs(x_nm[i] - x_nm[a] - share * (x_nm[b] - x_nm[a]))
        worst = np.maximum.reduceat(off, heads)
        at_worst = np.flatnonzero(off == worst[of])
        first = at_worst[np.searchsorted(at_worst, heads, "left")]
        cut = worst > most_nm
        at = i[first][cut]
        kept = np.concatenate((kept, at))
        low, high = np.concatenate((low[cut], at)), np.concatenate((at, high[cut]))
        longer = high - low > 1
        order = np.argsort(low[longer])
        low, high = low[longer][order], high[longer][order]
    return np.sort(kept)
