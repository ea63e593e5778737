"""Figures of counts: which target switched which channel, and how times are spread.

`matrix` data: basis (missing in early records), channels [name], targets [name], cells [[{should, n, fired, perhaps, silent,
held_over} or None, ...], ...] (a row a target).

`response`, `on_time` data: quantity, unit, edges [..] (one more than bars), bars [count], n, beyond (count past the last edge),
limits [{value, words}], resolution (reading period in the same unit, or None), groups [{name, n, least, median, greatest}].
"""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from stationtest.report.colour_drawings import WIDTH, frame
from stationtest.report.svg import Axis, Drawing
from stationtest.report.tables import Table, cut
from stationtest.report.wording import count, decimal

MOST_LIMITS, LONGEST_LIMIT = 6, 54
"""Limits that are drawn, and the longest words of one; the table behind has all."""


def matrix(figure: dict[str, Any]) -> Markup:
    """Each cell: how many presentations fired the channel, of how many; a bar for the share; a heavy frame where it must."""
    data = figure["data"]
    columns, rows = len(data["channels"]), len(data["targets"])
    wide = min(110.0, 540 / max(columns, 1))
    drawing = Drawing(figure["id"], figure["title"], figure["description"], WIDTH, 80 + 40 * rows)
    for j, channel in enumerate(data["channels"]):
        drawing.text(170 + wide * (j + 0.5), 20, channel, "t strong", anchor="middle", longest=max(4, int(wide / 7)))
    for i, target in enumerate(data["targets"]):
        y = 30 + 40 * i
        drawing.text(162, y + 22, target, anchor="end", longest=23)
        for j in range(columns):
            cell = data["cells"][i][j]
            x = 170 + wide * j
            if cell is None:
                drawing.text(x + wide / 2, y + 22, "·", anchor="middle")
                continue
            _cell(drawing, x, y, wide, cell)
    low = 30 + 40 * rows + 20
    drawing.rect(170, low - 10, 16, 12, "cell must")
    drawing.text(192, low, "must switch on: filled from the left by the share that did")
    drawing.rect(170, low + 8, 16, 12, "cell")
    drawing.text(192, low + 18, "must stay off")
    drawing.marks([(322, low + 14)], 2, "c1", 4)
    drawing.text(334, low + 18, "not as asked; below the count, why")
    return drawing.markup()


def _cell(drawing: Drawing, x: float, y: float, wide: float, cell: dict[str, Any]) -> None:
    share = cell["fired"] / cell["n"] if cell["n"] else 0.0
    must = cell["should"] == "on"
    if share:
        drawing.rect(x + 3, y + 3, (wide - 6) * share, 34, "cell-fill")
    drawing.rect(x + 3, y + 3, wide - 6, 34, "cell must" if must else "cell")
    wrong = not_as_asked(cell)
    why = why_not(cell, short=wide < 96) if wrong else ""
    words = f"{cell['fired']}/{cell['n']}"
    up = 17 if why else 24
    drawing.text(x + wide / 2, y + up, words, "t halo strong" if must or wrong else "t halo", anchor="middle")
    if why:
        drawing.text(x + wide / 2, y + 31, why, "t halo", anchor="middle", longest=max(4, int(wide / 6.5)))
    if wrong:
        drawing.marks([(x + wide - 11, y + 11)], 2, "c1", 4)


def not_as_asked(cell: dict[str, Any]) -> bool:
    """Whether a presentation came out otherwise than asked: not on for sure where it must be, or not silent where it must."""
    if cell["should"] == "on":
        return bool(cell["fired"] < cell["n"])
    return bool(cell["should"] == "off" and cell["silent"] < cell["n"])


def why_not(cell: dict[str, Any], *, short: bool = False) -> str:
    """What the count of those that fired does not tell: on-time held over from an earlier target, or too short to be sure of."""
    if cell["held_over"] and cell["should"] == "off":
        return f"{cell['held_over']} held" if short else f"{cell['held_over']} held over"
    return f"{cell['perhaps']} perhaps" if cell["perhaps"] else ""


def matrix_table(figure: dict[str, Any]) -> Table:
    data = figure["data"]
    rows = []
    for target, cells in zip(data["targets"], data["cells"], strict=True):
        for channel, cell in zip(data["channels"], cells, strict=True):
            if cell is not None:
                asked = {"on": "must switch on", "off": "must stay off", "": "not stated"}[cell["should"]]
                counts = (count(cell[key]) for key in ("n", "fired", "perhaps", "silent", "held_over"))
                rows.append((target, channel, asked, *counts))
    head = ("target", "channel", "asked", "presentations", "fired", "perhaps", "silent", "held over")
    caption = (
        "What each channel did for each target; a perhaps is too short to be seen for sure, held over is on-time that an earlier "
        "target caused"
    )
    return cut(caption, head, rows)


def histogram(figure: dict[str, Any]) -> Markup:
    data = figure["data"]
    limits = data["limits"][:MOST_LIMITS]
    down = 15 * len(limits)
    drawing = Drawing(figure["id"], figure["title"], figure["description"], WIDTH, 264 + down)
    edges, bars = data["edges"], data["bars"]
    high = max([edges[-1], *(limit["value"] * 1.05 for limit in data["limits"])])
    x = Axis(min(0.0, edges[0]), high, 64, 690)
    y = Axis(0, max(bars, default=1) or 1, 208 + down, 40 + down)
    every = f" (readings every {data['resolution']:.6g} {data['unit']})" if data["resolution"] else ""
    frame(drawing, x, y, f"{data['quantity']}, {data['unit']}{every}", "presentations")
    drawing.bars(
        [
            (x.at(a), y.at(bar), max(1.0, x.at(b) - x.at(a) - 0.8), y.start - y.at(bar))
            for a, b, bar in zip(edges, edges[1:], bars, strict=False)
            if bar
        ],
        "bar",
    )
    _labelled(drawing, [(x.at(limit["value"]), limit["words"]) for limit in limits], y.start)
    return drawing.markup()


def _labelled(drawing: Drawing, limits: list[tuple[float, str]], low: float) -> None:
    """Lines of limits with their words above the plot, a row each. A line ends at its own row, and those further on stand in
    lower rows, so that no line runs through the words of another; words that would leave the paper stand before their line."""
    wide = [7.0 * min(len(words), LONGEST_LIMIT) for _, words in limits]
    before = [at + 8 + width > WIDTH for (at, _), width in zip(limits, wide, strict=True)]
    order = sorted(range(len(limits)), key=lambda k: (not before[k], -limits[k][0] if before[k] else limits[k][0]))
    for row, k in enumerate(order):
        drawing.line(limits[k][0], 8 + 15 * row, limits[k][0], low, "limit")
    for row, k in enumerate(order):
        (at, words), anchor = limits[k], "end" if before[k] else "start"
        drawing.text(at - 5 if before[k] else at + 5, 18 + 15 * row, words, "t halo", anchor=anchor, longest=LONGEST_LIMIT)


def histogram_table(figure: dict[str, Any]) -> Table:
    data = figure["data"]
    rows = [
        (part["name"], count(part["n"]), decimal(part["least"]), decimal(part["median"]), decimal(part["greatest"]))
        for part in data["groups"]
    ]
    unit = data["unit"]
    head = ("target → channel", "presentations", f"least, {unit}", f"median, {unit}", f"greatest, {unit}")
    limits = "; ".join(limit["words"] for limit in data["limits"])
    return cut(f"{data['quantity'].capitalize()} by target and channel", head, rows, f"Limits: {limits}." if limits else "")
