"""Limits that are shorter than time is known: an instant may lie within one, though neither as logged nor as early or as late as
it may be. What a recording's placements cannot settle is found here."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stationtest.expectations.view import View
from stationtest.signals import intervals

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]


def known_to_ns(view: View) -> int:
    """How well the signals of logs are known against what was presented."""
    return max((placement.late_ns for placement in view.obs.placements), default=0)


def may_have_come(view: View, asked: Bools, origin: Ints, latest: Ints) -> Bools:
    """(n, C) recorded channels that are `asked` and may have come on between `origin` and `latest` (n,), where that is shorter
    than time is known."""
    did, doubt = view.obs.responses, known_to_ns(view)
    short = latest - origin < doubt
    found = np.zeros(asked.shape, dtype=np.bool_)
    for c in np.flatnonzero(asked.any(axis=0)).tolist() if short.any() else ():
        if did.basis[c] == "recorded":
            starts = view.obs.signals["channel", did.channels[c]].can[:, 0]
            _, near = intervals.starting_in(np.column_stack((starts, starts + 1)), origin - doubt, latest + doubt)
            found[:, c] = short & (near > 0)
    return found & asked


def shorter_than_time_is_known(view: View, begin: Ints, end: Ints) -> Bools:
    """(n,) windows that are shorter than the doubt of how far two instants lie from each other."""
    return np.asarray(end - begin < view.doubt_ns)
