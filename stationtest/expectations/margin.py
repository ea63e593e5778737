"""`margin: {must_fire: at least 0.25, must_be_silent: at least 0.25}`: how far the tolerance could be scaled before the
answer changes.

Unit: presentation. Fields: `must_fire`, `must_be_silent`, one of them or both; each is asked of every channel it concerns, by
reference and polarity.
Conforms: 1 - s* of every channel that must fire, and s* - 1 of every channel that must be silent, is at least the limit;
`off match` swaps them.
Instant named: the reading nearest to the reference. Value: the margin with the least room over its limit; higher is better.
Not judged: no readings; the answer rested on a clipped reading, which is no evidence of margin; a recorded channel did
otherwise than the readings say; a channel gives pulses; one that is read by its edges was on before or after.
Example by hand: tolerance 0.012, own channel seen for sure down to a tolerance of 0.006: margin 1 - 0.006 / 0.012 = 0.5; a
channel that must be silent, on at all from a tolerance of 0.018: 0.018 / 0.012 - 1 = 0.5 (A1).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import model_validator

from stationtest.expectations.wording import number_text
from stationtest.files.fields import Fields as Base
from stationtest.files.scalars import AtLeastNumber, wrong

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from stationtest.expectations.trials import Trials
    from stationtest.expectations.view import View
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]


ROUNDING = 1e-12


class Fields(Base):
    must_fire: AtLeastNumber | None = None
    must_be_silent: AtLeastNumber | None = None

    @model_validator(mode="after")
    def _fits(self) -> Fields:
        if self.must_fire is None and self.must_be_silent is None:
            raise wrong("no limit is given", allowed="`must_fire`, `must_be_silent` or both", code="missing-key")
        return self


def words(fields: Fields, station: Station) -> str:
    parts = []
    if fields.must_fire is not None:
        parts.append(f"the margin of its own channels is at least {number_text(fields.must_fire)}")
    if fields.must_be_silent is not None:
        parts.append(f"the margin of every channel that must be silent is at least {number_text(fields.must_be_silent)}")
    return " and ".join(parts)


def judge(fields: Fields, trials: Trials) -> Judged:
    import numpy as np

    from stationtest.expectations import channel_rules
    from stationtest.expectations.trials import outcomes
    from stationtest.model.judged import Judged

    view, index = trials.view, trials.index
    did = view.obs.responses
    whole = view.once("margin question", lambda: _question(view))
    fire, quiet = trials.once("margins", lambda: (whole[0][index], whole[1][index]))
    must, must_not, unusable = trials.once("margins of", lambda: (whole[2][index], whole[3][index], whole[4][index]))
    room = np.full((len(index), len(did.channels)), np.inf)
    asked = np.zeros(room.shape, dtype=np.bool_)
    for limit, margin, concerned, fires in (
        (fields.must_fire, fire, must, True),
        (fields.must_be_silent, quiet, must_not, False),
    ):
        if limit is not None:
            asked |= concerned
            # a limit that is just reached in decimals is reached; but no limit of 0 or more may overrule the sign (A1)
            wrong_side = (margin < 0) if fires else (margin <= 0)
            margin_room = margin - limit + (ROUNDING if limit else 0.0)
            room = np.where(concerned, np.where(wrong_side & (limit >= 0), np.minimum(margin_room, -ROUNDING), margin_room), room)
    blocked = asked & unusable
    missing = asked & np.isnan(room) & ~blocked
    room = np.where(np.isnan(room), np.inf, room)
    bad = asked & ~blocked & (room < 0)
    worst = np.where(blocked, np.inf, room).argmin(axis=1)
    rows = np.arange(len(index))
    value = np.where(must[rows, worst], fire[rows, worst], quiet[rows, worst])
    value = np.where(np.isfinite(value) & asked[rows, worst], value, np.nan)

    def why(i: int) -> str:
        row, c = int(index[i]), int(worst[i])
        if not asked[i].any():
            return "no channel is concerned"
        if not bad[i].any() and blocked[i].any():
            b = int(np.flatnonzero(blocked[i])[0])
            if did.rested_clipped[row, b] or did.rested_dark[row, b]:
                kind = "clipped" if did.rested_clipped[row, b] else "dark"
                return f"channel {did.channels[b]} rested on a {kind} reading, which is no evidence of margin"
            if not did.known[row, b]:
                return channel_rules.not_known(view, row, b)
            return f"channel {did.channels[b]} did otherwise than its readings say, so its margin is no evidence"
        if not bad[i].any() and missing[i].any():
            m = int(np.flatnonzero(missing[i])[0])
            if view.station.channel(did.channels[m]).pulse_ns is not None:
                return f"channel {did.channels[m]} gives pulses, so it has no margin"
            if view.station.channel(did.channels[m]).by_edge and np.isfinite(did.closeness_max[row, m]):
                return f"channel {did.channels[m]} is read by its edges and was on just before or after, so it has no margin"
            return "there are no readings to take a margin from"
        needed = "must fire" if must[i, c] else "must be silent"
        measured = fire[i, c] if must[i, c] else quiet[i, c]
        text = f"{measured:.3f}" if np.isfinite(measured) else "beyond measure"
        return f"margin of channel {did.channels[c]}, which {needed}, is {text}"

    return Judged(
        outcome=outcomes(bad.any(axis=1), (blocked | missing).any(axis=1) | ~asked.any(axis=1)),
        value=value,
        unit="",
        good="high",
        why=why,
        channel=lambda i: did.channels[int(worst[i])],
        at_ns=lambda i: int(did.at_ns[index[i], int(worst[i])]) if view.timed else None,
        basis=view.computed_basis,
    )


def _question(view: View) -> tuple[Floats, Floats, Bools, Bools, Bools]:
    """(P, C) each: margins of both kinds, channels that must fire, those that must be silent, and pairs that are no
    evidence."""
    import numpy as np

    from stationtest.expectations.channel_rules import margins, open_answers

    did = view.obs.responses
    fire, quiet = margins(view)
    must = view.should_be_on()
    must_not = did.applies & ~must
    with np.errstate(invalid="ignore"):
        differs = np.where(must, (fire >= 0) != did.fired, (quiet > 0) != did.silent) & ~np.isnan(np.where(must, fire, quiet))
    recorded = np.array([basis not in ("computed", "simulated") for basis in did.basis], dtype=np.bool_)
    return fire, quiet, must, must_not, did.rested_clipped | open_answers(view)[0] | (differs & recorded)
