"""Colours of plateau means, and distances between them, for the expectations that compare presentations with each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stationtest.errors import UsageError
from stationtest.expectations.view import View
from stationtest.signals import distances
from stationtest.signals.conversion import SensorModel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]


def coordinates(view: View, distance: str) -> tuple[Floats, str | None]:
    """(P, k) plateau means in the space of a distance, NaN where there is none; and why a sensor cannot give them, or None.

    Shares of a sensor with fewer bands than another are filled up with 0.
    """
    return view.once(("coordinates", distance), lambda: _coordinates(view, distance))


def _coordinates(view: View, distance: str) -> tuple[Floats, str | None]:
    shown = view.obs.presentations
    space = distances.get(distance).space
    width = view.station.most_bands if space == "shares" else distances.COLUMNS[space]
    result = np.full((len(shown), width), np.nan)
    seen_under: set[tuple[str | None, str | None]] = set()
    for s, name in enumerate(shown.sensors):
        rows = np.flatnonzero((shown.sensor == s) & ~np.isnan(shown.means[:, 0]))
        if not len(rows):
            continue
        sensor = view.station.sensor(name)
        seen_under.add((sensor.illuminant, sensor.observer))
        relative = tuple(np.ascontiguousarray(shown.means[rows, band]) for band in range(len(sensor.bands)))
        try:
            columns = SensorModel.from_sensor(sensor).columns(space, relative)
            result[rows] = 0.0
            result[rows, : len(columns)] = np.column_stack(columns)
        except UsageError as error:
            return result, f"sensor {name} cannot give {distance}: {error.problems[0].message}"
    if len(seen_under) > 1 and space != "shares":
        return result, "its sensors see under different illuminants or observers, so their colours cannot be compared"
    return result, None


def largest(distance: str, points: Floats) -> float:
    """The largest distance between any two of `points` (n, k), each of the two being the standard once."""
    formula = distances.get(distance)
    columns = tuple(np.ascontiguousarray(column) for column in points.T)
    return max(float(formula.of(tuple(map(float, point)))(*columns).max()) for point in points)


def from_first(distance: str, points: Floats) -> Floats:
    """The distance of every point (n, k) from the first one, which is the standard."""
    columns = tuple(np.ascontiguousarray(column) for column in points.T)
    found: Floats = distances.get(distance).of(tuple(map(float, points[0])))(*columns)
    return found


def levels(view: View) -> Floats:
    """(P,) level of each plateau mean, NaN where there is none."""
    return view.once("plateau levels", lambda: _levels(view))


def _levels(view: View) -> Floats:
    shown = view.obs.presentations
    result = np.full(len(shown), np.nan)
    for s, name in enumerate(shown.sensors):
        rows = np.flatnonzero(shown.sensor == s)
        model = SensorModel.from_sensor(view.station.sensor(name))
        raw = tuple(
            np.ascontiguousarray(shown.means[rows, band]) * span + dark
            for band, (span, dark) in enumerate(zip(model.span, model.dark, strict=True))
        )
        result[rows] = model.level(raw)
    return result
