"""How far a reading is from a reference, by named published formulas. The reference is always the first argument (the standard).

A `Distance` says in which space it works; `of(reference)` gives a function of that space's columns. The spaces:

- `Lab`: CIE 1976 L*, a*, b* (ISO/CIE 11664-4), relative to the sensor's own white
- `uv`: CIE 1976 u', v' (ISO/CIE 11664-5)
- `shares`: band / sum of the three bands, without calibration

A reading without a colour (sum of bands or X + 15 Y + 3 Z not above 0) has the coordinates infinity and the distance infinity.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, radians, sqrt

import numpy as np

from stationtest.errors import usage
from stationtest.model.station import Colour, Sensor
from stationtest.signals import ciede2000
from stationtest.signals.conversion import SensorModel
from stationtest.signals.scratch import Column, blocks, own_scratch

Compare = Callable[..., Column]
"""Called with the columns of its space, float64 (n,), and `out=`; returns the distances, float64 (n,)."""

COLUMNS = {"Lab": 3, "uv": 2, "shares": 3}


@dataclass(frozen=True, slots=True)
class Distance:
    """A distance: its name, the space it works in, its published source, and what makes a `Compare` of a reference."""

    name: str
    space: str
    source: str
    of: Callable[[tuple[float, ...]], Compare]


class _Euclidean:
    """The root of the sum of squared differences in all columns."""

    def __init__(self, reference: tuple[float, ...]) -> None:
        self.reference = reference

    def __call__(self, *columns: Column, out: Column | None = None) -> Column:
        result = np.empty(columns[0].shape) if out is None else out
        scratch = own_scratch()
        for part in blocks(len(result)):
            total, square = result[part], scratch.of(len(result[part]))[0]
            for number, (column, centre) in enumerate(zip(columns, self.reference, strict=True)):
                into = square if number else total
                np.subtract(column[part], centre, into)
                np.multiply(into, into, into)
                if number:
                    np.add(total, square, total)
            np.sqrt(total, total)
        return result


class _Weighted:
    """The root of (dL / S_L)^2 + (dC / S_C)^2 + (dH / S_H)^2 with weights that the reference alone decides.

    Since dH^2 = da^2 + db^2 - dC^2 it needs neither hue nor angle.
    """

    def __init__(self, reference: tuple[float, ...], weights: tuple[float, float, float]) -> None:
        s_l, s_c, s_h = weights
        self.reference = reference
        self.chroma = sqrt(reference[1] * reference[1] + reference[2] * reference[2])
        self.per_lightness = 1 / s_l
        self.plane = 1 / (s_h * s_h)
        self.radial = 1 / (s_c * s_c) - self.plane

    def __call__(self, lightness: Column, a: Column, b: Column, out: Column | None = None) -> Column:
        add, sub, mul = np.add, np.subtract, np.multiply
        result = np.empty(lightness.shape) if out is None else out
        scratch = own_scratch()
        for part in blocks(len(result)):
            total = result[part]
            t0, t1, t2, *_ = scratch.of(len(total))
            mul(a[part], a[part], t0)
            mul(b[part], b[part], t1)
            add(t0, t1, t0)
            np.sqrt(t0, t0)
            sub(t0, self.chroma, t0)
            mul(t0, t0, t0)
            mul(t0, self.radial, t0)
            sub(a[part], self.reference[1], t1)
            mul(t1, t1, t1)
            sub(b[part], self.reference[2], t2)
            mul(t2, t2, t2)
            add(t1, t2, t1)
            mul(t1, self.plane, t1)
            add(t0, t1, t0)
            np.maximum(t0, 0.0, t0)  # rounding may leave -1e-28 where a reading is the reference to the last bit
            sub(lightness[part], self.reference[0], t1)
            mul(t1, self.per_lightness, t1)
            mul(t1, t1, t1)
            add(t0, t1, t0)
            np.sqrt(t0, total)
        return result


Weights = tuple[float, float, float]


def _cie94(reference: tuple[float, ...]) -> Weights:
    chroma = hypot(reference[1], reference[2])
    return 1.0, 1 + 0.045 * chroma, 1 + 0.015 * chroma


def _cmc(lightness_weight: float) -> Callable[[tuple[float, ...]], Weights]:
    def weights(reference: tuple[float, ...]) -> Weights:
        lightness, chroma = reference[0], hypot(reference[1], reference[2])
        hue = degrees(atan2(reference[2], reference[1])) % 360
        s_l = 0.511 if lightness < 16 else 0.040975 * lightness / (1 + 0.01765 * lightness)
        s_c = 0.0638 * chroma / (1 + 0.0131 * chroma) + 0.638
        f = sqrt(chroma**4 / (chroma**4 + 1900))
        if 164 <= hue <= 345:
            t = 0.56 + abs(0.2 * cos(radians(hue + 168)))
        else:
            t = 0.36 + abs(0.4 * cos(radians(hue + 35)))
        return lightness_weight * s_l, s_c, s_c * (f * t + 1 - f)

    return weights


WEIGHTS: dict[str, Callable[[tuple[float, ...]], Weights]] = {
    "CIE 1994": _cie94,
    "CMC(2:1)": _cmc(2.0),
    "CMC(1:1)": _cmc(1.0),
}
"""S_L, S_C and S_H of the distances whose weights the reference alone decides."""


def _weighted(name: str) -> Callable[[tuple[float, ...]], Compare]:
    return lambda reference: _Weighted(reference, WEIGHTS[name](reference))


BUILT_IN: dict[str, Distance] = {
    distance.name: distance
    for distance in (
        Distance("CIE 1976 u'v'", "uv", "ISO/CIE 11664-5", _Euclidean),
        Distance("CIE 1976 L*a*b*", "Lab", "ISO/CIE 11664-4", _Euclidean),
        Distance("CIE 1994", "Lab", "CIE 116, weights for graphic arts (k_L = 1, K1 = 0.045, K2 = 0.015)", _weighted("CIE 1994")),
        Distance("CIEDE2000", "Lab", "ISO/CIE 11664-6", ciede2000.FromReference),  # type: ignore[arg-type]
        Distance("CMC(2:1)", "Lab", "ISO 105-J03", _weighted("CMC(2:1)")),
        Distance("CMC(1:1)", "Lab", "ISO 105-J03", _weighted("CMC(1:1)")),
        Distance("sensor chromaticity", "shares", "Euclidean distance of the band shares; not standardised", _Euclidean),
    )
}


def get(name: str) -> Distance:
    """The distance of this name; raises KeyError for a name that is not built in."""
    return BUILT_IN[name]


def reference_in(space: str, colour: Colour | tuple[float, float, float], sensor: Sensor | SensorModel) -> tuple[float, ...]:
    """A reference in the space of a distance, for one sensor.

    `colour` is a stated colour, or the mean relative reading that was learned (three numbers, converted once, as a reading is).
    A stated Lab is taken relative to the sensor's own white, as the sensor's readings are; a stated XYZ has Y = 100 for that
    white. Illuminant and observer must be those of the sensor, which is checked where the files are read.
    Raises `UsageError` (colour-mismatch) where the sensor cannot give this space.
    """
    model = sensor if isinstance(sensor, SensorModel) else SensorModel.from_sensor(sensor)
    if not isinstance(colour, Colour):
        columns = model.columns(space, tuple(np.array([value], dtype=np.float64) for value in colour))
        return tuple(float(column[0]) for column in columns)
    if colour.space == "shares" or space == "shares":
        if colour.space != space:
            raise usage(f"a reference stated as {colour.space} cannot be compared in {space}", "colour-mismatch")
        total = sum(colour.values)
        return tuple(value / total for value in colour.values)
    if colour.space == "Lab":
        xyz = model.xyz_of_lab(colour.values)
    else:
        xyz = (colour.values[0] / 100, colour.values[1] / 100, colour.values[2] / 100)
    if space == "Lab":
        return colour.values if colour.space == "Lab" else model.lab_of_xyz(xyz)
    total = xyz[0] + 15 * xyz[1] + 3 * xyz[2]
    if total <= 0:
        raise usage("a reference that is black has no u', v'", "colour-mismatch")
    return (4 * xyz[0] / total, 9 * xyz[1] / total)
