"""`drift: {of: CIEDE2000, over: 10, at_most: 1}`: how far the readings of one target move during a run.

Unit: run; one run is one trial, and a statement about this run only. Fields: `of` (`level`, or the name of a distance), `over` (how many
presentations are averaged), `at_most` (a share for level, a number for a distance).
Conforms: for every target of the case and every sensor, no mean over `over` presentations in a row differs from that of the first ones
by more than the limit. A rest shorter than `over` at the end is left out.
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
