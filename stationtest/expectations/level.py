"""`level: {at_least: 30 %, at_most: 95 %}`: the brightest band of every reading of the plateau.

Unit: presentation. Fields: `at_least`, `at_most`, one of them or both.
Conforms: the least and the greatest level of the plateau are within the limits.
Instant named: the start of the presentation. Value: the level with the least room, as a share.
Not judged: no plateau, or no readings.
Example by hand: raw 2000 and 3900 at full scale 4095 and dark 12 are levels of 48.7 % and 95.2 %; `at_most: 95 %` is nonconforming.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import model_validator

from stationtest.expectations.wording import share_text
from stationtest.files.fields import Fields as Base
from stationtest.files.scalars import Share, wrong

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station


class Fields(Base):
    at_least: Share | None = None
    at_most: Share | None = None

    @model_validator(mode="after")
    def _fits(self) -> Fields:
        if self.at_least is None and self.at_most is None:
            raise wrong("no limit is given", allowed="`at_least`, `at_most` or both", code="missing-key")
        if self.at_least is not None and self.at_most is not None and self.at_least > self.at_most:
            raise wrong("no level is in these limits", f"{share_text(self.at_least)} to {share_text(self.at_most)}", code="contradiction")
        return self


def words(fields: Fields, station: Station) -> str:
    limits = [f"at least {share_text(fields.at_least)}"] if fields.at_least is not None else []
    limits += [f"at most {share_text(fields.at_most)}"] if fields.at_most is not None else []
    return f"the level of every reading of its plateau is {' and '.join(limits)}"
