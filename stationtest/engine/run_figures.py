"""Figures of a run from the observations: the matrix, margins in order, how times are spread, and the whole run on one strip."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from stationtest.engine import pairs, thinning
from stationtest.engine.figure_words import of_recordings
from stationtest.engine.nearest_pairs import MANY
from stationtest.expectations import events
from stationtest.expectations.view import View
from stationtest.files.words import duration_text
from stationtest.model.case import Suite
from stationtest.model.observations import NEVER, SourceObservations
from stationtest.model.record import Figure
from stationtest.model.travel import Length

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

MOST_MARGINS = 600
MOST_SOURCES = 8
COLUMNS = 700
BARS = 30
WORST = 40


def matrices(views: Sequence[View]) -> Iterator[Figure]:
    """For each sensor and each basis by itself: every target before it, every channel of it, over all recordings."""
    if not views:
        return
    station = views[0].station
    summed: dict[tuple[str, str, str], dict[str, Any]] = {}
    sources: dict[tuple[str, str], list[str]] = {}
    for view in views:
        basis_of = dict(zip(view.obs.responses.channels, view.obs.responses.basis, strict=True))
        for pair in pairs.observed(view):
            basis, name = basis_of[pair["channel"]], pair["channel"]
            cell = summed.setdefault((basis, pair["target"], name), {"should": pair["should"], **dict.fromkeys(COUNTED, 0)})
            for key in COUNTED:
                cell[key] += pair[key]  # type: ignore[literal-required]
            sources.setdefault((basis, name), []).append(view.obs.key)
    number = 0
    for sensor in station.sensors:
        for basis in dict.fromkeys(basis for basis, _ in sources):
            channels = [c.name for c in station.channels if c.sensor == sensor.name and (basis, c.name) in sources]
            targets = [t.name for t in station.targets if any((basis, t.name, channel) in summed for channel in channels)]
            if channels and targets:
                number += 1
                of = of_recordings(key for channel in channels for key in sources[basis, channel])
                yield {
                    "id": f"matrix-{number}",
                    "kind": "matrix" if len(channels) <= MANY else "many_matrix",
                    "title": f"Which target switched which channel of {sensor.name}, {basis}",
                    "description": (
                        f"Presentations in which the channel fired for sure, of all; a heavy frame where it must. {of}"
                    ),
                    "data": {
                        "basis": basis,
                        "channels": channels,
                        "targets": targets,
                        "cells": [[summed.get((basis, target, channel)) for channel in channels] for target in targets],
                    },
                }


COUNTED = ("n", "fired", "perhaps", "silent", "held_over")


AS_RECORDED = (
    "Computed from the readings, also where the station's own channels were recorded: below 0 the readings, with the settings as "
    "declared, ask for another answer than the target does. What the recorded channels did, the cases say."
)
"""Where the answers of a recording are the station's own, a margin below 0 is no wrong answer: it contradicts the readings."""


def margins(views: Sequence[View]) -> Iterator[Figure]:
    """The least margin of each presentation, as a channel that must be on and as one that must stay off, in the order of time."""
    for number, view in enumerate(_streams(views), 1):
        obs = view.obs
        values, (on, off) = pairs.wanted_margins(view), pairs.roles(view)
        trials = pairs.of_trials(view)
        recorded = bool({"recorded"} & set(obs.responses.basis))
        below = AS_RECORDED if recorded else "Below 0 the answer was not as asked."
        pulses = any(channel.pulse_ns is not None for channel in view.station.channels)
        series = []
        for name, mask in (("must switch on", on), ("must stay off", off)):
            table = np.where(mask & trials[:, None] & np.isfinite(values), values, np.inf)
            if not table.shape[1]:
                continue
            least = table.min(axis=1)
            rows = np.flatnonzero(np.isfinite(least))
            if not len(rows):
                continue
            kept = rows[thinning.least(least[rows], MOST_MARGINS)]
            points = [[int(obs.presentations.start_ns[row]), round(float(least[row]), 4)] for row in kept]
            series.append({"name": name, "n": len(rows), "below": int(np.count_nonzero(least[rows] < 0)), "points": points})
        if series:
            listed = [_worst(obs, margin, row, channel) for margin, row, channel in sorted(_least(view))[:WORST]]
            yield {
                "id": f"margins-{number}",
                "kind": "margins",
                "title": f"Margin of every trial in {obs.key}",
                "description": (
                    f"Least margin of each presentation and stretch between, in the order of time. {below} "
                    f"Where there are more than {MOST_MARGINS}, the least of each stretch is drawn."
                    + (" Channels that give pulses have no margin." if pulses else "")
                ),
                "data": {"source": obs.key, "span_ns": _span(obs), "recorded": recorded, "series": series, "worst": listed},
            }


def _least(view: View) -> Iterator[tuple[float, int, int]]:
    """(margin, presentation, channel) of the least margin of each target at each channel, so that no target hides the others."""
    values = pairs.wanted_margins(view)
    for _, _, channel, rows in pairs.met(view):
        known = rows[np.isfinite(values[rows, channel])]
        if len(known):
            row = known[values[known, channel].argmin()]
            yield float(values[row, channel]), int(row), channel


def _worst(obs: SourceObservations, margin: float, row: int, channel: int) -> dict[str, Any]:
    shown, at = obs.presentations, int(obs.responses.at_ns[row, channel])
    label = shown.targets[shown.target[row]]
    if shown.specimen[row] >= 0:
        label += f", specimen {shown.specimens[shown.specimen[row]]}"
    at = int(shown.start_ns[row]) if at == NEVER else at
    return {"label": label, "channel": obs.responses.channels[channel], "at_ns": at, "margin": round(margin, 4)}


def times(suite: Suite, views: Sequence[View]) -> Iterator[Figure]:
    """Histograms of response and on-time of the channels that must be on, over all recordings with times."""
    streams = [view for view in views if view.timed]
    if not streams:
        return
    period = max(view.period_ns for view in streams) / 1e6
    limits = _limits(suite)
    for kind, quantity, words in (
        ("response", "response", "Time from the start of a presentation to the first own on-time that is seen for sure."),
        ("on_time", "on-time", "Longest unbroken own on-time of each presentation that fired."),
    ):
        groups: dict[str, list[Floats]] = {}
        keys = []
        for view in streams:
            for name, values in _own_times(view, kind):
                groups.setdefault(name, []).append(values)
                keys.append(view.obs.key)
        if groups:
            together = {name: np.concatenate(parts) for name, parts in groups.items()}
            yield _histogram(kind, quantity, f"{words} {of_recordings(keys)}", together, limits[kind], period)


def _own_times(view: View, kind: str) -> Iterator[tuple[str, Floats]]:
    shown, did = view.obs.presentations, view.obs.responses
    on, _ = pairs.roles(view)
    for target, _, channel, rows in pairs.met(view):
        rows = rows[on[rows, channel] & did.fired[rows, channel] & (did.first_on_ns[rows, channel] != NEVER)]
        if len(rows):
            ns = did.first_on_ns[rows, channel] - shown.start_ns[rows] if kind == "response" else did.longest_ns[rows, channel]
            yield f"{shown.targets[target]} → {did.channels[channel]}, {did.basis[channel]}", ns / 1e6


def _limits(suite: Suite) -> dict[str, list[dict[str, Any]]]:
    """Limits that cases set on response and on-time, each value once, and the shortest on-time that is seen for sure."""
    found: dict[str, dict[str, dict[str, Any]]] = {"response": {}, "on_time": {}}
    seen = suite.station.scan.seen_ns
    if seen:
        words = f"seen for sure from {duration_text(seen)}"
        found["on_time"][words] = {"value": seen / 1e6, "words": words}
    for case in suite.cases:
        for part in case.expect:
            if part.name == "response" and not isinstance(part.fields.at_most, Length):  # a length is no line on an axis of times
                words = f"at most {duration_text(part.fields.at_most)} from {part.fields.from_}"
                found["response"].setdefault(words, {"value": part.fields.at_most / 1e6, "words": f"{case.id}: {words}"})
            elif part.name == "held":
                words = f"at least {duration_text(part.fields.root)}"
                found["on_time"].setdefault(words, {"value": part.fields.root / 1e6, "words": f"{case.id}: {words}"})
    return {kind: sorted(limits.values(), key=lambda limit: (limit["value"], limit["words"])) for kind, limits in found.items()}


def _histogram(
    kind: str, quantity: str, words: str, groups: dict[str, Floats], limits: list[dict[str, Any]], period_ms: float
) -> Figure:
    values = np.concatenate(list(groups.values()))
    width = _bar_width(float(values.min()), float(values.max()), period_ms)
    first = np.floor(values.min() / width)
    bars = np.bincount(np.floor(values / width - first).astype(np.int64))
    return {
        "id": kind,
        "kind": kind,
        "title": quantity.capitalize(),
        "description": f"{words} Bars are {width:g} ms wide; heavy lines are limits that cases set.",
        "data": {
            "quantity": quantity,
            "unit": "ms",
            "edges": [round(float((first + k) * width), 6) for k in range(len(bars) + 1)],
            "bars": [int(bar) for bar in bars],
            "n": len(values),
            "beyond": 0,
            "limits": limits,
            "resolution": period_ms,
            "groups": [_group(name, part) for name, part in groups.items()],
        },
    }


def _group(name: str, values: Floats) -> dict[str, Any]:
    least, median, greatest = np.quantile(values, (0.0, 0.5, 1.0), method="inverted_cdf").tolist()
    return {"name": name, "n": len(values), "least": least, "median": median, "greatest": greatest}


def _bar_width(low: float, high: float, period_ms: float) -> float:
    """A whole number of reading periods (1, 2, 5, 10, ...), so that no bar is empty for want of readings."""
    width = period_ms or 1.0
    factors = (2.0, 2.5, 2.0)
    step = 0
    while (high - low) / width > BARS:
        width *= factors[step % 3]
        step += 1
    return width


def strips(views: Sequence[View]) -> Iterator[Figure]:
    """The whole of each recording: targets, inputs, channels, outputs, and what was on outside everything."""
    for number, view in enumerate(_streams(views), 1):
        obs = view.obs
        start, end = _span(obs)
        join = (end - start) // COLUMNS
        shown = obs.presentations
        lanes = []
        for code, name in enumerate(shown.targets):
            rows = (shown.target == code) & ~shown.between
            lanes.append(_lane(name, "target", np.column_stack((shown.start_ns[rows], shown.end_ns[rows])), start, end, join))
        for kind in ("input", "channel", "output"):
            for (of_kind, name), signal in obs.signals.items():
                if of_kind == kind:
                    lanes.append(_lane(f"channel {name}" if kind == "channel" else name, kind, signal.must, start, end, join))
        for event in view.station.events:
            if event.until is not None:
                lasting = np.column_stack(events.spans(view, (event.name,)))
                lanes.append(_lane(event.name, "event", lasting, start, end, join))
        lanes = [lane for lane in lanes if lane["n"] or lane["kind"] in ("channel", "output")]
        lanes.append(_lane("outside everything", "outside", obs.outside[:, 1:].reshape(-1, 2), start, end, join))
        yield {
            "id": f"strip-{number}",
            "kind": "strip",
            "title": f"The run on one strip: {obs.key}",
            "description": "What was presented, what was on, and what was on outside every presentation and stretch between.",
            "data": {"source": obs.key, "span_ns": [start, end], "joined_ns": join, "lanes": lanes},
        }


def _lane(name: str, kind: str, intervals: Ints, start: int, end: int, join: int) -> dict[str, Any]:
    inside = thinning.clipped(intervals, start, end)
    total = sum(b - a for a, b in inside)
    drawn = thinning.clipped(thinning.joined(intervals, join), start, end)
    return {"name": name, "kind": kind, "n": len(inside), "total_ns": total, "on": drawn}


def _streams(views: Sequence[View]) -> list[View]:
    return [view for view in views if view.timed][:MOST_SOURCES]


def _span(obs: SourceObservations) -> list[int]:
    return [int(obs.clock.first_ns), int(obs.clock.end_ns)]
