"""The number of the match on several lines, decoded to one three-valued signal for each channel (counter-example A18).

From 7 to 8 (0111 to 1000) lines that do not change together pass through any number. With a strobe the number is that on the
lines while it is on; while it is off, the last one as long as no line changes, and then not known until the strobe comes again.
Without one, a number that lasts for less than what a controller is sure to see is perhaps seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationtest.model.match_number import Numbers
from stationtest.signals import intervals as ivs
from stationtest.signals import ternary

if TYPE_CHECKING:
    from stationtest.signals.intervals import Bools, Ints, Span


class Decoded(NamedTuple):
    """For each channel when it is on for sure and when it may be (n, 2); where the number is not known (m, 2); stretches in which
    the lines showed a number that stands for nothing, for long enough to be seen: (number, start, end)."""

    channels: dict[str, ternary.Ternary]
    unknown: Ints
    strange: list[tuple[int, int, int]]


def decode(
    lines: Sequence[Ints], strobe: Ints | None, numbers: Numbers, *, gray: bool, none: int, seen_ns: int, gaps: Ints, span: Span
) -> Decoded:  # fmt: skip
    """`lines`, lowest bit first, and `strobe` are on-intervals (n, 2); in `gaps` (m, 2) nothing was recorded."""
    edges = [one.ravel() for one in (*lines, gaps, *([] if strobe is None else [strobe]))]
    at = np.unique(np.concatenate([np.array(span, np.int64), *edges]))
    at = at[(at >= span[0]) & (at <= span[1])]
    starts = at[:-1]
    number = np.zeros(len(starts), np.int64)
    for bit, line in enumerate(lines):
        number |= ivs.contains(line, starts).astype(np.int64) << bit
    if gray:
        for shift in (8, 4, 2, 1):  # the exclusive or of all bits above each
            number ^= number >> shift
    lost = ivs.contains(gaps, starts)
    if strobe is not None:
        number, lost = _held(number, ivs.contains(strobe, starts) & ~lost, lost)
        seen_ns = 0  # what a strobe says is valid is taken as seen

    def where(chosen: Bools) -> Ints:
        return ivs.merge(np.column_stack((starts[chosen], at[1:][chosen])))

    found = {name: ternary.seen(ternary.known(where((number == value) & ~lost)), seen_ns) for name, value in numbers}
    known = {none, *(value for _, value in numbers)}
    strange = [
        (value, start, end)
        for value in np.unique(number[~lost]).tolist() if value not in known
        for start, end in ivs.drop_short(where((number == value) & ~lost), max(seen_ns, 1)).tolist()
    ]  # fmt: skip
    return Decoded(found, where(lost), sorted(strange, key=lambda one: one[1]))


def _held(number: Ints, valid: Bools, lost: Bools) -> tuple[Ints, Bools]:
    """The number of each stretch as the strobe gives it, and whether it is not known there."""
    index = np.arange(len(number))
    last = np.maximum.accumulate(np.where(valid, index, -1))
    held = number[np.maximum(last, 0)]
    changed = np.maximum.accumulate(np.where(~valid & ((number != held) | lost), index, -1))
    return held, (last < 0) | (changed > last)
