"""A few lines of text that show what switched when around one presentation: for a terminal, where there are no figures."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationtest.model.observations import Signal, SourceObservations
from stationtest.model.record import CaseResult, Worst

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

WIDTH = 60
MOST_SIGNALS = 8
AROUND_NS = 200_000_000
KINDS = ("input", "channel", "output")
ON, PERHAPS, OFF = "#", "~", "."


def of_case(result: CaseResult, observations: dict[str, SourceObservations]) -> str:
    """The strip of a case's first nonconforming trial, or of its worst one; '' where there are no times."""
    worst = [*result["nonconforming_trials"], *(part["worst"] for part in result["expectations"] if part["worst"])]
    for trial in worst:
        source = observations.get(trial["source"])
        if source is not None and source.kind != "trials" and trial["index"] >= 0:
            return of_trial(source, trial, result["unit"])
    return ""


def of_trial(source: SourceObservations, trial: Worst, unit: str) -> str:
    """One line a signal over the trial and as much again around it: `#` on, `~` perhaps on, `.` off, `|` its start and end."""
    table = source.sets if unit == "set" else source.presentations
    if unit == "item" and trial["at_ns"] is not None:  # its parts may lie far apart: show what decided
        start, end = trial["at_ns"] - AROUND_NS, trial["at_ns"] + AROUND_NS
    elif unit in ("run", "item") or trial["index"] >= len(table):
        return ""
    else:
        start, end = int(table.start_ns[trial["index"]]), int(table.end_ns[trial["index"]])
    around = max(1, (end - start) // 2)
    first, last = start - around, end + around
    wanted = [signal for (kind, _), signal in source.signals.items() if kind in KINDS]
    lines = [(f"{signal.kind} {signal.name}", _line(signal, first, last)) for signal in wanted]
    busy = [line for line in lines if line[1].strip(OFF) and line[1].strip(PERHAPS)]  # not what is unknown all the time
    if not busy:
        busy = [line for line in lines if line[0] == f"channel {trial['channel']}"] or lines[:1]
    scale = [" "] * WIDTH
    for instant in (start, end):
        scale[min(WIDTH - 1, (instant - first) * WIDTH // (last - first))] = "|"
    rows = [("", "".join(scale)), *busy[:MOST_SIGNALS]]
    room = max(len(name) for name, _ in rows)
    text = "\n".join(f"  {name:<{room}}  {line}".rstrip() for name, line in rows)
    span = f"{first / 1e9:.3f} s to {last / 1e9:.3f} s; between the bars: {trial['label']}; {ON} on, {PERHAPS} perhaps, {OFF} off"
    return f"{text}\n  {span}"


def _line(signal: Signal, first: int, last: int) -> str:
    """One character a cell: on if it is on for sure anywhere in the cell, so that a short pulse is not lost."""
    must, can = _cells(signal.must, first, last), _cells(signal.can, first, last)
    return "".join(ON if sure else PERHAPS if maybe else OFF for sure, maybe in zip(must, can, strict=True))


def _cells(intervals: NDArray[np.int64], first: int, last: int) -> list[bool]:
    cells = [False] * WIDTH
    for start, end in intervals[(intervals[:, 1] > first) & (intervals[:, 0] < last)].tolist():
        begin = max(0, (start - first) * WIDTH // (last - first))
        stop = min(WIDTH, -((first - end) * WIDTH // (last - first)))
        cells[begin:stop] = [True] * (stop - begin)
    return cells
