"""`neighbours: {flap: off}`: what an output does for this unit hits neither the one before nor the one after it.

Unit: presentation, or set or item where one is presented. Fields: outputs, each `off`. When a neighbour would be hit is its own
window, counted as `outputs` of the same case says (`from`, `after`, `within`).
A neighbour with a claim of its own is left out: an incomplete set, an item whose parts do not match, or a presentation of what
the case presents; nobody could say whose action it was.
Conforms: the output is not on, not even perhaps, within the window of a neighbour that is looked at, whatever made it come.
Instant named: the on-time in a neighbour's window, else the beginning of that window. Value: none.
Not judged: no neighbour without a claim; a neighbour of which truth does not say what it was, or whose window reaches into a
gap or past the end, or overlaps this unit's own; the doubt of the belt's position decides; no times.
Example by hand: boxes out at 10.0, 10.5 and 11.0 s, `after: 0.3 s, within: 0.1 s`; the one in the middle lacks a sachet, so its
own window is [10.8, 10.9) s. The flap on from 10.80 to 11.32 s is on in [11.3, 11.4) s too: nonconforming, the next was hit.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

from stationtest.expectations.wording import listed, seconds
from stationtest.files.fields import Single
from stationtest.files.scalars import OutputName

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from stationtest.expectations.timeline import Runs
    from stationtest.expectations.trials import Trials
    from stationtest.expectations.view import View
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station

    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

Fields = Single[dict[OutputName, Literal["off"]]]


def words(fields: Fields, station: Station) -> str:
    return f"{listed(fields.root)} hits neither the one before it nor the one after it"


def judge(fields: Fields, trials: Trials) -> Judged:
    import numpy as np

    from stationtest.expectations import output_windows, reaching, timeline
    from stationtest.expectations.trials import outcomes, weakest
    from stationtest.model.judged import Judged
    from stationtest.model.observations import NEVER

    view, unit, index = trials.view, trials.unit, trials.index
    asked: dict[str, Any] = next((one.fields.root for one in trials.case.expect if one.name == "outputs"), {})
    beside, (claims, unknown) = _beside(view, unit), _claims(trials)
    hit, looked, open_ = (np.zeros(len(index), dtype=np.bool_) for _ in range(3))
    found: dict[int, tuple[str, str, int, int]] = {}  # trial -> output, which neighbour, its row, the on-time in its window
    bases = []
    for name in fields.root:
        runs = timeline.runs(view, "output", name)
        if name not in asked or runs is None:
            return trials.not_judged(f"this recording has no output {name}" if runs is None else f"no window of {name} is asked")
        coming = output_windows.coming_on(view, name, asked[name])
        if untold := reaching.untold(view, (coming.after, coming.within)):
            return trials.not_judged(untold)
        origin, begin, end, cut, _ = output_windows.placed(view, unit, name, coming, trials.case.where)
        bases.append(view.obs.signals["output", name].basis)
        surely, perhaps = _on_in(runs, begin.late, end.early), _on_in(runs, begin.early, end.late)
        blurred = cut | (origin == NEVER) | unknown
        for which, of in beside:
            other = of[index]
            apart = (end.late[other] <= begin.early[index]) | (end.late[index] <= begin.early[other])
            ask = (other >= 0) & ~claims[other]
            clear = ask & apart & ~blurred[other] & ~blurred[index]
            wrong = clear & (surely[other] != NEVER)
            for i in np.flatnonzero(wrong & ~hit).tolist():
                found[i] = (name, which, int(other[i]), int(surely[other[i]]))
            hit, looked = hit | wrong, looked | clear
            open_ |= ask & ~clear | (clear & ~wrong & (perhaps[other] != NEVER))
    basis = weakest(tuple(bases))
    sensors = frozenset(view.obs.presentations.sensors)
    return Judged(
        outcome=outcomes(hit, open_ | ~looked),
        why=lambda i: _why(view, unit, found.get(i), bool(looked[i]), bool(open_[i])),
        channel=lambda i: found[i][0] if i in found else next(iter(fields.root)),
        at_ns=lambda i: found[i][3] if i in found else int(trials.start_ns()[i]),
        basis=basis,
        at_most_not_shown=trials.coarse_reason(sensors, "that an output stayed off") if basis != "recorded" else None,
    )


def _on_in(runs: Runs, begin: Ints, end: Ints) -> Ints:
    """When an output may first be on within each window, NEVER where it is not."""
    import numpy as np

    from stationtest.model.observations import NEVER

    at = np.append(runs.start, np.int64(2**62))[np.searchsorted(runs.end, begin, "right")]
    return np.where(at < end, np.maximum(at, begin), NEVER)


def _beside(view: View, unit: str) -> tuple[tuple[str, Ints], tuple[str, Ints]]:
    """The row (n,) of the one before and of the one after each row, -1 where there is none: sets or items of one kind, or
    presentations on one sensor."""
    return view.once(("beside", unit), lambda: _made_beside(view, unit))


def _made_beside(view: View, unit: str) -> tuple[tuple[str, Ints], tuple[str, Ints]]:
    import numpy as np

    from stationtest.expectations.timeline import table
    from stationtest.model.observations import Presentations

    rows = table(view, unit)
    group, counts = (rows.sensor, ~rows.between) if isinstance(rows, Presentations) else (rows.kind, rows.kind >= 0)
    before, after = (np.full(len(rows), -1, dtype=np.int64) for _ in range(2))
    for code in np.unique(group).tolist():
        mine = np.flatnonzero((group == code) & counts)
        mine = mine[np.argsort(rows.start_ns[mine], kind="stable")]
        before[mine[1:]], after[mine[:-1]] = mine[:-1], mine[1:]
    return ("before", before), ("after", after)


def _claims(trials: Trials) -> tuple[Bools, Bools]:
    """(n,) rows whose own claim to the output hides whose it is, and rows of which truth does not say what they were."""
    import numpy as np

    from stationtest.expectations.items import items
    from stationtest.model.observations import UNKNOWN_TARGET

    shown, sets = trials.obs.presentations, trials.obs.sets
    if trials.unit == "set":
        unknown = (sets.status & UNKNOWN_TARGET) != 0
        return ~sets.complete & ~unknown, unknown
    if trials.unit == "item":
        found = items(trials.view)
        unknown = ((found.status & UNKNOWN_TARGET) != 0) | ~found.whole
        return ~found.matching & ~unknown, unknown
    presented = np.array([name in trials.case.present.targets for name in shown.targets], dtype=np.bool_)
    return presented[shown.target], (shown.status & UNKNOWN_TARGET) != 0


def _why(view: View, unit: str, found: tuple[str, str, int, int] | None, looked: bool, open_: bool) -> str:
    from stationtest.expectations import timeline

    if found is None:
        if open_:
            return "a neighbour's window is not known well enough, or overlaps its own"
        return "conforms" if looked else "it has no neighbour that could be looked at"
    name, which, row, at = found
    label = timeline.label(view, unit, row)
    return f"{name} was on at {seconds(at)}, in the window of {label}, the one {which} it"
