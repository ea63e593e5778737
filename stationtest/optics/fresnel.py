"""Reflection at a smooth boundary between two clear media: Fresnel's equations for unpolarised light, and what follows from them.

Source: M. Born, E. Wolf, 'Principles of Optics', 1.5.2; any optics text. `n` is always the index of the medium behind the
boundary over that of the medium before it. Angles enter as cosines. Arrays of any shape.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from stationtest.optics.spectra import Floats, refused


def polarised(cos_incidence: ArrayLike, n: float) -> tuple[Floats, Floats]:
    """Reflectance across (s) and along (p) the plane of incidence; 1 beyond the critical angle where n < 1."""
    _checked(n)
    c = np.clip(np.asarray(cos_incidence, dtype=np.float64), 1e-12, 1.0)
    behind = np.sqrt(np.maximum(c * c + (n * n - 1.0), 0.0))  # n cos(refracted); 0 beyond the critical angle, so both become 1
    s = (c - behind) / (c + behind)
    p = (n * n * c - behind) / (n * n * c + behind)
    return np.asarray(s * s), np.asarray(p * p)


def reflectance(cos_incidence: ArrayLike, n: float) -> Floats:
    """Reflectance of unpolarised light: the mean of both polarisations."""
    s, p = polarised(cos_incidence, n)
    return np.asarray(0.5 * (s + p))


def cos_refracted(cos_incidence: ArrayLike, n: float) -> Floats:
    """Cosine of the angle behind the boundary (Snell); 0 beyond the critical angle."""
    cos_i = np.asarray(cos_incidence, dtype=np.float64)
    return np.sqrt(np.maximum(1.0 - (1.0 - cos_i * cos_i) / (n * n), 0.0))


@lru_cache(maxsize=256)
def diffuse_reflectance(n: float) -> float:
    """Reflectance for light from all directions alike: twice the integral of R cos over cos, by Gauss-Legendre.

    Seen from inside (`1 / n`) it follows from outside by 1 - (1 - R) / n^2 (Egan, Hilgeman, 'Optical Properties of
    Inhomogeneous Materials', 1979; from memory); a test integrates both.
    """
    _checked(n)
    if n < 1.0:
        return 1.0 - (1.0 - diffuse_reflectance(1.0 / n)) * n * n
    node, weight = np.polynomial.legendre.leggauss(64)
    mu = (node + 1.0) / 2.0
    return float((reflectance(mu, n) * mu * weight).sum())


def _checked(n: float) -> None:
    if not (0.1 <= n <= 10.0):
        raise refused("refractive index", f"must lie between 1 and 10 (its inverse seen from inside), found {n:g}")
