"""Figures, chosen after judging: those of the run from the observations, and traces of the presentations that matter most.

Choosing follows a stated order and no chance, so that the same run gives the same figures: cases that do not pass come first,
their nonconforming trials before their worst ones; a passing case gets one trace of its worst trial while there is room.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from stationtest.engine import agreement, colour_figures, nearest_pairs, run_figures, thinning
from stationtest.expectations.items import items
from stationtest.expectations.view import View
from stationtest.model.case import Suite
from stationtest.model.observations import Presentations, SourceObservations
from stationtest.model.record import CaseResult, Figure, Worst
from stationtest.model.station import Learned

MOST_TRACES = 60
MOST_TRACES_A_CASE = 3
MOST_TRACES_OF_PASSING = 12
MOST_POINTS = 800
MOST_STEPS = 16
MS = 1_000_000
FAR = 10.0
"""Closeness is cut at this distance below and above 0: a reading without a colour is infinitely far."""


class TraceLike(Protocol):
    """A stretch read again: t_ns (n,), level (n,), channels (C names), closeness (C, n)."""

    @property
    def t_ns(self) -> Any: ...
    @property
    def level(self) -> Any: ...
    @property
    def channels(self) -> Sequence[str]: ...
    @property
    def closeness(self) -> Any: ...


Trace = Callable[[str, str, int, int], TraceLike]
"""(source key, sensor, start_ns, end_ns) -> the readings of that stretch."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """What a trace shows: a source, one sensor, a window, and the rows of the presentations that it is about."""

    source: str
    sensor: str
    start_ns: int
    end_ns: int
    rows: tuple[int, ...]


def figures(
    suite: Suite,
    case_results: Sequence[CaseResult] | Mapping[str, CaseResult],
    observations: Mapping[str, SourceObservations],
    trace: Trace | None,
    learned: Mapping[Learned, tuple[float, ...]] | None = None,
) -> list[Figure]:
    """All figures of a run. Sets `figures` of each case result to the ids of its traces; without `trace`, none are read.

    `learned`: the mean relative reading of each learned reference, for its place in the plane.
    """
    results = list(case_results.values() if isinstance(case_results, Mapping) else case_results)
    order = [key for key in suite.readings() if key in observations]
    views = [View(suite.station, observations[key]) for key in order + sorted(set(observations) - set(order))]
    found = [*colour_figures.planes(views, learned or {}), *colour_figures.distances(views, learned or {})]
    found += nearest_pairs.figures(views, learned or {})
    found += [*run_figures.matrices(views), *run_figures.times(suite, views)]
    found += [*agreement.figures(suite, views), *run_figures.margins(views), *run_figures.strips(views)]
    return found + (_traces(results, {view.obs.key: view for view in views}, trace) if trace else [])


def _traces(results: Sequence[CaseResult], views: Mapping[str, View], trace: Trace) -> list[Figure]:
    made: dict[Stretch, Figure] = {}
    against = [case for case in results if case["state"] == "executed" and case["verdict"] != "pass"]
    passing = [case for case in results if case["state"] == "executed" and case["verdict"] == "pass"]
    for case in results:
        case["figures"] = []
    for cases, most, room in ((against, MOST_TRACES_A_CASE, MOST_TRACES), (passing, 1, MOST_TRACES_OF_PASSING)):
        room = min(MOST_TRACES, len(made) + room)
        for case in cases:
            for worst in _candidates(case):
                view = views.get(worst["source"])
                stretch = _stretch(view, worst, case["unit"]) if view else None
                if view is None or stretch is None or len(case["figures"]) >= most:
                    continue
                if stretch not in made:
                    if len(made) >= room:
                        continue
                    made[stretch] = _figure(f"trace-{len(made) + 1}", view, stretch, worst, trace)
                if made[stretch]["id"] not in case["figures"]:
                    case["figures"].append(made[stretch]["id"])
    return list(made.values())


def _candidates(case: CaseResult) -> list[Worst]:
    worst = [part["worst"] for part in case["expectations"]]
    return [*case["nonconforming_trials"], *(each for each in worst if each is not None)]


def _stretch(view: View, worst: Worst, unit: str) -> Stretch | None:
    """The window of a trial with its run-up, or None where there are no times to show."""
    obs = view.obs
    if obs.kind == "trials":
        return None
    shown, index, at = obs.presentations, worst["index"], worst["at_ns"]
    if unit in ("presentation", "neighbouring pair") and 0 <= index < len(shown):
        rows: tuple[int, ...] = (index,)
        first, last, longest = int(shown.start_ns[index]), int(shown.end_ns[index]), 3000 * MS
    elif unit == "set" and 0 <= index < len(obs.sets):
        rows = tuple(int(row) for row in np.flatnonzero(shown.set == index))
        first, last, longest = int(obs.sets.start_ns[index]), int(obs.sets.end_ns[index]), 12_000 * MS
    elif unit == "item" and 0 <= index < len(items(view)):
        found = items(view)
        rows = tuple(int(row) for row in np.flatnonzero(found.of == index))
        first, last, longest = int(found.start_ns[index]), int(found.end_ns[index]), 12_000 * MS
    elif at is not None:
        rows, first, last, longest = (), at - 200 * MS, at + 300 * MS, 3000 * MS
    else:
        return None
    around = min(max((last - first) * 2 // 5, 60 * MS), 400 * MS)
    start, end = first - around, last + around
    if at is not None and at > start:
        end = max(end, min(at + 150 * MS, start + longest))
    if end - start > longest:
        middle = at if at is not None and start <= at <= end else first + longest // 3
        start, end = max(start, middle - longest // 2), min(end, middle + longest // 2)
    start, end = max(start, obs.clock.first_ns), min(end, obs.clock.end_ns)
    sensor = _sensor(view, rows, worst)
    return Stretch(obs.key, sensor, start, end, rows) if sensor and end > start else None


def _sensor(view: View, rows: tuple[int, ...], worst: Worst) -> str:
    """The sensor of the channel in question, else the one that most of the presentations were at."""
    for channel in view.station.channels:
        if channel.name == worst["channel"]:
            return channel.sensor
    shown = view.obs.presentations
    if rows:
        codes = np.bincount(shown.sensor[list(rows)], minlength=len(shown.sensors))
        return shown.sensors[int(np.argmax(codes))]
    return shown.sensors[0] if shown.sensors else ""


def _figure(key: str, view: View, stretch: Stretch, worst: Worst, trace: Trace) -> Figure:
    read = trace(stretch.source, stretch.sensor, stretch.start_ns, stretch.end_ns)
    times = np.asarray(read.t_ns, dtype=np.int64)
    level = np.asarray(read.level, dtype=np.float64)
    kept = thinning.extremes(level, MOST_POINTS)
    waves = []
    for name, row in zip(read.channels, np.asarray(read.closeness, dtype=np.float64), strict=True):
        values = np.clip(np.nan_to_num(row, nan=-FAR, posinf=FAR, neginf=-FAR), -FAR, FAR)
        waves.append({"channel": str(name), "points": _points(times, values, thinning.extremes(values, MOST_POINTS))})
    where = f"{worst['label']}, at {worst['at']}" if worst["at"] else worst["label"]
    return {
        "id": key,
        "kind": "trace",
        "title": where,
        "description": (
            f"Readings of sensor {stretch.sensor} in {stretch.source}: level, closeness of each channel (0 is its switching "
            f"point), and what was on. {_marked(stretch, worst)}A dashed outline is a perhaps."
        ),
        "data": {
            "source": stretch.source,
            "sensor": stretch.sensor,
            "span_ns": [stretch.start_ns, stretch.end_ns],
            "presented": _presented(view.obs.presentations, stretch),
            "at_ns": worst["at_ns"]
            if worst["at_ns"] is not None and stretch.start_ns <= worst["at_ns"] < stretch.end_ns
            else None,
            "level": _points(times, np.nan_to_num(level, nan=0.0), kept),
            "closeness": waves,
            "steps": _steps(view, stretch),
            "points": len(kept),
            "of": len(times),
        },
    }


def _marked(stretch: Stretch, worst: Worst) -> str:
    """What is shaded and what the dotted line is, in words."""
    shaded = {0: "", 1: "The trial is shaded. "}.get(len(stretch.rows), f"Its {len(stretch.rows)} presentations are shaded. ")
    at = worst["at_ns"]
    return shaded + (f"The dotted line is {worst['at']}. " if at is not None and stretch.start_ns <= at < stretch.end_ns else "")


def _points(times: Any, values: Any, kept: Any) -> list[list[int | float]]:
    return [[int(t), round(float(v), 4)] for t, v in zip(times[kept].tolist(), values[kept].tolist(), strict=True)]


def _presented(shown: Presentations, stretch: Stretch) -> list[dict[str, Any]]:
    """Presentations (not stretches between, unless they are the subject) of this sensor in the window, and the subject at
    whatever sensor it was."""
    here = (shown.end_ns > stretch.start_ns) & (shown.start_ns < stretch.end_ns)
    own = np.array([name == stretch.sensor for name in shown.sensors], dtype=np.bool_)[shown.sensor]
    subject = np.zeros_like(own)
    subject[list(stretch.rows)] = True
    here &= own | subject
    found = []
    for row in np.flatnonzero(here).tolist():
        if shown.between[row] and row not in stretch.rows:
            continue
        found.append(
            {
                "label": shown.targets[shown.target[row]] + ("" if own[row] else f", sensor {shown.sensors[shown.sensor[row]]}"),
                "start_ns": max(int(shown.start_ns[row]), stretch.start_ns),
                "end_ns": min(int(shown.end_ns[row]), stretch.end_ns),
                "subject": row in stretch.rows,
            }
        )
    return found


KINDS = {
    "match": "{} compares",
    "channel": "channel {}",
    "computed channel": "channel {}, computed",
    "output": "{}",
    "computed output": "{}, computed",
    "input": "{}",
}


def _steps(view: View, stretch: Stretch) -> list[dict[str, Any]]:
    """The step traces: channels of this sensor always, everything else where something happens in the window."""
    of_sensor = {channel.name for channel in view.station.channels if channel.sensor == stretch.sensor}
    found = []
    for kind, words in KINDS.items():
        for (of_kind, name), signal in view.obs.signals.items():
            if of_kind != kind or ("output" not in kind and kind != "input" and name not in of_sensor):
                continue
            must = thinning.clipped(signal.must, stretch.start_ns, stretch.end_ns)
            can = thinning.clipped(signal.can, stretch.start_ns, stretch.end_ns)
            if not must and can == [[stretch.start_ns, stretch.end_ns]]:
                continue  # nothing is known of it here: it rests on inputs that this recording does not have
            if can or kind == "channel":
                found.append({"name": words.format(name), "kind": kind.removeprefix("computed "), "must": must, "can": can})
    return found[:MOST_STEPS]
