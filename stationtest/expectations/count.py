"""`count: {output: counter}`: the pulses of an output equal what truth lists.

Unit: set, or the run where no set is presented. Fields: `output`; `targets` (one or a list; all unless stated).
Conforms: the fewest and the most pulses that could be counted both equal the number of presentations of these targets: in a set, from its
start to the start of the next one; in a run, over the whole recording (where a list says how many there are, its number).
Instant named: the start of the set. Value: the count that is furthest off.
Not judged: no times; a cut set; a run that begins or ends in a presentation.
Example by hand: 60 sachets, two of them touching and counted once: 59 pulses, nonconforming (A23).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationtest.expectations.wording import listed
from stationtest.files.fields import Fields as Base
from stationtest.files.scalars import OneOrMore, OutputName, TargetName

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station


class Fields(Base):
    output: OutputName
    targets: OneOrMore[TargetName] | None = None


def words(fields: Fields, station: Station) -> str:
    what = f"presentations of {listed(fields.targets)}" if fields.targets else "presentations"
    return f"{fields.output} gives as many pulses as truth lists {what}"
