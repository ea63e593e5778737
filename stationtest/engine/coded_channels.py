"""Channels whose matches were recorded as a number on several lines: decoded after the last batch, then judged as recorded."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stationtest.engine.responses import ResponseTable
from stationtest.engine.station_signals import Recorded
from stationtest.model.match_number import Coded
from stationtest.model.station import Station
from stationtest.signals import coded, intervals
from stationtest.signals.travel import Delay

Ints = NDArray[np.int64]
MOST_NAMED = 5


def take_out(
    station: Station, lines: Coded, recorded: dict[tuple[str, str], Recorded], responses: ResponseTable,
    window: tuple[Delay, Delay], span: tuple[int, int],
) -> list[str]:  # fmt: skip
    """The lines leave `recorded`, and their channels go into `responses`. Returns what is worth a reader's eye."""
    each = [recorded.pop(("line", line.name)) for line in lines.lines]
    strobe = recorded.pop(("line", lines.strobe.name)) if lines.strobe is not None else None
    all_ = [*each, *([] if strobe is None else [strobe])]
    gaps = intervals.union(*(one.unknown for one in all_))
    found = coded.decode(
        [one.on for one in each], None if strobe is None else strobe.on, lines.channels, gray=lines.code == "gray",
        none=lines.none, seen_ns=station.scan.seen_ns, gaps=gaps, span=span,
    )  # fmt: skip
    own = any(one.own_gaps for one in all_) or len(intervals.subtract(found.unknown, gaps)) > 0
    for name, state in found.channels.items():
        responses.recorded(
            station.channel(name), state.must, window, unknown=found.unknown if own else None,
            can=intervals.subtract(state.can, found.unknown),
        )  # fmt: skip
    notes = [
        f"the coded lines showed {number} for {(end - start) / 1e6:g} ms at {start / 1e9:.3f} s, the number of no channel"
        for number, start, end in found.strange[:MOST_NAMED]
    ]
    if len(found.strange) > MOST_NAMED:
        notes.append(f"the coded lines showed numbers of no channel {len(found.strange) - MOST_NAMED} more times")
    return notes
