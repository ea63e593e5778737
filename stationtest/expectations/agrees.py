"""`agrees: {edges_within: 15 ms, latency: 4 ms}`: recorded channels do what our model computes from the readings.

Unit: presentation. Fields: `edges_within`, `latency` (taken off the recorded edges; none unless stated), `outputs` (recorded
outputs that are compared as well; none unless stated).
Conforms: every edge of a recorded channel from the start of the presentation to the start of the next one on that sensor
has a partner among the computed edges, of the same direction, in order and within that time, and the other way round. Told
first is a signal that came on as recorded and not as computed, or the other way round; then edges without a partner.
Instant named: the first edge without a partner. Value: the largest difference of paired edges, in ms.
Not judged: no recorded channel that is computed too; a limit finer than the readings; computed states that are not known.
Example by hand: computed on 100 to 140 ms, recorded 106 to 145 ms, latency 4 ms: differences 2 and 1 ms; `edges_within: 1
ms` is nonconforming (A33).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import Field

from stationtest.expectations.wording import duration_text, listed
from stationtest.files.fields import Fields as Base
from stationtest.files.fields import said
from stationtest.files.scalars import Duration, OneOrMore, OutputName, PositiveDuration

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station


class Fields(Base):
    edges_within: PositiveDuration
    latency: Duration = said("0 ms")
    outputs: OneOrMore[OutputName] = Field(default=(), validate_default=False)


def words(fields: Fields, station: Station) -> str:
    late = f", {duration_text(fields.latency)} of latency taken off" if fields.latency else ""
    more = f" and {listed(fields.outputs)}" if fields.outputs else ""
    return f"recorded and computed channels{more} switch alike, every edge within {duration_text(fields.edges_within)}{late}"


def judge(fields: Fields, trials: Trials) -> Judged:
    import numpy as np

    from stationtest.expectations import edge_pairs
    from stationtest.expectations.trials import any_of, outcomes
    from stationtest.expectations.wording import milliseconds, seconds
    from stationtest.model.judged import Judged

    view, index = trials.view, trials.index
    fine = trials.too_fine(fields.edges_within)
    if fine:
        return trials.not_judged(fine)
    found = edge_pairs.compare(view, fields)
    missing = [name for name in fields.outputs if ("output", name) not in found.signals]
    if missing:
        return trials.not_judged(f"output {missing[0]} is not both recorded and computed")
    if not any(kind == "channel" for kind, _ in found.signals):
        return trials.not_judged("no recorded channel is computed too, so there is nothing to compare")
    first, (ours, theirs) = found.alone[index], (which[index] for which in found.rose)
    bad, differently = any_of(first >= 0), ours != theirs
    nothing = ~any_of(found.compared[index])
    open_ = any_of(found.unknown[index])

    def worst(i: int) -> int:
        wrong = (first[i] >= 0) & (differently[i] | ~differently[i].any())  # what fired or not comes before its edges
        return int(np.where(wrong, first[i], np.iinfo(np.int64).max).argmin())

    def why(i: int) -> str:
        if bad[i]:
            k, within = worst(i), milliseconds(fields.edges_within)
            if differently[i, k]:
                came, stayed = ("recorded", "computed") if theirs[i, k] else ("computed", "recorded")
                return f"{found.name(k)} came on as {came}, at {seconds(first[i, k])}, and stayed off as {stayed}"
            one = found.first(int(index[i]), k)
            ours, others = ("recorded", "computed") if one.recorded else ("computed", "recorded")
            edge = f"the {ours} {'rise' if one.rise else 'fall'} at {seconds(one.at_ns)}"
            text = f"{found.name(k)}: {edge} has no partner within {within}"
            if one.nearest_ns is None:
                return f"{text}; there is no {others} one at all"
            apart = milliseconds(abs(one.nearest_ns)) + (" later" if one.nearest_ns > 0 else " earlier")
            return f"{text}; the nearest {others} one is {apart}" + (", the latency taken off" if fields.latency else "")
        if nothing[i]:
            return "no channel of its sensor is both recorded and computed"
        if open_[i]:
            return "the computed state of a channel was not known"
        return f"all edges agree, to {milliseconds(int(found.difference[index[i]]), view.period_ns, fields.edges_within)}"

    return Judged(
        outcome=outcomes(bad & ~open_, open_ | nothing),
        value=np.where(nothing, np.nan, found.difference[index] / 1e6),
        unit="ms",
        good="low",
        why=why,
        channel=lambda i: found.signals[worst(i)][1] if bad[i] else "",
        at_ns=lambda i: found.first(int(index[i]), worst(i)).at_ns if bad[i] else int(trials.start_ns()[i]),
        basis="recorded",
    )
