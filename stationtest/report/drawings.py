"""Figures of a record as SVG, each with the table behind it. What `data` of each kind holds stands in the module that draws it.

`draw(figure)` gives the drawing, `behind(figure)` the captions, heads and rows of its tables. Both are pure functions of the
figure.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from markupsafe import Markup

from stationtest.report import agreement_drawings, colour_drawings, count_drawings, pair_drawings, time_drawings
from stationtest.report.tables import Table

DRAWERS: Mapping[str, Callable[[dict[str, Any]], Markup]] = {
    "plane": colour_drawings.plane,
    "distances": colour_drawings.distances,
    "matrix": count_drawings.matrix,
    "many_matrix": pair_drawings.many,
    "nearest_pairs": pair_drawings.nearest,
    "response": count_drawings.histogram,
    "on_time": count_drawings.histogram,
    "agreement": agreement_drawings.agreement,
    "margins": time_drawings.margins,
    "strip": time_drawings.strip,
    "trace": time_drawings.trace,
}

TABLES: Mapping[str, Callable[[dict[str, Any]], Table]] = {
    "plane": colour_drawings.plane_table,
    "distances": colour_drawings.distances_table,
    "matrix": count_drawings.matrix_table,
    "many_matrix": pair_drawings.many_table,
    "nearest_pairs": pair_drawings.nearest_table,
    "response": count_drawings.histogram_table,
    "on_time": count_drawings.histogram_table,
    "agreement": agreement_drawings.agreement_table,
    "margins": time_drawings.margins_table,
    "strip": time_drawings.strip_table,
    "trace": time_drawings.trace_table,
}


def draw(figure: dict[str, Any]) -> Markup | None:
    """The drawing, or None for a kind of a later version (its title, description and data stay in the record)."""
    drawer = DRAWERS.get(figure["kind"])
    return drawer(figure) if drawer else None


def behind(figure: dict[str, Any]) -> Table | None:
    """The table behind the drawing."""
    maker = TABLES.get(figure["kind"])
    return maker(figure) if maker else None
