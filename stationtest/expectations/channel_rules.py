"""Channels that must fire and channels that must be silent: the shared judgement of a presentation, and its words.

Must fire means on for sure, by the presentation's own cause. Must be silent means not on, not even perhaps, whoever caused
it. An answer that is not known is open; only what was seen for sure is nonconforming in spite of it (A9). Where a recorded
on-time could belong to a neighbour as well (overlapping windows, A4), nothing was seen for sure.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stationtest.expectations import other_sensors
from stationtest.expectations.trials import Trials, any_of, instant, outcomes, weakest
from stationtest.expectations.view import View
from stationtest.expectations.wording import listed, milliseconds, number_text
from stationtest.model.judged import Judged
from stationtest.model.observations import CUT_END, CUT_START, GAP, NEVER
from stationtest.signals import intervals

if TYPE_CHECKING:
    from collections.abc import Hashable

    from numpy.typing import NDArray

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]
    Floats = NDArray[np.float64]

Masks = tuple["Bools", "Bools", "Bools", str]
"""Must fire (P, C), must be silent (P, C), presentations that cannot be asked this (P,), and why not."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One question about channels, answered for a whole recording: (P,) outcomes, and (P, C) what was asked and came out
    wrong or open."""

    outcome: NDArray[np.int8]
    must: Bools
    must_not: Bools
    bad: Bools
    open: Bools
    unasked: Bools
    unasked_why: str
    basis: str | None  # of all channels, where they have one in common


def open_answers(view: View) -> tuple[Bools, Bools]:
    """(P, C) twice: the answer is open; and it was seen to be on all the same."""
    return view.once("open answers", lambda: _open_answers(view))


def _open_answers(view: View) -> tuple[Bools, Bools]:
    shown, did = view.obs.presentations, view.obs.responses
    undeclared = np.array([view.station.sensor(name).when_dark is None for name in shown.sensors], dtype=np.bool_)
    dark = did.rested_dark & undeclared[shown.sensor][:, None]
    interrupted = (shown.status & (GAP | CUT_START | CUT_END)) != 0
    recorded = np.array([basis == "recorded" for basis in did.basis], dtype=np.bool_)
    by_hand = np.array([basis == "by hand" for basis in did.basis], dtype=np.bool_)
    seen_apart = interrupted[:, None] | _log_silent(view)
    anybody = ~did.known & ((recorded & ~seen_apart) | by_hand)  # a neighbour's on-time, or not noted at all
    return ~did.known | dark, ~did.silent & ~anybody & ~dark & ~_perhaps_pulsed(view)


def _perhaps_pulsed(view: View) -> Bools:
    """(P, C) where a channel that gives pulses was not on for sure: a match that was perhaps there before a gap began no pulse
    behind it, so what its known readings give is no least."""
    shown, did = view.obs.presentations, view.obs.responses
    found = np.zeros_like(did.known)
    for c, name in enumerate(did.channels):
        signal = view.obs.signals.get(("channel", name))
        if view.station.channel(name).pulse_ns is not None and did.basis[c] in ("computed", "simulated") and signal is not None:
            found[:, c] = ~did.known[:, c] & (intervals.overlap(signal.must, shown.start_ns, shown.end_ns) == 0)
    return found


def _log_silent(view: View) -> Bools:
    """(P, C) presentations in which a channel's log does not say what it was, for some of the time."""
    shown, did = view.obs.presentations, view.obs.responses
    found = np.zeros_like(did.known)
    for c, name in enumerate(did.channels):
        signal = view.obs.signals.get(("channel", name))
        if signal is not None and signal.unknown is not None:
            found[:, c] = intervals.overlap(signal.unknown, shown.start_ns - 1, shown.end_ns) > 0
    return found


def judge_channels(trials: Trials, key: Hashable, masks: Callable[[View], Masks]) -> Judged:
    """Judge presentations by which channels must fire and which must be silent; `key` names the question."""
    view = trials.view
    asked = view.once(("asked", key), lambda: _ask(view, *masks(view)))
    index = trials.index
    basis, coarse = asked.basis, None
    if basis is None or (basis != "recorded" and view.coarse_sensors()):
        bases = view.channel_basis()
        must_not = asked.must_not[index].any(axis=0)
        used = np.flatnonzero(must_not | asked.must[index].any(axis=0)).tolist()
        basis = weakest(tuple(bases[c] for c in used))
        computed = [c for c in np.flatnonzero(must_not).tolist() if bases[c] in ("computed", "simulated")]
        channels = view.obs.responses.channels
        coarse = trials.coarse_reason(frozenset(view.station.channel(channels[c]).sensor for c in computed), "silence")
    return Judged(
        outcome=asked.outcome[index],
        why=lambda i: _why(view, asked, int(index[i])),
        channel=lambda i: _channel(view, asked, int(index[i])),
        at_ns=lambda i: _at(view, asked, int(index[i])),
        basis=basis,
        at_most_not_shown=coarse,
    )


def _ask(view: View, must: Bools, must_not: Bools, unasked: Bools, unasked_why: str) -> Asked:
    did = view.obs.responses
    open_, sure = open_answers(view)
    silent = did.silent
    if view.timed and (must_not & ~did.applies).any():
        there = other_sensors.elsewhere(view)
        on = there.on_ns > 0
        silent = np.where(did.applies, silent, ~on)
        open_ = np.where(did.applies, open_, there.unknown | there.dark)
        sure = np.where(did.applies, sure, on & ~there.dark)
    bad = (must & ~did.fired & ~open_) | (must_not & ~silent & (~open_ | sure))
    left_open = (must | must_not) & open_ & ~bad
    bases = set(view.channel_basis())
    return Asked(
        outcome=outcomes(bad.any(axis=1) & ~unasked, left_open.any(axis=1) | unasked),
        must=must,
        must_not=must_not,
        bad=bad,
        open=left_open,
        unasked=unasked,
        unasked_why=unasked_why,
        basis=bases.pop() if len(bases) == 1 else None,
    )


def own(view: View, everywhere: bool = False) -> Masks:
    """The channels of this target, and no other of that sensor, or of any."""
    must = view.should_be_on()
    others = (view.obs.responses.applies | everywhere) & ~must
    return must, others, ~any_of(must), "no channel should be on for this target: the word for that is `no_channel`"


def none(view: View, everywhere: bool = False) -> Masks:
    """No channel of the presentation's sensor, or of any."""
    asked = view.obs.responses.applies | everywhere
    return np.zeros_like(asked), asked, ~any_of(asked), "its sensor has no channel"


def named(view: View, names: tuple[str, ...], *, fire: bool, only: bool = False, everywhere: bool = False) -> Masks:
    """The named channels, and with `only` no other of that sensor, or of any."""
    did = view.obs.responses
    chosen = np.array([name in names for name in did.channels], dtype=np.bool_)
    mine = did.applies & chosen
    foreign = any_of(~did.applies[:, chosen]) if chosen.sum() == len(names) else np.ones(len(did.applies), dtype=np.bool_)
    none = np.zeros_like(did.applies)
    why = f"channel {listed(names, 'or')} belongs to another sensor"
    if not fire:
        return none, mine, foreign, why
    return mine, (did.applies | everywhere) & ~chosen if only else none, foreign, why


def _concerned(asked: Asked, row: int) -> list[int]:
    """The channels to speak of: those that came out wrong, else those left open."""
    wrong = np.flatnonzero(asked.bad[row]).tolist()
    return wrong or np.flatnonzero(asked.open[row]).tolist()


def _channel(view: View, asked: Asked, row: int) -> str:
    concerned = _concerned(asked, row)
    return view.obs.responses.channels[concerned[0]] if concerned else ""


def _at(view: View, asked: Asked, row: int) -> int | None:
    if not view.timed:
        return None
    for c in _concerned(asked, row)[:1]:
        if not view.obs.responses.applies[row, c]:
            return other_sensors.first_on_ns(view, row, c) or instant(view.obs.presentations.start_ns[row])
        if asked.must_not[row, c]:
            at = view.obs.responses.first_on_ns[row, c]
            if at != NEVER:
                return int(at)
    return instant(view.obs.presentations.start_ns[row])


def _why(view: View, asked: Asked, row: int) -> str:
    if asked.unasked[row]:
        return asked.unasked_why
    wrong = np.flatnonzero(asked.bad[row]).tolist()
    if wrong:
        texts = [was_on(view, row, c) if asked.must_not[row, c] else was_off(view, row, c) for c in wrong[:3]]
        more = f"; so {'was' if len(wrong) == 4 else 'were'} {len(wrong) - 3} more" if len(wrong) > 3 else ""
        return "; ".join(texts) + more
    opened = np.flatnonzero(asked.open[row]).tolist()
    if opened:
        return not_known(view, row, opened[0])
    return "conforms"


def was_on(view: View, row: int, c: int) -> str:
    """`channel 3 was on for 22 ms, held over from chamomile`."""
    did, period = view.obs.responses, view.period_ns if view.timed else 0
    if not did.applies[row, c]:
        return other_sensors.was_on(view, row, c)
    name, on, held = f"channel {did.channels[c]}", int(did.on_ns[row, c]), int(did.held_over_ns[row, c])
    if not on and not held:
        text = f"{name} was on" if did.basis[c] == "by hand" else f"{name} was not off for sure"
    elif not on:
        text = f"{name} was on for {milliseconds(held, period)}, held over{_from(view, row, c)}"
    else:
        text = f"{name} was on for {milliseconds(on, period, view.station.scan.seen_ns)}"
        if did.perhaps[row, c]:
            text += f", which may have been seen ({milliseconds(view.station.scan.seen_ns)} are seen for sure)"
        if held:
            text += f", and for {milliseconds(held, period)} held over{_from(view, row, c)}"
    return text + rested(view, row, c)


def was_off(view: View, row: int, c: int) -> str:
    """`channel 1 did not fire`, with how near it came."""
    did, period = view.obs.responses, view.period_ns if view.timed else 0
    name, held = f"channel {did.channels[c]}", int(did.held_over_ns[row, c])
    seen, by_edge = milliseconds(view.station.scan.seen_ns), view.station.channel(did.channels[c]).by_edge
    if by_edge and did.perhaps[row, c]:
        text = f"{name} rose, but was off before or on after it for less than the {seen} that are seen for sure"
    elif by_edge and did.on_ns[row, c] and did.known[row, c]:
        text = f"{name} was on for {milliseconds(int(did.on_ns[row, c]), period)} and did not rise: it was on already"
    elif did.perhaps[row, c]:
        longest = milliseconds(int(did.longest_ns[row, c]), period, view.station.scan.seen_ns)
        text = f"{name} was on for {longest} only, perhaps missed ({seen} are seen for sure)"
    else:
        text = f"{name} did not fire"
    if held:
        text += f"; the {milliseconds(held, period)} for which it was on were held over{_from(view, row, c)}"
    closeness = float(did.closeness_max[row, c])
    if np.isfinite(closeness) and did.basis[c] != "by hand":
        text += f" (greatest closeness {number_text(round(closeness, 3))})"
    return text + rested(view, row, c)


def not_known(view: View, row: int, c: int) -> str:
    """Why the answer of a channel is open."""
    did = view.obs.responses
    if not did.applies[row, c]:
        return other_sensors.not_known(view, row, c)
    if did.rested_dark[row, c]:
        return f"a dark reading decided channel {did.channels[c]}, and the station has no `when_dark` for its sensor"
    if did.basis[c] == "by hand":
        return f"what channel {did.channels[c]} did was not noted"
    if did.basis[c] == "recorded" and _log_silent(view)[row, c]:
        return f"the log does not say what channel {did.channels[c]} was for some of the time"
    if did.basis[c] == "recorded":
        return f"on-time of channel {did.channels[c]} could belong to a neighbour as well: the windows overlap"
    return f"the state of channel {did.channels[c]} was not known"


def _from(view: View, row: int, c: int) -> str:
    source = int(view.obs.responses.held_from[row, c])
    shown = view.obs.presentations
    return f" from {shown.targets[shown.target[source]]}" if source >= 0 else " from before"


def rested(view: View, row: int, c: int) -> str:
    """A mark on every answer that rested on a clipped reading (A15)."""
    return " (rested on a clipped reading)" if view.obs.responses.rested_clipped[row, c] else ""


def chosen(trials: Trials, channels: tuple[str, ...]) -> Bools:
    """(P, C): the channels that are asked, `own` or named, of the presentation's sensor."""
    view = trials.view
    if channels == ("own",):
        return view.should_be_on()
    did = view.obs.responses
    return did.applies & np.array([name in channels for name in did.channels], dtype=np.bool_)


def basis_of(trials: Trials, mask: Bools) -> str:
    """The weakest basis of the channels that `mask` (P, C) asks of these trials."""
    bases = trials.view.channel_basis()
    if len(set(bases)) == 1:
        return bases[0]
    return weakest(tuple(bases[c] for c in np.flatnonzero(mask[trials.index].any(axis=0)).tolist()))


def computed_sensors(trials: Trials, mask: Bools) -> frozenset[str]:
    """The sensors of those of these channels that are computed."""
    if not trials.view.coarse_sensors():
        return frozenset()
    view, bases = trials.view, trials.view.channel_basis()
    names = view.obs.responses.channels
    used = np.flatnonzero(mask[trials.index].any(axis=0)).tolist()
    return frozenset(view.station.channel(names[c]).sensor for c in used if bases[c] in ("computed", "simulated"))


def margins(view: View) -> tuple[Floats, Floats]:
    """(P, C) twice: the margin as a channel that must fire, and as one that must be silent. NaN where there are no readings,
    and of channels that give pulses.

    From the critical tolerances: `1 - sure / tolerance` and `any / tolerance - 1`; `off match` turns the question round, so
    there a channel fires by staying away from its reference (A1).
    """
    return view.once("margins", lambda: _margins(view))


def _margins(view: View) -> tuple[Floats, Floats]:
    did = view.obs.responses
    channels = [view.station.channel(name) for name in did.channels]
    tolerance = np.array([channel.tolerance for channel in channels], dtype=np.float64)
    on_match = np.array([channel.on_match for channel in channels], dtype=np.bool_)
    sign = np.where(on_match, 1.0, -1.0)
    return sign * (1 - did.critical_sure / tolerance), sign * (did.critical_any / tolerance - 1)
