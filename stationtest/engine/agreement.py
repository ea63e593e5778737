"""Figures of `agrees`: how far recorded edges lie from computed ones, over the run, and the edges that have no partner (A33).

A difference that grows over the run is two clocks that go differently, not a latency: a straight line through the pairs says how
much.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from stationtest.expectations.edge_pairs import RECORDED, Compared, compare
from stationtest.expectations.view import View
from stationtest.files.words import duration_text
from stationtest.model.case import Suite
from stationtest.model.record import Figure

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]

MOST_POINTS = 600
MOST_LONE = 200
BARS = 30


def figures(suite: Suite, views: Sequence[View]) -> Iterator[Figure]:
    """For every recording that a case asks to agree, and every way of asking: one figure."""
    asked: dict[tuple[str, Any], list[str]] = {}
    for case in suite.cases:
        for part in case.expect:
            if part.name == "agrees":
                for path in case.readings:
                    asked.setdefault((path, part.fields), []).append(case.id)
    by_key = {view.obs.key: view for view in views}
    made = 0
    for (path, fields), cases in asked.items():
        view = by_key.get(path)
        if view is None or not view.timed:
            continue
        found = compare(view, fields)
        if len(found.pairs) or len(found.lone):
            made += 1
            yield _figure(made, view, fields, found, cases)


def _figure(number: int, view: View, fields: Any, found: Compared, cases: Sequence[str]) -> Figure:
    clock = view.obs.clock
    instants, apart = found.pairs[:, 2], found.pairs[:, 3]
    step = max(1, math.ceil(len(apart) / MOST_POINTS))
    offset, drift = line(instants - clock.first_ns, apart)
    within, latency = duration_text(fields.edges_within), duration_text(fields.latency)
    return {
        "id": f"agreement-{number}",
        "kind": "agreement",
        "title": f"Recorded edges against computed ones in {view.obs.key}",
        "description": (
            f"Recorded less computed, {latency} of latency taken off, edges at most {within} apart ({', '.join(cases)}): above "
            "over the run, below how they are spread. Where differences rise or fall over the run, two clocks go differently."
        ),
        "data": {
            "source": view.obs.key,
            "span_ns": [int(clock.first_ns), int(clock.end_ns)],
            "within_ms": fields.edges_within / 1e6,
            "n": len(apart),
            "points": [[t, round(d / 1e6, 6)] for _, _, t, d in found.pairs[::step].tolist()],
            "offset_ms": None if offset is None else round(offset / 1e6, 6),
            "drift_ppm": None if drift is None else round(drift * 1e6, 3),
            "bars": _bars(apart, fields.edges_within, view.period_ns),
            "groups": [_group(found, k, apart[found.pairs[:, 0] == k]) for k in range(len(found.signals))],
            "lone_count": len(found.lone),
            "lone": [
                {
                    "signal": found.name(k), "edge": "rises" if rise else "falls",
                    "of": "recorded" if of == RECORDED else "computed", "at_ns": at,
                }
                for k, rise, of, at in found.lone[:MOST_LONE].tolist()
            ],
        },
    }  # fmt: skip


def line(t_ns: Ints, apart_ns: Ints) -> tuple[float | None, float | None]:
    """(offset in ns where t is 0, slope) of the least-squares line; None for both of fewer than two instants.

    The sums of products are exact in floats of 64 bits and added exactly (`math.fsum`), so that no order matters.
    """
    n = len(t_ns)
    if n < 2 or int(t_ns.min()) == int(t_ns.max()):
        return None, None
    t, d = t_ns.astype(np.float64), apart_ns.astype(np.float64)
    mean_t, mean_d = math.fsum(t.tolist()) / n, math.fsum(d.tolist()) / n
    t -= mean_t
    slope = math.fsum((t * (d - mean_d)).tolist()) / math.fsum((t * t).tolist())
    return mean_d - slope * mean_t, slope


def _bars(apart: Ints, within: int, period: int) -> list[list[float]]:
    """[from ms, to ms, count] of equal steps that hold something: a whole number of reading periods, so that none is empty for
    want of readings."""
    width = max(1, period) * math.ceil(2 * within / (BARS * max(1, period)))
    steps, counts = np.unique(apart // width, return_counts=True)
    return [
        [round(k * width / 1e6, 6), round((k + 1) * width / 1e6, 6), n]
        for k, n in zip(steps.tolist(), counts.tolist(), strict=True)
    ]


def _group(found: Compared, k: int, apart: Ints) -> dict[str, Any]:
    least, median, greatest = (
        np.quantile(apart / 1e6, (0.0, 0.5, 1.0), method="inverted_cdf").tolist() if len(apart) else (None, None, None)
    )
    lone = found.lone[found.lone[:, 0] == k]
    return {
        "name": found.name(k), "n": len(apart), "least": least, "median": median, "greatest": greatest,
        "lone_recorded": int((lone[:, 2] == RECORDED).sum()), "lone_computed": int((lone[:, 2] != RECORDED).sum()),
    }  # fmt: skip
