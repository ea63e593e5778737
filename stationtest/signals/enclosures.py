"""Boxes that surely hold every colour of a cell of relative readings, and the least distance from a reference to such a box.

No least distance may be too large: where nothing can be shown, it is 0 and the box has no end. Cells are given by their lower
and upper ends along each band; the outermost ends are infinite, so that the cells together hold every reading there can be.

L*, a*, b* of a cell are enclosed by interval arithmetic and, where the cell is finite, by the mean value theorem: f of ISO/CIE
11664-4 rises, its slope falls, so the slope over an interval lies between those at its ends. u', v' and shares are quotients of
linear forms, which over a box with a positive denominator have their extremes at corners.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, pi, radians
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stationtest.signals.conversion import SensorModel
from stationtest.signals.elementwise import LAB_CUBE, LAB_SLOPE

Cells = NDArray[np.float64]
Interval = tuple[Cells, Cells]


@dataclass(frozen=True, slots=True)
class Grid:
    """Ends of the cells along the three bands, each (n,). The cell (i, j, k) has the number (i n + j) n + k."""

    low: tuple[Cells, Cells, Cells]
    high: tuple[Cells, Cells, Cells]

    def along(self, band: int, values: Cells) -> Cells:
        """Values (n,) of one band, shaped so that three of them broadcast to the cube."""
        shape = [1, 1, 1]
        shape[band] = len(values)
        return values.reshape(shape)


def linear_form(grid: Grid, row: tuple[float, ...]) -> Interval:
    """Least and greatest row . (r, g, b) over each cell, flat (n^3,)."""
    low: Any = 0.0
    high: Any = 0.0
    for band, weight in enumerate(row):
        if weight == 0:
            continue
        ends = grid.along(band, grid.low[band]) * weight, grid.along(band, grid.high[band]) * weight
        low, high = low + (ends[0] if weight > 0 else ends[1]), high + (ends[1] if weight > 0 else ends[0])
    shape = tuple(len(ends) for ends in grid.low)
    return np.broadcast_to(low, shape).ravel(), np.broadcast_to(high, shape).ravel()


def lab_boxes(grid: Grid, model: SensorModel) -> tuple[Interval, Interval, Interval]:
    """L*, a*, b* of every cell, each an interval of flat columns (n^3,)."""
    rows = model.lab_rows()
    ratios = [linear_form(grid, row) for row in rows]
    f = [(_f(low), _f(high)) for low, high in ratios]
    lightness = 116 * f[1][0] - 16, 116 * f[1][1] - 16
    plain = [(500 * (f[0][0] - f[1][1]), 500 * (f[0][1] - f[1][0])), (200 * (f[1][0] - f[2][1]), 200 * (f[1][1] - f[2][0]))]
    slopes = [(_slope(high), _slope(low)) for low, high in ratios]
    ends = list(zip(grid.low, grid.high, strict=True))
    middle = [np.where(np.isfinite(lo) & np.isfinite(hi), (lo + hi) / 2, np.nan) for lo, hi in ends]
    half = [hi - mid for hi, mid in zip(grid.high, middle, strict=True)]
    centre = [_f(linear_form(Grid(tuple(middle), tuple(middle)), row)[0]) for row in rows]  # type: ignore[arg-type]
    shape = tuple(len(ends) for ends in grid.low)
    boxes = [lightness]
    for weights, (low, high) in zip(((500.0, -500.0, 0.0), (0.0, 200.0, -200.0)), plain, strict=True):
        value = sum(weight * part for weight, part in zip(weights, centre, strict=True) if weight)
        radius: Any = 0.0
        for band in range(3):
            least: Any = 0.0
            most: Any = 0.0
            for weight, row, (flat, steep) in zip(weights, rows, slopes, strict=True):
                factor = weight * row[band]
                if factor:
                    least = least + factor * (flat if factor > 0 else steep)
                    most = most + factor * (steep if factor > 0 else flat)
            width = np.broadcast_to(grid.along(band, half[band]), shape).ravel()
            radius = radius + np.maximum(np.abs(least), np.abs(most)) * width
        # fmax and fmin pass over the NaN of cells without an end
        boxes.append((np.fmax(low, value - radius), np.fmin(high, value + radius)))
    return boxes[0], boxes[1], boxes[2]


def quotient_boxes(grid: Grid, numerators: tuple[tuple[float, ...], ...], denominator: tuple[float, ...]) -> list[Interval]:
    """numerator . rgb / denominator . rgb over every cell; everything where the denominator may be 0 or the cell has no end."""
    shape = tuple(len(ends) for ends in grid.low)
    size = shape[0] * shape[1] * shape[2]
    lows, highs = [np.full(size, np.inf) for _ in numerators], [np.full(size, -np.inf) for _ in numerators]
    positive = np.ones(size, dtype=np.bool_)
    for corner in range(8):
        ends = [(grid.high if corner >> band & 1 else grid.low)[band] for band in range(3)]
        finite = tuple(np.where(np.isfinite(end), end, np.nan) for end in ends)
        at = Grid(finite, finite)  # type: ignore[arg-type]
        below = linear_form(at, denominator)[0]
        positive &= below > 0
        for number, row in enumerate(numerators):
            value = linear_form(at, row)[0] / below
            lows[number] = np.minimum(lows[number], value)
            highs[number] = np.maximum(highs[number], value)
    for number in range(len(numerators)):
        unknown = ~positive | np.isnan(lows[number]) | np.isnan(highs[number])
        lows[number][unknown], highs[number][unknown] = -np.inf, np.inf
    return list(zip(lows, highs, strict=True))


def away(interval: Interval, value: float) -> Cells:
    """The least |x - value| for x in the interval."""
    return np.maximum(np.maximum(interval[0] - value, value - interval[1]), 0.0)


@dataclass(frozen=True, slots=True)
class Plane:
    """Least differences in the a* b* plane from a reference to boxes, a* stretched by 1 + G for some G out of an interval."""

    difference: Cells  # of the points
    chroma: Cells  # |dC|
    hue: Cells  # |dH|
    chroma_sum: Cells  # greatest C1 + C2
    mean_hue: Cells  # middle of the mean hue, degrees
    mean_hue_half: Cells  # half its width, degrees; infinite where it is not known


def plane(a: Interval, b: Interval, reference: tuple[float, ...], stretch: Interval) -> Plane:
    """Bounds for boxes a x b, all (m,); `stretch` is the least and greatest 1 + G of each box."""
    a1, b1 = reference[1], reference[2]
    least, most = stretch
    a_low = a[0] * np.where(a[0] > 0, least, most)
    a_high = a[1] * np.where(a[1] > 0, most, least)
    near = np.hypot(away((a_low, a_high), 0.0), away(b, 0.0))
    far = np.hypot(np.maximum(np.abs(a_low), np.abs(a_high)), np.maximum(np.abs(b[0]), np.abs(b[1])))
    c1_near, c1_far = np.hypot(least * a1, b1), np.hypot(most * a1, b1)
    d_chroma = np.maximum(np.maximum(near - c1_far, c1_near - far), 0.0)
    # hue of the box against that of the reference: a box without the origin is seen under less than half a turn
    mid_a, mid_b = (a_low + a_high) / 2, (b[0] + b[1]) / 2
    middle = np.arctan2(mid_b, mid_a)
    low, high = np.zeros(len(near)), np.zeros(len(near))
    for x in (a_low, a_high):
        for y in b:
            turn = np.arctan2(y * mid_a - x * mid_b, x * mid_a + y * mid_b)
            low, high = np.minimum(low, turn), np.maximum(high, turn)
    own = np.arctan2(b1, least * a1), np.arctan2(b1, most * a1)
    own_mid, own_half = (own[0] + own[1]) / 2, np.abs(own[0] - own[1]) / 2
    start = _wrap(middle - own_mid) + low - own_half - 1e-9
    end = start + (high - low) + 2 * own_half + 2e-9
    known = (near > 1e-6) & np.isfinite(far) & (c1_near > 1e-6) & (end - start < pi)
    crosses = (start <= 0) & (end >= 0) | (end >= 2 * pi) | (start <= -2 * pi)
    d_hue = np.where(known & ~crosses, np.minimum(np.abs(_wrap(start)), np.abs(_wrap(end))), 0.0)
    one_side = known & (start > -pi) & (end < pi)  # else the mean hue may jump by half a turn
    return Plane(
        difference=np.hypot(away(a, a1) * least, away(b, b1)),
        chroma=d_chroma,
        hue=2 * np.sqrt(c1_near * near) * np.sin(d_hue / 2),
        chroma_sum=c1_far + far,
        mean_hue=np.where(one_side, np.degrees(own_mid + (start + end) / 4), 0.0),
        mean_hue_half=np.where(one_side, np.degrees(own_half + (end - start) / 4), np.inf),
    )


def lightness_2000(lightness: Interval, l1: float) -> Cells:
    """The least |dL'| / S_L of CIEDE2000.

    For -5 <= L1 <= 105 that grows with |dL'| on either side: with m the mean lightness less 50, the slope of S_L is at most
    0.0075 * 1.0887, and S_L - |dL'| * slope >= 1 - 0.0258 - 0.0075 * 1.0887 * 110 > 0. So the nearest lightness gives the least.
    """
    step = away(lightness, l1)
    if not -5 <= l1 <= 105:
        return np.zeros(len(step))
    nearest = np.where(lightness[0] > l1, lightness[0], np.where(lightness[1] < l1, lightness[1], l1))
    squared = ((nearest + l1) / 2 - 50) ** 2
    return step / (1 + 0.015 * squared / np.sqrt(20 + squared))


def far_2000(a: Interval, b: Interval, reference: tuple[float, ...]) -> Cells:
    """A lower bound of CIEDE2000 from a* and b* alone, cheap and wide: what it leaves goes on to `least_2000`.

    The stretch of a* is at least 1, S_C at least S_H, and |R_T| at most 2 sin 60 degrees.
    """
    c2_far = np.hypot(np.maximum(np.abs(a[0]), np.abs(a[1])), np.maximum(np.abs(b[0]), np.abs(b[1])))
    s_c = 1 + 0.0225 * (hypot(1.5 * reference[1], reference[2]) + 1.5 * c2_far)
    bound: Cells = (1 - 0.75**0.5) ** 0.5 * np.hypot(away(a, reference[1]), away(b, reference[2])) / s_c
    return bound


def least_2000(lightness: Interval, a: Interval, b: Interval, reference: tuple[float, ...]) -> Cells:
    """A lower bound of CIEDE2000 from the reference to each box.

    With x = dC' / S_C and y = dH' / S_H, x^2 + y^2 + R_T x y >= (1 - |R_T| / 2) (x^2 + y^2); S_C >= S_H since T <= 1.93; and
    dC'^2 + dH'^2 is the squared distance of the points in the stretched plane.
    """
    c1 = hypot(reference[1], reference[2])
    c2_near = np.hypot(away(a, 0.0), away(b, 0.0))
    c2_far = np.hypot(np.maximum(np.abs(a[0]), np.abs(a[1])), np.maximum(np.abs(b[0]), np.abs(b[1])))
    stretch = 1.5 - 0.5 * _seventh((c1 + c2_far) / 2), 1.5 - 0.5 * _seventh((c1 + c2_near) / 2)
    flat = plane(a, b, reference, stretch)
    mean = flat.chroma_sum / 2
    s_c = 1 + 0.045 * mean
    half = np.minimum(flat.mean_hue_half, 180.0)
    s_h = 1 + 0.015 * mean * np.minimum(_t(flat.mean_hue) + 2.41 * np.radians(half), 1.93)
    off_blue = np.maximum(np.abs((flat.mean_hue - 275 + 180) % 360 - 180) - half, 0.0)
    turned = 2 * _seventh(mean) * np.sin(np.radians(60 * np.exp(-((off_blue / 25) ** 2))))
    apart = np.maximum((flat.difference / s_c) ** 2, (flat.chroma / s_c) ** 2 + (flat.hue / s_h) ** 2)
    bound: Cells = np.sqrt(lightness_2000(lightness, reference[0]) ** 2 + (1 - turned / 2) * apart)
    return bound


def least_weighted(
    lightness: Interval, a: Interval, b: Interval, reference: tuple[float, ...], weights: tuple[float, float, float]
) -> Cells:
    """A lower bound of the root of (dL / S_L)^2 + (dC / S_C)^2 + (dH / S_H)^2 from the reference to each box."""
    s_l, s_c, s_h = weights
    one = np.ones(len(a[0]))
    flat = plane(a, b, reference, (one, one))
    apart = np.maximum((flat.difference / max(s_c, s_h)) ** 2, (flat.chroma / s_c) ** 2 + (flat.hue / s_h) ** 2)
    bound: Cells = np.sqrt((away(lightness, reference[0]) / s_l) ** 2 + apart)
    return bound


def _f(t: Cells) -> Cells:
    return np.where(t > LAB_CUBE, np.cbrt(t), t * LAB_SLOPE + 4 / 29)


def _slope(t: Cells) -> Cells:
    return np.where(t > LAB_CUBE, np.cbrt(np.maximum(t, LAB_CUBE)) ** -2 / 3, LAB_SLOPE)


def _seventh(chroma: Cells) -> Cells:
    """sqrt(C^7 / (C^7 + 25^7)), also for C = 0 and infinity."""
    with np.errstate(divide="ignore", over="ignore"):
        root: Cells = 1 / np.sqrt(1 + (25.0 / chroma) ** 7)
    return root


def _t(hue: Cells) -> Cells:
    """T of CIEDE2000 at a mean hue in degrees."""
    h = np.radians(hue)
    value: Cells = (
        1
        - 0.17 * np.cos(h - radians(30))
        + 0.24 * np.cos(2 * h)
        + 0.32 * np.cos(3 * h + radians(6))
        - 0.2 * np.cos(4 * h - radians(63))
    )
    return value


def _wrap(angle: Cells) -> Cells:
    return angle - 2 * pi * np.rint(angle / (2 * pi))  # far quicker than a remainder
