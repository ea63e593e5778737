"""Groups of channels of which only the nearest matches.

At each reading the ratio of a channel is r = distance / tolerance, and m the least ratio of the others of its group. It wins
where r * (1 + lead) < m; a tie is won by nobody. A channel that does not win is off at that reading, hysteresis or not.

With its own tolerance scaled by s, and those of the others left alone, it wins where r * (1 + lead) / s < m. So for each reading
there is a least own tolerance with which it wins, the floor tolerance * r * (1 + lead) / m, and the channel is on exactly where
its tolerance reaches both its distance and its floor: one more border on the same scale, so that comparator and critical
tolerance (critical.py) ask the same question, and a margin is the smaller of that to the tolerance and the lead over the
runner-up.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from stationtest.model.group import Group
from stationtest.model.station import Channel

Floats = NDArray[np.float64]


class Nearest:
    """The groups of one sensor's channels. `rows` numbers, for each of these channels, its row in `floors`; None if it has no
    group."""

    def __init__(self, channels: Sequence[Channel], groups: Sequence[Group]) -> None:
        names = [channel.name for channel in channels]
        self._groups = [([names.index(name) for name in group.channels], group.lead) for group in groups]
        self._tolerance = np.array([channel.tolerance for channel in channels], np.float64)
        in_order = [number for members, _ in self._groups for number in members]
        self.rows: tuple[int | None, ...] = tuple(in_order.index(n) if n in in_order else None for n in range(len(names)))
        self.count = len(in_order)

    def floors(self, distance: Floats) -> Floats:
        """The least own tolerance with which each grouped channel wins at each reading, (G, m), from distances (C, m); inf where
        none would do. At most the channel's tolerance exactly where it wins."""
        found = np.empty((self.count, distance.shape[1]))
        at = 0
        for members, lead in self._groups:
            _floors(distance, self._tolerance[members], members, lead, found[at : at + len(members)])
            at += len(members)
        return found


def _floors(distance: Floats, tolerance: Floats, members: Sequence[int], lead: float, out: Floats) -> None:
    """One group, into `out` (k, m)."""
    for row, number, own in zip(out, members, tolerance, strict=True):
        np.divide(distance[number], own, out=row)
    columns = np.arange(out.shape[1])
    first = out.argmin(axis=0)
    least = out[first, columns]
    out[first, columns] = np.inf
    second = out.min(axis=0)
    out[first, columns] = least
    for number, (row, own) in enumerate(zip(out, tolerance, strict=True)):
        others = np.where(first == number, second, least)
        row *= 1 + lead
        wins = row < others
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            np.divide(row, others, out=row)
            row *= own
        row[np.isnan(row)] = np.inf  # without a distance, or a tie of two that lie on their references: nobody wins
        # the border is met exactly, however the quotient rounds
        np.minimum(row, own, out=row, where=wins)
        np.maximum(row, np.nextafter(own, np.inf), out=row, where=~wins)
