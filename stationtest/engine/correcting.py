"""Corrections laid over what was observed: other truth, the same readings (A6).

Nothing that a channel or an output did depends on what was presented, so no reading is looked at again: targets, specimens and
conditions of single presentations are replaced, and the contents of their sets are counted again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Protocol

import numpy as np

from stationtest.engine import names_of_trials
from stationtest.engine.sets import is_complete
from stationtest.errors import Problem
from stationtest.files.corrections import UNKNOWN
from stationtest.files.words import shown
from stationtest.model.case import Suite
from stationtest.model.correction import Correction
from stationtest.model.observations import NEVER, UNKNOWN_TARGET, Presentations, Sets, SourceObservations
from stationtest.model.record import CorrectionRow
from stationtest.model.station import Station

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]


class Truth(Protocol):
    """What corrections speak of: the presentations of a recording, whether or not its readings were observed."""

    @property
    def key(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def presentations(self) -> Presentations: ...


_recent: list[tuple[tuple[Correction, ...], SourceObservations, SourceObservations]] = []


def laid_over(suite: Suite, obs: SourceObservations) -> SourceObservations:
    """The observations with the corrections of their recording; the very same where there are none. Those that do not fit (see
    `problems`) are left out."""
    if not any(one.recording == obs.key for one in suite.corrections):
        return obs
    for corrections, seen, made in _recent:
        if corrections is suite.corrections and seen is obs:
            return made
    rows = [(one, row) for one, row, problem in _fitted(suite, obs) if problem is None]
    made = _corrected(suite.station, obs, rows)
    made = replace(
        made,
        placements=tuple(replace(one, observed=_placed(suite.station, obs, one.observed, rows)) for one in obs.placements),
    )
    _recent.insert(0, (suite.corrections, obs, made))
    del _recent[16:]
    return made


def _placed(
    station: Station, obs: SourceObservations, placed: SourceObservations, rows: Sequence[tuple[Correction, int]]
) -> SourceObservations:  # fmt: skip
    """One placement with the same corrections: a stretch between may be missing there, so rows are found by their names."""
    names = names_of_trials.presentations(obs.presentations)
    there = {name: row for row, name in enumerate(names_of_trials.presentations(placed.presentations))}
    return _corrected(station, placed, [(one, there[names[row]]) for one, row in rows if names[row] in there])


def problems(suite: Suite, obs: Truth) -> list[Problem]:
    """Corrections that speak of no presentation, or of one that was not what they say."""
    return [problem for _, _, problem in _fitted(suite, obs) if problem is not None]


def written(suite: Suite) -> list[CorrectionRow]:
    """The corrections for the record, in the order of the file."""
    return [
        {
            "recording": one.recording, "where": one.where, "what": one.what, "was": one.was, "is": one.is_, "by": one.by,
            "when": one.when, "why": one.why,
        }
        for one in suite.corrections
    ]  # fmt: skip


def _fitted(suite: Suite, obs: Truth) -> list[tuple[Correction, int, Problem | None]]:
    """Each correction of this recording, the presentation it speaks of (-1 for none), and what is wrong with it."""
    found: list[tuple[Correction, int, Problem | None]] = []
    taken: dict[tuple[int, str], Correction] = {}
    for one in suite.corrections:
        if one.recording != obs.key:
            continue
        rows = _rows(obs, one)
        row = int(rows[0]) if len(rows) == 1 else -1
        message, code = "", "bad-presentation"
        if len(rows) > 1:
            message = f"several sensors have a presentation there in {obs.key}, at {one.where}; the column `sensor` says which"
        elif row < 0:
            message = f"nothing is presented there in {obs.key}, at {one.where}; a correction speaks of one presentation"
        elif (row, one.what) in taken:
            message = f"this presentation is corrected already, in line {taken[row, one.what].place.line}"
            code = "duplicate-name"
        elif (was := _value(obs.presentations, one.what, row)) != one.was:
            message = f"`was` does not fit: at {one.where} of {obs.key} the {one.what} is {shown(was or 'not stated')}; "
            message += f"found {shown(one.was or 'nothing')}"
            code = "contradiction"
        taken.setdefault((row, one.what), one)
        found.append(
            (one, row, Problem(one.place, "was" if code == "contradiction" else "row", message, code) if message else None)
        )
    return found


def _rows(obs: Truth, one: Correction) -> Ints:
    """The presentations of which a correction may speak: one, if it is right."""
    shown_ = obs.presentations
    if one.row is not None:
        inside = (shown_.first_row < one.row) & (one.row <= shown_.first_row + shown_.rows)
    elif obs.kind == "trials":
        return np.empty(0, np.int64)
    else:
        at = one.at_ns or 0
        inside = (shown_.start_ns != NEVER) & (shown_.start_ns <= at) & (at < shown_.end_ns)
    if one.sensor:
        inside = inside & (shown_.sensor == (shown_.sensors.index(one.sensor) if one.sensor in shown_.sensors else -1))
    return np.flatnonzero(inside & ~shown_.between)


def _value(shown_: Presentations, what: str, row: int) -> str:
    names, codes = _column(shown_, what)
    return names[codes[row]] if codes[row] >= 0 else ""


def _column(shown_: Presentations, what: str) -> tuple[tuple[str, ...], Ints]:
    if what == "target":
        return shown_.targets, shown_.target
    if what == "specimen":
        return shown_.specimens, shown_.specimen
    return shown_.conditions.get(what, ((), np.full(len(shown_), -1, dtype=np.int64)))


def presented(suite: Suite, truth: Truth) -> Presentations:
    """The presentations of a recording with those corrections that fit it."""
    rows = [(one, row) for one, row, problem in _fitted(suite, truth) if problem is None]
    return _told_anew(truth.presentations, rows)


def _corrected(station: Station, obs: SourceObservations, rows: Sequence[tuple[Correction, int]]) -> SourceObservations:
    made = _told_anew(obs.presentations, rows)
    return replace(obs, presentations=made, sets=_recounted(station, obs.sets, made))


def _told_anew(shown_: Presentations, rows: Sequence[tuple[Correction, int]]) -> Presentations:
    status, conditions = shown_.status.copy(), dict(shown_.conditions)
    columns = {"target": _column(shown_, "target"), "specimen": _column(shown_, "specimen")}
    for one, row in rows:
        names, codes = columns[one.what] if one.what in columns else _column(shown_, one.what)
        names = names if one.is_ in names else (*names, one.is_)
        codes = codes.copy()
        codes[row] = names.index(one.is_)
        columns[one.what] = names, codes
        if one.what == "target":
            status[row] = status[row] & ~UNKNOWN_TARGET | (UNKNOWN_TARGET if one.is_ == UNKNOWN else 0)
    conditions |= {what: column for what, column in columns.items() if what not in ("target", "specimen")}
    return replace(
        shown_, targets=columns["target"][0], target=columns["target"][1], specimens=columns["specimen"][0],
        specimen=columns["specimen"][1], status=status, conditions=conditions,
    )  # fmt: skip


def _recounted(station: Station, sets: Sets, shown_: Presentations) -> Sets:
    """The sets with what they hold by the truth that these presentations tell."""
    member = (shown_.set >= 0) & ~shown_.between
    counts = np.zeros((len(sets), len(shown_.targets)), dtype=np.int64)
    np.add.at(counts, (shown_.set[member], shown_.target[member]), 1)
    unknown = np.zeros(len(sets), dtype=np.int64)
    unknown[shown_.set[member & ((shown_.status & UNKNOWN_TARGET) != 0)]] = UNKNOWN_TARGET
    kinds = {kind.name: kind for kind in station.sets}
    complete = [
        is_complete(kinds[sets.kinds[kind]], row, shown_.targets) for kind, row in zip(sets.kind.tolist(), counts, strict=True)
    ]
    return replace(
        sets, targets=shown_.targets, counts=counts, complete=np.array(complete, dtype=np.bool_),
        status=sets.status & ~UNKNOWN_TARGET | unknown,
    )  # fmt: skip
