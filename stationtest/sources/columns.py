"""Arrow columns without empty cells as numpy arrays.

Arrow's own `to_numpy` first looks for a data-frame library and loads it where there is one, which can cost more than the reading.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

_SAME: dict[str, np.dtype[Any]] = {
    name: np.dtype(name) for name in ("int8", "int16", "int32", "int64", "uint8", "uint16", "uint32", "uint64")
}
_SAME |= {"float": np.dtype(np.float32), "double": np.dtype(np.float64)}


def plain(column: pa.Array) -> NDArray[Any]:
    """The values (n,) of a column of numbers or on/off values without empty cells, read only where nothing had to be copied."""
    values = column.buffers()[1]
    n, offset = len(column), column.offset
    if not n or values is None:
        return column.to_numpy(zero_copy_only=False)  # type: ignore[no-any-return]
    if pa.types.is_boolean(column.type):
        first = offset // 8
        packed = np.frombuffer(values, np.uint8, (offset + n + 7) // 8 - first, first)
        return np.unpackbits(packed, bitorder="little")[offset - 8 * first :][:n].view(np.bool_)
    dtype = _SAME.get(str(column.type))
    if dtype is None:
        return column.to_numpy(zero_copy_only=False)  # type: ignore[no-any-return]
    return np.frombuffer(values, dtype, n, offset * dtype.itemsize)
