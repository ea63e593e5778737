"""Figures of colour: where references and readings lie in a plane, and how far each target is from a channel's reference.

`plane` data: space ("u'v'", "a*b*", "shares"), x, y (axis names), sensor, references [{channel, target, x, y}], outlines
[{channel, target, points [[x, y], ...]}] (where the distance equals the tolerance), targets [{name, n, points [[x, y], ...]}]
(`n` presentations, of which every k-th is a point), notes [text].

`distances` data: channel, sensor, distance (name of the formula), tolerance, off (where it switches off), off_match (yes or no;
missing: no), targets [{name, should ('on', 'off', ''), n, five [least, 5 %, median, 95 %, greatest], points [distance, ...]}]. A
distance is the least of one presentation; with off_match, the tolerance up to which the presentation would have the channel on.
"""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from stationtest.report.svg import Axis, Drawing
from stationtest.report.tables import Table, cut
from stationtest.report.wording import count, decimal

FEW = 8
"""References that are drawn with the names of their targets; of more, with those of their channels only."""
IN_LEGEND, MOST_ROWS = 21, 200
WIDTH = 720


def frame(drawing: Drawing, x: Axis, y: Axis, x_name: str, y_name: str) -> None:
    """Axes on the left and below, a light grid, ticks with numbers, names with units."""
    for at, words in x.ticks():
        drawing.line(at, y.start, at, y.end, "grid")
        drawing.text(at, y.start + 16, words, anchor="middle")
    for at, words in y.ticks():
        drawing.line(x.start, at, x.end, at, "grid")
        drawing.text(x.start - 6, at + 4, words, anchor="end")
    drawing.line(x.start, y.start, x.end, y.start, "axis")
    drawing.line(x.start, y.start, x.start, y.end, "axis")
    drawing.text((x.start + x.end) / 2, y.start + 34, x_name, "t name", anchor="middle")
    drawing.text(8, y.end - 10, y_name, "t name")


def plane(figure: dict[str, Any]) -> Markup:
    data = figure["data"]
    drawing = Drawing(figure["id"], figure["title"], figure["description"], WIDTH, 520)
    everything = [point for part in (*data["outlines"], *data["targets"]) for point in part["points"]]
    everything += [[part["x"], part["y"]] for part in data["references"]]
    if not everything:
        everything = [[0.0, 0.0]]
    x, y = _square([p[0] for p in everything], [p[1] for p in everything])
    frame(drawing, x, y, data["x"], data["y"])
    for place, target in enumerate(data["targets"]):
        shown = [(x.at(px), y.at(py)) for px, py in target["points"]]
        drawing.marks(shown, place, f"c{place % 3}", 2.4)
        _legend(drawing, 48 + 18 * place, place, target["name"], f"n = {target['n']}")
    for outline in data["outlines"]:
        drawing.polyline([(x.at(px), y.at(py)) for px, py in outline["points"]], "outline", close=True)
    for reference in data["references"]:
        cx, cy = x.at(reference["x"]), y.at(reference["y"])
        drawing.line(cx - 7, cy, cx + 7, cy, "cross")
        drawing.line(cx, cy - 7, cx, cy + 7, "cross")
        few = len(data["references"]) <= FEW
        words = f"{reference['channel']}: {reference['target']}" if few else reference["channel"]
        right = cx > 400
        drawing.text(cx - 10 if right else cx + 10, cy - 8, words, "t halo", anchor="end" if right else "start", longest=28)
    left_out = len(data["targets"]) - IN_LEGEND
    if left_out > 0:
        drawing.text(586, 48 + 18 * IN_LEGEND, f"and {left_out} more, see the table", longest=27)
    base = 66 + 18 * len(data["targets"])
    if base < 480:
        drawing.line(562, base - 4, 578, base - 4, "outline")
        drawing.text(586, base, "tolerance of a channel")
        drawing.line(562, base + 14, 578, base + 14, "cross")
        drawing.line(570, base + 6, 570, base + 22, "cross")
        drawing.text(586, base + 18, "its reference")
    return drawing.markup()


def _legend(drawing: Drawing, y: float, place: int, name: str, more: str) -> None:
    if y < 48 + 18 * IN_LEGEND:
        drawing.marks([(570, y - 4)], place, f"c{place % 3}", 3.5)
        drawing.text(586, y, f"{name[:17]}{'…' if len(name) > 17 else ''} ({more})" if more else name, longest=27)


def _square(xs: list[float], ys: list[float]) -> tuple[Axis, Axis]:
    """Axes of one scale, so that a circle stays a circle, over everything with a little room."""
    half = 0.55 * max(max(xs) - min(xs), max(ys) - min(ys), 1e-6)
    cx, cy = (max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2
    return Axis(cx - half, cx + half, 64, 504), Axis(cy - half, cy + half, 470, 30)


def plane_table(figure: dict[str, Any]) -> Table:
    data = figure["data"]
    head = ("what", "name", data["x"], data["y"], "presentations", "points drawn")
    rows = [
        ("reference", f"channel {part['channel']}: {part['target']}", decimal(part["x"], 4), decimal(part["y"], 4), "–", "–")
        for part in data["references"]
    ]
    for target in data["targets"]:
        middle = _middle(target["points"])
        rows.append(("target, mean", target["name"], *middle, count(target["n"]), count(len(target["points"]))))
    return cut("References, and the mean of the points drawn for each target", head, rows, " ".join(data["notes"]), MOST_ROWS)


def _middle(points: list[list[float]]) -> tuple[str, str]:
    if not points:
        return "–", "–"
    return decimal(sum(p[0] for p in points) / len(points), 4), decimal(sum(p[1] for p in points) / len(points), 4)


def distances(figure: dict[str, Any]) -> Markup:
    data = figure["data"]
    rows = data["targets"]
    height = 84 + 30 * len(rows)
    drawing = Drawing(figure["id"], figure["title"], figure["description"], WIDTH, height)
    largest = max([data["off"] * 1.6, *(max(row["points"], default=0.0) for row in rows)])
    x = Axis(0, min(largest, data["tolerance"] * 12), 170, 690)
    low = height - 48
    for at, words in x.ticks():
        drawing.line(at, low, at, 30, "grid")
        drawing.text(at, low + 16, words, anchor="middle")
    drawing.line(x.start, low, x.end, low, "axis")
    drawing.text((x.start + x.end) / 2, low + 34, f"{_quantity(data)}, {data['distance']}", "t name", anchor="middle")
    _limits(drawing, data, x, low)
    for place, row in enumerate(rows):
        y = 46 + 30 * place
        own = row["should"] == "on"
        drawing.text(164, y + 4, ("▸ " if own else "") + row["name"], "t strong" if own else "t", anchor="end", longest=24)
        if row["five"]:
            drawing.line(x.inside(row["five"][0]), y, x.inside(row["five"][4]), y, "span")
            drawing.rect(x.inside(row["five"][1]), y - 4, x.inside(row["five"][3]) - x.inside(row["five"][1]), 8, "mid")
        beyond = sum(value > x.high for value in row["points"])
        dots = [(x.at(value), y + _jitter(k)) for k, value in enumerate(row["points"]) if value <= x.high]
        drawing.marks(dots, 2 if own else 5, "c0" if own else "c1", 2.2)
        if beyond:
            drawing.text(x.end, y - 6, f"{beyond} beyond →", anchor="end")
    return drawing.markup()


def _quantity(data: dict[str, Any]) -> str:
    return "tolerance up to which it would be on" if data.get("off_match") else "distance from the reference"


def _limits(drawing: Drawing, data: dict[str, Any], x: Axis, low: float) -> None:
    """The part in which the channel is on, shaded, and the lines at which it switches."""
    on = x.at(data["tolerance"])
    if data.get("off_match"):
        drawing.rect(on, 30, x.end - on, low - 30, "within")
        drawing.text(on - 4, 20, "off", "t name", anchor="end")
        drawing.text(on + 4, 20, f"on beyond {decimal(data['tolerance'])}", "t name")
    else:
        drawing.rect(x.start, 30, on - x.start, low - 30, "within")
        drawing.text(on - 4, 20, f"on at {decimal(data['tolerance'])}", "t name", anchor="end")
        drawing.text(x.at(data["off"]) + 4, 20, f"off above {decimal(data['off'])}", "t name")
        if data["off"] > data["tolerance"]:
            drawing.line(x.at(data["off"]), 24, x.at(data["off"]), low, "limit dash")
    drawing.line(on, 24, on, low, "limit")


def _jitter(k: int) -> float:
    """Points of one value side by side instead of on top of each other; the same every time."""
    return ((k * 7) % 11 - 5) * 0.9


def distances_table(figure: dict[str, Any]) -> Table:
    data = figure["data"]
    words = {"on": "must switch on", "off": "must stay off", "": "not stated"}
    rows = []
    for row in data["targets"]:
        five = row["five"] or [None] * 5
        rows.append((row["name"], words[row["should"]], count(row["n"]), *(decimal(value, 4) for value in five)))
    head = ("target", "asked", "presentations", "least", "5 %", "median", "95 %", "greatest")
    if data.get("off_match"):
        caption = (
            f"Tolerance up to which each presentation would have it on, {data['distance']}; "
            f"on beyond {decimal(data['tolerance'])}"
        )
    else:
        caption = (
            f"Least distance in each presentation, {data['distance']}; "
            f"on at {decimal(data['tolerance'])}, off above {decimal(data['off'])}"
        )
    return cut(caption, head, rows)
