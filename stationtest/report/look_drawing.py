"""A picture of tables that somebody looked at: one page that loads nothing, a figure for each table and its numbers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from markupsafe import Markup, escape

from stationtest.report.svg import Axis, Drawing

WIDTH, LEFT, RIGHT, BAND, LANE = 960, 170, 940, 70, 18
STYLE = (
    "body{font:15px sans-serif;max-width:62rem;margin:1rem auto}svg{max-width:100%;height:auto}"
    ".b{fill:#335a7d;stroke:#335a7d;stroke-width:.6}.a{stroke:#888;stroke-width:1}text{font:12px sans-serif;fill:#111}"
    "table{border-collapse:collapse}td,th{border:1px solid #888;padding:.15rem .5rem;text-align:left}"
)


def page(tables: Sequence[dict[str, Any]]) -> str:
    """One HTML page. `tables` as `sources/drawn.py` makes them."""
    parts = [Markup("<!doctype html><html lang='en'><head><meta charset='utf-8'><title>What was looked at</title><style>")]
    parts += [Markup(STYLE), Markup("</style></head><body><h1>What was looked at</h1>")]
    for number, table in enumerate(tables):
        parts += [Markup("<h2>{}</h2>").format(table["path"]), _figure(f"f{number}", table), _behind(table)]
    return str(Markup("").join(parts) + Markup("</body></html>\n"))


def _figure(key: str, table: dict[str, Any]) -> Markup:
    numbers, lanes = table["numbers"], table["lanes"]
    height = 40 + BAND * len(numbers) + LANE * len(lanes)
    told = f"{len(numbers)} columns of numbers over time, and {len(lanes)} signals of on and off, or words, as bars."
    drawing = Drawing(key, table["path"], told, WIDTH, height)
    x = Axis(table["span_s"][0], table["span_s"][1], LEFT, RIGHT, 8)
    top = 8.0
    for series in numbers:
        y = Axis(series["low"], series["high"], top + BAND - 8, top + 4)
        drawing.text(4, top + BAND / 2, series["name"], longest=24)
        drawing.bars([(x.at(t), y.at(b), 1.0, max(y.at(a) - y.at(b), 0.6)) for t, a, b in series["points"]], "b")
        top += BAND
    for lane in lanes:
        drawing.text(4, top + 12, lane["name"], longest=24)
        drawing.line(LEFT, top + 14, RIGHT, top + 14, "a")
        drawing.bars([(x.at(a), top + 4, max(x.at(b) - x.at(a), 0.6), 10) for a, b in lane["on"]], "b")
        top += LANE
    drawing.line(LEFT, top + 4, RIGHT, top + 4, "a")
    for at, words in x.ticks():
        drawing.text(at, top + 18, words, anchor="middle")
    drawing.text(RIGHT, top + 30, "time from the first row, s", anchor="end")
    return drawing.markup()


def _behind(table: dict[str, Any]) -> Markup:
    rows = [(each["name"], f"{each['low']:g} to {each['high']:g}") for each in table["numbers"]]
    rows += [(each["name"], f"on {len(each['on'])} times") for each in table["lanes"]]
    cells = Markup("").join(Markup("<tr><td>{}</td><td>{}</td></tr>").format(escape(a), escape(b)) for a, b in rows)
    return Markup("<table><tr><th>column</th><th>what is drawn</th></tr>") + cells + Markup("</table>")
