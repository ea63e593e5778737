"""`set: complete` or `set: incomplete`: the set's own output says what truth says.

Unit: set. Fields: `complete` or `incomplete`.
Conforms: the output that the station names for this kind of set is on for sure (`complete`), or not even perhaps
(`incomplete`), at the end of the set: just before its `to` edge; just after it for an output that is decided at that edge.
A set without edges is looked at from its start to the start of the next one.
Instant named: the end of the set.
Not judged: truth says otherwise than the case (`complete` asked of a set that is not); the station names no output; cut sets.
Example by hand: a box of mint and chamomile ends at 10.000 s, both latches set by 9.800 s: `complete` conforms, since the
state just before the edge is read (A3). With the only pulse of mint 3 ms long, it is nonconforming: the latch is set only
perhaps (A10).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from stationtest.files.fields import Single

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from stationtest.expectations.trials import Trials
    from stationtest.expectations.view import View
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station

    Bools = NDArray[np.bool_]

Fields = Single[Literal["complete", "incomplete"]]


def words(fields: Fields, station: Station) -> str:
    return f"the output of the set says that it is {fields.root}"


def judge(fields: Fields, trials: Trials) -> Judged:

    from stationtest.expectations.trials import outcomes, weakest
    from stationtest.expectations.wording import seconds
    from stationtest.model.judged import Judged

    view, index, sets = trials.view, trials.index, trials.obs.sets
    outputs = tuple(view.station.set_kind(kind).output or "" for kind in sets.kinds)
    sure, perhaps, known = view.once("set outputs", lambda: _state(view))
    complete = fields.root == "complete"
    on, off, is_known = sure[index], ~perhaps[index], known[index]
    otherwise = sets.complete[index] != complete
    bad = ~(on if complete else off) & is_known & ~otherwise
    used = [view.obs.signals[key].basis for key in (("output", name) for name in outputs) if key in view.obs.signals]

    def why(i: int) -> str:
        row = int(index[i])
        output = outputs[sets.kind[row]]
        if not output:
            return f"the station names no output for {sets.kinds[sets.kind[row]]}"
        if otherwise[i]:
            return f"truth says that it is {'in' if complete else ''}complete, so it cannot be asked to be {fields.root}"
        if not is_known[i]:
            return f"the state of {output} at its end is not known"
        if bad[i] and perhaps[row] and not sure[row]:
            from stationtest.expectations.timeline import deciding_perhaps

            return f"{output} was on only perhaps at its end{deciding_perhaps(view, 'set', row)}"
        state = "on" if sure[row] else "off"
        return f"{output} was {state}" + (f" at its end, {seconds(int(sets.end_ns[row]))}" if view.timed else "")

    return Judged(
        outcome=outcomes(bad, ~is_known | otherwise),
        why=why,
        channel=lambda i: outputs[sets.kind[index[i]]],
        at_ns=lambda i: int(sets.end_ns[index[i]]) if view.timed else None,
        basis=weakest(tuple(used)) if view.timed else "by hand",
        at_most_not_shown=trials.coarse_reason(frozenset(view.obs.presentations.sensors), "that an output stayed off")
        if not complete and weakest(tuple(used)) != "recorded"
        else None,
    )


def _state(view: View) -> tuple[Bools, Bools, Bools]:
    """(S,) each: the set's output is on for sure, may be on, and is known, where the set is decided."""
    import numpy as np

    from stationtest.expectations import timeline
    from stationtest.model.observations import Sets
    from stationtest.signals import intervals

    sets: Sets = view.obs.sets
    sure, perhaps, known = (np.zeros(len(sets), dtype=np.bool_) for _ in range(3))
    following = timeline.next_start(view, "set") if view.timed else sets.end_ns
    for k, name in enumerate(sets.kinds):
        kind = view.station.set_kind(name)
        rows = np.flatnonzero(sets.kind == k)
        if kind.output is None or not len(rows):
            continue
        if not view.timed:
            seen = timeline.seen_on_output(view, "set", kind.output)
            if seen is not None:
                sure[rows] = perhaps[rows] = seen[rows] == 1
                known[rows] = seen[rows] >= 0
            continue
        signal = view.obs.signals.get(("output", kind.output))
        if signal is None:
            continue
        end = sets.end_ns[rows]
        known[rows] = end > timeline.unknown_until(view, kind.output)
        if view.doubt_ns:  # two changes so near its end: the state between them may be the one that counts
            near = [np.searchsorted(np.sort(signal.must.ravel()), end + ns) for ns in (-view.doubt_ns, view.doubt_ns)]
            known[rows] &= near[1] - near[0] < 2
        if signal.unknown is not None:
            known[rows] &= intervals.overlap(signal.unknown, end - 1, end + 1) == 0
        if kind.to_edge is None:
            sure[rows] = intervals.overlap(signal.must, sets.start_ns[rows], following[rows]) > 0
            perhaps[rows] = intervals.overlap(signal.can, sets.start_ns[rows], following[rows]) > 0
        elif view.station.output(kind.output).decided_at == kind.to_edge:
            sure[rows], perhaps[rows] = intervals.contains(signal.must, end), intervals.contains(signal.can, end)
        else:
            sure[rows], perhaps[rows] = intervals.before(signal.must, end), intervals.before(signal.can, end)
    return sure, perhaps, known
