"""Arrow columns from numpy arrays, for the tables that a run leaves.

Arrow's own constructors first look for a data-frame library and load it where there is one; these do not.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray


def numbers(values: NDArray[Any], missing: NDArray[np.bool_] | None = None) -> pa.Array:
    """int64 or float64 (n,); empty where `missing` (n,)."""
    kind = pa.float64() if values.dtype.kind == "f" else pa.int64()
    plain = np.ascontiguousarray(values, np.float64 if values.dtype.kind == "f" else np.int64)
    return pa.Array.from_buffers(kind, len(plain), [_present(missing), pa.py_buffer(plain)])


def flags(values: NDArray[np.bool_]) -> pa.Array:
    """bool (n,)."""
    return pa.Array.from_buffers(pa.bool_(), len(values), [None, pa.py_buffer(np.packbits(values, bitorder="little"))])


def texts(codes: NDArray[np.int64], words: Sequence[str]) -> pa.Array:
    """Text (n,): the word of each code; empty where the code is negative."""
    written = [*(word.encode() for word in words), b""]
    picked = np.where(codes < 0, len(words), codes)
    offsets = np.zeros(len(picked) + 1, np.int32)
    np.cumsum(np.array([len(word) for word in written])[picked], out=offsets[1:])
    buffers = [_present(codes < 0), pa.py_buffer(offsets), pa.py_buffer(b"".join(map(written.__getitem__, picked.tolist())))]
    return pa.Array.from_buffers(pa.string(), len(picked), buffers)


def nothing(n: int) -> pa.Array:
    """A column of numbers that is empty throughout."""
    return numbers(np.zeros(n), np.ones(n, np.bool_))


def _present(missing: NDArray[np.bool_] | None) -> Any:
    return None if missing is None or not missing.any() else pa.py_buffer(np.packbits(~missing, bitorder="little"))
