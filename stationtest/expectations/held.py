"""`held: at least 40 ms`: the longest unbroken on-time of the target's own channels.

Unit: presentation. Fields: `at least D`.
Conforms: each own channel was on, by this presentation's cause, for at least that long without a break. An edge is known to one
reading period: a limit within one period of what was seen is judged on the unfavourable side.
Instant named: the first sure on-time. Value: the shortest of the channels' longest on-times, in ms.
Not judged: a limit finer than the readings; no times; no own channel.
Example by hand: on 30 ms, off 5 ms, on 20 ms: 30 ms; `at least 40 ms` is nonconforming, `at least 25 ms` conforms.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationtest.expectations.wording import duration_text
from stationtest.files.fields import Single
from stationtest.files.scalars import AtLeastDuration

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station

Fields = Single[AtLeastDuration]


def words(fields: Fields, station: Station) -> str:
    return f"its own channels stay on for at least {duration_text(fields.root)} without a break"
