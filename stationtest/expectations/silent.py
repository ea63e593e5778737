"""`silent: [2, 3]`: the named channels stay silent; nothing is said of the others.

Unit: presentation. Fields: one channel or a list.
Conforms: each named channel was not on, not even perhaps. Nonconforming: one was on, whoever caused it.
Instant named: the first own on-time of that channel, else the start of the presentation.
Not judged: a named channel belongs to another sensor; dark readings without `when_dark`; answers left open.
Example by hand: `silent: 3`, channel 3 on for 15 ms, held over from chamomile: nonconforming.
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
    return f"{channels_text(fields.root)} {'stays' if len(fields.root) == 1 else 'stay'} silent"


def judge(fields: Fields, trials: Trials) -> Judged:
    from stationtest.expectations.channel_rules import judge_channels, named

    return judge_channels(trials, ("silent", fields.root), lambda view: named(view, fields.root, fire=False))
