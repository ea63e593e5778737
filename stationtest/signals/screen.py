"""A cheap screen before the exact distances: which channels a reading may match, with no match ever missed.

The relative readings are sorted into cells, evenly spaced in the square root of each band. For each cell one bit a channel says
whether any colour in it may be within the channel's off threshold; the bits are found once, from boxes that surely hold the
cell's colours (`enclosures`). Where a bit is 0 the exact distance is above the threshold, and need not be known.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from stationtest.model.station import Channel
from stationtest.signals.channel_distances import ChannelDistances
from stationtest.signals.conversion import SensorModel
from stationtest.signals.distances import WEIGHTS
from stationtest.signals.elementwise import Columns
from stationtest.signals.enclosures import Grid, Interval, away, far_2000, lab_boxes, least_2000, least_weighted, quotient_boxes
from stationtest.signals.scratch import BLOCK, blocks

CELLS = 40
"""Cells along each band."""

_TOP = 1.2  # the last cell begins a little below this share of white
_WIDER = 2e-6  # cells are computed this much wider: look-up rounds to single precision, 4 roundings of 6e-8
_SLACK = 1e-6  # added to every threshold, far above the rounding of the bounds

Mask = NDArray[np.unsignedinteger]


class Screen:
    """For each reading a word of bits: bit `number % 64` is 0 only where that channel's distance surely exceeds its threshold.

    `sought` gives for each channel the name of its distance, its references in that distance's space, and the off threshold,
    tolerance * (1 + hysteresis). Distances that are not built in, and sensors that read CIELAB, are never screened out.
    """

    def __init__(self, model: SensorModel, sought: Sequence[tuple[str, Sequence[tuple[float, ...]], float]]) -> None:
        words: tuple[type[np.unsignedinteger], ...] = (np.uint8, np.uint16, np.uint32)
        fitting = [word for word, bits in zip(words, (8, 16, 32), strict=True) if len(sought) <= bits]
        self.word: type[np.unsignedinteger] = fitting[0] if fitting else np.uint64
        self.table: Mask = np.zeros(CELLS**3, dtype=self.word)
        boxes = _Boxes(model)
        for number, (name, references, threshold) in enumerate(sought):
            for reference in references:
                self.table |= boxes.may_be_within(name, reference, threshold).astype(self.word) << self.word(number % 64)

    @classmethod
    def of(cls, channels: Sequence[Channel], distances: ChannelDistances) -> Screen:
        """The screen of a sensor's channels, parallel to `distances`."""
        sought = [
            (channel.distance, references, channel.tolerance * (1 + channel.hysteresis))
            for channel, references in zip(channels, distances.references, strict=True)
        ]
        return cls(distances.model, sought)

    def bit(self, number: int) -> np.unsignedinteger:
        """The bit of channel `number`."""
        bit: np.unsignedinteger = self.word(1 << number % 64)
        return bit

    def may_be_within(self, relative: Columns, out: Mask | None = None) -> Mask:
        """The bits of each reading (n,), from three columns of relative readings."""
        size = len(relative[0])
        result: Mask = np.empty(size, dtype=self.word) if out is None else out
        single, whole = np.empty(min(size, BLOCK), np.float32), np.empty(min(size, BLOCK), np.int32)
        cell, place = np.empty(min(size, BLOCK), np.int32), np.empty(min(size, BLOCK), np.intp)
        for part in blocks(size):
            length = part.stop - part.start
            f, i, c, p = single[:length], whole[:length], cell[:length], place[:length]
            for number, column in enumerate(relative):
                with np.errstate(over="ignore"):
                    np.copyto(f, column[part], casting="same_kind")
                np.maximum(f, _ZERO, out=f)
                np.sqrt(f, f)
                np.multiply(f, _PER_ROOT, f)
                np.minimum(f, _LAST, out=f)
                np.copyto(c if number == 0 else i, f, casting="unsafe")  # towards zero
                if number:
                    np.multiply(c, _CELLS, c)
                    np.add(c, i, c)
            np.copyto(p, c)
            np.take(self.table, p, out=result[part], mode="clip")
        return result


_ZERO, _LAST, _PER_ROOT = np.float32(0), np.float32(CELLS - 0.5), np.float32(CELLS / _TOP**0.5)
_CELLS = np.int32(CELLS)


def cells_of_the_cube() -> Grid:
    """The cells, a little wider than look-up needs; those at the ends hold everything beyond."""
    ends = (np.arange(CELLS + 1) / float(_PER_ROOT)) ** 2
    low, high = ends[:-1] * (1 - _WIDER), ends[1:] * (1 + _WIDER)
    low[0], high[-1] = -np.inf, np.inf
    return Grid((low, low, low), (high, high, high))


class _Boxes:
    """The boxes of all cells in each space, made when first asked for."""

    def __init__(self, model: SensorModel) -> None:
        self.model = model
        self.grid = cells_of_the_cube()
        self.lab: tuple[Interval, Interval, Interval] | None = None
        self.quotients: dict[str, list[Interval]] = {}

    def may_be_within(self, name: str, reference: tuple[float, ...], threshold: float) -> NDArray[np.bool_]:
        """For each cell: may a colour in it be within the threshold of the reference?"""
        everywhere = np.ones(CELLS**3, dtype=np.bool_)
        if self.model.reads == "CIELAB":
            return everywhere
        limit = threshold + _SLACK
        with np.errstate(invalid="ignore", over="ignore"):
            if name in ("CIE 1976 u'v'", "sensor chromaticity"):
                squares = sum(away(box, value) ** 2 for box, value in zip(self._quotients(name), reference, strict=True))
                return ~(np.sqrt(squares) > limit)
            if name != "CIEDE2000" and name != "CIE 1976 L*a*b*" and name not in WEIGHTS:
                return everywhere
            return self._near_in_lab(name, reference, limit)

    def _near_in_lab(self, name: str, reference: tuple[float, ...], limit: float) -> NDArray[np.bool_]:
        if self.lab is None:
            self.lab = lab_boxes(self.grid, self.model)
        weights = WEIGHTS[name](reference) if name in WEIGHTS else (1.0, 1.0, 1.0)
        # S_L of CIEDE2000 is below 1.9 for lightness from -5 to 105; what is not within that goes on to the full bound
        rough = 1.9 if name == "CIEDE2000" else weights[0]
        near = ~(away(self.lab[0], reference[0]) > limit * rough)
        if name == "CIEDE2000":
            near |= (self.lab[0][0] < -5) | (self.lab[0][1] > 105) | (not -5 <= reference[0] <= 105)
            near &= ~(far_2000(self.lab[1], self.lab[2], reference) > limit)
        cells = np.flatnonzero(near)
        lightness, a, b = ((low[cells], high[cells]) for low, high in self.lab)
        if name == "CIEDE2000":
            bound = least_2000(lightness, a, b, reference)
        else:
            bound = least_weighted(lightness, a, b, reference, weights)
        near[cells] = ~(bound > limit)
        return near

    def _quotients(self, name: str) -> list[Interval]:
        if name not in self.quotients:
            if name == "sensor chromaticity":
                rows: tuple[tuple[float, ...], ...] = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), (1.0, 1.0, 1.0))
            else:
                rows = self.model.uv_rows()
            self.quotients[name] = quotient_boxes(self.grid, rows[:-1], rows[-1])
        return self.quotients[name]
