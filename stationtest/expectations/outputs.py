"""`outputs: {flap: {is: on, from: box out, within: 200 ms}}`: outputs of the logic come, or stay off, in a stated window.

Unit: presentation, or set where a set is presented. Fields of each output: `is: on | off`, `from` (`start`, `end`, `covered` or an
edge of an input; always stated), `after`, `within`, `until` (`next decision` or an edge), `lasts: at least D`.
An edge is the first one at or after the start of the presentation or set, before the next set starts; where a set has none, the last
one since the set before it ended.
*on* conforms: a rising edge lies for sure in [from + after, from + after + within), then on for sure for `lasts`; an output that was
already on, even perhaps, does not count. Without `within` the window ends at `until`, at the next decision, or where the next trial begins.
*off* conforms: not on, not even perhaps, from `from + after` until the next decision of that output (or `until`); on-time held over from an
earlier decision is excepted and named: what began before `from` and lasts no longer than pulse, off-delay and scan explain.
Instant named: the on-time in question, else `from`.
Not judged: no such edge; the window reaches past the end of the recording, into a gap, or to states before the first row that are
unknown; `within` or `lasts` finer than the readings; windows on a table without times.
Example by hand (A11): flap on from 9.950 s to 10.070 s, box out at 10.000 s, `is: on, within: 200 ms`: nonconforming, it was already on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import model_validator

from stationtest.expectations.wording import duration_text, instant_text, listed
from stationtest.files.fields import Fields as Base
from stationtest.files.fields import Single, said
from stationtest.files.scalars import AtLeastDuration, Duration, Instant, OnOff, OutputName, PositiveDuration, Until, wrong

if TYPE_CHECKING:
    from stationtest.expectations.trials import Trials
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station


class OutputFields(Base):
    """What one output must do."""

    is_: OnOff
    from_: Instant
    after: Duration = said("0 ms")
    within: PositiveDuration | None = None
    until: Until | None = None
    lasts: AtLeastDuration | None = None

    @model_validator(mode="after")
    def _fits(self) -> OutputFields:
        if not self.is_ and (self.within is not None or self.lasts is not None):
            raise wrong("an output that must stay off has no `within` or `lasts`: it is off until the next decision",
                        allowed="`until` with is: off", code="contradiction")  # fmt: skip
        if self.is_ and self.within is not None and self.until is not None:
            raise wrong("`within` and `until` both end the window", allowed="one of them", code="contradiction")
        return self


Fields = Single[dict[OutputName, OutputFields]]


def words(fields: Fields, station: Station) -> str:
    return listed(_words(name, output) for name, output in fields.root.items())


def _words(name: str, output: OutputFields) -> str:
    origin = instant_text(output.from_)
    later = f"{duration_text(output.after)} after {origin}" if output.after else origin
    until = "" if output.until is None else f" until {output.until if output.until == 'next decision' else f'the edge {output.until}'}"
    if not output.is_:
        return f"{name} stays off from {later}{until or ' until its next decision'}"
    window = f"within {duration_text(output.within)} from {later}" if output.within is not None else f"after {later}{until}"
    lasts = f" and lasts at least {duration_text(output.lasts)}" if output.lasts is not None else ""
    return f"{name} comes on {window}{lasts}"
