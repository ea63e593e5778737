"""Spectra on one grid, and the sums that make tristimulus values of them.

A spectrum is a float64 array whose last axis is the grid: 81 values from 380 to 780 nm in steps of 5 nm, unless a finer grid is
asked for. Every function takes any grid of `grid()`, so long as all its spectra are on the same one.

Integrals are sums over the grid times the step, the ends counted whole, as in CIE 015:2018 (7.1) and ASTM E308. The trapezium
rule halves the two ends; the observers are so near zero there that X, Y, Z agree within 0.01 of 100.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stationtest.errors import UsageError, usage

Floats = NDArray[np.float64]

LOWEST_NM, HIGHEST_NM, STEP_NM = 380.0, 780.0, 5.0


def refused(what: str, why: str) -> UsageError:
    """A `UsageError` (wrong-value) that names the thing that is wrong."""
    return usage(f"{what}: {why}", "wrong-value")


def grid(step_nm: float = STEP_NM) -> Floats:
    """Wavelengths in nm from 380 to 780. Raises `UsageError` for a step that does not divide 5 nm."""
    if not (0 < step_nm <= STEP_NM) or abs(STEP_NM / step_nm - round(STEP_NM / step_nm)) > 1e-9:
        raise refused("step of the wavelength grid", f"{step_nm:g} nm does not divide 5 nm; use 5, 2.5, 1 or 0.5 nm")
    return np.linspace(LOWEST_NM, HIGHEST_NM, round((HIGHEST_NM - LOWEST_NM) / step_nm) + 1)


GRID = grid()
GRID.flags.writeable = False


def step_of(wavelengths: Floats) -> float:
    """The step of a grid in nm."""
    return float(wavelengths[1] - wavelengths[0])


def resampled(
    wavelength_nm: ArrayLike,
    values: ArrayLike,
    what: str,
    onto: Floats = GRID,
    *,
    at_most: float | None = None,
) -> Floats:
    """A measured spectrum on the grid, shape (len(onto),); `what` names it in messages.

    Between measured points the spectrum is taken as straight. Where it was measured in finer steps than the grid, each grid value
    is its mean over one step around the grid point (half a step at the two ends), so that a narrow line keeps its power.
    Raises `UsageError` (wrong-value) if wavelengths do not rise, do not cover 380 to 780 nm, or if a value is not finite, below
    0, or above `at_most` (1 for reflectance and transmittance without fluorescence).
    """
    nm, power = np.asarray(wavelength_nm, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if nm.ndim != 1 or nm.shape != power.shape or len(nm) < 2:
        raise refused(what, "needs as many values as wavelengths, and at least two")
    if not (np.isfinite(nm).all() and np.isfinite(power).all()):
        raise refused(what, "has a value that is not a finite number")
    if not (np.diff(nm) > 0).all():
        row = int(np.argmin(np.diff(nm) > 0)) + 1
        raise refused(what, f"wavelengths must rise; {nm[row]:g} nm comes after {nm[row - 1]:g} nm")
    if nm[0] > LOWEST_NM or nm[-1] < HIGHEST_NM:
        hint = "; are the wavelengths in micrometres?" if nm[-1] < 10 else ""
        raise refused(what, f"covers {nm[0]:g} to {nm[-1]:g} nm; a spectrum must cover 380 to 780 nm{hint}")
    checked(power, what, nm, at_most=at_most)
    inside = nm[(nm >= onto[0]) & (nm <= onto[-1])]
    if len(inside) < 2 or (inside[-1] - inside[0]) / (len(inside) - 1) >= 0.99 * step_of(onto):
        return np.interp(onto, nm, power)
    borders = np.concatenate([onto[:1], (onto[1:] + onto[:-1]) / 2, onto[-1:]])
    corners = np.union1d(nm, borders)
    heights = np.interp(corners, nm, power)
    areas = np.concatenate([[0.0], np.cumsum(np.diff(corners) * (heights[1:] + heights[:-1]) / 2)])
    means: Floats = np.diff(np.interp(borders, corners, areas)) / np.diff(borders)
    return np.maximum(means, 0.0)


def checked(values: ArrayLike, what: str, wavelengths: Floats = GRID, *, at_most: float | None = None) -> Floats:
    """The spectrum as float64, if it fits the grid, is finite, not below 0 and not above `at_most`; else `UsageError`."""
    array = np.asarray(values, dtype=np.float64)
    if array.shape[-1:] != wavelengths.shape:
        raise refused(what, f"has {array.shape[-1] if array.ndim else 1} values where the grid has {len(wavelengths)}")
    if not np.isfinite(array).all():
        raise refused(what, "has a value that is not a finite number")
    if array.min() < 0:
        place = wavelengths[np.unravel_index(int(array.argmin()), array.shape)[-1]]
        raise refused(what, f"is below 0 at {place:g} nm ({array.min():g})")
    if at_most is not None and array.max() > at_most:
        place = wavelengths[np.unravel_index(int(array.argmax()), array.shape)[-1]]
        hint = "; is it in per cent?" if array.max() > 2 else "; only a fluorescent one can be, and must say so"
        raise refused(what, f"is {array.max():g} at {place:g} nm, above {at_most:g}{hint if at_most == 1 else ''}")
    return array


def weighting(illuminant: Floats, observer: Floats) -> Floats:
    """(3, N): what a reflectance is multiplied by and summed for X, Y, Z with Y = 100 for the perfect white (CIE 015:2018, 7.1).

    `illuminant` (N,), `observer` (3, N). Raises `UsageError` if the light has no power that the observer sees.
    """
    products = illuminant * observer
    total = products[1].sum()
    if not total > 0:
        raise refused("light", "has no power between 380 and 780 nm")
    weights: Floats = 100.0 / total * products
    return weights


def tristimulus(reflectance: Floats, illuminant: Floats, observer: Floats) -> Floats:
    """X, Y, Z (..., 3) of reflectances (..., N) in a light (N,) for an observer (3, N); Y = 100 for the perfect white."""
    return np.asarray(reflectance @ weighting(illuminant, observer).T, dtype=np.float64)


def white_of(illuminant: Floats, observer: Floats) -> Floats:
    """X, Y, Z (3,) of the light itself, Y = 100."""
    return np.asarray(weighting(illuminant, observer).sum(axis=-1), dtype=np.float64)


def chromaticity(xyz: Floats) -> Floats:
    """x, y (..., 2) of X, Y, Z (..., 3) (CIE 015:2018, 7.3)."""
    return np.asarray(xyz[..., :2] / xyz.sum(axis=-1, keepdims=True), dtype=np.float64)


def blind_band(sums: Floats) -> None:
    """Raises `UsageError` for a band whose sum of light x response is below a millionth of the largest: noise and no reading."""
    if not sums.min() > 1e-6 * sums.max():
        raise refused("bands", f"band {int(np.argmin(sums)) + 1} sees nothing of this light")
