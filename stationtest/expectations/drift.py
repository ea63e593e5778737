"""`drift: {of: CIEDE2000, over: 10, at_most: 1}`: how far the readings of one target move during a run.

Unit: run; one run is one trial, and a statement about this run only. Fields: `of` (`level`, or the name of a distance),
`over` (how many presentations are averaged), `at_most` (a share for level, a number for a distance).
Conforms: for every target of the case and every sensor, no mean over `over` presentations in a row differs from that of the
first ones by more than the limit. A rest shorter than `over` at the end is left out.
Instant named: the start of the first presentation of the worst mean. Value: the largest difference.
Not judged: fewer than twice `over` presentations of a target; clipped plateaus are left out.
Example by hand: levels 50, 50, 48, 46 %, `over: 2`: means 50 and 47 %, 3 %; `at_most: 2 %` is nonconforming.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import PlainSerializer, PlainValidator, WithJsonSchema, model_validator

from stationtest.expectations.wording import number_text, share_text
from stationtest.files.fields import Fields as Base
from stationtest.files.scalars import DistanceName, OneUp, positive, share, wrong

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station


def _amount(value: object) -> tuple[float, str]:
    """A share or a number, with what it is."""
    if isinstance(value, str) and value.rstrip().endswith("%"):
        return share(value), "%"
    return positive(value), ""


def _said(amount: tuple[float, str]) -> str:
    return share_text(amount[0]) if amount[1] else number_text(amount[0])


Amount = Annotated[
    tuple[float, str],
    PlainValidator(_amount),
    PlainSerializer(_said),
    WithJsonSchema({"type": ["string", "number"], "description": "a share such as 2 % for level, a number for a distance"}),
]


class Fields(Base):
    of: Literal["level"] | DistanceName
    over: OneUp
    at_most: Amount

    @model_validator(mode="after")
    def _fits(self) -> Fields:
        if (self.of == "level") != (self.at_most[1] == "%"):
            raise wrong(f"the limit does not fit a drift of {self.of}", _said(self.at_most),
                        "a share for level, such as 2 %, and a number for a distance")  # fmt: skip
        return self


def words(fields: Fields, station: Station) -> str:
    return (
        f"no mean of {fields.over} presentations in a row of one target differs from the first by more than "
        f"{_said(fields.at_most)} ({fields.of})"
    )


def judge(fields: Fields, trials: Trials) -> Judged:
    import numpy as np

    from stationtest.expectations import plateaus
    from stationtest.expectations.trials import outcomes
    from stationtest.model.judged import Judged

    view, index, shown = trials.view, trials.index, trials.obs.presentations
    if fields.of == "level":
        points = plateaus.levels(view)[:, None]
    else:
        points, why_not = plateaus.coordinates(view, fields.of)
        if why_not:
            return trials.not_judged(why_not)
    usable = index[np.isfinite(points[index]).all(axis=1) & (shown.clipped_rows[index] == 0)]
    worst, at, where, short = np.nan, None, "", []
    for target in np.unique(shown.target[index]).tolist():
        for sensor in np.unique(shown.sensor[index[shown.target[index] == target]]).tolist():
            rows = usable[(shown.target[usable] == target) & (shown.sensor[usable] == sensor)]
            blocks = len(rows) // fields.over
            name = f"{shown.targets[target]} at {shown.sensors[sensor]}"
            if blocks < 2:
                short.append(f"{name}: {len(rows)} presentations with a usable plateau, {2 * fields.over} are needed")
                continue
            kept = rows[: blocks * fields.over]
            means = points[kept].reshape(blocks, fields.over, -1).mean(axis=1)
            moved = np.abs(means[:, 0] - means[0, 0]) if fields.of == "level" else plateaus.from_first(fields.of, means)
            furthest = int(moved.argmax())
            if not moved[furthest] <= worst:
                worst, at, where = float(moved[furthest]), int(shown.start_ns[kept[furthest * fields.over]]), name
    bad = bool(worst > fields.at_most[0])
    measured = f"{100 * worst:.2f} %" if fields.of == "level" else f"{worst:.3g}"
    text = f"{where} moved by {measured} ({fields.of})" if where else ""
    reason = text if bad or not short else "; ".join(short)
    return Judged(
        outcome=outcomes(np.array([bad]), np.array([bool(short) or not len(index)])),
        value=np.array([worst]),
        unit="share" if fields.of == "level" else fields.of,
        good="low",
        why=lambda i: reason,
        channel=lambda i: "",
        at_ns=lambda i: at if view.timed else None,
        basis=view.computed_basis,
    )
