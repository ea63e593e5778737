"""A column that holds the number of the match, as one on/off column for each channel (counter-example A18)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from stationtest.files.words import listed, shown
from stationtest.model.match_number import Match
from stationtest.sources.checks import Where, no_empty_cells
from stationtest.sources.columns import plain


def channels(match: Match, column: pa.Array, where: Where, *, may_be_empty: bool = False) -> dict[tuple[str, str], NDArray[Any]]:
    """bool (n,) by ('channel', name); with `may_be_empty` int8, -1 where nothing was noted. A number of no channel is refused."""
    if not pa.types.is_integer(column.type):
        said = f"column {shown(match.column)} holds {column.type}; the number of a match is a whole number"
        where.refuse(None, "match.column", said)
    empty = plain(column.is_null()) if column.null_count else np.zeros(len(column), bool)
    if not may_be_empty:
        no_empty_cells(column, "match.column", match.column, where)
    numbers = plain(column.fill_null(match.none) if column.null_count else column)
    known = np.isin(numbers, [match.none, *(number for _, number in match.channels)])
    if not known.all():
        index = int(np.argmin(known))
        declared = listed(f"{number} for {name}" for name, number in match.channels)
        said = f"column {shown(match.column)} holds {numbers[index]}, the number of no channel"
        where.refuse(index, "match.channels", f"{said}; declared are {match.none} for none, {declared}")
    found = {("channel", name): numbers == number for name, number in match.channels}
    if not may_be_empty:
        return found
    return {key: np.where(empty, -1, on).astype(np.int8) for key, on in found.items()}
