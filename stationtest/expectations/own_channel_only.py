"""`own_channel_only: yes`: the channels of this target fire, and no other channel of that sensor.

Unit: presentation. Fields: `yes`, or `on: all sensors`: then no channel of another sensor was on meanwhile either (see
other_sensors.py).
Conforms: every channel that should be on, by reference and polarity (`off match` turns it round), fired for sure, and all
others of the same sensor were silent for sure. Nonconforming: anything else that was seen, perhaps included.
Instant named: the first own on-time of the channel that was on wrongly, else the start of the presentation.
Not judged: no channel should be on for this target (then `no_channel` is the word), an answer that rested on a dark reading
of a sensor without `when_dark`, an answer left open by unknown states, gaps or overlapping windows.
Example by hand: channel 1 is for mint, channel 3 is not. Mint, from 83.412 s: channel 1 on for 60 ms, channel 3 on for 22
ms, held over from chamomile. Nonconforming: `channel 3 was on for 22 ms, held over from chamomile` (tests/expectations).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationtest.expectations.everywhere import YesOrEverywhere, is_everywhere, others_text
from stationtest.files.fields import Single

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station

Fields = Single[YesOrEverywhere]


def words(fields: Fields, station: Station) -> str:
    return f"its own channels fire for sure, and {others_text(fields.root)} stays silent"


def judge(fields: Fields, trials: Trials) -> Judged:
    from stationtest.expectations.channel_rules import judge_channels, own

    wide = is_everywhere(fields.root)
    return judge_channels(trials, ("own", wide), lambda view: own(view, wide))
