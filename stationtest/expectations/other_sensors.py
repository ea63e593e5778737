"""Channels of other sensors while a presentation lasts: what `on: all sensors` asks of them (counter-example A27).

Another sensor sees another presentation meanwhile, or nothing, so nobody can say whether this one caused an on-time there. Asked
is only whether the channel was on: as its output was, recorded or computed behind its timers, at any instant from the start of
the presentation to its end, however short and whoever caused it. No window of recorded outputs is laid over it, since a window
says to which presentation of its own sensor an on-time belongs. Where the output is not known for some of that time the answer is
open, unless it was on for sure in the rest. In a table of trials by hand it is what was noted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stationtest.expectations.view import View
from stationtest.expectations.wording import milliseconds
from stationtest.signals import intervals

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """(P, C) of channels that are not of the presentation's sensor: how long they were on while it lasted, where that is not
    known throughout, and where a dark reading decided it at a sensor without `when_dark`."""

    on_ns: Ints
    unknown: Bools
    dark: Bools


def elsewhere(view: View) -> Elsewhere:
    """What the channels of other sensors did, from the intervals of their outputs. For recordings with times."""
    return view.once("elsewhere", lambda: _elsewhere(view))


def _elsewhere(view: View) -> Elsewhere:
    shown, did = view.obs.presentations, view.obs.responses
    on_ns = np.zeros(did.applies.shape, dtype=np.int64)
    unknown, dark = ~did.applies, np.zeros_like(did.applies)
    for c, name in enumerate(did.channels):
        signal, rows = view.obs.signals.get(("channel", name)), np.flatnonzero(~did.applies[:, c])
        if signal is None:
            continue  # its sensor is not in this recording
        start, end = shown.start_ns[rows], shown.end_ns[rows]
        on_ns[rows, c] = intervals.overlap(signal.must, start, end)
        unknown[rows, c] = intervals.overlap(signal.can, start, end) > on_ns[rows, c]
        if view.station.sensor(view.station.channel(name).sensor).when_dark is None:
            at = did.rested_dark[:, c]
            rested = intervals.merge(np.stack([shown.start_ns[at], shown.end_ns[at]], axis=1))
            dark[rows, c] = intervals.overlap(rested, start, end) > 0
    return Elsewhere(on_ns, unknown, dark)


def first_on_ns(view: View, row: int, c: int) -> int | None:
    """The first instant of the presentation at which the channel was on; None if it was not."""
    shown, signal = view.obs.presentations, view.obs.signals.get(("channel", view.obs.responses.channels[c]))
    if signal is None:
        return None
    on = intervals.clip(signal.must, (int(shown.start_ns[row]), int(shown.end_ns[row])))
    return int(on[0, 0]) if len(on) else None


def name_of(view: View, c: int) -> str:
    """`channel 5 of sensor tin`."""
    name = view.obs.responses.channels[c]
    return f"channel {name} of sensor {view.station.channel(name).sensor}"


def was_on(view: View, row: int, c: int) -> str:
    """`channel 5 of sensor tin was on for 40 ms`."""
    if not view.timed:
        return f"{name_of(view, c)} was on"
    return f"{name_of(view, c)} was on for {milliseconds(int(elsewhere(view).on_ns[row, c]), view.period_ns)}"


def not_known(view: View, row: int, c: int) -> str:
    """Why the answer of such a channel is open."""
    if not view.timed:
        return f"what {name_of(view, c)} did was not noted"
    if elsewhere(view).dark[row, c]:
        return f"a dark reading decided {name_of(view, c)}, and the station has no `when_dark` for it"
    return f"the state of {name_of(view, c)} was not known for some of the time"
