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


def judge(fields: Fields, trials: Trials) -> Judged:
    import numpy as np

    from stationtest.expectations import channel_rules
    from stationtest.expectations.trials import instant, outcomes
    from stationtest.expectations.wording import milliseconds
    from stationtest.model.judged import Judged

    view, index = trials.view, trials.index
    fine = trials.too_fine(fields.root)
    if fine:
        return trials.not_judged(fine)
    did = view.obs.responses
    mask = view.should_be_on()
    asked, open_ = mask[index], channel_rules.open_answers(view)[0][index]
    far = np.iinfo(np.int64).max
    longest = np.where(asked, did.longest_ns[index], far)
    # the readings may stand for one period less than they seem to
    short = asked & ~open_ & (longest - view.period_ns < fields.root)
    shortest, least = longest.argmin(axis=1), longest.min(axis=1, initial=far)

    def why(i: int) -> str:
        c, row = int(shortest[i]), int(index[i])
        if not asked[i].any():
            return "no channel should be on for this target"
        if (asked[i] & open_[i]).any() and not short[i].any():
            return channel_rules.not_known(view, row, int(np.flatnonzero(asked[i] & open_[i])[0]))
        if not longest[i, c]:
            return channel_rules.was_off(view, row, c)
        text = f"channel {did.channels[c]} was on for {milliseconds(longest[i, c])} without a break"
        if short[i, c] and longest[i, c] >= fields.root:
            text += f", known to {milliseconds(view.period_ns)}"
        return text + channel_rules.rested(view, row, c)

    return Judged(
        outcome=outcomes(short.any(axis=1), (asked & open_).any(axis=1) | ~asked.any(axis=1)),
        value=np.where(asked.any(axis=1), least / 1e6, np.nan),
        unit="ms",
        good="high",
        why=why,
        channel=lambda i: did.channels[int(shortest[i])],
        at_ns=lambda i: instant(did.first_on_ns[index[i], int(shortest[i])]),
        basis=channel_rules.basis_of(trials, mask),
    )
