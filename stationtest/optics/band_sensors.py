"""Spectral sensors: from the readings of many bands to X, Y, Z of the CIE observers, as one 3 x B matrix.

Readings are relative to white: (count - dark) / (white - dark), so the sensor's own light and gains fall out band by band, and
each reading is the mean reflectance under one band. X, Y, Z (Y = 1 for white) are those under the stated illuminant.

Two ways:

* `from_centres`: only the centre wavelengths are known. The reflectance is taken as straight between centres and level outside
  them, and summed as in CIE 015:2018. Good where bands are narrow (about 20 nm or less apart); no information comes from outside
  the outermost centres.
* `from_responses`: the responses are known. M = W C A' (A C A')^-1 with A the band weights (light x response, each of sum 1), W
  the observer's weights and C the covariance expected of reflectances, exp(-|difference in nm| / correlation): the linear
  estimate of least mean square error (W. K. Pratt, C. E. Mancill, 'Spectral estimation techniques for the spectral calibration
  of a color image scanner', Applied Optics 15 (1976) 73-75). Rows are then scaled so that white is exact.

Limits: three bands do not make an observer (no matrix can, unless the bands are linear combinations of its curves); reflectances
that are narrower than the spacing of the bands are read wrongly; fluorescence is not seen as such.
"""

from __future__ import annotations

from typing import cast

import numpy as np
from numpy.typing import ArrayLike

from stationtest.optics.spectra import GRID, Floats, blind_band, refused, weighting

Matrix = tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]


def from_centres(centres_nm: ArrayLike, illuminant: Floats, observer: Floats, wavelengths: Floats = GRID) -> Floats:
    """(3, B) from centre wavelengths (B,), rising, at least three. Raises `UsageError` (wrong-value) otherwise."""
    centres = np.asarray(centres_nm, dtype=np.float64)
    if centres.ndim != 1 or len(centres) < 3 or not (np.diff(centres) > 0).all():
        raise refused("bands", "need at least three centre wavelengths, rising")
    if centres[0] > 480 or centres[-1] < 600:
        raise refused(
            "bands", f"from {centres[0]:g} to {centres[-1]:g} nm do not cover what the observer sees (480 to 600 at the least)"
        )
    between = np.stack([np.interp(wavelengths, centres, row) for row in np.eye(len(centres))])
    return np.asarray(weighting(illuminant, observer) @ between.T / 100.0)


def from_responses(
    responses: Floats,
    light: Floats,
    illuminant: Floats,
    observer: Floats,
    *,
    correlation_nm: float,
    wavelengths: Floats = GRID,
) -> Floats:
    """(3, B) from responses (B, N) under the sensor's light (N,).

    `correlation_nm`: how far along the spectrum reflectances keep alike; 50 to 150 nm for most dyes and pigments (common
    practice, no source). Raises `UsageError` for fewer than three bands, a blind band, or bands that are copies of one another.
    """
    if len(responses) < 3 or not correlation_nm > 0:
        raise refused("bands", "need at least three responses and a correlation above 0 nm")
    seen = responses * light
    total = seen.sum(axis=1, keepdims=True)
    blind_band(total)
    seen = seen / total
    alike = np.exp(-np.abs(wavelengths[:, None] - wavelengths) / correlation_nm)
    wanted = weighting(illuminant, observer) / 100.0
    between = seen @ alike @ seen.T
    if np.linalg.cond(between) > 1e12:
        raise refused("bands", "two bands have the same response; leave one out")
    matrix = np.linalg.solve(between, seen @ alike @ wanted.T).T
    return np.asarray(matrix * (wanted.sum(axis=1) / matrix.sum(axis=1))[:, None])


def as_rows(matrix: Floats) -> Matrix:
    """The matrix as rows of plain numbers, as a station declares `to_xyz`."""
    return cast(Matrix, tuple(tuple(float(value) for value in row) for row in matrix))
