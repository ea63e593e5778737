"""Outputs that must come on, or stay off, in a window after an instant: the judgement behind `outputs` (design A11).

Everything is worked out for all presentations or sets of a recording at once. `asked` below is one `outputs.OutputFields`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from stationtest.expectations import events, timeline
from stationtest.expectations.reaching import Bounds, after, between, doubt_text, exactly, together
from stationtest.expectations.trials import outcomes
from stationtest.expectations.view import View
from stationtest.expectations.wording import instant_text, milliseconds, reach_text, seconds
from stationtest.files.names import AS_THE_SET
from stationtest.model.observations import NEVER, UNKNOWN_TARGET
from stationtest.model.travel import Length
from stationtest.signals import intervals

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stationtest.model.station import Output, Station

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Windowed:
    """One output judged in the windows of a whole table. `at_ns` is the on-time in question, `held_ns` the end of excepted
    on-time; `doubtful` where the doubt of the belt's position decides; `undecided` where the output took no decision for it."""

    outcome: NDArray[np.int8]
    origin: Ints
    begin: Bounds
    end: Bounds
    at_ns: Ints
    held_ns: Ints
    doubtful: Bools
    undecided: Bools


def judge_output(view: View, unit: str, name: str, asked: Any, where: events.Where = ()) -> Windowed | None:
    """The outcome for every row of the table; None if the recording has no such output. `where` names the events of `from:
    event`."""
    about = events.asked(where) if asked.from_ == "event" else ()
    return view.once(("output window", unit, name, asked, about), lambda: _judge(view, unit, name, asked, about))


def row_asked(view: View, unit: str, name: str, asked: Any, row: int) -> Any:
    """What is asked of one row: where the set decides, on or off."""
    if asked.is_ != AS_THE_SET:
        return asked
    return _both(view, name, asked)[int(unit == "set" and view.obs.sets.complete[row])]


def coming_on(view: View, name: str, asked: Any) -> Any:
    """What is asked where the output must come on."""
    return _both(view, name, asked)[0] if asked.is_ == AS_THE_SET else asked


def _both(view: View, name: str, asked: Any) -> tuple[Any, Any]:
    """What is asked of an output for incomplete sets, and for complete ones: on, and off in the same window."""
    closing = {kind.to_edge for kind in view.station.sets}
    edges = [one.decided_at for one in deciders(view.station, name)]
    origin = asked.from_ if asked.from_ is not None else next((edge for edge in edges if edge in closing), edges[0])
    asked = asked.model_copy(update={"from_": origin, "is_": True})
    return asked, asked.model_copy(update={"is_": False, "lasts": None})


def kinds_of_sets(view: View) -> frozenset[str]:
    """Whether truth has complete sets in this recording, and incomplete ones."""
    complete = view.obs.sets.complete[view.obs.sets.status & UNKNOWN_TARGET == 0]
    return frozenset(("complete" if one else "incomplete") for one in set(complete.tolist()))


def _judge(view: View, unit: str, name: str, asked: Any, about: events.Where) -> Windowed | None:
    if asked.is_ == AS_THE_SET:
        on, off = (_judge(view, unit, name, one, about) for one in _both(view, name, asked))
        if on is None or off is None:
            return None
        return _chosen(view.obs.sets.complete, off, on)
    found = timeline.runs(view, "output", name)
    if found is None:
        return None
    origin, begin, end, cut, undecided = placed(view, unit, name, asked, about)
    known, last = (origin != NEVER) & ~undecided, view.obs.clock.end_ns
    sure, loose = (begin.late, end.early), (begin.early, end.late)  # certainly, and perhaps, in the window
    if asked.is_:
        lasting = after(view, exactly(np.maximum(found.sure_start, 0)), asked.lasts or 0)
        good, _ = _comes_on(found, *sure, found.sure_end >= lasting.late)
        perhaps, at = _comes_on(found, *loose, (found.sure_end >= lasting.early) | _cut_by_a_gap(view, name, found.sure_end))
        under_way = _under_way(found, *loose, last) & ~good
        before = _perhaps_before(view, name, begin.early)
        bad = ~perhaps & ~cut & ~under_way & ~before
        unsettled = (cut | perhaps | before) & ~good | under_way
        outcome = outcomes(bad & known, ~known | unsettled)
        return Windowed(outcome, origin, begin, end, at, _none(origin), perhaps & ~good, undecided)
    said = timeline.runs(view, "output", name, said=True)
    assert said is not None
    later = any(one.acts_after for one in deciders(view.station, name))
    since = begin.stated if later else _own_since(view, unit, name, origin)
    if asked.within is None:  # behind a gap it may be the next one's: the edge that ends the window may lie in it
        sure = sure[0], np.maximum(np.minimum(sure[1], _next_gap(view, sure[0])), sure[0])
    bad, at, held = _stays_off(view, said, name, since, *sure)
    perhaps, at_most, _ = _stays_off(view, said, name, since, *loose)
    unknown = bad & (at < timeline.unknown_until(view, name))
    at = np.where(bad, at, at_most)
    outcome = outcomes(bad & known & ~unknown, ~known | cut | unknown | perhaps)
    return Windowed(outcome, origin, begin, end, at, held, perhaps & ~bad, undecided)


class Placed(NamedTuple):
    """The instant from which each row's window counts, where it begins and ends, whether it reaches beyond what is known, and
    whether the output took no decision for it."""

    origin: Ints
    begin: Bounds
    end: Bounds
    cut: Bools
    undecided: Bools


def placed(view: View, unit: str, name: str, asked: Any, where: events.Where) -> Placed:
    """The window of each row of the table."""
    about = events.asked(where) if asked.from_ == "event" else ()
    origin = events.picked(view, unit, about)[1] if about else timeline.reference_instants(view, unit, asked.from_)
    own = _own_decision(view, unit, name, origin, asked)
    begin, end = _window(view, name, origin, asked, own)
    known, last = origin != NEVER, view.obs.clock.end_ns
    undecided = known & ~own.taken if own is not None else np.zeros_like(known)
    cut = (end.late > last) | timeline.in_gap(view, origin, np.minimum(end.late, last), name)
    cut |= (begin.early < timeline.unknown_until(view, name)) | undecided
    return Placed(origin, begin, end, known & cut, undecided)


def _chosen(first: Bools, one: Windowed, other: Windowed) -> Windowed:
    """Rows of one judgement where `first` says so, else of the other."""

    def bounds(a: Bounds, b: Bounds) -> Bounds:
        return Bounds(*(np.where(first, x, y) for x, y in zip(a, b, strict=True)))

    return Windowed(
        np.where(first, one.outcome, other.outcome), np.where(first, one.origin, other.origin), bounds(one.begin, other.begin),
        bounds(one.end, other.end), np.where(first, one.at_ns, other.at_ns), np.where(first, one.held_ns, other.held_ns),
        np.where(first, one.doubtful, other.doubtful), np.where(first, one.undecided, other.undecided),
    )  # fmt: skip


def _window(view: View, name: str, origin: Ints, asked: Any, own: _Own | None) -> tuple[Bounds, Bounds]:
    """Where each row's window begins and ends."""
    begin = after(view, exactly(origin), asked.after)
    if asked.within is None and own is not None:
        begin, end = begin if asked.after else exactly(own.begin), exactly(own.end)
    elif asked.within is None:
        end = exactly(_until(view, name, origin, begin.stated, asked))
    elif (both := together(asked.after, asked.within)) is not None:
        end = after(view, exactly(origin), both)
    else:
        end = after(view, begin, asked.within)
    return begin, Bounds(*(np.maximum(e, b) for e, b in zip(end, begin, strict=True)))


class _Own(NamedTuple):
    """When an on-time would belong to each row's own decision, and whether one was taken."""

    begin: Ints
    end: Ints
    taken: Bools


def deciders(station: Station, name: str) -> tuple[Output, ...]:
    """The outputs that decide what an output does: itself if it is decided at an edge, else those that it reads."""
    output, outputs = station.output(name), {one.name for one in station.outputs}
    if output.decided_at is not None:
        return (output,)
    read = [part for part in output.logic.names() if part in outputs]
    return tuple(dict.fromkeys(one for part in read for one in deciders(station, part)))


def _own_decision(view: View, unit: str, name: str, origin: Ints, asked: Any) -> _Own | None:
    """For an output whose decisions act later, and a window that its next decision ends: the last decision of the trial up to
    `origin`, else the first after it, owns what comes nearer to the instant at which it acts than to its neighbours'. None for
    all others.

    An output that reads several that are decided, each at its own edge, has the decisions of all of them; one counted from such
    an edge has those of that one."""
    decided, signals = deciders(view.station, name), view.obs.signals
    to_the_next = asked.within is None and (asked.until is None or isinstance(asked.until, str))
    if not to_the_next or not any(one.acts_after for one in decided):
        return None
    taken_at, acts = [], []
    for one in [one for one in decided if one.decided_at == asked.from_] or decided:
        decisions = signals["output", one.name].decisions_ns
        assert decisions is not None
        taken_at.append(decisions)
        acts.append(after(view, exactly(decisions), one.acts_after).stated)
    decisions, acting = np.concatenate(taken_at), np.concatenate(acts)
    order = np.argsort(decisions, kind="stable")
    decisions, acting = decisions[order], acting[order]
    place = np.argsort(acting, kind="stable")
    rank = np.argsort(place, kind="stable")  # of each decision, among the instants at which they act
    middles, before = between(view, acting[place], any(isinstance(one.acts_after, Length) for one in decided))
    own = np.searchsorted(decisions, origin, "left")
    own = np.where(_decided_before(view, unit, decisions, origin) == NEVER, own, own - 1)
    never_again = np.int64(view.obs.clock.end_ns + 1)
    taken = own < len(decisions)
    if any(one.decided_at == asked.from_ for one in decided):
        taken &= np.append(decisions, NEVER)[own] == origin  # not that of a later box
    own = np.append(rank, len(rank))[own]
    begin = np.append(np.concatenate((before, middles)), NEVER)[own]
    return _Own(np.maximum(begin, origin), np.concatenate((middles, [never_again] * 2))[own], taken)


def _decided_before(view: View, unit: str, decisions: Ints, origin: Ints) -> Ints:
    """The last of the decisions that each row saw before `origin`; NEVER where there is none, or where `origin` is one."""
    at = np.searchsorted(decisions, origin, "left")
    last = np.append(np.int64(NEVER), decisions)[at]
    own = (last >= timeline.counts_from(timeline.table(view, unit))) & (np.append(decisions, NEVER)[at] != origin)
    return np.where(own, last, NEVER)


def _own_since(view: View, unit: str, name: str, origin: Ints) -> Ints:
    """From when what comes on is each row's own: from its last decision up to `origin`, else from `origin`."""
    decisions = view.obs.signals["output", name].decisions_ns
    if decisions is None:
        return origin
    before = _decided_before(view, unit, decisions, origin)
    return np.where(before == NEVER, origin, before)


def _none(like: Ints) -> Ints:
    return np.full(len(like), NEVER, dtype=np.int64)


def _until(view: View, name: str, origin: Ints, begin: Ints, asked: Any) -> Ints:
    """The end of a window without `within`, after its begin: `until`, else the output's next decision, else where the next
    trial of its kind begins."""
    decisions = view.obs.signals["output", name].decisions_ns
    if asked.until is not None and not isinstance(asked.until, str):
        following = timeline.edge_instants(view, asked.until)
    elif decisions is not None:
        following = decisions
    else:
        following = np.unique(origin[origin != NEVER])
    never_again = view.obs.clock.end_ns + 1  # past the end: not judged, unless something was seen to be wrong
    return np.append(following, np.int64(never_again))[np.searchsorted(following, begin, "right")]


def _comes_on(found: timeline.Runs, begin: Ints, end: Ints, lasts: Bools) -> tuple[Bools, Ints]:
    """Whether a run rises for sure within the window and lasts; and the first on-time that may lie in the window at all."""
    good = found.sure & lasts
    starts, sure_starts = found.start[good], np.append(found.sure_start[good], np.iinfo(np.int64).max)
    comes = sure_starts[np.searchsorted(starts, begin, "left")] < end
    touching = np.append(found.start, np.int64(np.iinfo(np.int64).max))[np.searchsorted(found.end, begin, "right")]
    return comes, np.where(touching < end, touching, NEVER)


def _perhaps_before(view: View, name: str, begin: Ints) -> Bools:
    """Where an output that is on as the window begins may have come on in a gap, or only now: nobody saw it on before."""
    signal = view.obs.signals["output", name]
    unknown = signal.unknown if signal.unknown is not None else np.empty((0, 2), dtype=np.int64)
    on = intervals.contains(signal.can, begin) & intervals.contains(signal.can, begin - 1)
    return on & intervals.contains(unknown, begin - 1)


def _cut_by_a_gap(view: View, name: str, ends: Ints) -> Bools:
    """Whether what was on for sure until then went on into stretches of which nobody knows."""
    unknown = view.obs.signals["output", name].unknown
    return np.zeros(len(ends), dtype=np.bool_) if unknown is None else np.isin(ends, unknown[:, 0])


def _next_gap(view: View, after_ns: Ints) -> Ints:
    """Where the next gap of the readings begins at or after each instant."""
    starts = np.append(view.obs.gaps[:, 0], np.iinfo(np.int64).max)
    return starts[np.searchsorted(starts[:-1], after_ns, "left")]


def _under_way(found: timeline.Runs, begin: Ints, end: Ints, last: int) -> Bools:
    """Whether the last row cut an on-time that rose in the window, so that nobody knows how long it lasted."""
    if not len(found.start) or found.sure_end[-1] < last:
        return np.zeros(len(begin), dtype=np.bool_)
    return (found.start[-1] >= begin) & (found.sure_start[-1] < end)


def _stays_off(view: View, found: timeline.Runs, name: str, since: Ints, begin: Ints, end: Ints) -> tuple[Bools, Ints, Ints]:
    """Whether the output may be on within the window; from when; and until when an on-time of an earlier decision, begun before
    `since`, is excepted."""
    far = np.int64(np.iinfo(np.int64).max)
    starts, ends = np.append(found.start, far), np.append(found.end, far)
    at = np.searchsorted(found.end, begin, "right")
    excepted = _excepted_until(view, name, starts[at], since)
    held = (starts[at] < since) & (starts[at] < end) & (excepted > begin)
    over = held & (ends[at] <= excepted)
    following = np.where(over, np.minimum(at + 1, len(found.start)), at)
    bad = starts[following] < end
    return bad, np.where(bad, starts[following], NEVER), np.where(held, np.minimum(ends[at], excepted), NEVER)


def _excepted_until(view: View, name: str, start: Ints, since: Ints) -> Ints:
    """Until when an on-time that began before `since` may go on by an earlier decision: as long as pulse, off-delay and
    scan explain."""
    output, decisions = view.station.output(name), view.obs.signals["output", name].decisions_ns
    if decisions is None or not len(decisions):
        return _none(since)
    until = exactly(since)
    if output.pulse is not None:
        until = after(view, exactly(np.minimum(start, since)), output.pulse)
    until_ns = after(view, until, output.off_delay).late + view.station.scan.seen_ns
    earlier = np.searchsorted(decisions, since, "left") > 0
    return np.where(earlier, until_ns, NEVER)


def why(view: View, unit: str, name: str, asked: Any, judged: Windowed, row: int) -> str:
    """The words for one row."""
    from stationtest.model.judged import CONFORMING, NOT_JUDGED

    asked = row_asked(view, unit, name, asked, row)
    origin, at = int(judged.origin[row]), int(judged.at_ns[row])
    if origin == NEVER:
        return f"{instant_text(asked.from_)} is not known" if isinstance(asked.from_, str) else f"there was no edge {asked.from_}"
    since = f"{asked.from_} at {seconds(origin, at)}"
    on = partial(_when, view, name, at, origin, asked)
    if judged.undecided[row]:
        return f"{name} took no decision from {since}"
    if judged.outcome[row] == NOT_JUDGED:
        if judged.end.late[row] > view.obs.clock.end_ns:
            return f"the window of {name} from {since} reaches past the end of the recording"
        if judged.doubtful[row]:
            return f"{name} was on {on('')}, and {_doubt(view, asked) or 'with a gap'} that does not settle it, from {since}"
        return f"{name} is not known well enough from {since}: a gap, unknown states, or the end of the recording"
    if judged.outcome[row] == CONFORMING:
        held = int(judged.held_ns[row])
        return f"conforms; {name} was held over from an earlier decision until {seconds(held)}" if held != NEVER else "conforms"
    perhaps = timeline.deciding_perhaps(view, unit, row)
    if not asked.is_:
        return f"{name} was on {on(perhaps)}, and must be off from {since}"
    if at == NEVER:
        within = f" within {reach_text(asked.within)}" if asked.within is not None else ""
        later = f"{reach_text(asked.after)} after " if asked.after else ""
        return f"{name} did not come on{within} from {later}{since}"
    if at < judged.begin.early[row]:
        begun = seconds(at, origin)
        return f"{name} was already on from {begun}, before the window from {since} began; no other on-time came in it"
    return f"{name} came on {on(perhaps)}, from {since}, but not for sure, not in time, or not for long enough"


def _doubt(view: View, asked: Any) -> str:
    """`the position of the belt is known to 2.5 mm over 620 mm:` of the longest length asked for."""
    lengths = [reach for reach in (asked.after, asked.within, asked.lasts) if isinstance(reach, Length)]
    return f"the position of the belt is known to {doubt_text(view, max(lengths, key=lambda one: one.nm))}:" if lengths else ""


def _when(view: View, name: str, at: int, origin: int, asked: Any, perhaps: str) -> str:
    """When an output was on, and for how long; told from the instant that its window counts from."""
    found = timeline.runs(view, "output", name)
    assert found is not None
    run = int(np.searchsorted(found.start, at, "right")) - 1
    limit = 0 if asked.lasts is None or isinstance(asked.lasts, Length) else asked.lasts
    lasted = f" for {milliseconds(int(found.end[run] - found.start[run]), view.period_ns, limit)}"
    began = seconds(at, origin)
    if not found.sure[run]:
        return f"perhaps, from {began}{lasted}{perhaps}"
    return f"from {began}{lasted}" + (f", perhaps only from there{perhaps}" if found.sure_start[run] != at else "")


def without_decision(view: View, name: str) -> list[int]:
    """Instants at which a decided output came on although no decision can have caused it: before its first decision, or
    again after the same one."""
    signal = view.obs.signals.get(("output", name))
    if signal is None or signal.decisions_ns is None:
        return []
    starts = signal.must[:, 0][signal.must[:, 0] > view.obs.clock.first_ns]
    acts = after(view, exactly(signal.decisions_ns), view.station.output(name).acts_after)
    of = np.searchsorted(acts.early, starts, "right")
    again = np.zeros(len(starts), dtype=np.bool_)
    again[1:] = of[1:] == of[:-1]
    found: list[int] = starts[(of == 0) | again].tolist()
    return found
