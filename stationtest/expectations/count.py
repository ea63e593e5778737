"""`count: {output: counter}`: the pulses of an output equal what truth lists.

Unit: set, or the run where no set is presented. Fields: `output`; `targets` (one or a list; all unless stated).
Conforms: the fewest and the most pulses that could be counted both equal the number of presentations of these targets: in a
set, from its start to the start of the next one; in a run, over the whole recording (where a list says how many there are,
its number).
Instant named: the start of the set. Value: the count that is furthest off.
Not judged: no times; a cut set; a run that begins or ends in a presentation.
Example by hand: 60 sachets, two of them touching and counted once: 59 pulses, nonconforming (A23).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationtest.expectations.wording import listed
from stationtest.files.fields import Fields as Base
from stationtest.files.scalars import OneOrMore, OutputName, TargetName

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station


class Fields(Base):
    output: OutputName
    targets: OneOrMore[TargetName] | None = None


def words(fields: Fields, station: Station) -> str:
    what = f"presentations of {listed(fields.targets)}" if fields.targets else "presentations"
    return f"{fields.output} gives as many pulses as truth lists {what}"


def judge(fields: Fields, trials: Trials) -> Judged:
    import numpy as np

    from stationtest.expectations import timeline
    from stationtest.expectations.trials import outcomes
    from stationtest.model.judged import Judged
    from stationtest.model.observations import CUT_END, CUT_START

    view, index, obs = trials.view, trials.index, trials.obs
    if not view.timed:
        return trials.not_judged("needs times")
    if trials.unit == "set":
        starts, ends = trials.start_ns(), timeline.next_start(view, "set")[index]
        wanted = np.array([fields.targets is None or name in fields.targets for name in obs.sets.targets], dtype=np.bool_)
        listed_ = obs.sets.counts[index] @ wanted.astype(np.int64)
        open_ = timeline.in_gap(view, starts, ends, fields.output)
    else:
        shown = obs.presentations
        starts, ends = np.array([obs.clock.first_ns]), np.array([obs.clock.end_ns])
        wanted = np.array([fields.targets is None or name in fields.targets for name in shown.targets], dtype=np.bool_)
        mine = index[wanted[shown.target[index]] & ~shown.between[index]]
        everything = len(mine) == int((~shown.between).sum())
        by_list = obs.expected_presentations if everything else None
        listed_ = np.array([len(mine) if by_list is None else by_list], dtype=np.int64)
        open_ = (shown.status[mine] & (CUT_START | CUT_END)).any() | timeline.in_gap(view, starts, ends, fields.output)
    counted = timeline.pulse_range(view, fields.output, starts, ends)
    if counted is None:
        return trials.not_judged(f"this recording has no output {fields.output}")
    fewest, most = counted
    # before its state was known there may have been a pulse more, or none
    open_ |= (starts < timeline.unknown_until(view, fields.output)) & (fewest <= listed_) & (listed_ <= most)
    wrong = (fewest != listed_) | (most != listed_)

    def why(i: int) -> str:
        if open_[i] and not wrong[i]:
            return "there is a gap in the readings, or a presentation is cut"
        counts = f"{fewest[i]}" if fewest[i] == most[i] else f"{fewest[i]} to {most[i]}"
        return f"{fields.output} gave {counts} pulses, truth lists {listed_[i]}"

    return Judged(
        outcome=outcomes(wrong & ~open_, open_),
        value=np.where(np.abs(fewest - listed_) > np.abs(most - listed_), fewest, most).astype(np.float64),
        unit="pulses",
        why=why,
        channel=lambda i: fields.output,
        at_ns=lambda i: int(starts[i]),
        basis=obs.signals["output", fields.output].basis,
    )
