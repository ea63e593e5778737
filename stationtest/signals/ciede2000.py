"""CIEDE2000 from one fixed reference to columns of readings (ISO/CIE 11664-6; Sharma, Wu and Dalal 2005).

Written for speed without giving up the formula: the mean hue is the bisector of the two hue vectors, so its cosines are
polynomials in the bisector's components, and the reference's terms are scalars. The formula jumps where two hues are opposite and
where their mean passes 0 degrees; readings within 1e-4 and 1e-9 rad of that are computed again by the formula as it is printed.

Each result depends on its own reading only, so it is the same number however the readings are cut.
"""

from __future__ import annotations

from math import cos, hypot, radians, sin

import numpy as np

from stationtest.signals.scratch import Column, Scratch, blocks, own_scratch

_SEVENTH_25 = 25.0**7
_SEVENTH_50 = 50.0**7  # the kernel works on sums of two chromas, not on means

# T - 1 and 1 of the paper in powers of c and s = cos and sin of the mean hue: even(c) + s * odd(c); times 0.015 / 4,
# since S_H / 2 = 1/2 + (0.015 / 4) * (C1' + C2') * T is what divides sqrt(C1' C2') sin(dh'/2).
_COS63, _SIN63 = cos(radians(63)), sin(radians(63))
_COS6, _SIN6 = cos(radians(6)), sin(radians(6))
_HALF = 0.015 / 4
_EVEN = tuple(
    _HALF * k
    for k in (
        -1.6 * _COS63,
        1.28 * _COS6,
        0.48 + 1.6 * _COS63,
        -0.17 * cos(radians(30)) - 0.96 * _COS6,
        1 - 0.24 - 0.2 * _COS63,
    )
)
_ODD = tuple(_HALF * k for k in (-1.6 * _SIN63, -1.28 * _SIN6, 0.8 * _SIN63, -0.17 * 0.5 + 0.32 * _SIN6))

# The angle from 275 degrees is the arccosine of a product that rounding must not carry beyond 1.
_COS275 = cos(radians(275)) * (1 - 2.0**-50)
_SIN275 = sin(radians(275)) * (1 - 2.0**-50)
_BLUE = -((180 / np.pi / 25) ** 2)
# Beyond 137 degrees the rotation term is below 2e-13 and taken as 0. As h - 275 runs from -275 to 85, the whole first quadrant is
# beyond.
_FAR = cos(radians(137))

# -2 sin(x) for x = 60 deg * e, 0 <= e <= 1, as an odd Taylor polynomial in e; the first term left out is below 1e-14.
_SIXTY = radians(60)


def _sine_coefficients() -> tuple[float, ...]:
    coefficients, factor = [], -2 * _SIXTY
    for power in range(1, 16, 2):
        coefficients.append(factor)
        factor *= -_SIXTY * _SIXTY / ((power + 1) * (power + 2))
    return tuple(reversed(coefficients))


_SINE = _sine_coefficients()


class FromReference:
    """CIEDE2000 from the reference `(L*, a*, b*)`; call it with the columns L*, a*, b* of the readings."""

    def __init__(self, reference: tuple[float, float, float]) -> None:
        self.reference = reference
        self.chroma = hypot(reference[1], reference[2])

    def __call__(self, lightness: Column, a: Column, b: Column, out: Column | None = None) -> Column:
        """Distances, float64 (n,), written to `out` if it is given."""
        result = np.empty(lightness.shape) if out is None else out
        scratch = own_scratch()
        for part in blocks(len(lightness)):
            self._block(lightness[part], a[part], b[part], result[part], scratch)
        return result

    def _block(self, lightness: Column, a: Column, b: Column, out: Column, scratch: Scratch) -> None:
        add, sub, mul, div, sqrt = np.add, np.subtract, np.multiply, np.divide, np.sqrt
        l1, a1, b1 = self.reference
        t0, t1, t2, t3, t4, t5, t6, t7 = scratch.of(len(out))

        # 1 + G from C1 + C2 (t2); b squared is kept (t1)
        mul(a, a, t0)
        mul(b, b, t1)
        add(t0, t1, t2)
        sqrt(t2, t2)
        add(t2, self.chroma, t2)
        _root_of_seventh(t2, t3, t4)
        mul(t2, -0.5, t2)
        add(t2, 1.5, t2)
        # cross product of the two hue vectors (t5), C2' (t0), C1' (t1)
        mul(b, a1, t5)
        mul(a, b1, t6)
        sub(t5, t6, t5)
        mul(t5, t2, t5)
        mul(t2, a, t3)
        mul(t2, a1, t4)
        mul(t3, t3, t0)
        add(t0, t1, t0)
        sqrt(t0, t0)
        mul(t4, t4, t1)
        add(t1, b1 * b1, t1)
        sqrt(t1, t1)
        # bisector of the hues (t4, t3), not yet of length 1
        mul(t4, t0, t4)
        mul(t3, t1, t3)
        add(t4, t3, t4)
        mul(t0, b1, t3)
        mul(b, t1, t6)
        add(t3, t6, t3)
        mul(t0, t1, t6)  # C1' C2'
        add(t0, t1, t2)  # C1' + C2'
        sub(t0, t1, t0)  # dC'
        mul(t4, t4, t1)
        mul(t3, t3, t7)
        add(t1, t7, t1)
        mul(t6, t6, t7)
        mul(t7, 1e-8, t7)
        border, spare = scratch.masks(len(out))
        np.less(t1, t7, border)
        add(t1, 1e-290, t1)  # a grey has no hue: its bisector is (0, 0), and dH' is 0
        sqrt(t1, t1)
        div(t4, t1, t4)
        div(t3, t1, t3)
        mul(t3, t3, t7)
        np.less(t7, 1e-18, spare)
        np.logical_or(border, spare, border)
        any_border = bool(border.any())
        np.minimum(t3, t4, out=t7)  # above 0 in the first quadrant only
        sqrt(t6, t6)
        mul(t5, t6, t5)
        div(t5, t1, t5)  # dH' / 2
        # dH' / S_H (t5), dC' / S_C (t0)
        _polynomial(_EVEN, t4, t1)
        _polynomial(_ODD, t4, t6)
        mul(t6, t3, t6)
        add(t1, t6, t1)
        mul(t1, t2, t1)
        add(t1, 0.5, t1)
        div(t5, t1, t5)
        mul(t2, 0.0225, t1)
        add(t1, 1.0, t1)
        div(t0, t1, t0)
        # x^2 + y^2 + R_T x y (t0) of x = dC' / S_C and y = dH' / S_H
        mul(t4, _COS275, t4)
        mul(t3, _SIN275, t3)
        add(t4, t3, t4)
        sub(_FAR, t4, t6)
        np.maximum(t7, t6, out=t7)  # below 0 where the mean hue is near blue
        if t7.min() < 0:
            self._rotation(t4, t2, t7, t3, t6)
            mul(t4, t0, t4)
            add(t4, t5, t4)
            mul(t4, t5, t4)
        else:
            mul(t5, t5, t4)
        mul(t0, t0, t0)
        add(t0, t4, t0)
        # dL' / S_L (t1)
        add(lightness, l1 - 100.0, t1)
        mul(t1, t1, t1)
        add(t1, 80.0, t3)
        sqrt(t3, t3)
        div(t1, t3, t1)
        mul(t1, 0.0075, t1)
        add(t1, 1.0, t1)
        sub(lightness, l1, t3)
        div(t3, t1, t3)
        mul(t3, t3, t3)
        add(t0, t3, t0)
        sqrt(t0, out)
        if any_border:
            out[border] = as_printed(self.reference, lightness[border], a[border], b[border])

    @staticmethod
    def _rotation(cosine: Column, total: Column, far: Column, spare: Column, spare2: Column) -> None:
        """cosine <- R_T = -sin(60 deg * exp(-((h - 275) / 25)^2)) * R_C, from the cosine of h - 275; exactly 0 where far >= 0."""
        np.arccos(cosine, cosine)
        np.multiply(cosine, cosine, cosine)
        np.multiply(cosine, _BLUE, cosine)
        np.exp(cosine, cosine)
        np.right_shift(far.view(np.int64), 63, far.view(np.int64))
        np.bitwise_and(cosine.view(np.int64), far.view(np.int64), cosine.view(np.int64))
        np.multiply(cosine, cosine, spare)
        _polynomial(_SINE, spare, spare2)
        np.multiply(cosine, spare2, cosine)
        _root_of_seventh(total, spare, spare2)
        np.multiply(cosine, total, cosine)


def _root_of_seventh(total: Column, spare: Column, spare2: Column) -> None:
    """total <- sqrt(C^7 / (C^7 + 25^7)), where total is 2 C."""
    np.multiply(total, total, spare)
    np.multiply(spare, spare, spare2)
    np.multiply(spare, spare2, spare)
    np.multiply(spare, total, spare)
    np.add(spare, _SEVENTH_50, spare2)
    np.divide(spare, spare2, spare)
    np.sqrt(spare, total)


def _polynomial(coefficients: tuple[float, ...], x: Column, out: Column) -> None:
    """out <- the polynomial in x, highest power first."""
    np.multiply(x, coefficients[0], out)
    for coefficient in coefficients[1:-1]:
        np.add(out, coefficient, out)
        np.multiply(out, x, out)
    np.add(out, coefficients[-1], out)


def as_printed(reference: tuple[float, float, float], lightness: Column, a: Column, b: Column) -> Column:
    """CIEDE2000 as printed by Sharma, Wu and Dalal (2005), equations 2 to 22, with their rules about hues 180 degrees apart."""
    l1, a1, b1 = reference
    seventh = ((np.hypot(a1, b1) + np.hypot(a, b)) / 2) ** 7
    one_g = 1 + 0.5 * (1 - np.sqrt(seventh / (seventh + _SEVENTH_25)))
    ap1, ap2 = one_g * a1, one_g * a
    c1, c2 = np.hypot(ap1, b1), np.hypot(ap2, b)
    h1, h2 = np.degrees(np.arctan2(b1, ap1)) % 360, np.degrees(np.arctan2(b, ap2)) % 360
    grey = c1 * c2 == 0
    dh = h2 - h1
    dh = np.where(dh > 180, dh - 360, np.where(dh < -180, dh + 360, dh))
    big_dh = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(np.where(grey, 0, dh) / 2))
    total = h1 + h2
    mean = np.where(np.abs(h1 - h2) <= 180, total / 2, np.where(total < 360, total / 2 + 180, total / 2 - 180))
    mean = np.where(grey, total, mean)
    t = (
        1
        - 0.17 * np.cos(np.radians(mean - 30))
        + 0.24 * np.cos(np.radians(2 * mean))
        + 0.32 * np.cos(np.radians(3 * mean + 6))
        - 0.20 * np.cos(np.radians(4 * mean - 63))
    )
    cm, lm = (c1 + c2) / 2, ((l1 + lightness) / 2 - 50) ** 2
    seventh = cm**7
    rt = -np.sin(np.radians(60 * np.exp(-(((mean - 275) / 25) ** 2)))) * 2 * np.sqrt(seventh / (seventh + _SEVENTH_25))
    x = (c2 - c1) / (1 + 0.045 * cm)
    y = big_dh / (1 + 0.015 * cm * t)
    z = (lightness - l1) / (1 + 0.015 * lm / np.sqrt(20 + lm))
    distances: Column = np.sqrt(z * z + x * x + y * y + rt * x * y)
    return distances
