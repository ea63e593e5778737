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

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pydantic import model_validator

from stationtest.expectations.wording import ChannelsOrOwn, channels_text, instant_text, reach_text
from stationtest.files.fields import Fields as Base
from stationtest.files.fields import said
from stationtest.files.reaches import PositiveReach
from stationtest.files.scalars import Instant, wrong
from stationtest.model.travel import Length

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]


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

    from stationtest.expectations import channel_rules, doubts, reaching
    from stationtest.expectations.trials import outcomes
    from stationtest.expectations.wording import milliseconds, number_text
    from stationtest.model.judged import NOT_JUDGED, Judged

    view, index = trials.view, trials.index
    fine = trials.too_fine(fields.at_most) or reaching.untold(view, (fields.at_most,))
    if fine:
        return trials.not_judged(fine)
    did = view.obs.responses
    found = trials.once(("response", fields.from_, fields.channels), lambda: _found(fields, trials))
    asked, open_, missed, late = found.asked, found.open, found.missed, found.late
    latest = reaching.after(view, reaching.exactly(found.origin), fields.at_most)
    last = found.slowest_ns + view.period_ns
    way_mm = None
    if isinstance(fields.at_most, Length):
        way_mm = reaching.ways_mm(view, found.origin, did.first_on_ns[index], did.fired[index] & asked)

    def slow(i: int) -> NDArray[np.bool_]:
        return np.asarray(found.timed[i] & (did.first_on_ns[index[i]] + view.period_ns > latest.late[i]))

    limit = 0 if isinstance(fields.at_most, Length) else fields.at_most

    def worst(i: int) -> int:
        wrong = np.flatnonzero(missed[i])
        return int(wrong[0]) if len(wrong) else int(late[i].argmax())

    def why(i: int) -> str:
        if not asked[i].any():
            return "no channel should be on for this target" if fields.channels == ("own",) else "a channel of another sensor"
        if unsettled is not None and unsettled[i].any():
            c = int(np.flatnonzero(unsettled[i])[0])
            late_by = milliseconds(late[i, c], view.period_ns, limit)
            when = f"fired {late_by} after {instant_text(fields.from_)}" if found.timed[i, c] else "did not fire"
            so_well = milliseconds(doubts.known_to_ns(view))
            return f"time is not known well enough; as logged: channel {did.channels[c]} {when}; it is known to {so_well}"
        c, row = worst(i), int(index[i])
        if missed[i, c]:
            return channel_rules.was_off(view, row, c)
        if found.no_origin[i]:
            known = isinstance(fields.from_, str)
            return f"{instant_text(fields.from_)} is not known" if known else f"{fields.from_} did not come in it"
        if (asked[i] & open_[i]).any() and not slow(i).any():
            return channel_rules.not_known(view, row, int(np.flatnonzero(asked[i] & open_[i])[0]))
        late_by = milliseconds(late[i, c], view.period_ns, limit)
        text = f"channel {did.channels[c]} fired {late_by} after {instant_text(fields.from_)}"
        if slow(i)[c] and did.first_on_ns[row, c] <= latest.late[i]:
            text += f", known to {milliseconds(view.period_ns)}"
        if way_mm is not None:
            doubt = reaching.doubt_text(view, fields.at_most)
            text += f", {number_text(float(way_mm[i, c]))} mm on; the position of the belt is known to {doubt}"
        if did.on_ns[row, c] and did.longest_ns[row, c] < did.on_ns[row, c] and did.pulses_max[row, c] > 1:
            text += ", in several on-times; the first that is seen for sure counts"
        return text + channel_rules.rested(view, row, c)

    def at_ns(i: int) -> int:
        c = worst(i)
        return int(did.first_on_ns[index[i], c]) if did.fired[index[i], c] else int(trials.start_ns()[i])

    outcome = outcomes(found.some_missed | (last > latest.late), found.unknown | (last > latest.early))
    unsettled = None
    if view.obs.placements:
        unsettled = doubts.may_have_come(view, asked, found.origin, latest.late)
        outcome[unsettled.any(axis=1)] = NOT_JUDGED
    value = found.value_ms if way_mm is None else np.where(np.isnan(found.value_ms), np.nan, way_mm.max(axis=1, initial=0))
    return Judged(
        outcome=outcome,
        value=value,
        unit="ms" if way_mm is None else "mm",
        good="low",
        why=why,
        channel=lambda i: did.channels[worst(i)],
        at_ns=at_ns,
        basis=found.basis,
        at_most_not_shown=found.coarse,
    )


@dataclass(frozen=True, slots=True)
class _Found:
    """What does not depend on the limit, for n trials and C channels: (n, C) which are asked, open, missed, and have a time that
    counts, and that time since `origin` (n,); (n,) when the last of those that count came, whether any is missed, whether the
    answer is unknown whatever the limit is."""

    asked: Bools
    open: Bools
    missed: Bools
    timed: Bools
    late: Ints
    origin: Ints
    no_origin: Bools
    slowest_ns: Ints
    some_missed: Bools
    unknown: Bools
    value_ms: NDArray[np.float64]
    basis: str
    coarse: str | None


def _found(fields: Fields, trials: Trials) -> _Found:
    import numpy as np

    from stationtest.expectations import channel_rules, timeline
    from stationtest.expectations.trials import any_of
    from stationtest.model.observations import NEVER

    view, index = trials.view, trials.index
    did, shown = view.obs.responses, view.obs.presentations
    mask = channel_rules.chosen(trials, fields.channels)
    asked, open_ = mask[index], channel_rules.open_answers(view)[0][index]
    origin = timeline.reference_instants(view, "presentation", fields.from_)[index]
    no_origin = origin == NEVER
    if not isinstance(fields.from_, str):
        no_origin |= origin >= shown.end_ns[index]
    fired, first_on = did.fired[index], did.first_on_ns[index]
    least = np.iinfo(np.int64).min
    late = np.where(fired & asked, first_on - origin[:, None], least)
    missed = asked & ~fired & ~open_
    timed = asked & fired & ~open_ & ~no_origin[:, None]
    has_value = any_of(asked & fired) & ~no_origin
    return _Found(
        asked=asked,
        open=open_,
        missed=missed,
        timed=timed,
        late=late,
        origin=origin,
        no_origin=no_origin,
        slowest_ns=np.where(timed, first_on, least).max(axis=1, initial=least),
        some_missed=any_of(missed),
        unknown=any_of(asked & open_) | no_origin | ~any_of(asked),
        value_ms=np.where(has_value, late.max(axis=1, initial=least) / 1e6, np.nan),
        basis=channel_rules.basis_of(trials, mask),
        coarse=trials.coarse_reason(channel_rules.computed_sensors(trials, mask), "how soon they switch"),
    )
