"""`outputs: {flap: {is: on, from: box out, within: 200 ms}}`: outputs of the logic come, or stay off, in a stated window.

Unit: presentation, or set or item where one is presented. Fields of each output: `is: on | off | as the set is`, `from` (`start`,
`end`, `covered`, `event` (which `where:` names) or an edge of an input; stated), `after`, `within`, `until` (`next decision`
or an edge), `lasts: at least D`.
An edge is the first one at or after the start of the presentation or set, before the next set that the same edge opens; where
a set has none, the last one since the set before it ended. An edge that opens other sets is the last one before this set.
*as the set is*: on where truth says that the set is incomplete, off in the same window where it is complete; both must occur in
the readings, or nothing is shown. `from` may be left out there: the output's own `decided_at`.
*on* conforms: a rising edge lies for sure in [from + after, from + after + within), then on for sure for `lasts`; an output
that was already on, even perhaps, does not count. Without `within` the window ends at `until`, at the next decision, or
where the next trial begins.
*off* conforms: not on, not even perhaps, from `from + after` until the next decision of that output (or `until`); on-time
held over from an earlier decision is excepted and named: what began before `from`, and before this trial's own decision (its
last one from its start up to `from`), and lasts no longer than pulse, off-delay and scan explain.
Instant named: the on-time in question, else `from`.
Not judged: no such edge; the window reaches past the end of the recording, into a gap, or to states before the first row
that are unknown; `within` or `lasts` finer than the readings; windows on a table without times; an on-time so near the
end of a window in lengths of belt that the doubt of the position decides. Example by hand (A11): flap
on from 9.950 s to 10.070 s, box out at 10.000 s, `is: on, within: 200 ms`: nonconforming, it was already on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import model_validator

from stationtest.expectations.wording import instant_text, listed, reach_text
from stationtest.files.fields import Fields as Base
from stationtest.files.fields import Single, said
from stationtest.files.names import AS_THE_SET
from stationtest.files.reaches import AtLeastReach, PositiveReach, Reach
from stationtest.files.scalars import Instant, OnOffOrAsTheSet, OutputName, Until, wrong

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station


class OutputFields(Base):
    """What one output must do. `is_` is True, False or `as the set is`; `from_` is None where that counts from the decision."""

    is_: OnOffOrAsTheSet
    from_: Instant | None = None
    after: Reach = said("0 ms")
    within: PositiveReach | None = None
    until: Until | None = None
    lasts: AtLeastReach | None = None

    @model_validator(mode="after")
    def _fits(self) -> OutputFields:
        if self.from_ is None and self.is_ != AS_THE_SET:
            allowed = "start, end, covered, event, or an edge of an input"
            raise wrong("this key is missing: from", allowed=allowed, code="missing-key")
        if not self.is_ and (self.within is not None or self.lasts is not None):
            raise wrong("an output that must stay off has no `within` or `lasts`: it is off until the next decision",
                        allowed="`until` with is: off", code="contradiction")  # fmt: skip
        if self.is_ and self.within is not None and self.until is not None:
            raise wrong("`within` and `until` both end the window", allowed="one of them", code="contradiction")
        return self


Fields = Single[dict[OutputName, OutputFields]]


def words(fields: Fields, station: Station) -> str:
    return listed(_words(name, output) for name, output in fields.root.items())


def _words(name: str, output: OutputFields) -> str:
    origin = "its decision" if output.from_ is None else instant_text(output.from_)
    later = f"{reach_text(output.after)} after {origin}" if output.after else origin
    until = (
        ""
        if output.until is None
        else f" until {output.until if output.until == 'next decision' else f'the edge {output.until}'}"
    )
    if not output.is_:
        return f"{name} stays off from {later}{until or ' until its next decision'}"
    window = f"within {reach_text(output.within)} from {later}" if output.within is not None else f"after {later}{until}"
    lasts = f" and lasts at least {reach_text(output.lasts)}" if output.lasts is not None else ""
    if output.is_ == AS_THE_SET:
        off = "then" if output.within is not None else f"from {later}{until or ' until its next decision'}"
        return f"{name} comes on {window}{lasts} where the set is incomplete, and stays off {off} where it is complete"
    return f"{name} comes on {window}{lasts}"


def judge(fields: Fields, trials: Trials) -> Judged:
    import numpy as np

    from stationtest.expectations import doubts, output_windows, reaching
    from stationtest.expectations.trials import instant, outcomes, weakest
    from stationtest.model.judged import NONCONFORMING, NOT_JUDGED, Judged

    view, index, unit = trials.view, trials.index, trials.unit
    if not view.timed:
        return _by_hand(fields, trials)
    for asked in fields.root.values():
        missing = reaching.untold(view, (asked.after, asked.within, asked.lasts))
        if missing:
            return trials.not_judged(missing)
        for limit in (asked.within, asked.lasts):
            fine = trials.too_fine(limit) if limit is not None else None
            if fine:
                return trials.not_judged(fine)
    where = trials.case.where
    judged = {name: output_windows.judge_output(view, unit, name, asked, where) for name, asked in fields.root.items()}
    for name, one in judged.items():
        if one is None:
            return trials.not_judged(f"this recording has no output {name}")
    each = {name: one for name, one in judged.items() if one is not None}
    table = np.column_stack([one.outcome[index] for one in each.values()])
    short = np.zeros_like(table, dtype=np.bool_)
    if view.obs.placements:
        for k, (name, one) in enumerate(each.items()):
            if fields.root[name].within is not None:
                short[:, k] = doubts.shorter_than_time_is_known(view, one.begin.early, one.end.late)[index]
        table[short] = NOT_JUDGED
    bad, open_ = table == NONCONFORMING, table == NOT_JUDGED
    names, first = list(each), np.where(bad.any(axis=1), bad.argmax(axis=1), open_.argmax(axis=1))

    def at_ns(i: int) -> int | None:
        one = each[names[int(first[i])]]
        return instant(one.at_ns[index[i]]) or instant(one.origin[index[i]])

    bases = {name: view.obs.signals["output", name].basis for name in names}
    quiet = [name for name, asked in fields.root.items() if asked.is_ is not True and bases[name] != "recorded"]
    sensors = frozenset(view.obs.presentations.sensors) if quiet else frozenset()
    both = any(asked.is_ == AS_THE_SET for asked in fields.root.values())

    def why(i: int) -> str:
        name, row = names[int(first[i])], int(index[i])
        if short[i, first[i]]:
            return f"time is known to {view.doubt_ns / 1e6:g} ms only, and the window of {name} is shorter"
        return output_windows.why(view, unit, name, fields.root[name], each[name], row)

    return Judged(
        outcome=outcomes(bad.any(axis=1), open_.any(axis=1)),
        kinds=output_windows.kinds_of_sets(view) if both else None,
        why=why,
        channel=lambda i: names[int(first[i])],
        at_ns=at_ns,
        basis=weakest(tuple(bases.values())),
        at_most_not_shown=trials.coarse_reason(sensors, "that an output stayed off"),
    )


def _by_hand(fields: Fields, trials: Trials) -> Judged:
    """A table without times: what was noted on each output."""
    import numpy as np

    from stationtest.expectations import timeline
    from stationtest.expectations.trials import outcomes
    from stationtest.model.judged import Judged

    columns = []
    for name, asked in fields.root.items():
        if asked.after or asked.within is not None or asked.lasts is not None or asked.is_ == AS_THE_SET:
            return trials.not_judged("needs times")
        seen = timeline.seen_on_output(trials.view, trials.unit, name)
        if seen is None:
            return trials.not_judged(f"this recording has no output {name}")
        columns.append(seen[trials.index])
    seen_all = np.column_stack(columns)
    wanted = np.array([1 if asked.is_ else 0 for asked in fields.root.values()])
    bad, open_ = (seen_all != wanted) & (seen_all >= 0), seen_all < 0
    names = list(fields.root)
    first = np.where(bad.any(axis=1), bad.argmax(axis=1), open_.argmax(axis=1))

    def why(i: int) -> str:
        name, seen = names[int(first[i])], int(seen_all[i, first[i]])
        return f"what {name} did was not noted" if seen < 0 else f"{name} was seen {'on' if seen else 'off'}"

    return Judged(
        outcome=outcomes(bad.any(axis=1), open_.any(axis=1)),
        why=why,
        channel=lambda i: names[int(first[i])],
        at_ns=lambda i: None,
        basis="by hand",
    )
