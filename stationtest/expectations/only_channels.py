"""`only_channels: [1, 2]`: the named channels fire, and no other channel of that sensor.

Unit: presentation. Fields: one channel or a list.
Conforms: each named channel fired for sure, all others of the presentation's sensor were silent for sure.
Instant named: the first own on-time of the channel that was on wrongly, else the start of the presentation.
Not judged: a named channel belongs to another sensor; dark readings without `when_dark`; answers left open.
Example by hand: `only_channels: 1`, channel 1 on for 60 ms, channel 2 on for 3 ms where 14 ms are seen for sure: nonconforming,
since the 3 ms may have been seen.
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
    verb = "fires" if len(fields.root) == 1 else "fire"
    return f"{channels_text(fields.root)} {verb} for sure, and every other channel of that sensor stays silent"


def judge(fields: Fields, trials: Trials) -> Judged:
    from stationtest.expectations.channel_rules import judge_channels, named

    return judge_channels(trials, ("only", fields.root), lambda view: named(view, fields.root, fire=True, only=True))
