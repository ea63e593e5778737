"""`spacing: {nominal: 80 mm, within: 2 mm}`: how far the start of a presentation lies behind that of the one before it.

Unit: neighbouring pair, named by its second presentation: the one before it on the same sensor, of the same set and item;
stretches between and backgrounds do not count. The first of a set, an item or a recording has none, and is no trial.
Fields: `nominal`, `within`; both times, or both lengths of belt.
Conforms: the distance between the two starts differs from `nominal` by at most `within`.
Instant named: the second start. Value: the difference from `nominal`, in ms or mm.
Not judged: a limit so near that the reading period, or the doubt of the belt's position, decides; no times; no belt travel.
Example by hand: starts at 100 and 260 ms, readings every 1 ms, `nominal: 150 ms`: 160 ms, 10 ms off. `within: 12 ms` conforms,
`within: 8 ms` is nonconforming, `within: 10 ms` is not judged.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import model_validator

from stationtest.expectations.wording import number_text, reach_text
from stationtest.files.fields import Fields as Base
from stationtest.files.reaches import PositiveReach
from stationtest.files.scalars import wrong
from stationtest.model.travel import Length

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from stationtest.expectations.trials import Trials
    from stationtest.expectations.view import View
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station

    Ints = NDArray[np.int64]


class Fields(Base):
    nominal: PositiveReach
    within: PositiveReach

    @model_validator(mode="after")
    def _fits(self) -> Fields:
        if isinstance(self.nominal, Length) != isinstance(self.within, Length):
            raise wrong("`nominal` and `within` are both times or both lengths", reach_text(self.within), code="contradiction")
        return self


def words(fields: Fields, station: Station) -> str:
    return f"its start lies {reach_text(fields.nominal)} behind that of the one before it, within {reach_text(fields.within)}"


def before(view: View) -> Ints:
    """(P,) the presentation before each, -1 where it has none."""
    return view.once("the one before", lambda: _before(view))


def _before(view: View) -> Ints:
    import numpy as np

    shown = view.obs.presentations
    grounds = {target.name for target in view.station.targets if target.background}
    counts = ~shown.between & ~np.array([name in grounds for name in shown.targets], dtype=np.bool_)[shown.target]
    found = np.full(len(shown), -1, dtype=np.int64)
    for sensor in range(len(shown.sensors)):
        mine = np.flatnonzero(counts & (shown.sensor == sensor))
        mine = mine[np.argsort(shown.start_ns[mine], kind="stable")]
        first, second = mine[:-1], mine[1:]
        together = (shown.set[first] == shown.set[second]) & (shown.item[first] == shown.item[second])
        found[second[together]] = first[together]
    return found


def judge(fields: Fields, trials: Trials) -> Judged:
    import numpy as np

    from stationtest.expectations import reaching
    from stationtest.expectations.trials import outcomes
    from stationtest.model.judged import Judged
    from stationtest.model.travel import NM
    from stationtest.signals import travel

    view, index = trials.view, trials.index
    if untold := reaching.untold(view, (fields.nominal,)):
        return trials.not_judged(untold)
    starts, period = view.obs.presentations.start_ns, view.period_ns
    first, second = starts[before(view)[index]], starts[index]
    belt, scale = view.obs.belt, 1e6
    if isinstance(fields.nominal, Length) and isinstance(fields.within, Length) and belt is not None:
        nominal, within, scale = fields.nominal.nm, fields.within.nm, float(NM)
        way = travel.way_nm(belt, first, second)
        # a start is known to one reading period, and the way to its doubt
        doubt = travel.doubt_nm(belt, nominal)
        least = travel.way_nm(belt, first, second - period) - doubt
        most = travel.way_nm(belt, first - period, second) + doubt
        lost = travel.lost_between(belt, first, second)
    else:
        assert isinstance(fields.nominal, int) and isinstance(fields.within, int)
        nominal, within = fields.nominal, fields.within
        way, least, most = second - first, second - first - period, second - first + period
        lost = np.zeros(len(index), dtype=np.bool_)
    off = np.abs(way - nominal)
    surely_in = (least >= nominal - within) & (most <= nominal + within)
    surely_out = (most < nominal - within) | (least > nominal + within)
    unit = "mm" if isinstance(fields.nominal, Length) else "ms"

    def why(i: int) -> str:
        if lost[i]:
            return "the way of the belt between the two is not known"
        known = "" if surely_in[i] or surely_out[i] else f", known to {number_text(_span(least[i], most[i]))} {unit} only"
        return f"it starts {number_text(float(f'{way[i] / scale:.6g}'))} {unit} behind the one before it{known}"

    def _span(low: int, high: int) -> float:
        return float(f"{(high - low) / 2 / scale:.3g}")

    return Judged(
        outcome=outcomes(surely_out & ~lost, ~surely_in | lost),
        value=np.where(lost, np.nan, off / scale),
        unit=unit,
        good="low",
        why=why,
        channel=lambda i: "",
        at_ns=lambda i: int(second[i]),
        basis=trials.obs.basis,
    )
