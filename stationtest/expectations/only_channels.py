"""`only_channels: [1, 2]`: the named channels fire, and no other channel of that sensor.

Unit: presentation. Fields: one channel or a list, or `channels` and `on: all sensors`: then no channel of another sensor was on
meanwhile either (see other_sensors.py).
Conforms: each named channel fired for sure, all others of the presentation's sensor were silent for sure.
Instant named: the first own on-time of the channel that was on wrongly, else the start of the presentation.
Not judged: a named channel belongs to another sensor; dark readings without `when_dark`; answers left open.
Example by hand: `only_channels: 1`, channel 1 on for 60 ms, channel 2 on for 3 ms where 14 ms are seen for sure: nonconforming,
since the 3 ms may have been seen.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationtest.expectations.everywhere import ChannelsOrEverywhere, is_everywhere, others_text
from stationtest.expectations.wording import channels_text
from stationtest.files.fields import Single

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station

Fields = Single[ChannelsOrEverywhere]


def words(fields: Fields, station: Station) -> str:
    names = _names(fields)
    verb = "fires" if len(names) == 1 else "fire"
    return f"{channels_text(names)} {verb} for sure, and {others_text(fields.root)} stays silent"


def _names(fields: Fields) -> tuple[str, ...]:
    names: tuple[str, ...] = fields.root.channels if is_everywhere(fields.root) else fields.root
    return names


def judge(fields: Fields, trials: Trials) -> Judged:
    from stationtest.expectations.channel_rules import judge_channels, named

    names, wide = _names(fields), is_everywhere(fields.root)
    return judge_channels(
        trials, ("only", names, wide), lambda view: named(view, names, fire=True, only=True, everywhere=wide)
    )
