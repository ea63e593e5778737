"""Which rows of a recording are the trials of a case: what is presented, where, and what is no trial at all.

Presentations that taught a reference, whose target is not known, or that were declared void are no trials; they are counted.
Selections are kept in the view, since many cases ask for the same rows.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from stationtest.engine import register
from stationtest.expectations import events, spacing
from stationtest.expectations.items import belongs, items
from stationtest.expectations.view import View
from stationtest.files.words import listed
from stationtest.model.case import Case, Present, Suite
from stationtest.model.observations import INVALID, STATUS_WORDS, TAUGHT, UNKNOWN_TARGET, VOID, Sets

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]

Where = tuple[tuple[str, tuple[str, ...]], ...]
NO_TRIAL = TAUGHT | UNKNOWN_TARGET | VOID


@dataclass(slots=True)
class Selected:
    """Rows in order of time, the status of each (a gap, a cut end, a specimen that is not valid), and what was left out.
    `shown` counts the presentations of each named specimen, in order of first appearance. `doubtful`: which trials (n,), of a run
    (1,), a status keeps from conforming; None if it is none."""

    index: Ints
    status: Ints
    left_out: tuple[tuple[str, int], ...]
    doubtful: Bools | None
    missing: int  # presentations that a list names and the recording lacks
    shown: dict[str, int] = field(default_factory=dict)
    picked: dict[Hashable, Any] = field(default_factory=dict)  # what expectations have picked of these rows


def select(view: View, suite: Suite, unit: str, present: Present, where: Where) -> Selected:
    """The trials of one stratum in one recording."""
    return view.once(("selected", unit, present, where), lambda: _select(view, suite, unit, present, where))


def _select(view: View, suite: Suite, unit: str, present: Present, where: Where) -> Selected:
    shown, sets = view.obs.presentations, view.obs.sets
    matching = _where(view, suite, where)
    shown_status = _status(view, suite)
    about = events.asked(where)
    if unit == "set":
        chosen = _sets(view, present)
        if len(where) > len(about):
            chosen &= _all_members(view, matching, unit)
        status = sets.status | _worn(view, shown_status, unit)
    elif unit == "item":
        chosen = _items(view, present)
        if len(where) > len(about):
            chosen &= _all_members(view, matching, unit)
        status = items(view).status | _worn(view, shown_status, unit)
    else:
        chosen, status = _presented(view, present) & matching, shown_status
    if about:
        chosen &= events.picked(view, unit, about)[0]
    no_trial = chosen & ((status & NO_TRIAL) != 0)
    left_out = [(STATUS_WORDS[bit], int(((status & bit) != 0)[no_trial].sum())) for bit in (TAUGHT, UNKNOWN_TARGET, VOID)]
    if unit == "item":
        left_out.append(_not_whole(view, present))
    elif unit != "set":
        unknown = ((shown.status & UNKNOWN_TARGET) != 0) & matching & ~chosen
        left_out[1] = (left_out[1][0], left_out[1][1] + int(unknown.sum()))
    index = np.flatnonzero(chosen & ~no_trial)
    if unit == "neighbouring pair":
        index = index[spacing.before(view)[index] >= 0]
    return Selected(
        index=index,
        status=status[index],
        left_out=tuple(pair for pair in left_out if pair[1]),
        doubtful=_doubtful(status[index], unit),
        missing=_missing(view, unit, present),
        shown={} if unit in ("set", "item") else _specimens(view, index),
    )


def _doubtful(status: Ints, unit: str) -> Bools | None:
    found: Bools = np.array([(status & INVALID).any()]) if unit == "run" else status != 0
    return found if found.any() else None


def _status(view: View, suite: Suite) -> Ints:
    """(P,) as observed, and which presentations were of a specimen that was not valid then."""
    outside = register.invalid(view, suite)
    status = view.obs.presentations.status
    return status if outside is None else status | np.where(outside, INVALID, 0)


def _worn(view: View, status: Ints, unit: str) -> Ints:
    """Sets (S,) or items (I,) that hold a specimen which was not valid."""
    of, count = belongs(view, unit)
    found = np.zeros(count, dtype=np.int64)
    found[of[(of >= 0) & ((status & INVALID) != 0)]] = INVALID
    return found


def never(views: Sequence[View], suite: Suite, case: Case) -> list[str]:
    """Values that a case asks for in `where:` and that none of its recordings has: its trials are of the others alone."""
    found = []
    for name, values in case.where:
        if name in events.WORDS:
            occurring = {event.name for view in views for event in view.obs.events}
            missing = [value for value in values if name != "first" and value not in occurring]
        else:
            missing = [value for value in values if not any(_met(view, suite, name, (value,)).any() for view in views)]
        if missing:
            found.append(f"where: {name} {listed(missing, 'or')} never occurs in these readings")
    return found


def _presented(view: View, present: Present) -> Bools:
    shown = view.obs.presentations
    if present.kind == "set":  # a run over a set's members
        return (shown.set >= 0) & ~shown.between
    wanted = np.array([name in present.targets for name in shown.targets], dtype=np.bool_)
    return wanted[shown.target] if len(wanted) else np.zeros(len(shown), dtype=np.bool_)


def sets_of_kind(sets: Sets, name: str | None) -> Bools:
    """The sets of the kind of this name; none where the recording knows no such kind."""
    return sets.kind == (sets.kinds.index(name) if name in sets.kinds else -1)


def _sets(view: View, present: Present) -> Bools:
    """The sets whose contents, by truth, are those of the case (A14)."""
    sets = view.obs.sets
    mine = sets_of_kind(sets, present.set)
    if present.which is None or not len(sets):
        return mine
    kind = view.station.set_kind(present.set or "")
    members = dict(kind.members if present.which != "contents" else present.contents)
    wanted = np.array([members.get(name, 0) for name in sets.targets], dtype=np.int64)
    if any(name not in sets.targets and n for name, n in members.items() if name != present.lacking):
        return np.zeros(len(sets), dtype=np.bool_)  # a member that this recording never saw
    if present.which == "complete":
        return mine & sets.complete
    more, less = sets.counts - wanted, wanted - sets.counts
    if present.which == "contents":
        return mine & (more == 0).all(axis=1)
    foreign = np.array([name not in members for name in sets.targets], dtype=np.bool_)
    if present.which == "extra":
        asked = np.array([present.extra in ("any", name) for name in sets.targets], dtype=np.bool_)
        return mine & (less <= 0).all(axis=1) & (more[:, asked] > 0).any(axis=1) & (more[:, ~asked] <= 0).all(axis=1)
    tolerated = foreign if kind.extras_allowed else np.zeros_like(foreign)
    others_fit = (more[:, ~tolerated] <= 0).all(axis=1)
    if present.lacking in ("each", "any"):  # `each` where it is pooled over the members
        return mine & others_fit & ((less > 0).sum(axis=1) == 1)
    lacks = np.array([name == present.lacking for name in sets.targets], dtype=np.bool_)
    lacking = (less[:, lacks] > 0).any(axis=1) if lacks.any() else np.ones(len(sets), dtype=np.bool_)
    return mine & others_fit & lacking & (less[:, ~lacks] <= 0).all(axis=1)


def _items(view: View, present: Present) -> Bools:
    """The items of the case's kind; where it asks whether their parts match, those of which truth says so (A27)."""
    found = items(view)
    kinds = [kind.name for kind in view.station.items]
    mine = found.kind == kinds.index(present.item or "")
    return mine if present.matching is None else mine & found.whole & (found.matching == present.matching)


def _not_whole(view: View, present: Present) -> tuple[str, int]:
    """How many items of this kind truth cannot say of whether their parts match."""
    if present.matching is None:
        return "", 0
    found = items(view)
    mine = _items(view, replace(present, matching=None)) & ~found.whole
    return "it was not presented exactly once at every place of its kind", int(mine.sum())


def _where(view: View, suite: Suite, where: Where) -> Bools:
    """(P,) presentations that meet every condition of `where`."""
    found = np.ones(len(view.obs.presentations), dtype=np.bool_)
    for name, values in where:
        if name in events.WORDS:
            continue
        found &= _met(view, suite, name, values)
    return found


def _met(view: View, suite: Suite, name: str, values: tuple[str, ...]) -> Bools:
    return view.once(("where", name, values), _condition(view, suite, name, values))


def _condition(view: View, suite: Suite, name: str, values: tuple[str, ...]) -> Callable[[], Bools]:
    shown = view.obs.presentations

    def coded(names: tuple[str, ...], codes: Ints) -> Bools:
        return np.append(np.array([each in values for each in names], dtype=np.bool_), False)[codes]

    def find() -> Bools:
        conditions = register.conditions(view, suite)
        if name in conditions:
            return coded(*conditions[name])
        if name == "specimen":
            return coded(shown.specimens, shown.specimen)
        if name == "sensor":
            return coded(shown.sensors, shown.sensor)
        if name == "item":
            return coded(shown.items, shown.item)
        if name == "touching":
            touching = shown.touches_before | shown.touches_after
            return touching if "yes" in values and "no" not in values else ~touching if "yes" not in values else touching | True
        if name == "set":
            sets = view.obs.sets
            pairs = zip(sets.kind.tolist(), sets.names, strict=True)
            either = [sets.kinds[kind] in values or each in values for kind, each in pairs]
            return np.append(np.array(either, dtype=np.bool_), False)[shown.set]
        return np.zeros(len(shown), dtype=np.bool_)  # a condition that this recording does not have

    return find


def _all_members(view: View, matching: Bools, unit: str) -> Bools:
    """Sets (S,) or items (I,) all of whose presentations match; those without any never do."""
    of, count = belongs(view, unit)
    member = of >= 0
    size = np.bincount(of[member], minlength=count)
    return (np.bincount(of[member & matching], minlength=count) == size) & (size > 0)


def _missing(view: View, unit: str, present: Present) -> int:
    expected = view.obs.expected_presentations
    if expected is None or unit != "presentation" or present.kind != "targets":
        return 0
    return max(0, expected - int((~view.obs.presentations.between).sum()))


def _specimens(view: View, index: Ints) -> dict[str, int]:
    shown = view.obs.presentations
    codes = shown.specimen[index]
    counts = np.bincount(codes[codes >= 0], minlength=len(shown.specimens)).tolist()
    return {shown.specimens[code]: counts[code] for code in dict.fromkeys(codes[codes >= 0].tolist())}
