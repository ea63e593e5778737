"""Belt travel: lengths of belt, how a station knows how far its belt has moved, and how far it moved in a recording.

Lengths are whole numbers of nanometres, as durations are whole numbers of nanoseconds. A recording's `Belt` holds numpy arrays
but does not import numpy.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]

NM = 1_000_000
"""Nanometres in a millimetre."""


@dataclass(frozen=True, slots=True)
class Length:
    """A length of belt. It stands still while the belt does."""

    nm: int

    @property
    def mm(self) -> float:
        return self.nm / NM


Reach = int | Length
"""How far a delay or a window reaches: a duration in ns, or a length of belt."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Travel:
    """How the position of the belt is known: from a stated speed, the pulses of an input, or a column; exactly one of them.

    `speed_nm_s` may be off by the share `within`. One pulse of `input` is `per_pulse_nm` of belt, one count of `column`
    `per_count_nm`; the count starts again at `wraps_at`, and is right to `within_nm`. The belt stands where no step comes for
    `standstill_ns`.
    """

    speed_nm_s: float | None = None
    within: float = 0.0
    input: str | None = None
    per_pulse_nm: int = 0
    column: str | None = None
    per_count_nm: int = 0
    wraps_at: float | None = None
    within_nm: int = 0
    standstill_ns: int | None = None

    @property
    def step_nm(self) -> int:
        """Between two steps nothing is known of the belt; 0 for a stated speed."""
        return self.per_pulse_nm or self.within_nm or self.per_count_nm


@dataclass(frozen=True, slots=True, kw_only=True)
class Belt:
    """How far the belt has moved at instants of one recording, straight lines between them.

    `at_ns` (n,) rises strictly from the first row to the end, `at_nm` (n,) never falls. The way between two instants may be off
    by `doubt_nm` and by the share `doubt_share` of itself; across a stretch of `lost_ns` (m, 2) nothing is known of it.
    """

    at_ns: Ints
    at_nm: Ints
    doubt_nm: int = 0
    doubt_share: float = 0.0
    lost_ns: Ints
