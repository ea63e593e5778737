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
STROBE = "strobe"


def take_out(
    station: Station, lines: Coded, recorded: dict[tuple[str, str], Recorded], responses: ResponseTable,
    window: tuple[Delay, Delay], gaps: Ints, span: tuple[int, int],
) -> list[str]:  # fmt: skip
    """The lines leave `recorded`, and their channels go into `responses`. Returns what is worth a reader's eye."""
    each = [recorded.pop(("line", line.name)).on for line in lines.lines]
    strobe = recorded.pop(("line", STROBE)).on if lines.strobe is not None else None
    found = coded.decode(
        each, strobe, lines.channels, gray=lines.code == "gray", none=lines.none, seen_ns=station.scan.seen_ns,
        gaps=gaps, span=span,
    )  # fmt: skip
    beyond_gaps = len(intervals.subtract(found.unknown, gaps)) > 0
    for name, state in found.channels.items():
        responses.recorded(
            station.channel(name), state.must, window, unknown=found.unknown if beyond_gaps else None,
            can=intervals.subtract(state.can, found.unknown),
        )  # fmt: skip
    notes = [
        f"the coded lines showed {number} for {(end - start) / 1e6:g} ms at {start / 1e9:.3f} s, the number of no channel"
        for number, start, end in found.strange[:MOST_NAMED]
    ]
    if len(found.strange) > MOST_NAMED:
        notes.append(f"the coded lines showed numbers of no channel {len(found.strange) - MOST_NAMED} more times")
    return notes
