"""`response: {at_most: 20 ms, from: covered}`: time to the start of the first on-time that is seen for sure.

Unit: presentation. Fields: `at_most`, `from` (`start`, `covered` or an edge of an input; always stated, A24), `channels` (`own` unless
stated).
Conforms: each channel concerned fired, and its first sure on-time begins at most that long after `from`. An edge is known to one reading period: a
limit within one period of what was seen is judged on the unfavourable side. A flicker before it is no response.
Instant named: the start of that on-time. Value: the longest time, in ms.
Not judged: a limit finer than the readings; no times; `covered` without spot and belt speed; no such edge during the presentation.
Example by hand: start 0 ms, flicker of 2 ms at 5 ms, on from 35 ms, readings every 1 ms: 35 ms; `at_most: 20 ms` is nonconforming.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import model_validator

from stationtest.expectations.wording import ChannelsOrOwn, channels_text, duration_text, instant_text
from stationtest.files.fields import Fields as Base
from stationtest.files.fields import said
from stationtest.files.scalars import Instant, PositiveDuration, wrong

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station


class Fields(Base):
    at_most: PositiveDuration
    from_: Instant
    channels: ChannelsOrOwn = said("own")

    @model_validator(mode="after")
    def _fits(self) -> Fields:
        if self.from_ == "end":
            raise wrong("a response is not counted from the end", "end", "start, covered, or an edge of an input")
        return self


def words(fields: Fields, station: Station) -> str:
    return f"{channels_text(fields.channels)} fire at most {duration_text(fields.at_most)} after {instant_text(fields.from_)}"
