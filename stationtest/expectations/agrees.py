"""`agrees: {edges_within: 15 ms, latency: 4 ms}`: recorded channels do what our model computes from the readings.

Unit: presentation. Fields: `edges_within`, `latency` (taken off the recorded edges; none unless stated).
Conforms: every edge of a recorded channel from the start of the presentation to the start of the next one on that sensor has a partner among the
computed edges, of the same direction, in order and within that time, and the other way round; so both fired, or both were silent.
Instant named: the first edge without a partner. Value: the largest difference of paired edges, in ms.
Not judged: no recorded channel that is computed too; a limit finer than the readings; computed states that are not known.
Example by hand: computed on 100 to 140 ms, recorded 106 to 145 ms, latency 4 ms: differences 2 and 1 ms; `edges_within: 1 ms` is nonconforming (A33).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationtest.expectations.wording import duration_text
from stationtest.files.fields import Fields as Base
from stationtest.files.fields import said
from stationtest.files.scalars import Duration, PositiveDuration

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station


class Fields(Base):
    edges_within: PositiveDuration
    latency: Duration = said("0 ms")


def words(fields: Fields, station: Station) -> str:
    late = f", {duration_text(fields.latency)} of latency taken off" if fields.latency else ""
    return f"recorded and computed channels switch alike, every edge within {duration_text(fields.edges_within)}{late}"
