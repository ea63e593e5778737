"""Random numbers of which any part can be made alone, in any order, with the same bytes.

A running generator would make every number depend on how many were drawn before it, and so on how the work was cut. Here each is
addressed by (seed, stream name, cell): Philox, the counter-based generator of J. K. Salmon et al., 'Parallel random numbers: as
easy as 1, 2, 3' (SC11), takes seed and stream as its key and the cell as the upper part of its counter. A cell is a fixed number
of consecutive values; numbers inside a cell are drawn in one go and cut afterwards.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from stationtest.optics.spectra import Floats, refused

CELL = 4_096
"""Values in a cell of `normals_at` and `uniforms_at`."""


@lru_cache(maxsize=1024)
def _key(seed: int, stream: str) -> tuple[int, int]:
    digest = hashlib.sha256(f"{seed}\n{stream}".encode()).digest()
    return int.from_bytes(digest[:8], "little"), int.from_bytes(digest[8:16], "little")


def generator(seed: int, stream: str, cell: int) -> np.random.Generator:
    """The generator of one cell. `cell` is not below 0; seed is any integer. Raises `UsageError` for a cell below 0."""
    if cell < 0:
        raise refused("random numbers", f"a cell must not be below 0, found {cell}")
    key = np.array(_key(seed, stream), dtype=np.uint64)
    return np.random.Generator(np.random.Philox(key=key, counter=np.array([0, 0, cell, 0], dtype=np.uint64)))


def normals(seed: int, stream: str, cell: int, count: int) -> NDArray[np.float32]:
    """`count` standard normal numbers of a cell, float32 (they carry noise, never a position): (count,)."""
    return generator(seed, stream, cell).standard_normal(count, dtype=np.float32)


def normals_at(seed: int, stream: str, first: int, count: int) -> Floats:
    """Standard normal numbers first .. first + count - 1 of an endless numbered row, float64 (count,)."""
    return _stretch(first, count, lambda cell: generator(seed, stream, cell).standard_normal(CELL))


def uniforms_at(seed: int, stream: str, first: int, count: int) -> Floats:
    """Numbers in [0, 1), first .. first + count - 1 of an endless numbered row, float64 (count,)."""
    return _stretch(first, count, lambda cell: generator(seed, stream, cell).random(CELL))


def _stretch(first, count, draw):  # type: ignore[no-untyped-def]
    if first < 0 or count < 0:
        raise refused("random numbers", f"a stretch must not begin or end below 0, found {first} and {count}")
    if not count:
        return np.empty(0)
    begin, end = first // CELL, (first + count - 1) // CELL
    cells = [draw(cell) for cell in range(begin, end + 1)]
    return np.concatenate(cells)[first - begin * CELL : first - begin * CELL + count]
