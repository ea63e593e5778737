"""`margin: {must_fire: at least 0.25, must_be_silent: at least 0.25}`: how far the tolerance could be scaled before the answer changes.

Unit: presentation. Fields: `must_fire`, `must_be_silent`, one of them or both; each is asked of every channel it concerns, by
reference and polarity.
Conforms: 1 - s* of every channel that must fire, and s* - 1 of every channel that must be silent, is at least the limit; `off match` swaps them.
Instant named: the reading nearest to the reference. Value: the margin with the least room over its limit; higher is better.
Not judged: no readings; the answer rested on a clipped reading, which is no evidence of margin; a recorded channel did otherwise than
the readings say.
Example by hand: tolerance 0.012, own channel seen for sure down to a tolerance of 0.006: margin 1 - 0.006 / 0.012 = 0.5; a channel
that must be silent, on at all from a tolerance of 0.018: 0.018 / 0.012 - 1 = 0.5 (A1).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import model_validator

from stationtest.expectations.wording import number_text
from stationtest.files.fields import Fields as Base
from stationtest.files.scalars import AtLeastNumber, wrong

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station


class Fields(Base):
    must_fire: AtLeastNumber | None = None
    must_be_silent: AtLeastNumber | None = None

    @model_validator(mode="after")
    def _fits(self) -> Fields:
        if self.must_fire is None and self.must_be_silent is None:
            raise wrong("no limit is given", allowed="`must_fire`, `must_be_silent` or both", code="missing-key")
        return self


def words(fields: Fields, station: Station) -> str:
    parts = []
    if fields.must_fire is not None:
        parts.append(f"the margin of its own channels is at least {number_text(fields.must_fire)}")
    if fields.must_be_silent is not None:
        parts.append(f"the margin of every channel that must be silent is at least {number_text(fields.must_be_silent)}")
    return " and ".join(parts)
