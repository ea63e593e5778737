"""Doubt of time: a recording observed with its instants as logged and as far from there as is in doubt; trials judged in each.

A trial conforms, or does not, only if it does so every time; else time is not known well enough, and it is not judged.
Readings are streamed once for each way in which the presentations may lie; signals are laid over that without reading again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from stationtest.engine import learning, names_of_trials
from stationtest.engine.judged_trials import Batch
from stationtest.engine.observer import Observer, Progress
from stationtest.expectations.items import items
from stationtest.expectations.view import View
from stationtest.expectations.wording import milliseconds
from stationtest.model.case import Suite
from stationtest.model.judged import NOT_JUDGED, Judged
from stationtest.model.observations import NEVER, Placement, SourceObservations
from stationtest.model.parts import Parts
from stationtest.sources.readings import Readings
from stationtest.sources.worlds import World

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]


def observe_placed(
    suite: Suite, recording: Readings, parts: Parts, taught: learning.Taught, progress: Progress | None
) -> SourceObservations:
    """The observations as logged, with those of every world of the recording under `placements`."""
    as_logged = Observer(suite, recording, parts, taught)
    found = as_logged.run(progress)
    by_truth: dict[object, list[World]] = {}
    for world in recording.worlds:
        truth = recording.listed(world)
        key: object = None if truth is None else (truth.start_ns.tobytes(), truth.end_ns.tobytes())
        by_truth.setdefault(key, []).append(world)
    placements = []
    for key, worlds in by_truth.items():
        observer = as_logged
        if key is not None:
            observer = Observer(suite, recording, parts, taught, worlds[0])
            observer.run(None)
        placements += [
            Placement(apart_ns=w.apart_ns, off_ns=w.off_ns, late_ns=w.late_ns, observed=observer.observations(w)) for w in worlds
        ]
    return replace(found, placements=tuple(sorted(placements, key=lambda placement: placement.apart_ns)))


def views(view: View) -> list[tuple[Placement, View]]:
    """The other placements of a recording, the nearest first."""
    return view.once("placements", lambda: [(p, View(view.station, p.observed)) for p in view.obs.placements])


@dataclass(frozen=True, slots=True, order=True)
class Because:
    """Why a trial is not judged: where its answer is another, and which trial it is there (-1: none). The more a figure differs
    there, the plainer."""

    differs: float
    off_ns: int
    batch: Batch | None = field(compare=False)
    trial: int = field(compare=False)

    @classmethod
    def of(cls, placement: Placement, here: Batch, i: int, other: Batch, there: int) -> Because:
        """For trial i of a batch, trial `there` of another."""
        differs = 0.0
        for (_, mine), (_, theirs) in zip(here.judged, other.judged, strict=False):
            if there >= 0 and mine.value is not None and theirs.value is not None:
                differs = max(differs, abs(float(np.nan_to_num(theirs.value[there] - mine.value[i]))))
        return cls(differs, placement.off_ns, other, there)


NOTHING = Because(-1.0, 0, None, -1)


def throughout(batch: Batch, unit: str, others: Sequence[tuple[Placement, View, Batch]]) -> Batch:
    """The trials as logged, but those not judged whose answer is another in one of the placements."""
    outcome = batch.outcome.copy()
    judged = [each.outcome.copy() for _, each in batch.judged]
    because: dict[int, Because] = {}
    if unit == "presentation":
        between = _between_placements(batch, unit, others)
        for mine in (outcome, *judged):
            mine[between] = NOT_JUDGED
    for placement, view, other in others:
        there = _same_trials(batch, unit, view, other)
        pairs = [(batch.outcome, outcome, other.outcome)]
        each = [found.outcome for _, found in other.judged] or [other.outcome] * len(judged)  # none is a trial there
        pairs += [(b.outcome, mine, theirs) for (_, b), mine, theirs in zip(batch.judged, judged, each, strict=True)]
        for logged, mine, theirs in pairs:
            found = np.append(theirs, np.int8(NOT_JUDGED))[there]  # what is no trial there is not judged there
            changed = (logged != NOT_JUDGED) & (found != logged)
            mine[changed] = NOT_JUDGED
            if mine is outcome:
                for i in np.flatnonzero(changed).tolist():
                    because[i] = max(because.get(i, NOTHING), Because.of(placement, batch, i, other, int(there[i])))
    if not because and not any((mine != each.outcome).any() for mine, (_, each) in zip(judged, batch.judged, strict=True)):
        return batch
    told = tuple(
        (expected, _told(each, mine, k, because))
        for k, ((expected, each), mine) in enumerate(zip(batch.judged, judged, strict=True))
    )
    return replace(batch, outcome=outcome, judged=told)


def _between_placements(batch: Batch, unit: str, others: Sequence[tuple[Placement, View, Batch]]) -> NDArray[np.bool_]:
    """(n,) where the placements may agree and what lies between them need not: in a presentation shorter than time is known, and
    where a recorded channel fired each time, but by another on-time."""
    obs, index = batch.trials.obs, batch.trials.index
    found: NDArray[np.bool_] = obs.presentations.end_ns[index] - obs.presentations.start_ns[index] < others[-1][0].apart_ns
    recorded = [c for c, basis in enumerate(obs.responses.basis) if basis == "recorded"]
    first = obs.responses.first_on_ns[index][:, recorded]
    for placement, view, other in others:
        there = _same_trials(batch, unit, view, other)
        rows = np.append(other.trials.index, 0)[there]
        then = view.obs.responses.first_on_ns[rows][:, recorded]
        another = (first != NEVER) & (then != NEVER) & (np.abs(first - then) > placement.apart_ns)
        found |= another.any(axis=1) & (there >= 0)
    return found


def _told(each: Judged, outcome: NDArray[np.int8], k: int, because: dict[int, Because]) -> Judged:
    """One expectation with the outcomes that hold throughout, and the words for those that do not."""
    doubtful = outcome != each.outcome

    def why(i: int) -> str:
        if not doubtful[i]:
            return each.why(i)
        text = f"time is not known well enough; as logged: {each.why(i)}"
        if i not in because:
            return text
        reason = because[i]
        text += f"; with instants up to {milliseconds(reason.off_ns)} from there"
        if reason.trial < 0 or reason.batch is None:
            return f"{text} it is not the same trial"
        return f"{text}: {reason.batch.judged[k][1].why(reason.trial)}"

    return replace(each, outcome=outcome, why=why)


def _same_trials(batch: Batch, unit: str, view: View, other: Batch) -> Ints:
    """For each trial the number of the same one in another placement, -1 where it is none there. (n,)"""
    if unit == "run":
        return np.zeros(1, np.int64)
    mine, theirs = _names(batch.trials.view, unit), _names(view, unit)
    place = {theirs[row]: i for i, row in enumerate(other.trials.index.tolist())}
    return np.array([place.get(mine[row], -1) for row in batch.trials.index.tolist()], np.int64)


def _names(view: View, unit: str) -> list[object]:
    obs = view.obs

    def names() -> list[object]:
        if unit == "item":
            return list(items(view).names)
        return names_of_trials.sets(obs.sets) if unit == "set" else names_of_trials.presentations(obs.presentations)

    return view.once(("names of trials", unit), names)
