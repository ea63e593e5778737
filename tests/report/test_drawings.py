"""Figures: named for those who cannot see them, readable without colour, and true to their numbers."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from report_figures import FORMULA, HOSTILE, figures

from stationtest.report import drawings, page
from stationtest.report.svg import Axis, Drawing

FIGURES = [figure for figure in figures() if figure["kind"] in drawings.DRAWERS]


@pytest.mark.parametrize("figure", FIGURES, ids=lambda figure: figure["id"])
def test_a_figure_is_an_image_with_a_name_and_a_description(figure) -> None:  # type: ignore[no-untyped-def]
    root = ElementTree.fromstring(str(drawings.draw(figure)))
    assert root.get("role") == "img"
    assert [child.tag for child in root][:2] == ["title", "desc"]
    assert (root[0].text, root[1].text) == (figure["title"], figure["description"])
    assert root.get("aria-labelledby") == f"{root[0].get('id')} {root[1].get('id')}"
    allowed = {"class", "d", "x", "y", "text-anchor", "id"}
    for element in root.iter():
        assert element.tag in ("svg", "title", "desc", "path", "text")
        assert element is root or set(element.attrib) <= allowed


@pytest.mark.parametrize("figure", FIGURES, ids=lambda figure: figure["id"])
def test_a_figure_stays_on_its_paper(figure) -> None:  # type: ignore[no-untyped-def]
    root = ElementTree.fromstring(str(drawings.draw(figure)))
    _, _, width, height = (float(part) for part in root.get("viewBox", "").split())
    for path in root.iter("path"):
        for x, y in re.findall(r"[ML]?(-?[\d.]+) (-?[\d.]+)", re.sub(r"[hvlm][^MLhvlmz]*|z", "", path.get("d", ""))):
            assert -2 <= float(x) <= width + 2 and -2 <= float(y) <= height + 2


@pytest.mark.parametrize("figure", FIGURES, ids=lambda figure: figure["id"])
def test_the_numbers_stand_in_a_table_behind_it(figure) -> None:  # type: ignore[no-untyped-def]
    table = drawings.behind(figure)
    assert table is not None and table.rows
    assert all(len(row) == len(table.head) for row in table.rows)


def test_every_kind_of_the_record_is_drawn() -> None:
    assert {figure["kind"] for figure in FIGURES} == set(drawings.DRAWERS) == set(drawings.TABLES)


def test_a_kind_of_a_later_version_is_left_out() -> None:
    later = {"id": "x", "kind": "later", "title": "", "description": "", "data": {}}
    assert drawings.draw(later) is None and drawings.behind(later) is None


def test_series_differ_in_shape_and_not_only_in_colour() -> None:
    drawing = Drawing("k", "t", "d", 100, 100)
    for shape in range(8):
        drawing.marks([(10.0, 10.0)], shape, "same")
    drawn = re.findall(r'<path class="([^"]*)" d="([^"]*)"', str(drawing.markup()))
    assert len(set(drawn)) == len(drawn) == 8


def test_hostile_titles_stay_text() -> None:
    drawn = str(drawings.draw({**FIGURES[0], "title": HOSTILE, "description": FORMULA, "id": '"><script>'}))
    assert "<script" not in drawn
    ElementTree.fromstring(drawn)


def test_the_tolerance_line_stands_at_the_tolerance() -> None:
    figure = next(figure for figure in FIGURES if figure["kind"] == "distances")
    drawn = str(drawings.draw(figure))
    x = Axis(0, max(max(row["points"]) for row in figure["data"]["targets"]), 170, 690).at(figure["data"]["tolerance"])
    assert f'<path class="limit" d="M{x:.1f} ' in drawn


def test_a_cell_that_is_not_as_asked_though_nothing_fired_says_why() -> None:
    figure = next(figure for figure in FIGURES if figure["kind"] == "matrix")
    cell = {"should": "off", "n": 594, "fired": 0, "perhaps": 0, "silent": 435, "held_over": 159}
    data = {"channels": ["3"], "targets": ["chamomile"], "cells": [[cell]]}
    drawn = str(drawings.draw({**figure, "data": data}))
    assert ">0/594<" in drawn and ">159 held over<" in drawn
    many = drawings.behind({**figure, "kind": "many_matrix", "data": data})
    assert many is not None and many.rows == (("chamomile", "0/594 ! (159 held over)"),)


def test_a_step_trace_rises_and_falls_where_the_signal_does() -> None:
    figure = next(figure for figure in FIGURES if figure["kind"] == "trace")
    steps = re.findall(r'class="step" d="M([^"]*)"', str(drawings.draw(figure)))
    first = [point.split() for point in steps[0].split("L")]
    # the window is 600 ms over 550 units from 130 on; the comparator is on from 212 ms to 234 ms
    assert {float(x) for x, _ in first} == {130.0, round(130 + 212 * 550 / 600, 1), round(130 + 234 * 550 / 600, 1), 680.0}


def texts(figure: dict[str, object]) -> list[tuple[float, float, str, str]]:
    """(x, baseline, anchor, words) of every text of a figure."""
    root = ElementTree.fromstring(str(drawings.draw(figure)))
    found = root.iter("text")
    return [(float(t.get("x", 0)), float(t.get("y", 0)), t.get("text-anchor", "start"), t.text or "") for t in found]


def test_names_above_a_trace_neither_run_together_nor_are_cut() -> None:
    """Four sachets in a box, near each other. A character of 12 px type is about 7 wide (common practice, no source)."""
    figure = next(figure for figure in FIGURES if figure["kind"] == "trace")
    start = figure["data"]["span_ns"][0]
    names = ["verbena", "hibiscus", "chamomile", "rooibos"]
    shown = [
        {"label": name, "start_ns": start + (100 + 60 * k) * 10**6, "end_ns": start + (150 + 60 * k) * 10**6, "subject": True}
        for k, name in enumerate(names)
    ]
    drawn = [part for part in texts({**figure, "data": {**figure["data"], "presented": shown}}) if part[3] in names]
    assert [part[3] for part in drawn] == names
    for k, (x, y, _, words) in enumerate(drawn):
        for other_x, other_y, _, other in drawn[k + 1 :]:
            assert y != other_y or abs(x - other_x) >= 3.5 * (len(words) + len(other))


def test_limits_of_a_histogram_stand_above_the_bars_and_no_line_crosses_their_words() -> None:
    figure = next(figure for figure in FIGURES if figure["kind"] == "response")
    limits = [{"value": v, "words": f"CASE-{k}: at least {v} ms"} for k, v in enumerate((2.0, 5.0, 6.0, 12.9))]
    figure = {**figure, "data": {**figure["data"], "limits": limits}}
    path = re.compile(r'class="limit" d="M([\d.]+) ([\d.]+)L[\d.]+ ([\d.]+)"')
    lines = [tuple(map(float, found)) for found in path.findall(str(drawings.draw(figure)))]
    words = [part for part in texts(figure) if part[3].startswith("CASE-")]
    assert len(lines) == len(words) == 4
    highest = min(y for _, y, _, text in texts(figure) if text == "presentations")
    for x, y, anchor, text in words:
        left, right = (x - 7 * len(text), x) if anchor == "end" else (x, x + 7 * len(text))
        assert y < highest and right <= 720
        assert not [line for line in lines if left < line[0] < right and line[1] < y - 2]


def test_margins_beyond_the_axis_are_told_apart_and_counted() -> None:
    figure = next(figure for figure in FIGURES if figure["kind"] == "margins")
    series = [{"name": "must stay off", "n": 3, "below": 0, "points": [[0, 0.5], [10**9, 7.0], [2 * 10**9, -9.0]]}]
    drawn = texts({**figure, "data": {**figure["data"], "series": series}})
    assert [text for *_, text in drawn if "the axis" in text] == ["above or below the axis (n = 2)"]
    assert not [text for *_, text in texts(figure) if "the axis" in text]


def test_margins_beside_recorded_channels_do_not_say_that_an_answer_was_wrong() -> None:
    figure = next(figure for figure in FIGURES if figure["kind"] == "margins")
    words = [text for *_, text in texts({**figure, "data": {**figure["data"], "recorded": True}})]
    assert "below 0: readings disagree" in words and "below 0: not as asked" not in words
    assert "below 0: not as asked" in [text for *_, text in texts(figure)]


@pytest.mark.parametrize(("low", "high"), [(0, 1), (-0.2, 1.04), (0, 0.0123), (0, 6e5), (5.0, 5.0)])
def test_ticks_are_round_and_inside(low: float, high: float) -> None:
    axis = Axis(low, high, 0, 500)
    ticks = axis.ticks()
    assert 2 <= len(ticks) <= 15
    assert all(-0.01 <= at <= 500.01 for at, _ in ticks)
    assert all(abs(axis.at(float(words.replace("\u2212", "-"))) - at) < 0.01 for at, words in ticks)


# Text against what it stands on. Source of the formula: W3C, Web Content Accessibility Guidelines 2.2, definitions of
# relative luminance and contrast ratio; 4.5 for text (1.4.3), 3 for parts of graphics (1.4.11).
ON = {
    "#fff": "#1a222c #4a5563 #174a7c #9c3d00 #37424f",
    "#fbf1e7": "#4a5563 #9c3d00",
    "#eef2f6": "#4a5563 #174a7c",
    "#e4ecf4": "#1a222c",
    "#b9cde1": "#1a222c",
}
SHAPES_ON = {"#fff": "#174a7c #c25a12 #68737f #8a94a1 #a84a08 #56606b", "#e4ecf4": "#9c3d00 #174a7c"}
TEXT = [(ink, paper) for paper, inks in ON.items() for ink in inks.split()]
GRAPHICS = [(ink, paper) for paper, inks in SHAPES_ON.items() for ink in inks.split()]


def contrast(one: str, other: str) -> float:
    return (max(luminance(one), luminance(other)) + 0.05) / (min(luminance(one), luminance(other)) + 0.05)


def luminance(colour: str) -> float:
    digits = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
    linear = [
        v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in (int(digits[k : k + 2], 16) / 255 for k in (0, 2, 4))
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_contrast() -> None:
    style = (page.TEMPLATES / "style.css").read_text()
    assert all(contrast(*pair) >= 4.5 for pair in TEXT), [(pair, contrast(*pair)) for pair in TEXT]
    assert all(contrast(*pair) >= 3.0 for pair in GRAPHICS), [(pair, contrast(*pair)) for pair in GRAPHICS]
    checked = {colour for pair in (*TEXT, *GRAPHICS) for colour in pair}
    faint = {"#e3e7eb", "#d5dae0", "#f3f4f6"}  # grid lines, hairlines, neighbours: nothing is read from them alone
    assert set(re.findall(r"#[0-9a-f]{3,6}\b", style)) <= checked | faint
