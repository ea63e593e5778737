"""Sensors with many channels: which references lie nearest to each other, and which confusions happened (counter-example A18).

How far channel A is from channel B: the least distance of A's references, as standards, from those of B, by A's formula, as a
multiple of A's tolerance. At 1 a reading on B's reference would just switch A.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

from stationtest.engine import pairs
from stationtest.errors import UsageError
from stationtest.expectations.view import View
from stationtest.model.record import Figure
from stationtest.signals import distances as formulas

if TYPE_CHECKING:
    from stationtest.model.station import Channel, Learned, Reference, Sensor, Station

    Means = Mapping[Learned, tuple[float, ...]]

MANY = 8
"""With more channels than this in one sensor, the figures are made for many."""
MOST_PAIRS = 20
MOST_CONFUSIONS = 40


def place_of(sensor: Sensor, space: str, reference: Reference, learned: Means) -> tuple[float, ...] | None:
    """Where a reference lies in a space; None for one that was learned and is not among `learned`."""
    colour = reference.colour or (learned.get(reference.learned) if reference.learned else None)
    return None if colour is None else formulas.reference_in(space, colour, sensor)


def known(channel: Channel) -> bool:
    """Whether the distance is one of ours: a plugin's is in the verdicts but in no figure of colour."""
    try:
        formulas.get(channel.distance)
    except UsageError:
        return False
    return True


def nearest(station: Station, sensor: Sensor, learned: Means) -> list[dict[str, Any]]:
    """Every pair of the sensor's channels that can be compared, the nearest first."""
    channels = [channel for channel in station.channels_of(sensor.name) if known(channel)]
    found = []
    for one, other in combinations(channels, 2):
        ways = [_from(sensor, a, b, learned) for a, b in ((one, other), (other, one))]
        least = min((way for way in ways if way is not None), key=lambda way: way["tolerances"], default=None)
        if least is not None:
            found.append(least)
    return sorted(found, key=lambda pair: pair["tolerances"])


def _from(sensor: Sensor, a: Channel, b: Channel, learned: Means) -> dict[str, Any] | None:
    formula = formulas.get(a.distance)
    least = np.inf
    for standard in a.references:
        for sample in b.references:
            try:
                begin, end = (place_of(sensor, formula.space, reference, learned) for reference in (standard, sample))
            except UsageError:
                continue  # shares of the bands have no place in a space of colours, nor the other way round
            if begin is not None and end is not None:
                least = min(least, float(formula.of(begin)(*(np.array([value]) for value in end))[0]))
    if not np.isfinite(least):
        return None
    tolerances = round(least / a.tolerance, 6)
    return {"from": a.name, "to": b.name, "distance": round(least, 6), "by": a.distance, "tolerances": tolerances}


def closest(station: Station, sensor: Sensor, learned: Means) -> list[str]:
    """The channels of the sensor to draw by themselves: all of a few; of many, those that stand in the nearest pairs."""
    names = [channel.name for channel in station.channels_of(sensor.name)]
    if len(names) <= MANY:
        return names
    by_nearness = [name for pair in nearest(station, sensor, learned) for name in (pair["from"], pair["to"])]
    return list(dict.fromkeys([*by_nearness, *names]))[:MANY]


def figures(views: Sequence[View], learned: Means) -> Iterator[Figure]:
    """One figure for each sensor with many channels."""
    if not views:
        return
    station = views[0].station
    for number, sensor in enumerate(station.sensors, 1):
        channels = station.channels_of(sensor.name)
        if len(channels) <= MANY:
            continue
        found = nearest(station, sensor, learned)
        drawn = found[:MOST_PAIRS]
        yield {
            "id": f"nearest-{number}",
            "kind": "nearest_pairs",
            "title": f"Nearest pairs among the {len(channels)} channels of {sensor.name}",
            "description": (
                f"The {len(drawn)} nearest of {len(found)} pairs: how far one reference is from the other, "
                "in tolerances. Below 1 a part on the other's reference would switch it."
            ),
            "data": {
                "sensor": sensor.name, "pairs": drawn, "compared": len(found),
                "confusions": _confusions(views, {c.name for c in channels}),
            },
        }  # fmt: skip


def _confusions(views: Sequence[View], channels: set[str]) -> list[dict[str, Any]]:
    """Targets that a channel answered otherwise than asked, the most frequent first."""
    summed: dict[tuple[str, str], dict[str, Any]] = {}
    for view in views:
        for pair in pairs.observed(view):
            if pair["channel"] in channels and pair["should"]:
                wrong = pair["n"] - (pair["fired"] if pair["should"] == "on" else pair["silent"])
                cell = summed.setdefault(
                    (pair["target"], pair["channel"]),
                    {"target": pair["target"], "channel": pair["channel"], "should": pair["should"], "wrong": 0, "n": 0},
                )
                cell["wrong"] += wrong
                cell["n"] += pair["n"]
    wrong_ones = [cell for cell in summed.values() if cell["wrong"]]
    return sorted(wrong_ones, key=lambda cell: -cell["wrong"])[:MOST_CONFUSIONS]
