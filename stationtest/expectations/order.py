"""`order: [1, 2, 3]`: the first sure on-times in a set come in this order.

Unit: set. Fields: a list of channels, at least two.
Conforms: each channel fired for sure in the set, and its first sure on-time begins later than that of the one before it.
Instant named: the first on-time that came too early. Value: none.
Not judged: no times; an answer left open; cut sets.
Example by hand: channel 1 at 9.200 s, channel 2 at 9.100 s: `order: [1, 2]` is nonconforming.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import AfterValidator
from typing import Annotated

from stationtest.expectations.wording import listed
from stationtest.files.fields import Single
from stationtest.files.scalars import ChannelName, wrong

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station


def _two_or_more(names: tuple[str, ...]) -> tuple[str, ...]:
    if len(names) < 2 or len(set(names)) < len(names):
        raise wrong("an order is of at least two channels, each named once", ", ".join(names))
    return names


Fields = Single[Annotated[tuple[ChannelName, ...], AfterValidator(_two_or_more)]]


def words(fields: Fields, station: Station) -> str:
    return f"channels {listed(fields.root)} come on for the first time in this order"
