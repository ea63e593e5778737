"""Every target against every channel, in numbers: what the matrix and the summary of a recording are made of."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Literal

import numpy as np

from stationtest.expectations import channel_rules
from stationtest.expectations.view import View
from stationtest.model.observations import TAUGHT, UNKNOWN_TARGET, VOID
from stationtest.model.record import ObservedPair

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

NO_TRIAL = TAUGHT | UNKNOWN_TARGET | VOID
"""Presentations with one of these are no trials (they taught, are not known, or were declared void)."""


def of_trials(view: View) -> Bools:
    """(P,): presentations and stretches between that are trials."""
    return view.once("are trials", lambda: (view.obs.presentations.status & NO_TRIAL) == 0)


def roles(view: View) -> tuple[Bools, Bools]:
    """(P, C) twice: the channel must be on, and it must stay off, by reference and polarity.

    A channel that polarity would have on in a stretch between has no role there: whether it must be on is for a case to say.
    """
    return view.once("roles", lambda: _roles(view))


def _roles(view: View) -> tuple[Bools, Bools]:
    on, between = view.should_be_on(), view.obs.presentations.between[:, None]
    return on & ~between, view.obs.responses.applies & ~on


def wanted_margins(view: View) -> Floats:
    """(P, C): the margin of each channel in the role that it has there; NaN where it has none."""
    must_fire, must_be_silent = channel_rules.margins(view)
    on, off = roles(view)
    return view.once("wanted margins", lambda: np.where(on, must_fire, np.where(off, must_be_silent, np.nan)))


def met(view: View) -> Iterator[tuple[int, int, int, Ints]]:
    """(target, sensor, channel, rows of the presentations) of each target seen at a sensor, with each of its channels."""
    shown, did = view.obs.presentations, view.obs.responses
    trials = of_trials(view)
    for target in range(len(shown.targets)):
        for sensor in range(len(shown.sensors)):
            rows = np.flatnonzero(trials & (shown.target == target) & (shown.sensor == sensor))
            if not len(rows):
                continue
            for channel, name in enumerate(did.channels):
                if view.station.channel(name).sensor == shown.sensors[sensor]:
                    yield target, sensor, channel, rows


def observed(view: View) -> list[ObservedPair]:
    """The pairs of a recording, in the order of its targets and channels."""
    shown, did = view.obs.presentations, view.obs.responses
    margins = wanted_margins(view)
    pairs: list[ObservedPair] = []
    for target, _, channel, rows in met(view):
        name = did.channels[channel]
        should = role(view, rows, channel)
        pairs.append(
            {
                "target": shown.targets[target],
                "channel": name,
                "should": should,
                "n": len(rows),
                "fired": _count(did.fired, rows, channel),
                "perhaps": _count(did.perhaps, rows, channel),
                "silent": _count(did.silent, rows, channel),
                "held_over": int(np.count_nonzero(did.held_over_ns[rows, channel] > 0)),
                "closeness": five(did.closeness_max[rows, channel]),
                "margin": five(margins[rows, channel]),
            }
        )
    return pairs


def role(view: View, rows: Ints, channel: int) -> Literal["on", "off", ""]:
    """What a channel must do in these presentations of one target at one sensor."""
    on, off = roles(view)
    if on[rows, channel].any():
        return "on"
    return "off" if off[rows, channel].any() else ""


def _count(table: Bools, rows: Ints, channel: int) -> int:
    return int(np.count_nonzero(table[rows, channel]))


def five(values: Floats) -> list[float] | None:
    """Least, 5 %, median, 95 %, greatest of the finite values: values that occurred, none between two. None without any."""
    finite = values[np.isfinite(values)]
    if not len(finite):
        return None
    return [float(value) for value in np.quantile(finite, (0.0, 0.05, 0.5, 0.95, 1.0), method="inverted_cdf")]
