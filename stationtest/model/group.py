"""Groups of channels of one sensor, of which only the nearest matches."""

from __future__ import annotations

from dataclasses import dataclass

from stationtest.place import NOWHERE, Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """`channels` of one sensor. A channel matches only where its ratio distance / tolerance, times 1 + `lead` (a share), is below
    the ratio of every other of them."""

    name: str
    channels: tuple[str, ...]
    lead: float = 0.0
    place: Place = NOWHERE
