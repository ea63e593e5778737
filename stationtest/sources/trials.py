"""Tables of hand trials: one row a presentation, no times; what was seen on each output, by whom."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from stationtest.errors import readings_error
from stationtest.signals.batch import Batch, joined
from stationtest.sources.layout import VOID

MOST = 1_000_000  # a person does not write more rows; a stream that is declared as trials would fill the memory


def whole_table(pieces: Iterable[Batch], path: str) -> Batch:
    """All rows as one batch without times. Digital columns are int8: 1 on, 0 off, -1 nothing noted.

    Raises `ReadingsError`: no rows ('empty-recording'), far too many ("wrong-value").
    """
    held = []
    rows = 0
    for piece in pieces:
        held.append(piece)
        rows += len(piece)
        if rows > MOST:
            said = f"a table of trials has at most {MOST} rows; `rows: samples` may be meant"
            raise readings_error(path, 0, "rows", said, "wrong-value")
    if not rows:
        raise readings_error(path, 0, "", "the recording has no rows", "empty-recording")
    table = joined(held)
    return replace(table, t_ns=None)


def void(table: Batch) -> NDArray[np.bool_]:
    """Rows (n,) that whoever made the trials declared void; an empty cell is not void."""
    column = table.digital.get(VOID)
    return np.zeros(len(table), np.bool_) if column is None else column == 1
