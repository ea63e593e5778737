"""Recorded edges against computed ones: differences over the run, how they are spread, and edges without a partner.

`agreement` data: source, span_ns, within_ms, n (pairs), points [[t_ns, ms], ...] (every k-th pair), offset_ms and drift_ppm of
the straight line through all pairs (None where there are too few), bars [[from ms, to ms, count], ...], groups [{name, n, least,
median, greatest (ms), lone_recorded, lone_computed}], lone_count, lone [{signal, edge ('rises', 'falls'), of ('recorded',
'computed'), at_ns}].
"""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from stationtest.report.colour_drawings import WIDTH, frame
from stationtest.report.svg import Axis, Drawing
from stationtest.report.tables import Table, cut
from stationtest.report.wording import count, decimal, seconds


def agreement(figure: dict[str, Any]) -> Markup:
    data = figure["data"]
    drawing = Drawing(figure["id"], figure["title"], figure["description"], WIDTH, 500)
    within = data["within_ms"]
    begin, end = (t / 1e9 for t in data["span_ns"])
    x = Axis(begin, end, 64, 690, 8)
    y = Axis(-within * 1.05, within * 1.05, 230, 30)
    frame(drawing, x, y, "time in the recording, s", "recorded less computed, ms")
    for limit in (-within, within):
        drawing.line(x.start, y.at(limit), x.end, y.at(limit), "limit")
    drawing.line(x.start, y.at(0), x.end, y.at(0), "axis")
    drawing.marks([(x.at(t / 1e9), y.inside(ms)) for t, ms in data["points"]], 2, "c0", 2.2)
    if data["drift_ppm"] is not None:
        ends = [(at, data["offset_ms"] + data["drift_ppm"] * (at - begin) / 1e3) for at in (begin, end)]
        drawing.polyline([(x.at(at), y.inside(ms)) for at, ms in ends], "step")
    drawing.text(690, 20, _line_words(data), anchor="end")
    spread = Axis(-within * 1.05, within * 1.05, 64, 690, 8)
    most = max((bar[2] for bar in data["bars"]), default=1)
    low = Axis(0, most, 440, 310)
    frame(drawing, spread, low, "recorded less computed, ms", "edges")
    boxes = [
        (spread.at(a), low.at(n), max(1.0, spread.at(b) - spread.at(a) - 0.8), low.start - low.at(n)) for a, b, n in data["bars"]
    ]
    drawing.bars(boxes, "bar")
    for limit in (-within, within):
        drawing.line(spread.at(limit), 304, spread.at(limit), 440, "limit")
    return drawing.markup()


def _line_words(data: dict[str, Any]) -> str:
    if data["drift_ppm"] is None:
        return f"{count(data['n'])} pairs"
    return (
        f"line through {count(data['n'])} pairs: {decimal(data['offset_ms'])} ms at the start, {decimal(data['drift_ppm'])} ppm"
    )


def agreement_table(figure: dict[str, Any]) -> Table:
    """Edges without a partner; how each signal does stands in the note."""
    data = figure["data"]
    rows = [(part["signal"], part["edge"], part["of"], seconds(part["at_ns"])) for part in data["lone"]]
    told = "; ".join(
        f"{part['name']}: {count(part['n'])} pairs"
        + (
            f", {decimal(part['least'])} to {decimal(part['greatest'])} ms, median {decimal(part['median'])} ms"
            if part["n"]
            else ""
        )
        + f", {count(part['lone_recorded'])} recorded and {count(part['lone_computed'])} computed edges alone"
        for part in data["groups"]
    )
    return cut(f"Edges without a partner: {count(data['lone_count'])}", ("signal", "edge", "of", "at"), rows, f"{told}.")
