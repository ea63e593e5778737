"""The register of specimens laid beside what was observed: further conditions, validity, contradictions (A20, A30).

Observing knows nothing of the register, so the same observations serve whatever the register says of a specimen.
"""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING

import numpy as np

from stationtest.errors import Problem
from stationtest.expectations.view import View
from stationtest.expectations.wording import seconds
from stationtest.files.words import listed
from stationtest.model.case import Suite
from stationtest.model.observations import NEVER, Presentations, SourceObservations
from stationtest.model.record import Caution
from stationtest.model.station import Specimen
from stationtest.place import Place

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]
    Coded = tuple[tuple[str, ...], Ints]

REGISTERED = ("grade", "lot", "made_by", "confirmed_by")
ALWAYS = 2**62
NAMED = 12


def conditions(view: View, suite: Suite) -> Mapping[str, Coded]:
    """Every condition of a recording and of the register: its values, and the code of each presentation (P,), -1 for none."""
    return view.once("conditions", lambda: _conditions(view, suite))


def _conditions(view: View, suite: Suite) -> dict[str, Coded]:
    shown = view.obs.presentations
    found = dict(shown.conditions)
    if not suite.specimens:
        return found
    stated = {one.id: _stated(one) for one in suite.specimens}
    mine = [stated.get(name, {}) for name in shown.specimens]
    for name in dict.fromkeys((*REGISTERED, *(name for one in mine for name in one))):
        values = tuple(dict.fromkeys(one[name] for one in mine if name in one))
        codes = [values.index(one[name]) if name in one else -1 for one in mine]
        if values:
            found[name] = values, np.array([*codes, -1], dtype=np.int64)[shown.specimen]
    return found


def _stated(one: Specimen) -> dict[str, str]:
    return {name: value for name in REGISTERED if (value := getattr(one, name))} | dict(one.conditions)


# --- validity -----------------------------------------------------------------------------------------------------------------


def invalid(view: View, suite: Suite) -> Bools | None:
    """(P,) presentations of a specimen on a day for which it was not valid; None where there are none."""
    return view.once("invalid", lambda: _invalid(view, suite))


def _invalid(view: View, suite: Suite) -> Bools | None:
    began, limited = _began(view.obs, suite), _limited(view.obs, suite)
    if began is None or not limited:
        return None
    shown = view.obs.presentations
    low = np.full(len(shown.specimens) + 1, -ALWAYS, dtype=np.int64)
    high = np.full(len(shown.specimens) + 1, ALWAYS, dtype=np.int64)
    for code, one in limited.items():
        if one.valid_from:
            low[code] = _ns_to(began, datetime.date.fromisoformat(one.valid_from), 0)
        if one.valid_until:
            high[code] = _ns_to(began, datetime.date.fromisoformat(one.valid_until), 1)
    since = np.where(shown.start_ns == NEVER, 0, shown.start_ns - view.obs.clock.first_ns)
    outside = (since < low[shown.specimen]) | (since >= high[shown.specimen])
    return outside if outside.any() else None


def _limited(obs: SourceObservations, suite: Suite) -> dict[int, Specimen]:
    """Specimens of this recording whose validity is limited, by their code."""
    known = {one.id: one for one in suite.specimens if one.valid_from or one.valid_until}
    return {code: known[name] for code, name in enumerate(obs.presentations.specimens) if name in known}


def _began(obs: SourceObservations, suite: Suite) -> datetime.datetime | None:
    """When the recording began, at the place of the station: by its own dates, else by `started` of run.yaml."""
    if obs.clock.origin is not None:
        instant = datetime.datetime.fromisoformat(obs.clock.origin)
        return instant.astimezone(zoneinfo.ZoneInfo(obs.clock.zone)) if obs.clock.zone else instant
    try:
        return datetime.datetime.fromisoformat(dict(suite.run_facts.facts).get("started") or "")
    except ValueError:
        return None


def _ns_to(began: datetime.datetime, day: datetime.date, days_later: int) -> int:
    """Nanoseconds from an instant to the midnight that begins a day, or one later."""
    if day == datetime.date.max:
        return ALWAYS
    midnight = datetime.datetime.combine(day + datetime.timedelta(days=days_later), datetime.time(), tzinfo=began.tzinfo)
    return (midnight - began) // datetime.timedelta(microseconds=1) * 1000


# --- what a reader must know ----------------------------------------------------------------------------------------------------


def cautions(views: Iterable[tuple[str, View]], suite: Suite) -> list[Caution]:
    """Specimens used outside their validity, by name; those whose validity could not be checked; those that nobody listed."""
    return [{"title": title, "text": text} for key, view in views for title, text in _told(key, view, suite)]


def _told(key: str, view: View, suite: Suite) -> Iterator[tuple[str, str]]:
    shown, limited = view.obs.presentations, _limited(view.obs, suite)
    if limited and _began(view.obs, suite) is None:
        names = _some([one.id for one in limited.values()])
        text = f"Neither {key} nor `started` in run.yaml says the day, so the validity of these was not checked: {names}."
        yield "Validity of specimens not checked", text
    outside = invalid(view, suite)
    if outside is not None:
        counts = np.bincount(shown.specimen[outside], minlength=len(shown.specimens)).tolist()
        told = [f"{one.id} ({_validity(one)}) {counts[code]} times" for code, one in limited.items() if counts[code]]
        text = f"In {key}, presented outside their validity and not judged there: {_some(told)}."
        yield "Specimens outside their validity", text
    if suite.specimens:
        known = {one.id for one in suite.specimens}
        strange = [name for name in shown.specimens if name not in known]
        if strange:
            yield "Specimens that are not registered", f"In {key}, presented and not in the register: {_some(strange)}."


def _validity(one: Specimen) -> str:
    limits = [f"from {one.valid_from}"] if one.valid_from else []
    return "valid " + " ".join([*limits, *([f"until {one.valid_until}"] if one.valid_until else [])])


def _some(names: list[str]) -> str:
    return listed(names[:NAMED]) + (f" and {len(names) - NAMED} more" if len(names) > NAMED else "")


def contradictions(suite: Suite, key: str, shown: Presentations) -> Iterator[Problem]:
    """Specimens that a recording presents as another target than the register has them for: one of the two is wrong."""
    known = {one.id: one.target for one in suite.specimens}
    listed_as = [shown.targets.index(known[name]) if known.get(name) in shown.targets else -1 for name in shown.specimens]
    listed_as = [-2 if name not in known else code for name, code in zip(shown.specimens, listed_as, strict=True)]
    wanted = np.array([*listed_as, -2], dtype=np.int64)[shown.specimen]
    wrong = np.flatnonzero((wanted != -2) & (wanted != shown.target))
    for code in dict.fromkeys(shown.specimen[wrong].tolist()):
        row = int(wrong[shown.specimen[wrong] == code][0])
        at = "" if shown.start_ns[row] == NEVER else f", at {seconds(int(shown.start_ns[row]))}"
        name, target = shown.specimens[code], shown.targets[shown.target[row]]
        message = (
            f"specimen {name} is presented as {target} in row {int(shown.first_row[row]) + 1}{at}, and the register has it as "
            f"{known[name]}; mend the register, or correct the truth"
        )
        yield Problem(Place(key, 0, 0), "specimen", message, "contradiction")


def unregistered(suite: Suite) -> Iterator[str]:
    """Values that a `where:` asks for and no specimen of the register has: such a trial can never come."""
    if not suite.specimens:
        return
    occurring: dict[str, set[str]] = {name: set() for name in REGISTERED}
    for one in suite.specimens:
        for name, value in _stated(one).items():
            occurring.setdefault(name, set()).add(value)
    for case in suite.cases:
        for name, values in case.where:
            missing = [value for value in values if name in occurring and value not in occurring[name]]
            if missing:
                yield f"{case.place}: {case.id}: where: no specimen of the register has {name} {listed(missing, 'or')}"
