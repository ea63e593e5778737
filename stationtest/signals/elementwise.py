"""Arithmetic of single columns, in place and element by element."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stationtest.signals.scratch import Column, Scratch

Columns = tuple[Column, ...]

LAB_DELTA = 6 / 29  # ISO/CIE 11664-4
LAB_CUBE = LAB_DELTA**3
LAB_SLOPE = 1 / (3 * LAB_DELTA**2)

_THIRD = 0x2A9F7893_00000000  # the usual start of a cube root by the bits of a double; its error is tested


def combine(row: tuple[float, ...], bands: Columns, out: Column, scratch: Scratch) -> None:
    """out <- row . bands, always in the order of the bands. Uses the first scratch column."""
    term = scratch.of(len(out))[0]
    np.multiply(bands[0], row[0], out)
    np.multiply(bands[1], row[1], term)
    np.add(out, term, out)
    for band, weight in zip(bands[2:], row[2:], strict=True):
        np.multiply(band, weight, term)
        np.add(out, term, out)


def divide(columns: Columns, total: Column) -> None:
    """columns <- columns / total, infinity where total is not above 0."""
    none = None if total.min() > 0 else total <= 0
    if none is not None:
        total[none] = 1.0
    for column in columns:
        np.divide(column, total, column)
        if none is not None:
            column[none] = np.inf


def lab_function(t: Column, spare: Sequence[Column]) -> None:
    """t <- f(t) of ISO/CIE 11664-4: the cube root above (6/29)^3, a straight line below.

    The cube root starts from a third of the exponent (error under 4 %) and takes two Halley steps, which leaves 1e-14;
    numpy's own costs three times as much.
    """
    line, root, cube, top, *_ = spare
    np.subtract(t, LAB_CUBE, line)
    np.minimum(line, 0.0, out=line)
    np.multiply(line, LAB_SLOPE, line)
    np.maximum(t, LAB_CUBE, out=t)
    bits = root.view(np.int64)
    np.floor_divide(t.view(np.int64), 3, bits)
    np.add(bits, _THIRD, bits)
    for _ in range(2):
        np.multiply(root, root, cube)
        np.multiply(cube, root, cube)
        np.add(cube, t, top)
        np.add(top, t, top)  # y^3 + 2 t
        np.add(cube, cube, cube)
        np.add(cube, t, cube)  # 2 y^3 + t
        np.divide(top, cube, top)
        np.multiply(root, top, root)
    np.add(root, line, t)
