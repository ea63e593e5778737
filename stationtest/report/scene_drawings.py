"""Figures of a scene.

`spectra` data: above, below [{name, points [[nm, share], ...]}].

`geometry` data: standoff, spot (mm), light_deg, view_deg, light_half_deg, view_half_deg, targets [{name, from, to (mm from the
spot's centre against the travel), raised, rib [at, width, height] or None, radius or None, along (its axis)}].

`readings` data: span_ns, full_scale, bands [{name, points [[t_ns, count], ...]}], of (readings in the stretch), presented
[{label, start_ns, end_ns}], inputs [{name, on [[a, b], ...]}].
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from markupsafe import Markup

from stationtest.report.colour_drawings import WIDTH, frame
from stationtest.report.svg import Axis, Drawing, Point
from stationtest.report.tables import Table, cut
from stationtest.report.wording import decimal, duration, seconds

LANES = 6


def spectra(figure: dict[str, Any]) -> Markup:
    drawing = Drawing(figure["id"], figure["title"], figure["description"], WIDTH, 560)
    for name, top, key in (("share of the peak", 40, "above"), ("reflectance", 316, "below")):
        curves = figure["data"][key]
        most = max([1.0, *(point[1] for curve in curves for point in curve["points"])])
        x, y = Axis(380, 780, 64, 520, 8), Axis(0, most, top + 180, top, 5)
        frame(drawing, x, y, "wavelength, nm", name)
        for place, curve in enumerate(curves):
            drawing.polyline([(x.at(nm), y.at(value)) for nm, value in curve["points"]], f"wave w{place % LANES}")
            _legend(drawing, top + 12 + 18 * place, curve["name"], place)
    return drawing.markup()


def spectra_table(figure: dict[str, Any]) -> Table:
    rows = []
    for part, key in (("above", "above"), ("below", "below")):
        for curve in figure["data"][key]:
            peak = max(curve["points"], key=lambda point: point[1])
            values = [_near(curve["points"], nm) for nm in (450, 550, 650)]
            rows.append((curve["name"], part, f"{peak[0]:g} nm", *(decimal(value) for value in values)))
    return cut("The curves", ("curve", "panel", "peak at", "at 450 nm", "at 550 nm", "at 650 nm"), rows)


def _near(points: list[list[float]], nm: float) -> float:
    return min(points, key=lambda point: abs(point[0] - nm))[1]


def _legend(drawing: Drawing, y: float, name: str, place: int) -> None:
    drawing.line(534, y - 4, 562, y - 4, f"wave w{place % LANES}")
    drawing.text(568, y, name, longest=22)


def geometry(figure: dict[str, Any]) -> Markup:
    """The head above, its rays to the spot, the targets on the belt; x to the right is the travel."""
    data = figure["data"]
    drawing = Drawing(figure["id"], figure["title"], figure["description"], WIDTH, 330)
    ground, middle = 262.0, 360.0
    scale = min(210.0 / data["standoff"], 340.0 / max(data["spot"], 1.0))

    def at(along: float, up: float) -> Point:
        return middle + along * scale, ground - up * scale

    drawing.line(10, ground, 710, ground, "axis")
    drawing.text(712, ground + 40, "travel →", anchor="end")
    for target in data["targets"]:
        _target(drawing, target, at)
    reach = data["standoff"]
    for name, angle, half, side, kind in (
        ("light", data["light_deg"], data["light_half_deg"], 1, "w1"),
        ("view", data["view_deg"], data["view_half_deg"], -1, "w0"),
    ):  # fmt: skip
        for ray in (angle - half, angle, angle + half):
            x, y = at(side * reach * math.tan(math.radians(min(max(ray, -80), 80))), reach)
            drawing.line(*at(0, 0), x, y, f"wave {kind}" if ray == angle else "rule")
        x, y = at(side * reach * math.tan(math.radians(angle)), reach)
        anchor = "start" if side > 0 else "end"
        drawing.text(x + side * 6, y - 8, f"{name}, {decimal(angle)} deg", "t halo", anchor=anchor)
    left, _ = at(-data["spot"] / 2, 0)
    drawing.rect(left, ground - 3, data["spot"] * scale, 6, "fill4")
    words = f"spot {decimal(data['spot'])} mm, standoff {decimal(data['standoff'])} mm"
    drawing.text(middle, ground + 58, words, anchor="middle")
    return drawing.markup()


def _target(drawing: Drawing, target: dict[str, Any], at: Callable[[float, float], Point]) -> None:
    """One target: it lies from its leading edge on, against the travel, so that places along it go to the left."""
    begin, end = -target["from"], -target["to"]
    if min(at(begin, 0)[0], at(end, 0)[0]) > 700 or max(at(begin, 0)[0], at(end, 0)[0]) < 20:
        return
    up = target["raised"]
    outline: list[tuple[float, float]] = [(begin, up)]
    if target["rib"] is not None:
        place, width, height = target["rib"]
        outline += [(begin - place + width / 2, up), (begin - place + width / 4, up + height)]
        outline += [(begin - place - width / 4, up + height), (begin - place - width / 2, up)]
    if target["radius"] is not None and not target["along"]:
        radius, centre = target["radius"], (begin + end) / 2
        angles = [math.pi * step / 24 for step in range(25)]
        outline = [(centre + radius * math.cos(angle), up - radius + radius * math.sin(angle)) for angle in angles]
    else:
        outline.append((end, up))
    drawing.polyline([at(along, height) for along, height in outline], "limit")
    x, y = at((begin + end) / 2, 0)
    drawing.text(x, y + 18, target["name"], "t halo", anchor="middle", longest=16)


def geometry_table(figure: dict[str, Any]) -> Table:
    rows = [
        (target["name"], f"{decimal(target['to'] - target['from'])} mm", f"{decimal(target['raised'])} mm", _special(target))
        for target in figure["data"]["targets"]
    ]
    return cut("The first targets on the belt", ("target", "length", "raised", "shape"), rows)


def _special(target: dict[str, Any]) -> str:
    if target["rib"] is not None:
        return f"rib {decimal(target['rib'][1])} mm wide, {decimal(target['rib'][2])} mm high"
    if target["radius"] is None:
        return "flat"
    return f"round, radius {decimal(target['radius'])} mm, its axis {'along' if target['along'] else 'across'} the travel"


def readings(figure: dict[str, Any]) -> Markup:
    data = figure["data"]
    height = 330 + 24 * len(data["inputs"])
    drawing = Drawing(figure["id"], figure["title"], figure["description"], WIDTH, height)
    start = data["span_ns"][0]
    low = height - 46
    x, y = Axis(0, (data["span_ns"][1] - start) / 1e6, 64, 560, 8), Axis(0, data["full_scale"], 270, 34, 5)
    for part in data["presented"]:
        a, b = x.inside((part["start_ns"] - start) / 1e6), x.inside((part["end_ns"] - start) / 1e6)
        drawing.rect(a, 34, b - a, low - 34, "subject")
        drawing.text((a + b) / 2, 28, part["label"], anchor="middle", longest=max(int((b - a) / 7), 2))
    for at, words in y.ticks():
        drawing.line(x.start, at, x.end, at, "grid")
        drawing.text(x.start - 6, at + 4, words, anchor="end")
    for at, words in x.ticks():
        drawing.text(at, low + 16, words, anchor="middle")
    drawing.line(x.start, low, x.end, low, "axis")
    drawing.text((x.start + x.end) / 2, low + 34, f"ms after {seconds(start)}", "t name", anchor="middle")
    drawing.text(8, 24, "counts", "t name")
    for place, band in enumerate(data["bands"]):
        drawing.polyline([(x.at((t - start) / 1e6), y.inside(v)) for t, v in band["points"]], f"wave w{place % LANES}")
        drawing.line(574, 46 + 18 * place, 602, 46 + 18 * place, f"wave w{place % LANES}")
        drawing.text(608, 50 + 18 * place, band["name"], longest=14)
    for place, signal in enumerate(data["inputs"]):
        top = 282 + 24 * place
        drawing.text(566, top + 12, signal["name"], longest=20)
        boxes = [(x.inside((a - start) / 1e6), x.inside((b - start) / 1e6)) for a, b in signal["on"]]
        drawing.bars([(a, top, max(0.8, b - a), 14) for a, b in boxes], "fill3")
    return drawing.markup()


def readings_table(figure: dict[str, Any]) -> Table:
    data = figure["data"]
    rows = [
        (part["label"], "presented", seconds(part["start_ns"]), duration(part["end_ns"] - part["start_ns"]))
        for part in data["presented"]
    ]
    rows += [(signal["name"], "input on", seconds(a), duration(b - a)) for signal in data["inputs"] for a, b in signal["on"]]
    note = f"{data['of']} readings, least and greatest of each stretch."
    return cut("What was presented and what was on in this stretch", ("what", "state", "from", "for"), rows, note)


DRAWERS: Mapping[str, Callable[[dict[str, Any]], Markup]] = {"spectra": spectra, "geometry": geometry, "readings": readings}
TABLES: Mapping[str, Callable[[dict[str, Any]], Table]] = {
    "spectra": spectra_table, "geometry": geometry_table, "readings": readings_table,
}  # fmt: skip
