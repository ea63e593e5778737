"""Recordings of one case that overlap in time on one sensor hold presentations twice; they are refused (counter-example A40).

Only dates can tell: of times that count from a start, nobody knows when that was. One file under two names is found by its bytes.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from itertools import combinations

import numpy as np

from stationtest.errors import readings_error
from stationtest.files.words import shown
from stationtest.model.case import Case, Suite
from stationtest.model.observations import SourceObservations


def refuse(suite: Suite, case: Case, observations: Mapping[str, SourceObservations]) -> None:
    """Raise `ReadingsError` 'overlap' where two recordings of the case saw one sensor at one time."""
    if len(case.readings) < 2:
        return
    spans = {path: span for path in case.readings if (span := _span(observations[path])) is not None}
    for (first, (a, b)), (second, (c, d)) in combinations(spans.items(), 2):
        if a < d and c < b and _sensors(observations[first]) & _sensors(observations[second]):
            begin, end = (str(np.datetime64(ns, "ns")).rstrip("0").rstrip(".") for ns in (max(a, c), min(b, d)))
            said = f"it overlaps {shown(first)} from {begin}Z to {end}Z, and {case.id} would count its trials twice"
            raise readings_error(os.path.join(suite.folder, second), 0, f"cases.{case.id}.readings", said, "overlap")


def _span(observed: SourceObservations) -> tuple[int, int] | None:
    """First and end in ns since 1970; None where the times are no dates."""
    clock = observed.clock
    if clock.origin is None:
        return None
    origin = int(np.datetime64(clock.origin.removesuffix("Z"), "ns").astype(np.int64))
    return origin + clock.first_ns, origin + clock.end_ns


def _sensors(observed: SourceObservations) -> set[str]:
    shown_ = observed.presentations
    return {shown_.sensors[code] for code in set(shown_.sensor.tolist())}
