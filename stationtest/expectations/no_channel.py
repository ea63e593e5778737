"""`no_channel: yes`: no channel of the presentation's sensor switches.

Unit: presentation, or stretch between. Fields: `yes`, or, of presentations, `on: all sensors`: then no channel of another sensor
was on meanwhile either (see other_sensors.py).
Conforms: every channel of that sensor was silent for sure. In a stretch between, an off-delay that runs out after a target
has left is held over and no event of the belt.
Instant named: the first own on-time of the channel that was on, else the start of the presentation.
Not judged: dark readings without `when_dark`; answers left open.
Example by hand: bare belt from 12.100 s to 13.000 s, channel 2 on from 12.400 s for 30 ms: nonconforming (counter-example A8).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationtest.expectations.everywhere import YesOrEverywhere, is_everywhere
from stationtest.files.fields import Single

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station

Fields = Single[YesOrEverywhere]


def words(fields: Fields, station: Station) -> str:
    return f"no channel of {'any' if is_everywhere(fields.root) else 'that'} sensor switches"


def judge(fields: Fields, trials: Trials) -> Judged:
    from stationtest.expectations.channel_rules import judge_channels, none

    wide = is_everywhere(fields.root)
    return judge_channels(trials, ("none", wide), lambda view: none(view, wide))
