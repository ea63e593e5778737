"""From the counts of a sensor to relative readings, level, CIE XYZ, CIELAB, u'v' and band shares.

Arrays are columns, one float64 array (n,) a band (three, or more of a spectral sensor), never (n, 3). All arithmetic is written
out element by element: a matrix product would give other last bits in another cutting of the readings.

Relative readings are (count - dark) / (white - dark); without a `white` the span is full_scale - dark. `to_xyz` acts on them and
gives XYZ with Y = 1 for white; the white of L*a*b* is to_xyz (1, 1, 1) unless `white_point` is stated (in any scale: it is
brought to Y = 1). Sensors that read XYZ give it with Y = 100 for white (relative: count / 100); sensors that read CIELAB are
taken as they are. For those two the white of L*a*b* is `white_point`, else that of the illuminant and observer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stationtest.errors import usage
from stationtest.model.station import Sensor
from stationtest.signals.elementwise import LAB_CUBE, LAB_DELTA, LAB_SLOPE, Columns, combine, divide, lab_function
from stationtest.signals.scratch import Column, blocks, own_scratch

Triple = tuple[float, float, float]
Row = tuple[float, ...]
"""One number a band."""

# White points in X, Y, Z with Y = 100 of ASTM E308, for sensors that read XYZ or CIELAB and state none. A, C, D50 and FL2 at
# 10 degrees, D75 and FL11 at 2 are from memory; B and D60 are sums in 5 nm steps; colour-science's spectra confirm all in a test.
WHITE_POINTS: dict[tuple[str, str], Triple] = {
    ("A", "2 deg"): (109.850, 100.0, 35.585),
    ("A", "10 deg"): (111.144, 100.0, 35.200),
    ("B", "2 deg"): (99.087, 100.0, 85.313),
    ("B", "10 deg"): (99.187, 100.0, 84.350),
    ("C", "2 deg"): (98.074, 100.0, 118.232),
    ("C", "10 deg"): (97.285, 100.0, 116.145),
    ("D50", "2 deg"): (96.422, 100.0, 82.521),
    ("D50", "10 deg"): (96.720, 100.0, 81.427),
    ("D55", "2 deg"): (95.682, 100.0, 92.149),
    ("D55", "10 deg"): (95.799, 100.0, 90.926),
    ("D60", "2 deg"): (95.260, 100.0, 100.931),
    ("D60", "10 deg"): (95.199, 100.0, 99.547),
    ("D65", "2 deg"): (95.047, 100.0, 108.883),
    ("D65", "10 deg"): (94.811, 100.0, 107.304),
    ("D75", "2 deg"): (94.972, 100.0, 122.638),
    ("D75", "10 deg"): (94.416, 100.0, 120.641),
    ("E", "2 deg"): (100.0, 100.0, 100.0),
    ("E", "10 deg"): (100.0, 100.0, 100.0),
    ("FL2", "2 deg"): (99.186, 100.0, 67.393),
    ("FL2", "10 deg"): (103.279, 100.0, 69.027),
    ("FL7", "2 deg"): (95.041, 100.0, 108.747),
    ("FL7", "10 deg"): (95.792, 100.0, 107.686),
    ("FL11", "2 deg"): (100.962, 100.0, 64.350),
    ("FL11", "10 deg"): (103.863, 100.0, 65.607),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorModel:
    """How one sensor's counts become colours. `matrix` is to_xyz; `white` is the white of L*a*b*, XYZ as `matrix` gives it."""

    reads: str
    dark: Row
    span: Row  # white - dark, or 100 - 0 for XYZ, or 1 for CIELAB
    level_span: Row
    clips_at: float | None
    dark_below: float | None
    matrix: tuple[Row, Row, Row] | None
    white: Triple | None

    @classmethod
    def from_sensor(cls, sensor: Sensor) -> SensorModel:
        """The model of a declared sensor. Raises `UsageError` (wrong-value) where white or full scale is not above dark.

        A spectral sensor has its matrix worked out here; `FileProblems` where its bands give no colour.
        """
        dark: Row = sensor.dark
        matrix, white = sensor.to_xyz, sensor.white_point
        if sensor.spectral is not None:
            from stationtest.signals import spectral

            matrix = spectral.to_xyz(sensor)
        if sensor.counts:
            top = sensor.white or ((sensor.full_scale,) * len(dark) if sensor.full_scale else tuple(d + 1.0 for d in dark))
            span = _minus(top, dark)
            if matrix is not None and white is None:
                white = (sum(matrix[0]), sum(matrix[1]), sum(matrix[2]))
            elif white is not None:
                white = _scaled(white)
        else:
            dark = sensor.dark if sensor.reads == "XYZ" else (0.0, 0.0, 0.0)
            span = (100.0,) * 3 if sensor.reads == "XYZ" else (1.0,) * 3
            matrix = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)) if sensor.reads == "XYZ" else None
            white = white or WHITE_POINTS.get((sensor.illuminant or "", sensor.observer or ""))
            white = _scaled(white) if white else None
        if sensor.full_scale:
            level_span = _minus((sensor.full_scale,) * len(dark), dark)
        else:
            level_span = span if sensor.counts else (100.0,) * 3
        if min(*span, *level_span) <= 0:
            raise usage(f"sensor {sensor.name}: `white` and `full_scale` must be above `dark` in every band", "wrong-value")
        return cls(
            reads=sensor.reads,
            dark=dark,
            span=span,
            level_span=level_span,
            clips_at=sensor.clips_at if sensor.clips_at is not None else sensor.full_scale,
            dark_below=sensor.when_dark.below if sensor.when_dark else None,
            matrix=matrix,  # type: ignore[arg-type]
            white=white,
        )

    # -- counts ---------------------------------------------------------------------------------------------------------------
    def relative(self, raw: Columns, out: Columns | None = None) -> Columns:
        """(count - dark) / (white - dark), one column a band; written to `out` if given."""
        results = out or tuple(np.empty(len(column)) for column in raw)
        for column, dark, span, result in zip(raw, self.dark, self.span, results, strict=True):
            np.subtract(column, dark, result)
            np.divide(result, span, result)
        return results

    def level(self, raw: Columns, out: Column | None = None) -> Column:
        """The brightest band as a share of full scale, (count - dark) / (full_scale - dark).

        Without a full scale it is a share of white; for XYZ and CIELAB of 100, for CIELAB of L* alone.
        """
        result = np.empty(len(raw[0])) if out is None else out
        np.subtract(raw[0], self.dark[0], result)
        np.divide(result, self.level_span[0], result)
        if self.reads == "CIELAB":
            return result
        scratch = own_scratch()
        for part in blocks(len(result)):
            band = scratch.of(len(result[part]))[0]
            for number in range(1, len(raw)):
                np.subtract(raw[number][part], self.dark[number], band)
                np.divide(band, self.level_span[number], band)
                np.maximum(result[part], band, out=result[part])
        return result

    def clipped(self, raw: Columns) -> NDArray[np.bool_]:
        """True where any count is at or above `clips_at`; nowhere if neither that nor full_scale is stated."""
        if self.clips_at is None or self.reads == "CIELAB":
            return np.zeros(len(raw[0]), dtype=np.bool_)
        mask = np.greater_equal(raw[0], self.clips_at)
        for column in raw[1:]:
            mask |= column >= self.clips_at
        return mask

    def is_dark(self, level: Column) -> NDArray[np.bool_]:
        """True where the level is below `when_dark: {below}`; nowhere if that is not stated."""
        if self.dark_below is None:
            return np.zeros(len(level), dtype=np.bool_)
        return level < self.dark_below

    # -- colours of relative readings -------------------------------------------------------------------------------------------
    def columns(self, space: str, relative: Columns) -> Columns:
        """The columns of a space: 'Lab' (3), 'uv' (2), 'shares' (one a band). `UsageError` where the sensor cannot give them."""
        if space == "Lab":
            return self.lab(relative)
        return self.uv(relative) if space == "uv" else self.shares(relative)

    def xyz(self, relative: Columns, out: Columns | None = None) -> Columns:
        """X, Y, Z with Y = 1 for the sensor's white."""
        results = out or tuple(np.empty(len(relative[0])) for _ in range(3))
        if self.reads == "CIELAB":
            return self._xyz_of_lab_columns(relative, results)
        matrix = self._matrix()
        scratch = own_scratch()
        for part in blocks(len(relative[0])):
            for row, result in zip(matrix, results, strict=True):
                combine(row, tuple(column[part] for column in relative), result[part], scratch)
        return results

    def lab(self, relative: Columns, out: Columns | None = None) -> Columns:
        """CIE 1976 L*, a*, b* (ISO/CIE 11664-4); the straight part of its function goes on below zero."""
        results = out or tuple(np.empty(len(relative[0])) for _ in range(3))
        if self.reads == "CIELAB":
            for column, result in zip(relative, results, strict=True):
                np.copyto(result, column)
            return results
        rows = self.lab_rows()
        scratch = own_scratch()
        for part in blocks(len(relative[0])):
            lightness, a, b = (result[part] for result in results)
            bands = tuple(column[part] for column in relative)
            *spare, fx, fy, fz = scratch.of(len(lightness))
            for row, f in zip(rows, (fx, fy, fz), strict=True):
                combine(row, bands, f, scratch)
                lab_function(f, spare)
            np.multiply(fy, 116.0, lightness)
            np.subtract(lightness, 16.0, lightness)
            np.subtract(fx, fy, a)
            np.multiply(a, 500.0, a)
            np.subtract(fy, fz, b)
            np.multiply(b, 200.0, b)
        return results

    def uv(self, relative: Columns, out: Columns | None = None) -> Columns:
        """CIE 1976 u', v' (ISO/CIE 11664-5); infinity where X + 15 Y + 3 Z is not above 0."""
        results = out or tuple(np.empty(len(relative[0])) for _ in range(2))
        if self.reads == "CIELAB":
            bands, matrix = self._xyz_of_lab_columns(relative, tuple(np.empty(len(relative[0])) for _ in range(3))), _IDENTITY
        else:
            bands, matrix = relative, self._matrix()
        rows = _uv_rows(matrix)
        scratch = own_scratch()
        for part in blocks(len(relative[0])):
            cut = tuple(column[part] for column in bands)
            u, v = (result[part] for result in results)
            total = scratch.of(len(u))[1]
            combine(rows[0], cut, u, scratch)
            combine(rows[1], cut, v, scratch)
            combine(rows[2], cut, total, scratch)
            divide((u, v), total)
        return results

    def shares(self, relative: Columns, out: Columns | None = None) -> Columns:
        """Each band by the sum of all; infinity where the sum is not above 0, so that no distance to it is finite."""
        if self.reads == "CIELAB":
            raise usage("a sensor that reads CIELAB has no bands to take shares of", "colour-mismatch")
        results = out or tuple(np.empty(len(column)) for column in relative)
        scratch = own_scratch()
        for part in blocks(len(relative[0])):
            bands = tuple(column[part] for column in relative)
            total = scratch.of(len(bands[0]))[1]
            np.add(bands[0], bands[1], total)
            for band in bands[2:]:
                np.add(total, band, total)
            for band, result in zip(bands, results, strict=True):
                np.copyto(result[part], band)
            divide(tuple(result[part] for result in results), total)
        return results

    def lab_rows(self) -> tuple[tuple[float, ...], ...]:
        """The rows of the matrix from relative readings to X / Xn, Y / Yn, Z / Zn."""
        return tuple(tuple(value / w for value in row) for row, w in zip(self._matrix(), self._white(), strict=True))

    def uv_rows(self) -> tuple[tuple[float, ...], ...]:
        """The rows of the matrix from relative readings to 4 X, 9 Y, X + 15 Y + 3 Z."""
        return _uv_rows(self._matrix())

    def xyz_of_lab(self, lab: Row) -> Triple:
        """X, Y, Z (Y = 1 for white) of one L*a*b*."""
        white = self._white()
        fy = (lab[0] + 16) / 116
        f = (fy + lab[1] / 500, fy, fy - lab[2] / 200)
        x, y, z = (w * (t**3 if t > LAB_DELTA else (t - 4 / 29) / LAB_SLOPE) for w, t in zip(white, f, strict=True))
        return x, y, z

    def lab_of_xyz(self, xyz: Triple) -> Triple:
        """L*a*b* of one X, Y, Z (Y = 1 for white)."""
        ratios = [value / w for value, w in zip(xyz, self._white(), strict=True)]
        fx, fy, fz = (t ** (1 / 3) if t > LAB_CUBE else t * LAB_SLOPE + 4 / 29 for t in ratios)
        return 116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)

    def _xyz_of_lab_columns(self, lab: Columns, out: Columns) -> Columns:
        fy = (lab[0] + 16.0) / 116.0
        for f, w, result in zip((fy + lab[1] / 500.0, fy, fy - lab[2] / 200.0), self._white(), out, strict=True):
            np.copyto(result, w * np.where(f > LAB_DELTA, f * f * f, (f - 4 / 29) / LAB_SLOPE))
        return out

    def _matrix(self) -> tuple[Row, Row, Row]:
        if self.matrix is None:
            raise usage("a sensor without `to_xyz` gives no CIE colours; use `sensor chromaticity`", "colour-mismatch")
        return self.matrix

    def _white(self) -> Triple:
        if self.white is None:
            raise usage("the sensor states no `white_point`, and no illuminant whose white is known", "colour-mismatch")
        return self.white


_IDENTITY: tuple[Row, Row, Row] = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


def _minus(top: Row, dark: Row) -> Row:
    return tuple(above - below for above, below in zip(top, dark, strict=True))


def _uv_rows(matrix: tuple[Row, Row, Row]) -> tuple[Row, ...]:
    x, y, z = matrix
    total = tuple(p + 15 * q + 3 * r for p, q, r in zip(x, y, z, strict=True))
    return tuple(4 * value for value in x), tuple(9 * value for value in y), total


def _scaled(white: Triple) -> Triple:
    """A white point brought to Y = 1, in whichever scale it was stated."""
    return white[0] / white[1], 1.0, white[2] / white[1]
