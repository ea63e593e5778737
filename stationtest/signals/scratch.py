"""Scratch columns for the colour arithmetic, so that no array is allocated for each reading.

Kernels work on blocks small enough to stay in the processor's cache. Every thread has its own columns, so kernels may be called
from several threads at once; numpy releases the interpreter lock inside each operation.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

Column = NDArray[np.float64]

BLOCK = 16384
"""Readings in one block. No result depends on it: all arithmetic is element by element."""

_COLUMNS = 8
_own = threading.local()


class Scratch:
    """Eight float64 columns and two of bools, each of BLOCK readings."""

    def __init__(self) -> None:
        self.columns = tuple(np.empty(BLOCK) for _ in range(_COLUMNS))
        self._masks = (np.empty(BLOCK, dtype=np.bool_), np.empty(BLOCK, dtype=np.bool_))

    def of(self, size: int) -> tuple[Column, ...]:
        """The eight columns, cut to `size` readings."""
        return self.columns if size == BLOCK else tuple(column[:size] for column in self.columns)

    def masks(self, size: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """The two columns of bools, cut to `size` readings."""
        return self._masks[0][:size], self._masks[1][:size]


def own_scratch() -> Scratch:
    """The scratch columns of the calling thread."""
    scratch: Scratch | None = getattr(_own, "scratch", None)
    if scratch is None:
        scratch = _own.scratch = Scratch()
    return scratch


def blocks(size: int) -> Iterator[slice]:
    """Slices that cut `size` readings into blocks."""
    for start in range(0, size, BLOCK):
        yield slice(start, min(start + BLOCK, size))
