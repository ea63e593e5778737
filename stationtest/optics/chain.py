"""The whole chain for a stretch of readings: surfaces summed over their spectra once, then sums of products over samples.

level of a band = sum over surfaces: share of the spot x (matt sum x matt factor + gloss sum x gloss factor + mirror sum x mirror
factor) + ambient. Every step acts element by element on arrays over time, so the same samples give the same bits however the
stretch is cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from stationtest.optics.geometry import Factors
from stationtest.optics.spectra import Floats, blind_band, refused
from stationtest.optics.surface import Surface

BLOCK = 256
"""Rows of one matrix product in `band_sums`."""


@dataclass(frozen=True, slots=True)
class BandSums:
    """What a surface gives in each band at all factors 1: `matt`, `gloss`, `mirror`, each (B,) or, one a presentation, (B, n)."""

    matt: Floats
    gloss: Floats
    mirror: Floats


def band_gains(light: Floats, responses: Floats, *, white_level: float, balanced: bool) -> Floats:
    """Gains (B,) of a sensor set up on the perfect white matt plate under its own new light (N,).

    `white_level` is the level of the brightest band there (the exposure). `balanced`: every band reads that level (bands
    amplified each by itself); otherwise the bands keep the proportions that light and responses (B, N) give them.
    """
    if not white_level > 0:
        raise refused("exposure", f"the level on white must be above 0, found {white_level:g}")
    sums = responses @ light
    blind_band(sums)
    return np.asarray(white_level / sums if balanced else np.full(len(sums), white_level / sums.max()))


def band_weights(light: Floats, responses: Floats, gains: Floats) -> Floats:
    """(N, B): what a reflectance is multiplied by and summed for the level in each band."""
    return np.asarray((responses * light * gains[:, None]).T)


def scaled_to(ambient: Floats, light: Floats, share: float) -> Floats:
    """The ambient spectrum (N,) brought to `share` of the power that the sensor's own light has on the target, 380 to 780 nm."""
    if share < 0 or not ambient.sum() > 0:
        raise refused("ambient light", "needs a spectrum with power and a share not below 0")
    return np.asarray(ambient * (share * light.sum() / ambient.sum()))


def surface_sums(surface: Surface, weights: Floats) -> BandSums:
    """Band sums of a surface for `band_weights` (N, B)."""
    white = weights.sum(axis=0)
    gloss = white if surface.sheen is None else surface.sheen @ weights
    none = np.zeros(len(white))
    return BandSums(
        surface.matt @ weights,
        none if surface.index is None else gloss,
        none if surface.mirror is None else surface.mirror @ weights,
    )


def band_sums(spectra: Floats, weights: Floats) -> Floats:
    """(P, B) sums of one spectrum a presentation, (P, N), with weights (N, B).

    Done in blocks of `BLOCK` rows padded to the same shape, since a matrix product may give other last bits in another shape: the
    same row at the same place in its block gives the same bits, so cut presentations at multiples of `BLOCK`. float32 spectra are
    summed as such: four times as quick, and 1e-6 is still below a step of any converter. A spread of colour needs no spectra at
    all: add the band sums of `recovery.lab_directions`.
    """
    rows, points = spectra.shape
    whole = rows - rows % BLOCK
    weights = weights.astype(spectra.dtype)
    sums = np.empty((rows, weights.shape[1]), spectra.dtype)
    for first in range(0, whole, BLOCK):
        np.matmul(spectra[first : first + BLOCK], weights, out=sums[first : first + BLOCK])
    if whole < rows:
        padded = np.zeros((BLOCK, points), spectra.dtype)
        padded[: rows - whole] = spectra[whole:]
        sums[whole:] = (padded @ weights)[: rows - whole]
    return sums


def levels(
    parts: Sequence[tuple[BandSums, Factors, ArrayLike]], ambient: Sequence[tuple[Floats, ArrayLike]] = ()
) -> list[Floats]:
    """Levels, one (n,) array a band, of what the spot sees.

    `parts`: a surface's band sums, its factors (arrays (n,) or single numbers) and its share of the spot (n,). `ambient`: for
    each surface its band sums under the ambient light (B,) or (B, n) and what multiplies them (flicker x share of the spot)
    (n,).
    """
    if not parts:
        raise refused("spot", "sees no surface")
    bands = len(parts[0][0].matt)
    found = []
    for band in range(bands):
        total = None
        for sums, seen, share in parts:
            value = sums.matt[band] * seen.matt
            if np.any(sums.gloss[band]):
                value = value + sums.gloss[band] * seen.gloss
            if np.any(sums.mirror[band]):
                value = value + sums.mirror[band] * seen.mirror
            value = value * share
            total = value if total is None else total + value
        for light, amount in ambient:
            total = total + light[band] * np.asarray(amount)
        found.append(np.asarray(total, dtype=np.float64))
    return found
