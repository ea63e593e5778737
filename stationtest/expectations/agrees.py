"""`agrees: {edges_within: 15 ms, latency: 4 ms}`: recorded channels do what our model computes from the readings.

Unit: presentation. Fields: `edges_within`, `latency` (taken off the recorded edges; none unless stated).
Conforms: every edge of a recorded channel from the start of the presentation to the start of the next one on that sensor
has a partner among the computed edges, of the same direction, in order and within that time, and the other way round; so
both fired, or both were silent.
Instant named: the first edge without a partner. Value: the largest difference of paired edges, in ms.
Not judged: no recorded channel that is computed too; a limit finer than the readings; computed states that are not known.
Example by hand: computed on 100 to 140 ms, recorded 106 to 145 ms, latency 4 ms: differences 2 and 1 ms; `edges_within: 1
ms` is nonconforming (A33).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationtest.expectations.wording import duration_text
from stationtest.files.fields import Fields as Base
from stationtest.files.fields import said
from stationtest.files.scalars import Duration, PositiveDuration

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from stationtest.expectations.trials import Trials, View
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]


class Fields(Base):
    edges_within: PositiveDuration
    latency: Duration = said("0 ms")


def words(fields: Fields, station: Station) -> str:
    late = f", {duration_text(fields.latency)} of latency taken off" if fields.latency else ""
    return f"recorded and computed channels switch alike, every edge within {duration_text(fields.edges_within)}{late}"


def judge(fields: Fields, trials: Trials) -> Judged:
    import numpy as np

    from stationtest.expectations.trials import any_of, outcomes
    from stationtest.expectations.wording import milliseconds, seconds
    from stationtest.model.judged import Judged

    view, index, did = trials.view, trials.index, trials.obs.responses
    fine = trials.too_fine(fields.edges_within)
    if fine:
        return trials.not_judged(fine)
    pairs, difference, alone, compared, unknown = view.once(("agrees", fields), lambda: _compare(view, fields))
    if not pairs:
        return trials.not_judged("no recorded channel is computed too, so there is nothing to compare")
    first = alone[index]
    bad = any_of(first >= 0)
    nothing = ~any_of(compared[index])
    open_ = any_of(unknown[index])

    def worst(i: int) -> int:
        return int(np.where(first[i] < 0, np.iinfo(np.int64).max, first[i]).argmin())

    def why(i: int) -> str:
        if bad[i]:
            c = worst(i)
            within = milliseconds(fields.edges_within)
            return f"channel {did.channels[c]}: an edge at {seconds(first[i, c])} has no partner within {within}"
        if nothing[i]:
            return "no channel of its sensor is both recorded and computed"
        if open_[i]:
            return "the computed state of a channel was not known"
        return f"all edges agree, to {milliseconds(int(difference[index[i]]))}"

    return Judged(
        outcome=outcomes(bad & ~open_, open_ | nothing),
        value=np.where(nothing, np.nan, difference[index] / 1e6),
        unit="ms",
        good="low",
        why=why,
        channel=lambda i: did.channels[worst(i)] if bad[i] else "",
        at_ns=lambda i: int(first[i, worst(i)]) if bad[i] else int(trials.start_ns()[i]),
        basis="recorded",
    )


def _compare(view: View, fields: Fields) -> tuple[int, Ints, Ints, Bools, Bools]:
    """How many channels can be compared; (P,) largest difference of paired edges; (P, C) the first edge without a partner
    (-1 none), whether the pair was compared, and whether the computed state is not known for sure."""
    import numpy as np

    from stationtest.expectations.timeline import next_start
    from stationtest.signals import intervals

    shown, did, clock = view.obs.presentations, view.obs.responses, view.obs.clock
    shape = did.applies.shape
    difference, alone = np.zeros(shape[0], dtype=np.int64), np.full(shape, -1, dtype=np.int64)
    compared, unknown = np.zeros(shape, dtype=np.bool_), np.zeros(shape, dtype=np.bool_)
    span, count, until = (clock.first_ns, clock.end_ns), 0, next_start(view, "presentation")
    for c, name in enumerate(did.channels):
        recorded, computed = view.obs.signals.get(("channel", name)), view.obs.signals.get(("computed channel", name))
        if recorded is None or computed is None or recorded.basis != "recorded":
            continue
        count += 1
        rows = np.flatnonzero(did.applies[:, c] & ~shown.between)
        compared[rows, c] = True
        open_time = intervals.subtract(computed.can, computed.must)
        unknown[rows, c] = intervals.overlap(open_time, shown.start_ns[rows], until[rows]) > 0
        order = np.argsort(shown.start_ns[rows], kind="stable")
        starts = shown.start_ns[rows][order]
        for ours, theirs in zip(intervals.edges(computed.must, span), intervals.edges(recorded.must, span), strict=True):
            taken_off = theirs - fields.latency
            a, b = _paired(ours, taken_off, fields.edges_within)
            lone = np.concatenate((np.delete(ours, a), np.delete(taken_off, b)))
            for instants, apart in ((ours[a], np.abs(ours[a] - taken_off[b])), (lone, None)):
                of = np.searchsorted(starts, instants, "right") - 1
                inside = of >= 0
                owners = rows[order[of[inside]]]
                if apart is not None:
                    np.maximum.at(difference, owners, apart[inside])
                    continue
                for owner, at in zip(owners.tolist(), lone[inside].tolist(), strict=True):
                    if at < until[owner] and (alone[owner, c] < 0 or at < alone[owner, c]):
                        alone[owner, c] = at
    return count, difference, alone, compared, unknown


def _paired(ours: Ints, theirs: Ints, within: int) -> tuple[list[int], list[int]]:
    """Indices of edges paired in order, at most `within` apart."""
    a: list[int] = []
    b: list[int] = []
    i = j = 0
    first, second = ours.tolist(), theirs.tolist()
    while i < len(first) and j < len(second):
        apart = second[j] - first[i]
        if abs(apart) <= within:
            a.append(i)
            b.append(j)
            i, j = i + 1, j + 1
        elif apart > 0:
            i += 1
        else:
            j += 1
    return a, b
