"""`response: {at_most: 20 ms, from: covered}`: time to the start of the first on-time that is seen for sure.

Unit: presentation. Fields: `at_most`, `from` (`start`, `covered` or an edge of an input; always stated, A24), `channels`
(`own` unless stated).
Conforms: each channel concerned fired, and its first sure on-time begins at most that long after `from`. An edge is known
to one reading period: a limit within one period of what was seen is judged on the unfavourable side. A flicker before it is
no response.
Instant named: the start of that on-time. Value: the longest time, in ms; with a length for `at_most`, the longest way, in mm.
Not judged: a limit finer than the readings, or a length so near that the doubt of the belt's position decides; no times;
`covered` without spot and belt speed; no such edge during the presentation.
Example by hand: start 0 ms, flicker of 2 ms at 5 ms, on from 35 ms, readings every 1 ms: 35 ms; `at_most: 20 ms` is
nonconforming.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import model_validator

from stationtest.expectations.wording import ChannelsOrOwn, channels_text, instant_text, reach_text
from stationtest.files.fields import Fields as Base
from stationtest.files.fields import said
from stationtest.files.reaches import PositiveReach
from stationtest.files.scalars import Instant, wrong
from stationtest.model.travel import Length

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station


class Fields(Base):
    at_most: PositiveReach
    from_: Instant
    channels: ChannelsOrOwn = said("own")

    @model_validator(mode="after")
    def _fits(self) -> Fields:
        if self.from_ in ("end", "event"):
            raise wrong(f"a response is not counted from the {self.from_}", self.from_, "start, covered, or an edge of an input")
        return self


def words(fields: Fields, station: Station) -> str:
    return f"{channels_text(fields.channels)} fire at most {reach_text(fields.at_most)} after {instant_text(fields.from_)}"


def judge(fields: Fields, trials: Trials) -> Judged:
    import numpy as np

    from stationtest.expectations import channel_rules, reaching, timeline
    from stationtest.expectations.trials import outcomes
    from stationtest.expectations.wording import milliseconds, number_text
    from stationtest.model.judged import Judged
    from stationtest.model.observations import NEVER

    view, index = trials.view, trials.index
    fine = trials.too_fine(fields.at_most) or reaching.untold(view, (fields.at_most,))
    if fine:
        return trials.not_judged(fine)
    did, shown = view.obs.responses, view.obs.presentations
    mask = channel_rules.chosen(trials, fields.channels)
    asked, open_ = mask[index], channel_rules.open_answers(view)[0][index]
    origin = timeline.reference_instants(view, "presentation", fields.from_)[index]
    no_origin = origin == NEVER
    if not isinstance(fields.from_, str):
        no_origin |= origin >= shown.end_ns[index]
    fired = did.fired[index]
    late = np.where(fired & asked, did.first_on_ns[index] - origin[:, None], np.iinfo(np.int64).min)
    missed = asked & ~fired & ~open_
    on_the_belt = isinstance(fields.at_most, Length)
    latest = reaching.after(view, reaching.exactly(origin), fields.at_most)
    answered = asked & fired & ~open_ & ~no_origin[:, None]
    slow = answered & (did.first_on_ns[index] + view.period_ns > latest.late[:, None])
    doubtful = answered & ~slow & (did.first_on_ns[index] + view.period_ns > latest.early[:, None])
    longest = late.max(axis=1, initial=np.iinfo(np.int64).min)
    has_value = (asked & fired).any(axis=1) & ~no_origin
    way_mm = reaching.ways_mm(view, origin, did.first_on_ns[index], fired & asked) if on_the_belt else None

    def worst(i: int) -> int:
        wrong = np.flatnonzero(missed[i])
        return int(wrong[0]) if len(wrong) else int(late[i].argmax())

    def why(i: int) -> str:
        if not asked[i].any():
            return "no channel should be on for this target" if fields.channels == ("own",) else "a channel of another sensor"
        c, row = worst(i), int(index[i])
        if missed[i, c]:
            return channel_rules.was_off(view, row, c)
        if no_origin[i]:
            known = isinstance(fields.from_, str)
            return f"{instant_text(fields.from_)} is not known" if known else f"{fields.from_} did not come in it"
        if (asked[i] & open_[i]).any() and not slow[i].any():
            return channel_rules.not_known(view, row, int(np.flatnonzero(asked[i] & open_[i])[0]))
        text = f"channel {did.channels[c]} fired {milliseconds(late[i, c])} after {instant_text(fields.from_)}"
        if slow[i, c] and did.first_on_ns[row, c] <= latest.late[i]:
            text += f", known to {milliseconds(view.period_ns)}"
        if way_mm is not None:
            doubt = reaching.doubt_text(view, fields.at_most)
            text += f", {number_text(float(way_mm[i, c]))} mm on; the position of the belt is known to {doubt}"
        if did.on_ns[row, c] and did.longest_ns[row, c] < did.on_ns[row, c] and did.pulses_max[row, c] > 1:
            text += ", in several on-times; the first that is seen for sure counts"
        return text + channel_rules.rested(view, row, c)

    return Judged(
        outcome=outcomes(
            (missed | slow).any(axis=1), (asked & open_ | doubtful).any(axis=1) | no_origin | ~asked.any(axis=1)
        ),
        value=np.where(has_value, longest / 1e6 if way_mm is None else way_mm.max(axis=1, initial=0), np.nan),
        unit="ms" if way_mm is None else "mm",
        good="low",
        why=why,
        channel=lambda i: did.channels[worst(i)],
        at_ns=lambda i: int(did.first_on_ns[index[i], worst(i)]) if fired[i, worst(i)] else int(trials.start_ns()[i]),
        basis=channel_rules.basis_of(trials, mask),
        at_most_not_shown=trials.coarse_reason(channel_rules.computed_sensors(trials, mask), "how soon they switch"),
    )
