"""What an expectation is given: the trials of one case in one recording, on arrays that are made once for the whole recording.

`Trials` are rows of a view: presentations, sets, or the presentations of a run; what was picked of them is kept for all cases
that ask for the same rows.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from stationtest.expectations.timeline import table
from stationtest.expectations.view import View
from stationtest.model.case import Case
from stationtest.model.judged import CONFORMING, NONCONFORMING, NOT_JUDGED, Judged
from stationtest.model.observations import NEVER, SourceObservations
from stationtest.model.station import Station
from stationtest.model.travel import Length, Reach

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

T = TypeVar("T")

WEAKER = ("recorded", "by hand", "computed", "simulated")
"""Bases from the strongest to the weakest."""


def weakest(bases: tuple[str, ...]) -> str:
    """The basis of an answer that used all of these; `computed` where nothing was used."""
    return max(bases, key=WEAKER.index) if bases else "computed"


@dataclass(frozen=True, slots=True)
class Trials:
    """The trials of one case in one recording. `index` (n,) are rows of the presentations (unit presentation), of the sets
    (unit set), of the items (unit item, see items.py), or the presentations that belong to the one trial (unit run)."""

    view: View
    case: Case
    unit: str
    index: Ints
    picked: dict[Hashable, Any] = field(default_factory=dict)

    def __len__(self) -> int:
        return 1 if self.unit == "run" else len(self.index)

    def once(self, key: Hashable, make: Callable[[], T]) -> T:
        """What `make` gives for these rows, made at the first call with this key by any case."""
        try:
            return self.picked[key]  # type: ignore[no-any-return]
        except KeyError:
            made = self.picked[key] = make()
            return made

    @property
    def obs(self) -> SourceObservations:
        return self.view.obs

    @property
    def station(self) -> Station:
        return self.view.station

    def start_ns(self) -> Ints:
        """(n,) start of each trial."""
        return table(self.view, self.unit).start_ns[self.index]

    def not_judged(self, reason: str, basis: str | None = None) -> Judged:
        """None of these trials can be judged, for one reason."""
        return Judged(
            outcome=np.full(len(self), NOT_JUDGED, dtype=np.int8),
            why=lambda i: reason,
            channel=lambda i: "",
            at_ns=lambda i: None,
            basis=basis or weakest((self.obs.basis,)),
        )

    def coarse_reason(self, sensors: frozenset[str], what: str) -> str | None:
        """Why computed answers on `what` can show nothing where the sensor decides between the readings (A5)."""
        coarse = sorted(self.view.coarse_sensors() & sensors)
        if not coarse:
            return None
        every = self.view.station.sensor(coarse[0]).decides_every_ns or 0
        return (
            f"sensor {coarse[0]} decides every {every / 1e6:g} ms and was logged every {self.view.period_ns / 1e6:g} ms, "
            f"so computed outputs cannot show {what}"
        )

    def too_fine(self, limit: Reach) -> str | None:
        """Why a limit in time cannot be judged on these readings (C17). A length is judged with the doubt of the position."""
        if not self.view.timed:
            return "needs times"
        if not isinstance(limit, Length) and limit < self.view.period_ns:
            return f"could not be judged: readings come every {self.view.period_ns / 1e6:g} ms"
        return None

    def sensors(self) -> frozenset[str]:
        """The sensors of these presentations."""
        shown = self.obs.presentations
        return frozenset(shown.sensors[code] for code in set(shown.sensor[self.index].tolist()))


def outcomes(bad: Bools | np.bool_, open_: Bools | np.bool_) -> NDArray[np.int8]:
    """Nonconforming where something was seen to be so, else not judged where the answer is open, else conforming."""
    result = np.where(open_, NOT_JUDGED, CONFORMING).astype(np.int8)
    result[bad] = NONCONFORMING
    return result


def any_of(mask: Bools) -> Bools:
    """(n,) whether any channel of each row is set."""
    return np.asarray(mask.any(axis=1))


def instant(value: int) -> int | None:
    """A time of the observations as one of a record: None for `NEVER`."""
    return None if value == NEVER else int(value)
