"""Instants that lie a time or a length of belt after others, with what the doubt of the belt's position leaves open."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationtest.expectations.wording import number_text
from stationtest.model.observations import NEVER
from stationtest.model.travel import NM, Length
from stationtest.signals import travel

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from stationtest.expectations.view import View
    from stationtest.model.travel import Reach

    Ints = NDArray[np.int64]


class Bounds(NamedTuple):
    """Instants (n,) as stated, and the earliest and latest that they may be."""

    early: Ints
    stated: Ints
    late: Ints


def exactly(at: Ints) -> Bounds:
    """Instants without a doubt."""
    return Bounds(at, at, at)


def after(view: View, at: Bounds, reach: Reach) -> Bounds:
    """What lies `reach` after each instant."""
    if not isinstance(reach, Length):
        return Bounds(*(each + reach for each in at)) if at.early is not at.late else exactly(at.stated + reach)
    delay = travel.on_belt(reach, view.obs.belt)
    return Bounds(travel.earliest(at.early, delay), travel.reached(at.stated, delay), travel.latest(at.late, delay))


def between(view: View, at: Ints, on_the_belt: bool) -> tuple[Ints, Ints]:
    """The middles (n - 1,) between instants (n,) in order, in way or in time; and an instant as far before the first as its
    middle to the second lies behind it (`NEVER` if there is no second)."""
    if len(at) < 2:
        return at[1:], np.full(len(at), NEVER)
    belt = view.obs.belt if on_the_belt else None
    ways = at if belt is None else travel.position_nm(belt, at)
    middles = (ways[:-1] + ways[1:]) // 2
    before = 2 * ways[:1] - middles[:1]
    return (middles, before) if belt is None else (travel.first_at(belt, middles), travel.first_at(belt, before))


def together(first: Reach, second: Reach) -> Reach | None:
    """One reach for two of a kind, so that their doubt counts once; None for a time and a length."""
    if isinstance(first, Length) and isinstance(second, Length):
        return Length(first.nm + second.nm)
    if isinstance(first, Length) or isinstance(second, Length):
        return None
    return first + second


def untold(view: View, reaches: Iterable[Reach | None]) -> str | None:
    """Why lengths cannot be judged in this recording at all."""
    if view.obs.belt is None and any(isinstance(reach, Length) for reach in reaches):
        said = "this recording does not say how the belt moves: "
        return said + "no `travel` is stated for it, or what that counts is not recorded in it"
    return None


def doubt_text(view: View, reach: Reach) -> str:
    """`2.5 mm over 620 mm`: how far the belt's position is known over a length."""
    if not isinstance(reach, Length) or view.obs.belt is None:
        return ""
    return f"{number_text(travel.doubt_nm(view.obs.belt, reach.nm) / NM)} mm over {number_text(reach.mm)} mm"


def ways_mm(view: View, origin: Ints, at: Ints, counted: NDArray[np.bool_]) -> NDArray[np.float64]:
    """How far the belt moved from each row's origin (n,) to each instant (n, C), in mm; 0 where not `counted`."""
    belt = view.obs.belt
    if belt is None:
        return np.zeros(at.shape)
    from_, to = np.broadcast_to(origin[:, None], at.shape)[counted], at[counted]
    ways = np.zeros(at.shape)
    ways[counted] = travel.way_nm(belt, from_, to) / NM
    return ways
