"""Presentations as the observations hold them: what a stream or a list says of them, and the figures of their readings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stationtest.model.observations import NEVER, Presentations
from stationtest.model.station import Station
from stationtest.signals.presentation_table import PresentationTable

Ints = NDArray[np.int64]


def presented(
    station: Station,
    table: PresentationTable,
    sensor: Ints,
    status: Ints,
    belongs: Ints,
    found: Mapping[int, Mapping[str, NDArray[Any]]],
    further: Mapping[str, tuple[tuple[str, ...], Ints]],
) -> Presentations:
    """The presentations of a table with what their sensors read: `found` holds the figures (P,) by the number of the sensor, none
    where no reading was looked at. `further` are conditions that do not stand in the table."""
    count = len(table.ids)
    figures: dict[str, NDArray[Any]] = {
        "level_min": np.full(count, np.nan), "level_max": np.full(count, np.nan), "clipped_rows": np.zeros(count, np.int64),
        "dark_rows": np.zeros(count, np.int64), "means": np.full((count, station.most_bands), np.nan),
    }  # fmt: skip
    for number, columns in found.items():
        mine = sensor == number
        for column in ("level_min", "level_max", "clipped_rows", "dark_rows"):
            figures[column][mine] = columns[column][mine]
        figures["means"][mine, : len(columns["means"])] = columns["means"].T[mine]
    covers = np.full(count, NEVER)
    for number, one in enumerate(station.sensors):
        fill = station.fill_ns(one)
        if fill is not None:
            covers = np.where(sensor == number, table.start_ns + fill, covers)
    return Presentations(
        sensors=tuple(one.name for one in station.sensors),
        targets=table.tables["target"],
        specimens=table.tables["specimen"],
        items=table.tables["item"],
        sensor=sensor,
        target=table.target,
        specimen=table.specimen,
        item=table.item,
        set=belongs,
        between=table.between,
        start_ns=table.start_ns,
        end_ns=table.end_ns,
        covered_ns=covers,
        first_row=table.first_row,
        rows=table.rows,
        longest_step_ns=table.longest_step_ns,
        status=status,
        touches_before=table.touches_before,
        touches_after=table.touches_after,
        conditions={name: (table.tables[name], codes) for name, codes in table.conditions.items()} | dict(further),
        **figures,
    )
