"""`pulses: {channels: own, exactly: 1}`: how often a controller could count a channel or an output.

Unit: presentation. Fields: `channels` (`own`, one, or a list) or `output`; `exactly`, or `at_least` and `at_most`.
Conforms: the fewest and the most that a controller could count are both right (A10).
An output is counted from the start of the presentation to the start of the next one on that sensor.
Instant named: the start of the presentation. Value: the count that is furthest off.
Not judged: no times; no own channel; answers left open.
Example by hand: on 50 ms, off 2 ms, on 50 ms, seen for sure from 14 ms: 1 or 2 pulses, so `exactly: 1` is nonconforming.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import model_validator

from stationtest.expectations.wording import ChannelsOrOwn, channels_text
from stationtest.files.fields import Fields as Base
from stationtest.files.scalars import Count, OutputName, wrong

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station

    Bools = NDArray[np.bool_]


class Fields(Base):
    channels: ChannelsOrOwn | None = None
    output: OutputName | None = None
    exactly: Count | None = None
    at_least: Count | None = None
    at_most: Count | None = None

    @model_validator(mode="after")
    def _fits(self) -> Fields:
        if (self.channels is None) == (self.output is None):
            raise wrong("pulses are of channels or of an output", allowed="one of `channels` and `output`")
        if self.exactly is None and self.at_least is None and self.at_most is None:
            raise wrong("how many pulses is not said", allowed="`exactly`, `at_least`, `at_most`", code="missing-key")
        if self.exactly is not None and (self.at_least is not None or self.at_most is not None):
            raise wrong("`exactly` leaves nothing for other limits", allowed="`exactly` alone", code="contradiction")
        if self.at_least is not None and self.at_most is not None and self.at_least > self.at_most:
            raise wrong("no count is in these limits", f"{self.at_least} to {self.at_most}", code="contradiction")
        return self

    def limits(self) -> tuple[int, int | None]:
        """Least and greatest count allowed; None where there is no greatest."""
        if self.exactly is not None:
            return self.exactly, self.exactly
        return self.at_least or 0, self.at_most


def words(fields: Fields, station: Station) -> str:
    least, most = fields.limits()
    if fields.exactly is not None:
        many = f"exactly {least}"
    else:
        many = " and ".join([f"at least {least}"] * (least > 0) + [f"at most {most}"] * (most is not None))
    if fields.output is not None:
        return f"{fields.output} gives {many} {'pulse' if many.endswith(' 1') else 'pulses'}"
    verb = "each give" if fields.channels == ("own",) or len(fields.channels or ()) > 1 else "gives"
    return f"{channels_text(fields.channels or ())} {verb} {many} {'pulse' if many.endswith(' 1') else 'pulses'}"


def judge(fields: Fields, trials: Trials) -> Judged:
    import numpy as np

    from stationtest.expectations import channel_rules, timeline
    from stationtest.expectations.trials import outcomes
    from stationtest.model.judged import Judged

    view, index = trials.view, trials.index
    if not view.timed:
        return trials.not_judged("needs times")
    least, most = fields.limits()
    if fields.output is not None:
        counted = timeline.pulse_range(view, fields.output, trials.start_ns(), timeline.next_start(view, trials.unit)[index])
        if counted is None:
            return trials.not_judged(f"this recording has no output {fields.output}")
        low, high = counted[0][:, None], counted[1][:, None]
        asked = np.ones(low.shape, dtype=np.bool_)
        open_ = timeline.in_gap(view, trials.start_ns(), timeline.next_start(view, trials.unit)[index], fields.output)[:, None]
        names: tuple[str, ...] = (fields.output,)
        basis = view.obs.signals["output", fields.output].basis
        sensors = trials.sensors() if basis != "recorded" else frozenset()
    else:
        channels, did = fields.channels or (), view.obs.responses
        low = trials.once("fewest pulses", lambda: did.pulses_min[index])
        high = trials.once("most pulses", lambda: did.pulses_max[index])
        open_ = trials.once("open answers", lambda: channel_rules.open_answers(view)[0][index])
        asked, basis, sensors = trials.once(("pulses of", channels), lambda: _of_channels(trials, channels))
        names = tuple(f"channel {name}" for name in did.channels)
    wrong = (low < least) | (high > most) if most is not None else low < least
    bad = asked & wrong & ~open_
    off = np.maximum(least - low, (high - most) if most is not None else 0) * asked
    worst = off.argmax(axis=1)
    rows = np.arange(len(index))
    value = np.where(high[rows, worst] > (most if most is not None else np.inf), high[rows, worst], low[rows, worst]).astype(
        float
    )

    def why(i: int) -> str:
        if not asked[i].any():
            return "no channel should be on for this target" if fields.channels == ("own",) else "a channel of another sensor"
        c = int(np.flatnonzero(bad[i])[0]) if bad[i].any() else int(np.flatnonzero(asked[i])[0])
        if not bad[i].any() and (asked[i] & open_[i]).any():
            return "how many pulses there were is not known"
        counts = f"{low[i, c]} pulses" if low[i, c] == high[i, c] else f"{low[i, c]} to {high[i, c]} pulses"
        return f"{names[c]} gave {'1 pulse' if counts == '1 pulses' else counts}"

    return Judged(
        outcome=outcomes(bad.any(axis=1), (asked & open_).any(axis=1) | ~asked.any(axis=1)),
        value=value,
        unit="pulses",
        why=why,
        channel=lambda i: names[int(worst[i])],
        at_ns=lambda i: int(trials.start_ns()[i]),
        basis=basis,
        at_most_not_shown=trials.coarse_reason(sensors, "how often they switch"),
    )


def _of_channels(trials: Trials, channels: tuple[str, ...]) -> tuple[Bools, str, frozenset[str]]:
    """The channels that are asked of these trials (n, C), their basis, and the sensors of those that are computed."""
    from stationtest.expectations import channel_rules

    mask = channel_rules.chosen(trials, channels)
    return mask[trials.index], channel_rules.basis_of(trials, mask), channel_rules.computed_sensors(trials, mask)
