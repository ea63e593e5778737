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
    import numpy as np
    from numpy.typing import NDArray

    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]

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
    asked, open_, longest, shortest, least, unknown, value = trials.once("held", lambda: _longest(trials))
    # the readings may stand for one period less than they seem to
    short_of = fields.root + view.period_ns

    def why(i: int) -> str:
        c, row = int(shortest[i]), int(index[i])
        if not asked[i].any():
            return "no channel should be on for this target"
        if (asked[i] & open_[i]).any() and not least[i] < short_of:
            return channel_rules.not_known(view, row, int(np.flatnonzero(asked[i] & open_[i])[0]))
        if not longest[i, c]:
            return channel_rules.was_off(view, row, c)
        text = f"channel {did.channels[c]} was on for {milliseconds(longest[i, c], view.period_ns, fields.root)} without a break"
        if not open_[i, c] and fields.root <= longest[i, c] < short_of:
            text += f", known to {milliseconds(view.period_ns)}"
        return text + channel_rules.rested(view, row, c)

    return Judged(
        outcome=outcomes(least < short_of, unknown),
        value=value,
        unit="ms",
        good="high",
        why=why,
        channel=lambda i: did.channels[int(shortest[i])],
        at_ns=lambda i: instant(did.first_on_ns[index[i], int(shortest[i])]),
        basis=channel_rules.basis_of(trials, view.should_be_on()),
    )


def _longest(trials: Trials) -> tuple[Bools, Bools, Ints, Ints, Ints, Bools, NDArray[np.float64]]:
    """What does not depend on the limit. (n, C): asked, open, longest on-time; (n,): which channel has the shortest, the
    shortest of those that are known, whether one is not known or none is asked, the value in ms."""
    import numpy as np

    from stationtest.expectations import channel_rules
    from stationtest.expectations.trials import any_of

    view, index = trials.view, trials.index
    asked, open_ = view.should_be_on()[index], channel_rules.open_answers(view)[0][index]
    far = np.iinfo(np.int64).max
    longest: Ints = np.where(asked, view.obs.responses.longest_ns[index], far)
    none, value = ~any_of(asked), longest.min(axis=1, initial=far) / 1e6
    value[none] = np.nan
    known: Ints = np.where(open_, far, longest).min(axis=1, initial=far)
    shortest: Ints = longest.argmin(axis=1)
    return asked, open_, longest, shortest, known, any_of(asked & open_) | none, value
