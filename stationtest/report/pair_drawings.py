"""Sensors with many channels: nearest pairs of references as bars, and the matrix of small cells.

`nearest_pairs` data: sensor, compared (how many pairs could be), pairs [{from, to, distance, by, tolerances}], confusions
[{target, channel, should, wrong, n}]. The matrix of many channels has the data of `matrix`.
"""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from stationtest.report.colour_drawings import WIDTH
from stationtest.report.count_drawings import not_as_asked, why_not
from stationtest.report.svg import Axis, Drawing
from stationtest.report.tables import Table, cut
from stationtest.report.wording import count, decimal

MOST_TARGETS = 200
FARTHEST = 12.0
HAPPENED = {"on": "did not fire for sure", "off": "was not silent"}


def nearest(figure: dict[str, Any]) -> Markup:
    """A bar a pair; a line where a part on the other's reference would just switch the channel."""
    pairs = figure["data"]["pairs"]
    low = 40 + 20 * max(len(pairs), 1)
    drawing = Drawing(figure["id"], figure["title"], figure["description"], WIDTH, low + 44)
    x = Axis(0, min(max([2.0, *(pair["tolerances"] * 1.1 for pair in pairs)]), FARTHEST), 250, 640)
    for at, words in x.ticks():
        drawing.line(at, low, at, 30, "grid")
        drawing.text(at, low + 16, words, anchor="middle")
    drawing.line(x.start, low, x.end, low, "axis")
    drawing.text((x.start + x.end) / 2, low + 34, "distance in tolerances", "t name", anchor="middle")
    drawing.line(x.at(1), 24, x.at(1), low, "limit")
    drawing.text(x.at(1) + 4, 20, "at its tolerance", "t name")
    for place, pair in enumerate(pairs):
        y = 36 + 20 * place
        near = pair["tolerances"] <= 1
        words = f"{_short(pair['from'])} from {_short(pair['to'])}"
        drawing.text(242, y + 11, words, "t strong" if near else "t", anchor="end", longest=34)
        drawing.bars([(x.start, y + 2, max(1.0, x.inside(pair["tolerances"]) - x.start), 12)], "bar")
        drawing.text(648, y + 12, decimal(pair["tolerances"], 2), "t strong" if near else "t")
    return drawing.markup()


def _short(name: str) -> str:
    return name if len(name) <= 14 else name[:13] + "…"


def nearest_table(figure: dict[str, Any]) -> Table:
    """The pairs, then the confusions that happened."""
    data = figure["data"]
    rows = [
        ("pair", f"channel {pair['from']}", f"channel {pair['to']}", f"{decimal(pair['distance'], 4)} ({pair['by']})",
         decimal(pair["tolerances"], 2), "–")
        for pair in data["pairs"]
    ]  # fmt: skip
    rows += [
        ("confusion", f"channel {one['channel']}", f"target {one['target']}", HAPPENED[one["should"]], "–",
         f"{count(one['wrong'])} of {count(one['n'])}")
        for one in data["confusions"]
    ]  # fmt: skip
    head = ("what", "of", "from", "distance, or what happened", "tolerances", "presentations")
    note = f"{count(data['compared'])} pairs could be compared." + ("" if data["confusions"] else " No confusion happened.")
    return cut("Nearest pairs of references, and the confusions that happened", head, rows, note, most=len(rows))


def many(figure: dict[str, Any]) -> Markup:
    """The matrix of many channels: small cells without numbers, which stand in the table behind. Long names are numbered."""
    data = figure["data"]
    columns, rows = len(data["channels"]), len(data["targets"])
    wide, high = 520 / columns, 18.0
    drawing = Drawing(figure["id"], figure["title"], figure["description"], WIDTH, 80 + high * rows)
    every = 1 if wide > 24 else 2  # names side by side must not touch
    for j in range(0, columns, every):
        channel = data["channels"][j]
        shown = channel if len(channel) <= 3 or columns <= 12 else str(j + 1)
        drawing.text(170 + wide * (j + 0.5), 20, shown, "t strong", anchor="middle", longest=max(3, int(wide * every / 7)))
    for i, target in enumerate(data["targets"]):
        y = 30 + high * i
        drawing.text(162, y + 13, target, anchor="end", longest=23)
        for j, cell in enumerate(data["cells"][i]):
            if cell is not None:
                _small(drawing, 170 + wide * j, y, wide, high, cell)
    low = 30 + high * rows + 20
    drawing.rect(170, low - 10, 16, 12, "cell must")
    drawing.text(192, low, "must switch on: filled by the share that did")
    drawing.rect(170, low + 8, 16, 12, "cell")
    drawing.text(192, low + 18, "must stay off")
    drawing.marks([(322, low + 14)], 2, "c1", 4)
    drawing.text(334, low + 18, "not as asked")
    return drawing.markup()


def _small(drawing: Drawing, x: float, y: float, wide: float, high: float, cell: dict[str, Any]) -> None:
    must, share = cell["should"] == "on", cell["fired"] / cell["n"] if cell["n"] else 0.0
    if share:
        drawing.rect(x + 1, y + 1, (wide - 2) * share, high - 2, "cell-fill")
    drawing.rect(x + 1, y + 1, wide - 2, high - 2, "cell must" if must else "cell")
    if not_as_asked(cell):
        drawing.marks([(x + wide / 2, y + high / 2)], 2, "c1", 4)


def many_table(figure: dict[str, Any]) -> Table:
    """The full matrix: a row a target, a column a channel."""
    data = figure["data"]
    rows = [(target, *(_cell(cell) for cell in cells)) for target, cells in zip(data["targets"], data["cells"], strict=True)]
    note = "Fired of presented; ▸ where it must fire, ! where it was not as asked. The table scrolls sideways."
    return cut("What each channel did for each target", ("target", *data["channels"]), rows, note, most=MOST_TARGETS)


def _cell(cell: dict[str, Any] | None) -> str:
    if cell is None:
        return "–"
    must = "▸ " if cell["should"] == "on" else ""
    why = ""
    if not_as_asked(cell):
        counted = why_not(cell)
        why = f" ! ({counted})" if counted else " !"
    return f"{must}{cell['fired']}/{cell['n']}{why}"
