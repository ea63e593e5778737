"""What judging hands on: the outcome of each trial, and the result of each case. Builtins in `CaseResult`; arrays in `Judged`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

CONFORMING, NONCONFORMING, NOT_JUDGED = 0, 1, 2


class Verdict(StrEnum):
    PASS = "pass"
    FAIL = "fail"
    NOT_SHOWN = "not shown"
    NOT_JUDGED = "not judged"


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """The outcome of one expectation for n trials of one recording, in the order in which they were handed in.

    `outcome` (n,) holds CONFORMING, NONCONFORMING or NOT_JUDGED. `value` (n,) is the measured figure, NaN where there is none,
    in `unit`; `good` says which way is better ('high', 'low' or '' ) so that the worst can be named. `why(i)` gives the words for
    trial i without naming the presentation (the caller puts `mint, specimen 14, at 83.412 s:` before it). `channel(i)` is the
    channel or output it is about, or ''. `at_most_not_shown` is a reason why these trials can show nothing even when all conform
    (readings coarser than the sensor decides), or None. `kinds` are the kinds of sets ('complete', 'incomplete') that this
    recording has, where both must come before anything is shown; None where that is not asked.
    """

    outcome: NDArray[np.int8]
    value: NDArray[np.float64] | None = None
    unit: str = ""
    good: str = ""
    why: Callable[[int], str]
    channel: Callable[[int], str]
    at_ns: Callable[[int], int | None]
    basis: str = "computed"
    at_most_not_shown: str | None = None
    kinds: frozenset[str] | None = None
