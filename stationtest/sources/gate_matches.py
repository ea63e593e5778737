"""A gate and a list of unequal number: which stretch between two sure matches does not fit (A6).

Where the list names the set of each row, and an edge of the station says when each set began, the sets are matched in order. In a
set whose numbers are equal its rows are; in any other nobody knows which row is which on-time, so what was presented there is not
known. Nothing is ever shifted to fit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stationtest.sources.checks import seconds

if TYPE_CHECKING:
    Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Matched:
    """For each on-time (n,): its row of the list, -1 where that is not known, and the first row of its set."""

    row: Ints
    set_row: Ints
    notes: tuple[str, ...]


def matched(on: Ints, sets: NDArray[np.int32], begins: Ints, names: Sequence[str], said: str) -> Matched | None:
    """On-times (n, 2) in order against the set of each row of the list (m,); `begins` are the instants at which sets began.

    `said` begins each note. None where the sets themselves are not as many as the list names, so that nothing is sure.
    """
    heads = np.flatnonzero(np.append(True, sets[1:] != sets[:-1])) if len(sets) else np.zeros(0, np.int64)
    of = np.searchsorted(begins, on[:, 0], "right")
    if len(of) and of[0] > 0:  # nothing came before the first edge
        of, starts = of - 1, begins
    else:
        starts = np.concatenate((on[:1, 0], begins))
    if not len(heads) or len(starts) != len(heads) or (sets[heads] < 0).any():
        return None
    row, set_row = np.full(len(on), -1, np.int64), heads[of]
    notes = []
    for k, (low, high) in enumerate(_stretches(heads, len(sets))):
        mine = np.flatnonzero(of == k)
        if len(mine) == high - low:
            row[mine] = np.arange(low, high)
        else:
            end = seconds(int(starts[k + 1])) if k + 1 < len(starts) else "the end"
            counted = f"{len(mine)} on-times and {high - low} rows in set {names[sets[low]]}"
            stretch = f"from {seconds(int(starts[k]))} to {end}"
            notes.append(f"{said}: {counted}, {stretch}, so what was presented there is not known")
    return Matched(row, set_row, tuple(notes))


def _stretches(heads: Ints, n: int) -> Iterator[tuple[int, int]]:
    ends = [*heads[1:].tolist(), n]
    yield from zip(heads.tolist(), ends, strict=True)
