"""`level: {at_least: 30 %, at_most: 95 %}`: the brightest band of every reading of the plateau.

Unit: presentation. Fields: `at_least`, `at_most`, one of them or both.
Conforms: the least and the greatest level of the plateau are within the limits.
Instant named: the start of the presentation. Value: the level with the least room, as a share.
Not judged: no plateau, or no readings.
Example by hand: raw 2000 and 3900 at full scale 4095 and dark 12 are levels of 48.7 % and 95.2 %; `at_most: 95 %` is
nonconforming.
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
            found = f"{share_text(self.at_least)} to {share_text(self.at_most)}"
            raise wrong("no level is in these limits", found, code="contradiction")
        return self


def words(fields: Fields, station: Station) -> str:
    limits = [f"at least {share_text(fields.at_least)}"] if fields.at_least is not None else []
    limits += [f"at most {share_text(fields.at_most)}"] if fields.at_most is not None else []
    return f"the level of every reading of its plateau is {' and '.join(limits)}"


def judge(fields: Fields, trials: Trials) -> Judged:
    import numpy as np

    from stationtest.expectations.trials import instant, outcomes
    from stationtest.model.judged import Judged

    shown, index = trials.obs.presentations, trials.index
    least, greatest = shown.level_min[index], shown.level_max[index]
    below = least - fields.at_least if fields.at_least is not None else np.full(len(index), np.inf)
    above = fields.at_most - greatest if fields.at_most is not None else np.full(len(index), np.inf)
    low_is_worse = below <= above
    value = np.where(low_is_worse, least, greatest)

    def why(i: int) -> str:
        if np.isnan(value[i]):
            return "it has no plateau to take a level from"
        clipped = " (clipped)" if shown.clipped_rows[index[i]] and not low_is_worse[i] else ""
        return f"its {'least' if low_is_worse[i] else 'greatest'} level is {100 * value[i]:.1f} %{clipped}"

    return Judged(
        outcome=outcomes((below < 0) | (above < 0), np.isnan(least) | np.isnan(greatest)),
        value=value,
        unit="share",
        good="high" if fields.at_most is None else "low" if fields.at_least is None else "",
        why=why,
        channel=lambda i: "",
        at_ns=lambda i: instant(shown.start_ns[index[i]]) if trials.view.timed else None,
        basis=trials.view.computed_basis,
    )
