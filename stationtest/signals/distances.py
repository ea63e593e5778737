"""How far a reading is from a reference, by named published formulas. The reference is always the first argument (the standard).

A `Distance` says in which space it works; `of(reference)` gives a function of that space's columns. The spaces:

- `Lab`: CIE 1976 L*, a*, b* (ISO/CIE 11664-4), relative to the sensor's own white
- `uv`: CIE 1976 u', v' (ISO/CIE 11664-5)
- `shares`: band / sum of all bands, without calibration; as many as the sensor has bands

A reading without a colour (sum of bands or X + 15 Y + 3 Z not above 0) has the coordinates infinity and the distance infinity.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, isfinite, radians, sqrt

import numpy as np

from stationtest.errors import usage
from stationtest.model.parts import DistancePart, resolve
from stationtest.model.station import Colour, Sensor
from stationtest.signals.ciede2000 import FromReference
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
            np.maximum(t0, 0.0, out=t0)  # rounding may leave -1e-28 where a reading is the reference to the last bit
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


def cie_1976_uv(reference: tuple[float, ...]) -> Compare:
    """The distance in the u', v' diagram (ISO/CIE 11664-5); lightness is ignored."""
    return _Euclidean(reference)


def cie_1976_lab(reference: tuple[float, ...]) -> Compare:
    """Delta E*ab (ISO/CIE 11664-4)."""
    return _Euclidean(reference)


def cie_1994(reference: tuple[float, ...]) -> Compare:
    """CIE 1994 (CIE 116) with the weights of graphic arts: k_L = 1, K1 = 0.045, K2 = 0.015."""
    return _Weighted(reference, WEIGHTS["CIE 1994"](reference))


def ciede2000(reference: tuple[float, ...]) -> Compare:
    """CIEDE2000 (ISO/CIE 11664-6) with k_L = k_C = k_H = 1."""
    return FromReference((reference[0], reference[1], reference[2]))


def cmc_2_1(reference: tuple[float, ...]) -> Compare:
    """CMC(l:c) with l = 2, c = 1 (ISO 105-J03)."""
    return _Weighted(reference, WEIGHTS["CMC(2:1)"](reference))


def cmc_1_1(reference: tuple[float, ...]) -> Compare:
    """CMC(l:c) with l = c = 1 (ISO 105-J03)."""
    return _Weighted(reference, WEIGHTS["CMC(1:1)"](reference))


def sensor_chromaticity(reference: tuple[float, ...]) -> Compare:
    """The Euclidean distance of the shares of the bands; no standard has it."""
    return _Euclidean(reference)


BUILT_IN: dict[str, Distance] = {
    distance.name: distance
    for distance in (
        Distance("CIE 1976 u'v'", "uv", "ISO/CIE 11664-5", cie_1976_uv),
        Distance("CIE 1976 L*a*b*", "Lab", "ISO/CIE 11664-4", cie_1976_lab),
        Distance("CIE 1994", "Lab", "CIE 116", cie_1994),
        Distance("CIEDE2000", "Lab", "ISO/CIE 11664-6", ciede2000),
        Distance("CMC(2:1)", "Lab", "ISO 105-J03", cmc_2_1),
        Distance("CMC(1:1)", "Lab", "ISO 105-J03", cmc_1_1),
        Distance("sensor chromaticity", "shares", "Euclidean distance of the band shares; not standardised", sensor_chromaticity),
    )
}


def known_of(parts: Mapping[str, DistancePart]) -> dict[str, Distance]:
    """The distances that plugins describe, built-in ones among them. Raises `UsageError` (broken-plugin)."""
    return {name: Distance(name, part.space, part.source, resolve(part.function)) for name, part in parts.items()}


def get(name: str) -> Distance:
    """The distance of this name; raises KeyError for a name that is not built in."""
    return BUILT_IN[name]


def reference_in(space: str, colour: Colour | tuple[float, ...], sensor: Sensor | SensorModel) -> tuple[float, ...]:
    """A reference in the space of a distance, for one sensor.

    `colour` is a stated colour, or the mean relative reading that was learned (a number a band, converted once, as a reading is).
    A stated Lab is taken relative to the sensor's own white, as the sensor's readings are; a stated XYZ has Y = 100 for that
    white. Illuminant and observer must be those of the sensor, which is checked where the files are read.
    Raises `UsageError`: colour-mismatch where the sensor cannot give this space, cannot-learn where the learned mean is dark.
    """
    model = sensor if isinstance(sensor, SensorModel) else SensorModel.from_sensor(sensor)
    if not isinstance(colour, Colour):
        columns = model.columns(space, tuple(np.array([value], dtype=np.float64) for value in colour))
        found = tuple(float(column[0]) for column in columns)
        if not all(map(isfinite, found)):
            raise usage("the readings it would be learned from are dark: they have no colour", "cannot-learn")
        return found
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


# Pairs of Table 1 with their number, L*, a*, b* of the standard, of the sample, and CIEDE2000 to four decimals.
_SHARMA = (
    (1, (50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
    (7, (50.0, 0.0, 0.0), (50.0, -1.0, 2.0), 2.3669),
    (9, (50.0, 2.49, -0.001), (50.0, -2.49, 0.0009), 7.1792),
    (12, (50.0, 2.49, -0.001), (50.0, -2.49, 0.0012), 7.2195),
    (13, (50.0, -0.001, 2.49), (50.0, 0.0009, -2.49), 4.8045),
    (15, (50.0, -0.001, 2.49), (50.0, 0.0011, -2.49), 4.7461),
    (18, (50.0, 2.5, 0.0), (61.0, -5.0, 29.0), 22.8977),
    (25, (60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    (29, (22.7233, 20.0904, -46.694), (23.0331, 14.973, -42.5619), 2.0373),
    (32, (90.9257, -0.5406, -0.9208), (88.6381, -0.8985, -0.7239), 1.5381),
    (33, (6.7747, -0.2908, -2.4247), (5.8714, -0.0985, -2.2286), 0.6377),
)
_SHARMA_SOURCE = "Sharma, Wu and Dalal (2005), Color Research and Application 30:21-30, Table 1"


def known_answers() -> Iterator[tuple[str, float, float, float, str]]:
    """For each check: its name, what is computed here, what is published, how far they may differ, and where it is published."""
    for number, standard, sample, published in _SHARMA:
        columns = tuple(np.array([value]) for value in sample)
        yield f"CIEDE2000, pair {number}", float(ciede2000(standard)(*columns)[0]), published, 5e-5, _SHARMA_SOURCE
    # (50, 50, 0) against (50, 44, 0): the weights are those of the standard, so the two directions differ
    for first, second, by_hand in ((50.0, 44.0, 6 / (1 + 0.045 * 50)), (44.0, 50.0, 6 / (1 + 0.045 * 44))):
        columns = (np.array([50.0]), np.array([second]), np.array([0.0]))
        computed = float(cie_1994((50.0, first, 0.0))(*columns)[0])
        yield f"CIE 1994, a* {first:g} to {second:g}", computed, by_hand, 1e-12, "CIE 116: dE = |dC*| / (1 + 0.045 C*1) by hand"
