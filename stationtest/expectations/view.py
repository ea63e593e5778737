"""One recording seen with its station.

Whatever is worked out for all of its presentations or sets is kept here under a key, so that ten thousand cases on one recording
pick rows and do not compute.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from stationtest.model.observations import SourceObservations
from stationtest.model.station import Station

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Bools = NDArray[np.bool_]

T = TypeVar("T")


class View:
    """One recording with its station. `once` keeps what is made."""

    __slots__ = ("_made", "obs", "station")

    def __init__(self, station: Station, obs: SourceObservations) -> None:
        self.station = station
        self.obs = obs
        self._made: dict[Hashable, Any] = {}

    def once(self, key: Hashable, make: Callable[[], T]) -> T:
        """What `make` gives, made at the first call with this key."""
        try:
            return self._made[key]  # type: ignore[no-any-return]
        except KeyError:
            made = self._made[key] = make()
            return made

    @property
    def timed(self) -> bool:
        """False for a table of trials without times."""
        return self.obs.kind != "trials"

    @property
    def period_ns(self) -> int:
        """How coarsely time is known: the median step of the readings."""
        return self.obs.clock.period_ns[1]

    @property
    def doubt_ns(self) -> int:
        """By how much two instants may lie farther from each other, or nearer, than they are logged."""
        return max((placement.apart_ns for placement in self.obs.placements), default=0)

    @property
    def computed_basis(self) -> str:
        """The basis of what is worked out from the readings."""
        return "simulated" if self.obs.basis == "simulated" else "computed"

    def should_be_on(self) -> Bools:
        """(P, C): the channels that each presentation should switch on, by reference and polarity (A22)."""
        return self.once("should be on", self._should_be_on)

    def _should_be_on(self) -> Bools:
        return should_be_on(self.station, self.obs)

    def coarse_sensors(self) -> frozenset[str]:
        """Sensors that decide more often than they were logged (A5)."""
        return self.once("coarse sensors", lambda: frozenset(
            sensor.name for sensor in self.station.sensors
            if sensor.decides_every_ns is not None and sensor.decides_every_ns < self.period_ns
        ))  # fmt: skip

    def channel_basis(self) -> tuple[str, ...]:
        """For each channel: recorded, by hand, computed or simulated."""
        return self.once("channel basis", lambda: tuple(
            "simulated" if self.obs.basis == "simulated" else basis for basis in self.obs.responses.basis
        ))  # fmt: skip


def should_be_on(station: Station, obs: SourceObservations) -> Bools:
    """(P, C): the channels that each presentation should switch on, by the references that held when it began."""
    shown, channels = obs.presentations, obs.responses.channels
    found = np.zeros(obs.responses.applies.shape, dtype=np.bool_)
    settings = obs.settings or station.settings
    begins = np.array([each.from_ns or 0 for each in settings[1:]], np.int64)
    held = np.searchsorted(begins, shown.start_ns, "right")
    for number, each in enumerate(settings):
        pairs = np.zeros((len(shown.targets), len(shown.sensors), len(channels)), dtype=np.bool_)
        for t, target in enumerate(shown.targets):
            for s, sensor in enumerate(shown.sensors):
                on = station.should_be_on(target, sensor, each)
                pairs[t, s] = [name in on for name in channels]
        mine = held == number
        found[mine] = pairs[shown.target[mine], shown.sensor[mine]]
    return found & obs.responses.applies
