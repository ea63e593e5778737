"""What presentations and sets are called in every placement of a recording: which rows are the same wherever the instants lie."""

from __future__ import annotations

from stationtest.model.observations import Presentations, Sets


def presentations(shown: Presentations) -> list[object]:
    """For each row: the sensor, and which in order on it; a stretch between is named by the presentation before it."""
    count = dict.fromkeys(range(len(shown.sensors)), 0)
    names: list[object] = []
    for sensor, between in zip(shown.sensor.tolist(), shown.between.tolist(), strict=True):
        count[sensor] += not between
        names.append((sensor, between, count[sensor]))
    return names


def sets(found: Sets) -> list[object]:
    """For each row: the kind and the name."""
    return list(zip(found.kind.tolist(), found.names, strict=True))
