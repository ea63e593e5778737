"""`set: complete` or `set: incomplete`: the set's own output says what truth says.

Unit: set. Fields: `complete` or `incomplete`.
Conforms: the output that the station names for this kind of set is on for sure (`complete`), or not even perhaps (`incomplete`), at
the end of the set: just before its `to` edge; just after it for an output that is decided at that edge. A set without edges is looked
at from its start to the start of the next one.
Instant named: the end of the set.
Not judged: truth says otherwise than the case (`complete` asked of a set that is not); the station names no output; cut sets.
Example by hand: a box of mint and chamomile ends at 10.000 s, both latches set by 9.800 s: `complete` conforms, since the state just
before the edge is read (A3). With the only pulse of mint 3 ms long, it is nonconforming: the latch is set only perhaps (A10).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from stationtest.files.fields import Single

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station

Fields = Single[Literal["complete", "incomplete"]]


def words(fields: Fields, station: Station) -> str:
    return f"the output of the set says that it is {fields.root}"
