"""What must be known of a recording before it is gone through."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationtest.errors import readings_error
from stationtest.files.words import shown
from stationtest.model.station import Station
from stationtest.signals.presentations import Facts
from stationtest.sources.layout import travel_of
from stationtest.sources.readings import Readings

if TYPE_CHECKING:
    from stationtest.sources.worlds import World


def way_is_there(recording: Readings) -> None:
    """Raise `ReadingsError` (missing-column) if the station counts the belt in a column that this recording has not."""
    travel = travel_of(recording.suite.station, recording.form)
    if recording.kind == "recording" and travel is not None and travel.column is not None and recording.travel is None:
        said = f"there is no column {shown(travel.column)} in this file, which `travel` of station.yaml names"
        raise readings_error(recording.path, 0, "travel.column", said, "missing-column")


def facts_of(station: Station, recording: Readings, world: World | None = None) -> Facts:
    """What the builder of presentations must know of a recording, or of one of its worlds."""
    form = recording.form
    doubt_ns = recording.truth_within_ns * (1 if world is None else 2)  # as listed, and once more for where it lies in that world
    return Facts(
        sensors=recording.sensors or tuple(sensor.name for sensor in station.sensors),
        every_ns=form.every_ns or 1,
        gap_ns=form.gap_ns or form.every_ns or 1,
        between=station.between,
        # on a plateau are only readings that surely lie in the presentation
        edge_ns={sensor.name: (station.fill_ns(sensor) or 0) + doubt_ns for sensor in station.sensors},
        conditions=tuple(dict.fromkeys(name for part in (form, form.presentations_form) if part for name, _ in part.conditions)),
    )
