"""Figures of every kind to try the page on, drawn from a seeded generator.

The numbers are invented and no claim about any station.
"""

from __future__ import annotations

import math
import random
from typing import Any

HOSTILE = "<script>alert(1)</script>\"'&amp;</style></title>"
FORMULA = '=HYPERLINK("http://example.invalid/?"&A1,"click")'
LONG = "sachet-" + "very-" * 60 + "long"
UMLAUTS = "Prüfling Größe Ä 日本 العربية"

TARGETS = ["mint", "sage", "chamomile", "rooibos", "bare belt"]
CHANNELS = ["1", "2", "3", "4"]
SECOND = 1_000_000_000


def _cloud(rng: random.Random, middle: tuple[float, float], spread: float, n: int) -> list[list[float]]:
    return [[round(rng.gauss(middle[0], spread), 5), round(rng.gauss(middle[1], spread), 5)] for _ in range(n)]


def figures() -> list[dict[str, Any]]:
    """One figure of each kind, drawn from a seeded generator."""
    rng = random.Random(7)
    middles = {
        "mint": (0.171, 0.487),
        "sage": (0.183, 0.492),
        "chamomile": (0.212, 0.536),
        "rooibos": (0.248, 0.516),
        "bare belt": (0.198, 0.468),
    }
    circle = [(math.cos(k * math.pi / 36), math.sin(k * math.pi / 36)) for k in range(72)]
    plane = {
        "space": "u'v'",
        "x": "u'",
        "y": "v'",
        "sensor": "sachet",
        "notes": ["Of each target at most 500 points, every k-th in order."],
        "references": [
            {"channel": c, "target": t, "x": middles[t][0], "y": middles[t][1]} for c, t in zip(CHANNELS, TARGETS, strict=False)
        ],
        "outlines": [
            {"channel": c, "target": t, "points": [[middles[t][0] + 0.007 * a, middles[t][1] + 0.007 * b] for a, b in circle]}
            for c, t in zip(CHANNELS, TARGETS, strict=False)
        ],
        "targets": [{"name": t, "n": 80, "points": _cloud(rng, middles[t], 0.0016, 80)} for t in TARGETS],
    }
    rows = []
    for place, target in enumerate(TARGETS):
        points = sorted(round(abs(rng.gauss(0.0022 if place == 0 else 0.009 + 0.012 * place, 0.0013)), 5) for _ in range(80))
        five = [points[0], points[4], points[40], points[75], points[79]]
        rows.append({"name": target, "should": "on" if place == 0 else "off", "n": 80, "five": five, "points": points})
    distances = {
        "channel": "1",
        "sensor": "sachet",
        "distance": "CIE 1976 u'v'",
        "tolerance": 0.007,
        "off": 0.0077,
        "targets": rows,
    }
    cells = [
        [
            {
                "should": "on" if c == k else "off",
                "n": 80,
                "fired": 80 if c == k else (3 if (k, c) == (1, 0) else 0),
                "perhaps": 0,
                "silent": 0 if c == k else (77 if (k, c) == (1, 0) else 80),
                "held_over": 0,
            }
            for c in range(4)
        ]
        for k in range(5)
    ]
    cells[3][3] = None
    span = [0, 600 * SECOND]
    margins = {
        "source": "recordings/day1.parquet",
        "span_ns": span,
        "series": [
            {
                "name": "must switch on",
                "n": 320,
                "below": 0,
                "points": [[k * 1_870_000_000, round(rng.gauss(0.65, 0.08), 4)] for k in range(320)],
            },
            {
                "name": "must stay off",
                "n": 960,
                "below": 3,
                "points": [[k * 1_870_000_000, round(max(-0.15, rng.gauss(0.5, 0.22)), 4)] for k in range(320)],
            },
        ],
        "worst": [{"label": "sage, specimen s-02", "channel": "1", "at_ns": 83_412_000_000, "margin": -0.15}],
    }
    bars = [0, 2, 8, 21, 40, 61, 72, 58, 31, 16, 7, 3, 1]
    response = {
        "quantity": "response",
        "unit": "ms",
        "edges": [float(k) for k in range(14)],
        "bars": bars,
        "n": 320,
        "beyond": 0,
        "resolution": 1.0,
        "limits": [{"value": 20.0, "words": "RESP-02: at most 20 ms"}],
        "groups": [{"name": "mint → 1", "n": 80, "least": 2.0, "median": 6.0, "greatest": 12.0}],
    }
    lanes = [
        {
            "name": t,
            "kind": "target",
            "n": 80,
            "total_ns": 20 * SECOND,
            "on": [[(5 * k + j) * 2 * SECOND, (5 * k + j) * 2 * SECOND + SECOND] for k in range(60)],
        }
        for j, t in enumerate(TARGETS)
    ]
    lanes += [{**lane, "name": f"channel {k}", "kind": "channel"} for k, lane in enumerate(lanes[:4], 1)]
    lanes.append(
        {
            "name": "flap",
            "kind": "output",
            "n": 4,
            "total_ns": SECOND // 2,
            "on": [[k * 140 * SECOND, k * 140 * SECOND + SECOND] for k in range(1, 5)],
        }
    )
    lanes.append(
        {
            "name": "outside everything",
            "kind": "outside",
            "n": 1,
            "total_ns": 30_000_000,
            "on": [[12_400_000_000, 12_430_000_000]],
        }
    )
    strip = {"source": "recordings/day1.parquet", "span_ns": span, "joined_ns": 0, "lanes": lanes}

    def figure(key: str, kind: str, title: str, description: str, data: dict[str, Any]) -> dict[str, Any]:
        return {"id": key, "kind": kind, "title": title, "description": description, "data": data}

    return [
        figure("plane-1", "plane", "Colours at sachet", "Where references and readings lie in the plane of u' and v'.", plane),
        figure("distances-1", "distances", "Distances to channel 1", "Least distance of each presentation from mint.", distances),
        figure(
            "matrix-1",
            "matrix",
            "Which target switched which channel",
            "Presentations that fired, of all.",
            {"channels": CHANNELS, "targets": TARGETS, "cells": cells},
        ),
        figure("matrix-2", "many_matrix", "Which target switched which of many channels", "Presentations that fired.", many()),
        figure("nearest-1", "nearest_pairs", "Nearest pairs", "How far one reference is from the other.", nearest(rng)),
        figure("agreement-1", "agreement", "Recorded against computed", "Recorded less computed.", agreement(span)),
        figure("margins-1", "margins", "Margin of every trial", "In the order of time.", margins),
        figure(
            "response-1",
            "response",
            "Response",
            "Time from the start of a presentation to the first on-time seen for sure.",
            response,
        ),
        figure("on_time-1", "on_time", "On-time", "Longest unbroken on-time.", {**response, "quantity": "on-time", "limits": []}),
        figure("strip-1", "strip", "The run", "What was presented and what was on.", strip),
        figure("trace-1", "trace", "sage, specimen s-02, at 83.412 s", "Channel 1 was on for 22 ms.", trace(rng)),
        figure("trace-2", "trace", HOSTILE, FORMULA, trace(rng, HOSTILE)),
        figure("later-1", "a kind of a later version", "Later", "Not known to this version.", {"whatever": 1}),
    ]


def many() -> dict[str, Any]:
    """32 channels, one of them with a name that is far too long, and a confusion."""
    channels = [str(k + 1) for k in range(31)] + [LONG]
    cells: list[list[Any]] = []
    for k in range(32):
        fired = [40 if c == k else 3 if (k, c) == (4, 5) else 0 for c in range(32)]
        silent = [0 if c == k else 37 if (k, c) == (4, 5) else 40 for c in range(32)]
        cells.append(
            [{"should": "on" if c == k else "off", "n": 40, "fired": fired[c], "perhaps": 0, "silent": silent[c], "held_over": 0}
             for c in range(32)]
        )  # fmt: skip
    cells[7][9] = None
    return {"channels": channels, "targets": [f"sort {k + 1}" for k in range(31)] + [HOSTILE], "cells": cells}


def agreement(span: list[int]) -> dict[str, Any]:
    """Two clocks that drift apart, two signals, and edges without a partner."""
    step = (span[1] - span[0]) // 40
    return {
        "source": "recordings/day1.parquet", "span_ns": span, "within_ms": 15.0, "n": 40,
        "points": [[span[0] + k * step, round(-8 + 0.35 * k, 6)] for k in range(40)],
        "offset_ms": -8.0, "drift_ppm": 3.9, "bars": [[-8.0, -7.0, 12], [2.0, 3.0, 28]],
        "groups": [
            {"name": "channel 1", "n": 40, "least": -8.0, "median": -1.0, "greatest": 5.65, "lone_recorded": 1,
             "lone_computed": 1},
            {"name": "flap", "n": 0, "least": None, "median": None, "greatest": None, "lone_recorded": 0, "lone_computed": 0},
        ],
        "lone_count": 2,
        "lone": [
            {"signal": "channel 1", "edge": "rises", "of": "computed", "at_ns": span[0] + 1_000_000},
            {"signal": "channel 1", "edge": "falls", "of": "recorded", "at_ns": span[0] + 2_000_000},
        ],
    }  # fmt: skip


def nearest(rng: random.Random) -> dict[str, Any]:
    pairs = [
        {"from": str(k + 1), "to": LONG if k == 3 else str(k + 2), "distance": 2.0 * far, "by": "CIEDE2000", "tolerances": far}
        for k, far in enumerate(sorted(round(rng.uniform(0.3, 20.0), 3) for _ in range(20)))
    ]
    confusions = [{"target": HOSTILE, "channel": "5", "should": "off", "wrong": 3, "n": 40},
                  {"target": "mint", "channel": "1", "should": "on", "wrong": 1, "n": 40}]  # fmt: skip
    return {"sensor": "sachet", "pairs": pairs, "compared": 496, "confusions": confusions}


def trace(rng: random.Random, label: str = "sage") -> dict[str, Any]:
    start, first, last = 83_200_000_000, 83_350_000_000, 83_600_000_000
    times = [start + k * 1_000_000 for k in range(600)]

    def there(t: int) -> float:
        return 1 / (1 + math.exp(-(t - first) / 4e6)) - 1 / (1 + math.exp(-(t - last) / 4e6))

    level = [[t, round(0.08 + 0.5 * there(t) + rng.gauss(0, 0.004), 4)] for t in times]
    ends = {"1": 0.03, "2": 0.55, "3": -0.7, "4": -2.5}
    waves = [
        {"channel": c, "points": [[t, round(-1.6 + (end + 1.6) * there(t) + rng.gauss(0, 0.03), 4)] for t in times]}
        for c, end in ends.items()
    ]
    steps = [
        {
            "name": "1 compares",
            "kind": "match",
            "must": [[83_412_000_000, 83_434_000_000]],
            "can": [[83_412_000_000, 83_434_000_000], [83_500_000_000, 83_506_000_000]],
        },
        {
            "name": "channel 1",
            "kind": "channel",
            "must": [[83_412_000_000, 83_474_000_000]],
            "can": [[83_412_000_000, 83_474_000_000]],
        },
        {
            "name": "channel 2",
            "kind": "channel",
            "must": [[83_356_000_000, 83_640_000_000]],
            "can": [[83_356_000_000, 83_640_000_000]],
        },
        {"name": "flap", "kind": "output", "must": [], "can": []},
    ]
    return {
        "source": "recordings/day1.parquet",
        "sensor": "sachet",
        "span_ns": [start, 83_800_000_000],
        "at_ns": 83_412_000_000,
        "presented": [
            {"label": label, "start_ns": first, "end_ns": last, "subject": True},
            {"label": "mint", "start_ns": 83_780_000_000, "end_ns": 83_800_000_000, "subject": False},
        ],
        "level": level,
        "closeness": waves,
        "steps": steps,
        "points": 600,
        "of": 600,
    }
