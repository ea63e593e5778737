"""Figures over time: margins in order, a whole run on one strip, and traces of single presentations as a scope would show them.

`margins` data: source, span_ns [first, end], recorded (the recording has channels of the station's own, beside which the margins
are computed; absent in older records), series [{name, n, below (count below 0), points [[t_ns, margin], ...]}] (least of
each stretch of time where there are more trials than points), worst [{label, channel, at_ns, margin}].

`strip` data: source, span_ns, joined_ns (intervals nearer than this are drawn as one), lanes [{name, kind ('target', 'input',
'channel', 'output', 'outside'), n, total_ns, on [[a, b], ...]}].

`trace` data: source, sensor, span_ns, presented [{label, start_ns, end_ns, subject}], at_ns or None, level [[t, share], ...],
closeness [{channel, points [[t, value], ...]}], steps [{name, kind ('match', 'channel', 'output', 'input'), must [[a, b]], can
[[a, b]]}], points (kept), of (readings in the stretch). Times are ns since the recording's origin.
"""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from stationtest.report.colour_drawings import WIDTH, frame
from stationtest.report.svg import Axis, Drawing
from stationtest.report.tables import Table, cut
from stationtest.report.wording import count, decimal, duration, seconds

BROAD, LEFT, RIGHT = 800, 130, 680
"""A trace uses the width of the page: its own, and where its time begins and ends."""
MOST_ROWS, CHARACTER = 3, 7.4
"""Rows of names above a trace, and the width of a character of them."""

LANE = {"target": "fill2", "input": "fill3", "channel": "fill0", "output": "fill4", "outside": "fill1", "event": "fill3"}


def margins(figure: dict[str, Any]) -> Markup:
    data = figure["data"]
    drawing = Drawing(figure["id"], figure["title"], figure["description"], WIDTH, 330)
    values = [point[1] for series in data["series"] for point in series["points"]]
    low, high = min([-0.2, *values]), max([1.0, *values])
    x = Axis(data["span_ns"][0] / 1e9, data["span_ns"][1] / 1e9, 64, 690, 8)
    y = Axis(max(low, -3.0), min(high, 4.0), 274, 50)
    drawing.rect(x.start, y.inside(0), x.end - x.start, y.start - y.inside(0), "against")
    drawing.rect(64, 10, 16, 12, "against")
    drawing.text(86, 20, "below 0: readings disagree" if data.get("recorded") else "below 0: not as asked")
    frame(drawing, x, y, "time in the recording, s", "margin (1 = the whole tolerance)")
    drawing.line(x.start, y.at(0), x.end, y.at(0), "limit")
    beyond = 0
    for place, series in enumerate(data["series"]):
        shape, kind = 2 if place == 0 else 5, f"c{place % 2}"
        shown = [(x.at(t / 1e9), y.at(m)) for t, m in series["points"] if y.low <= m <= y.high]
        drawing.marks(shown, shape, kind, 2.2)
        for beyond_is, edge, arrow in (
            ([t for t, m in series["points"] if m > y.high], y.end + 4, 1),
            ([t for t, m in series["points"] if m < y.low], y.start - 4, 3),
        ):
            drawing.marks([(x.at(t / 1e9), edge) for t in beyond_is], arrow, kind, 2.6)
            beyond += len(beyond_is)
        drawing.marks([(264 + 216 * place, 16)], shape, kind, 4)
        drawing.text(276 + 216 * place, 20, f"{series['name']} (n = {count(series['n'])})")
    if beyond:
        drawing.marks([(264, 36)], 1, "c2", 3.4)
        drawing.marks([(276, 36)], 3, "c2", 3.4)
        drawing.text(288, 40, f"above or below the axis (n = {count(beyond)})")
    return drawing.markup()


def margins_table(figure: dict[str, Any]) -> Table:
    data = figure["data"]
    rows = [(part["label"], part["channel"], seconds(part["at_ns"]), decimal(part["margin"])) for part in data["worst"]]
    counts = "; ".join(f"{part['name']}: {count(part['n'])} trials, {count(part['below'])} below 0" for part in data["series"])
    return cut("The least margin of each target at each channel", ("presentation", "channel", "at", "margin"), rows, counts + ".")


def strip(figure: dict[str, Any]) -> Markup:
    data = figure["data"]
    lanes = data["lanes"]
    height = 62 + 22 * len(lanes)
    drawing = Drawing(figure["id"], figure["title"], figure["description"], WIDTH, height)
    x = Axis(data["span_ns"][0] / 1e9, data["span_ns"][1] / 1e9, 180, 690, 8)
    low = height - 46
    for at, words in x.ticks():
        drawing.line(at, 8, at, low, "grid")
        drawing.text(at, low + 16, words, anchor="middle")
    before = ""
    for place, lane in enumerate(lanes):
        y = 10 + 22 * place
        if lane["kind"] != before and before:
            drawing.line(8, y - 2, 690, y - 2, "rule")
        before = lane["kind"]
        drawing.text(174, y + 13, lane["name"], "t strong" if lane["kind"] == "outside" else "t", anchor="end", longest=25)
        drawing.line(x.start, y + 16, x.end, y + 16, "grid")
        boxes = [(x.at(a / 1e9), y + 2, max(0.8, x.at(b / 1e9) - x.at(a / 1e9)), 14) for a, b in lane["on"]]
        drawing.bars(boxes, LANE[lane["kind"]])
    drawing.line(x.start, low, x.end, low, "axis")
    drawing.text((x.start + x.end) / 2, low + 34, "time in the recording, s", "t name", anchor="middle")
    return drawing.markup()


def strip_table(figure: dict[str, Any]) -> Table:
    data = figure["data"]
    rows = [(lane["name"], lane["kind"], count(lane["n"]), duration(lane["total_ns"])) for lane in data["lanes"]]
    note = f"Drawn as one where nearer than {duration(data['joined_ns'])}." if data["joined_ns"] else ""
    return cut("What was presented and what was on in the run", ("what", "kind", "times", "in all"), rows, note)


def trace(figure: dict[str, Any]) -> Markup:
    """Level above, closeness of each channel below it, then one step trace a signal; the presentation is marked through all."""
    data = figure["data"]
    steps, start = data["steps"], data["span_ns"][0]
    x = Axis(0, (data["span_ns"][1] - start) / 1e6, LEFT, RIGHT, 8)
    places = [(x.inside((p["start_ns"] - start) / 1e6) + x.inside((p["end_ns"] - start) / 1e6)) / 2 for p in data["presented"]]
    rows, rooms = _rows_of_names(places, [part["label"] for part in data["presented"]])
    top = 12 + 14 * rows
    height = top + 340 + 24 * len(steps)
    drawing = Drawing(figure["id"], figure["title"], figure["description"], BROAD, height)
    low = height - 46

    def at(t_ns: float) -> float:
        return x.inside((t_ns - start) / 1e6)

    for part in sorted(data["presented"], key=lambda part: part["subject"]):  # at another sensor it may lie over a neighbour
        a, b = at(part["start_ns"]), at(part["end_ns"])
        drawing.rect(a, top, b - a, low - top, "subject" if part["subject"] else "neighbour")
    for place, part in enumerate(data["presented"]):
        if rooms[place] > 1:
            kind, y = "t strong" if part["subject"] else "t", 20 + 14 * (place % rows)
            drawing.text(places[place], y, part["label"], kind, anchor="middle", longest=rooms[place])
    for px, words in x.ticks():
        drawing.line(px, top, px, low, "grid")
        drawing.text(px, low + 16, words, anchor="middle")
    drawing.text((x.start + x.end) / 2, low + 34, f"ms after {seconds(start)}", "t name", anchor="middle")
    _level(drawing, data, at, top)
    _closeness(drawing, data, at, top)
    for place, step in enumerate(steps):
        y = top + 292 + 24 * place
        drawing.text(124, y + 12, step["name"], anchor="end", longest=19)
        _steps(drawing, step, at, x, y)
    if data["at_ns"] is not None:
        drawing.line(at(data["at_ns"]), top, at(data["at_ns"]), low, "instant")
    return drawing.markup()


def _rows_of_names(places: list[float], names: list[str]) -> tuple[int, list[int]]:
    """In how many rows, one after the other, the names of what was presented stand side by side without touching (at most
    `MOST_ROWS`), and how many characters each has room for."""
    rooms: list[int] = []
    for rows in range(1, MOST_ROWS + 1):
        rooms = []
        for k, place in enumerate(places):
            edge = 2 * min(place, BROAD - place)
            beside = [abs(places[j] - place) for j in (k - rows, k + rows) if 0 <= j < len(places)]
            rooms.append(int(min([edge, *beside]) / CHARACTER))
        if all(len(name) <= room for name, room in zip(names, rooms, strict=True)):
            return rows, rooms
    return MOST_ROWS, rooms


def _level(drawing: Drawing, data: dict[str, Any], at: Any, top: float) -> None:
    y = Axis(0, max(1.0, *(point[1] for point in data["level"] or [[0, 0]])), top + 80, top + 8, 2)
    for py, words in y.ticks():
        drawing.line(LEFT, py, RIGHT, py, "grid")
        drawing.text(LEFT - 6, py + 4, words, anchor="end")
    drawing.text(8, top + 20, "level", "t name")
    drawing.polyline([(at(t), y.at(v)) for t, v in data["level"]], "wave level")


def _closeness(drawing: Drawing, data: dict[str, Any], at: Any, top: float) -> None:
    y = Axis(-1.0, 1.0, top + 274, top + 102, 4)
    for py, words in y.ticks():
        drawing.line(LEFT, py, RIGHT, py, "grid")
        drawing.text(LEFT - 6, py + 4, words, anchor="end")
    drawing.text(8, top + 114, "closeness", "t name")
    drawing.line(LEFT, y.at(0), RIGHT, y.at(0), "limit")
    drawing.text(RIGHT + 6, y.at(0) + 4, "switching point", "t")
    for place, wave in enumerate(data["closeness"]):
        kind = f"w{place % 6}"
        drawing.polyline([(at(t), y.inside(v)) for t, v in wave["points"]], f"wave {kind}")
        row = top + 114 + 18 * place if place < 4 else top + 120 + 18 * (place + 1)
        if row < top + 274:
            drawing.line(RIGHT + 6, row - 4, RIGHT + 36, row - 4, f"wave {kind}")
            drawing.text(RIGHT + 42, row, wave["channel"], longest=11)


def _steps(drawing: Drawing, step: dict[str, Any], at: Any, x: Axis, y: float) -> None:
    """A step trace; where a signal may be on but is not for sure, a hatched outline stands."""
    low, high = y + 16, y + 2
    points = [(x.start, low)]
    for a, b in step["must"]:
        points += [(at(a), low), (at(a), high), (at(b), high), (at(b), low)]
    points.append((x.end, low))
    drawing.bars([(at(a), high, max(0.8, at(b) - at(a)), 14) for a, b in step["can"]], "maybe")
    drawing.bars([(at(a), high, max(0.8, at(b) - at(a)), 14) for a, b in step["must"]], LANE.get(step["kind"], "fill3"))
    drawing.polyline(points, "step")


def trace_table(figure: dict[str, Any]) -> Table:
    data = figure["data"]
    rows = [
        (part["label"], "presented", seconds(part["start_ns"]), duration(part["end_ns"] - part["start_ns"]))
        for part in data["presented"]
    ]
    for step in data["steps"]:
        rows += [(step["name"], f"{step['kind']}, on", seconds(a), duration(b - a)) for a, b in step["must"]]
        sure = [list(pair) for pair in step["must"]]
        rows += [
            (step["name"], f"{step['kind']}, perhaps on", seconds(a), duration(b - a))
            for a, b in step["can"]
            if [a, b] not in sure
        ]
    note = f"{count(data['points'])} points of {count(data['of'])} readings, least and greatest of each stretch."
    return cut("What was presented and what was on in this stretch", ("what", "state", "from", "for"), rows, note, most=16)
