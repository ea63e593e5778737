"""`channels: [label absent]`: the named channels fire; nothing is said of the others.

Unit: presentation. Fields: one channel or a list.
Conforms: each named channel fired for sure. Nonconforming: one did not, or only perhaps.
Instant named: the start of the presentation.
Not judged: a named channel belongs to another sensor; dark readings without `when_dark`; answers left open.
Example by hand: `channels: 1`, channel 1 on for 9 ms where 14 ms are seen for sure: nonconforming, it may have been missed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationtest.expectations.wording import channels_text
from stationtest.files.fields import Single
from stationtest.files.scalars import ChannelName, OneOrMore

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station

Fields = Single[OneOrMore[ChannelName]]


def words(fields: Fields, station: Station) -> str:
    return f"{channels_text(fields.root)} {'fires' if len(fields.root) == 1 else 'fire'} for sure"


def judge(fields: Fields, trials: Trials) -> Judged:
    from stationtest.expectations.channel_rules import judge_channels, named

    return judge_channels(trials, ("channels", fields.root), lambda view: named(view, fields.root, fire=True))
