"""`alike: {distance: CIEDE2000, at_most: 2}`: the things in a set look alike to the sensors, or the parts of an item.

Unit: set, or item where an item is presented. Fields: `distance` (by its name), `at_most`; `targets` (one or a list; all
unless stated).
Conforms: the largest distance between two plateau means of the set, either way round, is at most the limit.
Instant named: the start of the set or item. Value: that distance.
Not judged: fewer than two plateaus; a clipped reading among them; a sensor whose readings cannot give this distance.
Example by hand: L*a*b* means (50, 0, 0), (50, 3, 4), (50, 0, 1) by CIE 1976 L*a*b*: 5, so `at_most: 4` is nonconforming.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationtest.expectations.wording import listed, number_text
from stationtest.files.fields import Fields as Base
from stationtest.files.scalars import DistanceName, OneOrMore, Positive, TargetName

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station


class Fields(Base):
    distance: DistanceName
    at_most: Positive
    targets: OneOrMore[TargetName] | None = None


def words(fields: Fields, station: Station) -> str:
    of = f" of {listed(fields.targets)}" if fields.targets else ""
    return f"no two plateau means{of} differ by more than {number_text(fields.at_most)} ({fields.distance})"


def judge(fields: Fields, trials: Trials) -> Judged:
    import numpy as np

    from stationtest.expectations import plateaus
    from stationtest.expectations.items import belongs
    from stationtest.expectations.trials import outcomes
    from stationtest.model.judged import Judged

    view, index, shown = trials.view, trials.index, trials.obs.presentations
    points, why_not = plateaus.coordinates(view, fields.distance)
    if why_not:
        return trials.not_judged(why_not)
    wanted = np.array([fields.targets is None or name in fields.targets for name in shown.targets], dtype=np.bool_)
    value = np.full(len(index), np.nan)
    bands = np.array([len(view.station.sensor(name).bands) for name in shown.sensors])
    of, _ = belongs(view, trials.unit)
    reasons: list[str] = []
    for i, row in enumerate(index.tolist()):
        members = np.flatnonzero((of == row) & ~shown.between & wanted[shown.target])
        compared = points[members]
        if len(members) < 2 or not np.isfinite(compared).all():
            few = len(members) < 2
            reasons.append("it has fewer than two members to compare" if few else "one of its members has no plateau")
        elif fields.distance == "sensor chromaticity" and len(np.unique(bands[shown.sensor[members]])) > 1:
            reasons.append("its members were read in different bands, whose shares cannot be compared")
        elif shown.clipped_rows[members].any():
            reasons.append("one of its members has clipped readings, which compare with nothing")
        else:
            value[i] = plateaus.largest(fields.distance, compared)
            reasons.append(f"the largest distance in it is {value[i]:.3g} ({fields.distance})")
    return Judged(
        outcome=outcomes(value > fields.at_most, np.isnan(value)),
        value=value,
        unit=fields.distance,
        good="low",
        why=lambda i: reasons[i],
        channel=lambda i: "",
        at_ns=lambda i: int(trials.start_ns()[i]) if view.timed else None,
        basis=view.computed_basis,
    )
