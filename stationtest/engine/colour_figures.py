"""Figures of colour from the observations: the plane of each sensor, and the distances of all targets to each channel.

Of a channel that switches on match the least distance of each presentation is drawn. One that switches off match is on because
a target stays away, so that the least distance decides nothing; there it is the tolerance at which its answer would change
(signals/critical.py), the one of "on for sure" for a target that must switch it on and the one of "on at all" for any other.

Tolerance outlines are found by halving along 72 directions from the reference with the channel's own distance, so that a formula
that is no circle in the plane is not drawn as one. Points are means of plateaus, every k-th presentation in order.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from stationtest.engine import pairs, thinning
from stationtest.engine.figure_words import of_recordings
from stationtest.engine.nearest_pairs import MANY, closest, known, place_of
from stationtest.expectations.view import View
from stationtest.model.record import Figure
from stationtest.model.station import Channel, Learned, Sensor
from stationtest.signals import distances as formulas
from stationtest.signals.conversion import SensorModel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

Means = Mapping[Learned, tuple[float, ...]]
"""The mean relative reading of each learned reference."""

MOST_POINTS = 500
MOST_DISTANCES = 200
DIRECTIONS = 72
PLANES = {
    "uv": ("u'v'", "u'", "v'", (0, 1), "Plane of CIE 1976 u', v'"),
    "Lab": ("a*b*", "a*", "b*", (1, 2), "Plane of CIE 1976 a*, b*, outlines at the lightness of each reference"),
}


def planes(views: Sequence[View], learned: Means) -> Iterator[Figure]:
    """For each sensor that gave readings, one plane for each space in which its channels compare."""
    if not views:
        return
    number = 0
    for sensor in views[0].station.sensors:
        channels = [channel for channel in views[0].station.channels if channel.sensor == sensor.name and known(channel)]
        for space in dict.fromkeys(formulas.get(channel.distance).space for channel in channels):
            inside = [channel for channel in channels if formulas.get(channel.distance).space == space]
            targets = _targets(views, sensor, space)
            if targets:
                number += 1
                of = of_recordings(view.obs.key for view in views if any(len(_means(view, sensor, t["name"])) for t in targets))
                yield _plane(f"plane-{number}", sensor, space, inside, targets, learned, of)


def _names(space: str, sensor: Sensor) -> tuple[str, str, str, tuple[int, int], str]:
    if space in PLANES:
        return PLANES[space]
    first, second = sensor.bands[0], sensor.bands[1]
    return "shares", f"share of {first}", f"share of {second}", (0, 1), f"Plane of the shares of {first} and {second}"


def _plane(
    key: str, sensor: Sensor, space: str, channels: list[Channel], targets: list[dict[str, Any]], learned: Means, of: str
) -> Figure:
    name, x, y, axes, words = _names(space, sensor)
    references, outlines, missing = [], [], []
    for channel in channels:
        for reference in channel.references:
            place = place_of(sensor, space, reference, learned)
            if place is None:
                how = f"learned at {reference.learned_at.edge}" if reference.learned_at else "learned elsewhere"
                missing.append(f"The reference {reference.name} of channel {channel.name} was {how} and is not drawn.")
                continue
            references.append(
                {"channel": channel.name, "target": reference.name, "x": _round(place[axes[0]]), "y": _round(place[axes[1]])}
            )
            outline = _outline(channel, place, axes, space)
            outlines.append({"channel": channel.name, "target": reference.name, "points": outline})
    notes = [f"Points are means of plateaus; of each target at most {MOST_POINTS}, every k-th in order.", *missing]
    return {
        "id": key,
        "kind": "plane",
        "title": f"Colours at sensor {sensor.name}, {name}",
        "description": f"{words}: crosses are references, dashed outlines their tolerances, marks readings of each target. {of}",
        "data": {
            "space": name,
            "x": x,
            "y": y,
            "sensor": sensor.name,
            "references": references,
            "outlines": outlines,
            "targets": targets,
            "notes": notes,
        },
    }


def _targets(views: Sequence[View], sensor: Sensor, space: str) -> list[dict[str, Any]]:
    """Every target with its points in the plane, in the order of the station."""
    axes = _names(space, sensor)[3]
    model = SensorModel.from_sensor(sensor)
    found = []
    for target in views[0].station.targets:
        means = np.concatenate([_means(view, sensor, target.name) for view in views])
        if len(means):
            columns = model.columns(space, tuple(np.ascontiguousarray(band) for band in means.T))
            plane = np.column_stack([columns[axis] for axis in axes])
            plane = plane[np.isfinite(plane).all(axis=1)]
            points = [[_round(a), _round(b)] for a, b in plane[thinning.every_kth(len(plane), MOST_POINTS)].tolist()]
            found.append({"name": target.name, "n": len(plane), "points": points})
    return [target for target in found if target["n"]]


def _means(view: View, sensor: Sensor, target: str) -> Floats:
    """(n, B) means of plateaus of one target at one sensor."""
    shown = view.obs.presentations
    if sensor.name not in shown.sensors or target not in shown.targets:
        return np.empty((0, len(sensor.bands)))
    rows = (shown.sensor == shown.sensors.index(sensor.name)) & (shown.target == shown.targets.index(target))
    means = shown.means[rows, : len(sensor.bands)]
    return means[np.isfinite(means).all(axis=1)]


def _outline(channel: Channel, place: tuple[float, ...], axes: tuple[int, int], space: str) -> list[list[float]]:
    """Where the distance from the reference equals the tolerance, in each of the directions; (n, 2)."""
    compare = formulas.get(channel.distance).of(place)
    angles = np.arange(DIRECTIONS) * (2 * np.pi / DIRECTIONS)
    directions = np.column_stack((np.cos(angles), np.sin(angles)))

    def far(radius: Floats) -> Floats:
        columns = [np.full(DIRECTIONS, value) for value in place]
        for axis, direction in zip(axes, directions.T, strict=True):
            columns[axis] = columns[axis] + radius * direction
        if space == "shares":  # the sum stays 1: the other bands take the difference in equal parts, which is the least distance
            rest = (columns[0] + columns[1] - place[0] - place[1]) / (len(columns) - 2)
            columns[2:] = [column - rest for column in columns[2:]]
        return compare(*columns)

    low, high = np.zeros(DIRECTIONS), np.full(DIRECTIONS, max(channel.tolerance, 1e-6))
    for _ in range(12):
        high = np.where(far(high) < channel.tolerance, high * 2, high)
    for _ in range(40):
        middle = (low + high) / 2
        inside = far(middle) <= channel.tolerance
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    return [
        [_round(place[axes[0]] + r * c), _round(place[axes[1]] + r * s)]
        for r, (c, s) in zip(low.tolist(), directions.tolist(), strict=True)
    ]


def distances(views: Sequence[View], learned: Means) -> Iterator[Figure]:
    """For each channel the least distance of every presentation at its sensor, by target: own ones first, then by nearness."""
    if not views:
        return
    station, met = views[0].station, _met(views)
    of_sensor = {sensor.name: len(station.channels_of(sensor.name)) for sensor in station.sensors}
    drawn = {name for sensor in station.sensors for name in closest(station, sensor, learned)}
    for number, channel in enumerate(station.channels, 1):
        if channel.name not in drawn:
            continue
        targets = [target.name for target in station.targets if (channel.name, target.name) in met]
        rows = [row for row in (_distances(name, *met[channel.name, name]) for name in targets) if row["n"]]
        if not rows:
            continue
        rows.sort(key=lambda row: (row["should"] != "on", row["five"][2] if channel.on_match else -row["five"][2]))
        off = channel.tolerance * (1 + channel.hysteresis) if channel.on_match else channel.tolerance
        of = of_recordings(view.obs.key for view in views if any(view.obs.key in met[channel.name, t][1] for t in targets))
        yield {
            "id": f"distances-{number}",
            "kind": "distances",
            "title": f"Distances to channel {channel.name}",
            "description": (
                f"{_meaning(channel)} Targets that must switch it on come first, marked with a triangle. {of}"
                + (
                    f" Of the {of_sensor[channel.sensor]} channels of this sensor the {MANY} nearest to others are drawn."
                    if of_sensor[channel.sensor] > MANY
                    else ""
                )
            ),
            "data": {
                "channel": channel.name,
                "sensor": channel.sensor,
                "distance": channel.distance,
                "tolerance": channel.tolerance,
                "off": off,
                "off_match": not channel.on_match,
                "targets": rows,
            },
        }


def _meaning(channel: Channel) -> str:
    names = " or ".join(dict.fromkeys(part.name for part in channel.references))
    if channel.on_match:
        return f"Least distance of each presentation from {names} ({channel.distance}); the shaded part is the tolerance."
    return (
        f"The channel switches off match: it is on where a target stays farther from {names} than the tolerance (shaded). "
        f"Drawn is up to which tolerance each presentation would still have it on ({channel.distance})."
    )


def _met(views: Iterable[View]) -> dict[tuple[str, str], tuple[str, dict[str, Floats]]]:
    """By channel and target: what the channel should do there, and by recording what decides it in each presentation: its
    least distance, or the tolerance at which an `off match` answer would change."""
    found: dict[tuple[str, str], tuple[str, dict[str, Floats]]] = {}
    for view in views:
        shown, did = view.obs.presentations, view.obs.responses
        for t, _, c, rows in pairs.met(view):
            channel = view.station.channel(did.channels[c])
            should, parts = found.get((channel.name, shown.targets[t]), ("", {}))
            should = should or pairs.role(view, rows, c)
            if channel.on_match:
                values = (1 - did.closeness_max[rows, c]) * channel.tolerance
            else:
                values = (did.critical_sure if should == "on" else did.critical_any)[rows, c]
            values = values[np.isfinite(values)]
            if len(values):
                parts[view.obs.key] = values
            found[channel.name, shown.targets[t]] = should, parts
    return found


def _distances(target: str, should: str, parts: dict[str, Floats]) -> dict[str, Any]:
    values = np.concatenate(list(parts.values())) if parts else np.zeros(0)
    points = values[thinning.every_kth(len(values), MOST_DISTANCES)].tolist() if len(values) else []
    five = pairs.five(values)
    return {"name": target, "should": should, "n": len(values), "five": five and [_round(value) for value in five],
            "points": [_round(value) for value in points]}  # fmt: skip


def _round(value: float) -> float:
    """Six decimals: far below what can be drawn or compared."""
    return round(float(value), 6)
