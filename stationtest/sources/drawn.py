"""What a picture of a table shows, in built-in types: each column of numbers as its least and greatest value in so many stretches
of time, each column of on and off, and each of words, as stretches; of a long log each of its signals."""

from __future__ import annotations

from typing import Any

import numpy as np

from stationtest.sources.looking import Looked, on_and_off

STRETCHES = 600
MOST_LANES = 24


def data(found: Looked) -> dict[str, Any]:
    """`path`, `span_s` [first, last], `numbers` [{name, low, high, points [[t_s, least, greatest], ...]}], `lanes` [{name, on
    [[a_s, b_s], ...]}]. Without a time, rows are counted in its place."""
    n = len(found.columns[0].cells)
    t = np.arange(n) / 1.0 if found.time is None else (found.time.t_ns - found.time.t_ns[0]) / 1e9
    edges = np.unique(np.linspace(0, n, min(STRETCHES, n) + 1).astype(int))[:-1]
    numbers = []
    for column in found.of_kind("number"):
        values = column.numbers()
        if np.isfinite(values).all():
            least, most = np.minimum.reduceat(values, edges), np.maximum.reduceat(values, edges)
            points = [[float(a), float(b), float(c)] for a, b, c in zip(t[edges], least, most, strict=True)]
            numbers.append({"name": column.name, "low": float(values.min()), "high": float(values.max()), "points": points})
    lanes = _signals(found, t) if found.long else []
    for column in [] if found.long else found.of_kind("digital"):
        on, _ = on_and_off([column])
        lanes.append({"name": column.name, "on": _stretches(t, np.array([cell in on for cell in column.cells]))})
    for column in [] if found.long else found.of_kind("words"):
        for word, _ in column.counts.most_common(4):
            if word:
                on_ = np.array([cell == word for cell in column.cells])
                lanes.append({"name": f"{column.name}: {word}", "on": _stretches(t, on_)})
    span = [0.0, float(t[-1]) if n else 0.0]
    return {"path": found.path, "span_s": span, "numbers": numbers, "lanes": lanes[:MOST_LANES]}


def _signals(found: Looked, t: Any) -> list[dict[str, Any]]:
    """Of a long log each signal that is ever on: a value holds until the next row of that signal, the last to the end."""
    tags, values = found.of_kind("words")[0], found.columns[-1]
    words, _ = on_and_off([values])
    names, on = np.array(tags.cells), np.isin(values.cells, words)
    lanes = []
    for tag in sorted(tags.counts):
        mine = names == tag
        lanes.append({"name": tag, "on": _stretches(np.append(t[mine], t[-1]), np.append(on[mine], False))})
    return lanes


def _stretches(t: Any, on: Any) -> list[list[float]]:
    change = np.flatnonzero(np.diff(on.astype(np.int8), prepend=0, append=0))
    ends = np.append(t, t[-1])
    return [[float(ends[a]), float(ends[b])] for a, b in change.reshape(-1, 2).tolist()]
