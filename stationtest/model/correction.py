"""Corrections of what was presented: laid over the truth of a recording, never written into its file (A6)."""

from __future__ import annotations

from dataclasses import dataclass

from stationtest.place import NOWHERE, Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """One presentation of a recording is not what was written down: `what` ('target', 'specimen' or a condition) was `was`, is
    `is_`.

    It is the presentation that holds `row` (of the recording, the first row of data is 1) or the instant `at_ns` on its clock,
    before that `sensor`, which is empty where only one has a presentation there.
    """

    recording: str
    row: int | None
    at_ns: int | None
    what: str
    was: str
    is_: str
    by: str
    when: str
    why: str
    sensor: str = ""
    place: Place = NOWHERE

    @property
    def where(self) -> str:
        at = f"row {self.row}" if self.row is not None else f"{(self.at_ns or 0) / 1e9:.3f} s"
        return at + (f", sensor {self.sensor}" if self.sensor else "")
