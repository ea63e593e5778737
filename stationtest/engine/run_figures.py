"""Figures of a run from the observations: the matrix, margins in order, how times are spread, and the whole run on one strip."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from stationtest.engine import pairs, thinning
from stationtest.engine.figure_words import of_recordings
from stationtest.engine.nearest_pairs import MANY
from stationtest.expectations import events, timeline
from stationtest.expectations.view import View
from stationtest.files.words import duration_text
from stationtest.model.case import Case, Suite
from stationtest.model.observations import NEVER, SourceObservations
from stationtest.model.record import Figure
from stationtest.model.station import Edge
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
    """Histograms of response and on-time of the channels that must be on, over all recordings with times. Responses have one
    for each origin from which cases count them: a limit means nothing on the axis of another."""
    streams = [view for view in views if view.timed]
    for number, (origin, asked) in enumerate(_response_limits(suite).items(), 1):
        key = "response" if number == 1 else f"response-{number}"
        words = f"Time from {ORIGINS.get(origin, f'the edge {origin}')} to the first own on-time that is seen for sure"
        words += "." if origin == "start" else "; below 0 it came before."
        if isinstance(origin, Edge):
            words += " Presentations during which it came."
        yield from _histogram(streams, key, f"response from {origin}", words, asked, origin)
    words = "Longest unbroken own on-time of each presentation that fired."
    yield from _histogram(streams, "on_time", "on-time", words, _on_time_limits(suite))


ORIGINS: dict[str | Edge, str] = {"start": "the start of a presentation", "covered": "the instant at which it covers the spot"}


class _Limits:
    """Limits that cases set, each value once, and the targets for which they set them."""

    def __init__(self) -> None:
        self.by_words: dict[str, dict[str, Any]] = {}
        self.targets: set[str] = set()

    def add(self, ns: int, words: str, case: Case | None = None) -> None:
        self.by_words.setdefault(words, {"value": ns / 1e6, "words": f"{case.id}: {words}" if case is not None else words})
        self.targets |= set(case.present.targets) if case is not None else set()

    def drawn(self) -> list[dict[str, Any]]:
        return sorted(self.by_words.values(), key=lambda limit: (limit["value"], limit["words"]))


def _response_limits(suite: Suite) -> dict[str | Edge, _Limits]:
    """By origin, the start first. A length is no line on an axis of times."""
    found: dict[str | Edge, _Limits] = {"start": _Limits()}
    for case in suite.cases:
        for part in case.expect:
            if part.name == "response" and not isinstance(part.fields.at_most, Length):
                words = f"at most {duration_text(part.fields.at_most)} from {part.fields.from_}"
                found.setdefault(part.fields.from_, _Limits()).add(part.fields.at_most, words, case)
    return found


def _on_time_limits(suite: Suite) -> _Limits:
    """With the shortest on-time that is seen for sure."""
    found, seen = _Limits(), suite.station.scan.seen_ns
    if seen:
        found.add(seen, f"seen for sure from {duration_text(seen)}")
    for case in suite.cases:
        for part in case.expect:
            if part.name == "held":
                found.add(part.fields.root, f"at least {duration_text(part.fields.root)}", case)
    return found


def _own_times(view: View, origin: str | Edge | None, asked: _Limits) -> Iterator[tuple[str, Floats]]:
    """(target → channel, ms) of what fired: the response from `origin`, or without one the longest on-time. From an origin that
    only some cases know, of their targets."""
    shown, did = view.obs.presentations, view.obs.responses
    on, _ = pairs.roles(view)
    begin = None if origin is None else timeline.reference_instants(view, "presentation", origin)
    for target, _, channel, rows in pairs.met(view):
        name = shown.targets[target]
        if origin not in (None, "start") and name not in asked.targets:
            continue
        rows = rows[on[rows, channel] & did.fired[rows, channel] & (did.first_on_ns[rows, channel] != NEVER)]
        if begin is not None:
            rows = rows[begin[rows] != NEVER]
            rows = rows[begin[rows] < shown.end_ns[rows]] if isinstance(origin, Edge) else rows
        if len(rows):
            ns = did.longest_ns[rows, channel] if begin is None else did.first_on_ns[rows, channel] - begin[rows]
            yield f"{name} → {did.channels[channel]}, {did.basis[channel]}", ns / 1e6


def _histogram(
    streams: list[View], key: str, quantity: str, words: str, asked: _Limits, origin: str | Edge | None = None
) -> Iterator[Figure]:
    """The histogram of one quantity, if anything fired at all."""
    parts: dict[str, list[Floats]] = {}
    keys = []
    for view in streams:
        for name, some in _own_times(view, origin, asked):
            parts.setdefault(name, []).append(some)
            keys.append(view.obs.key)
    if not parts:
        return
    groups = {name: np.concatenate(some) for name, some in parts.items()}
    period_ms = max(view.period_ns for view in streams) / 1e6
    values = np.concatenate(list(groups.values()))
    width = _bar_width(float(values.min()), float(values.max()), period_ms)
    first = np.floor(values.min() / width)
    bars = np.bincount(np.floor(values / width - first).astype(np.int64))
    yield {
        "id": key,
        "kind": "on_time" if origin is None else "response",
        "title": quantity[0].upper() + quantity[1:],
        "description": f"{words} {of_recordings(keys)} Bars are {width:g} ms wide; heavy lines are limits that cases set.",
        "data": {
            "quantity": quantity,
            "unit": "ms",
            "edges": [round(float((first + k) * width), 6) for k in range(len(bars) + 1)],
            "bars": [int(bar) for bar in bars],
            "n": len(values),
            "beyond": 0,
            "limits": asked.drawn(),
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
