"""A clear or tinted film, or a liquid, over a reflector: light passes it twice.

Inside, light is absorbed after Beer and Lambert along the slanted path; each boundary reflects after Fresnel; what goes to and
fro is summed to all orders as a geometric series, since at three or four reflections the terms are still near 1 % where the
reflector is bright. Phases are left out (no interference colours: films thicker than the coherence length, some 10 um for
LEDs).

Two ways to lie: with an air gap (a wrap over a reflector: the film has two boundaries of its own), or in contact (a liquid or a
lacquer: the reflector lies in the film's medium). Two kinds of reflector: a mirror keeps the direction; a matt one scatters, so
that light from it meets the boundary at all angles, and in contact most of it is thrown back (J. L. Saunderson, 'Calculation of
the color of pigmented plastics', Journal of the Optical Society of America 32 (1942) 727-736).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from stationtest.optics import fresnel
from stationtest.optics.spectra import GRID, Floats, checked, refused
from stationtest.optics.surface import Surface, matt_factor

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)
_MU, _W = (_NODES + 1.0) / 2.0, _WEIGHTS / 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Film:
    """A film. `inner` (N,): transmittance of the material alone, without its boundaries. `roughness`: of its gloss."""

    inner: Floats
    index: float
    roughness: float
    contact: bool


def film(inner: ArrayLike, what: str, *, index: float, roughness: float, contact: bool, wavelengths: Floats = GRID) -> Film:
    """A checked `Film`. Raises `UsageError` for a transmittance outside 0 to 1 and an index or roughness out of range."""
    clear = checked(inner, f"transmittance of {what}", wavelengths, at_most=1.0)
    if not (1.0 < index <= 4.0 and 0.0 <= roughness <= 1.0):
        raise refused(what, f"index must lie above 1 up to 4 and roughness from 0 to 1, found {index:g} and {roughness:g}")
    return Film(inner=clear, index=index, roughness=roughness, contact=contact)


def of_thickness(inner: Floats, times: float) -> Floats:
    """The inner transmittance of a film `times` as thick: T to the power of the path (Beer-Lambert, IUPAC Gold Book).

    Absorbance, -log10 T, goes with the path; so 10^-1 to the power A is what a material of absorbance A lets through.
    """
    if times < 0:
        raise refused("film", "its thickness must not be below 0")
    return np.asarray(inner**times)


def inner_from_measured(total: ArrayLike, index: float, what: str = "film") -> Floats:
    """Inner transmittance from one measured through a film in air, boundaries and inner reflections included.

    Solves T = (1 - F)^2 t / (1 - F^2 t^2). Raises `UsageError` where T is more than a clear film of that index lets through.
    """
    measured = np.asarray(total, dtype=np.float64)
    f = float(fresnel.reflectance(1.0, index))
    most = (1 - f) / (1 + f)
    if measured.min() < 0 or measured.max() > most + 1e-9:
        raise refused(what, f"a film of index {index:g} lets through at most {most:.4f}, found {measured.max():.4f}")
    pass_twice = (1 - f) ** 2
    return np.asarray(np.minimum(2 * measured / (pass_twice + np.sqrt(pass_twice**2 + 4 * (f * measured) ** 2)), 1.0))


def sheet(inner: Floats, index: float, cos_incidence: float = 1.0) -> tuple[Floats, Floats]:
    """Transmittance and reflectance (N,) of a film in air, both boundaries, inner reflections summed to all orders."""
    f = fresnel.reflectance(cos_incidence, index)
    t = inner ** (1.0 / float(fresnel.cos_refracted(cos_incidence, index)))
    rounds = 1.0 / (1.0 - (f * t) ** 2)
    through = (1.0 - f) ** 2 * t * rounds
    return np.asarray(through), np.asarray(f + f * t * through)


def over_mirror(layer: Film, backing: Floats, cos_incidence: float = 1.0) -> Floats:
    """Reflectance (N,) by way of a mirror `backing` (N,) under the film; what the top boundary reflects at once is left out.

    In contact: (1 - F)^2 t^2 R / (1 - F t^2 R). With an air gap: T^2 R / (1 - Rf R), T and Rf those of the sheet.
    """
    if not layer.contact:
        through, back = sheet(layer.inner, layer.index, cos_incidence)
        return np.asarray(through**2 * backing / (1.0 - back * backing))
    f = fresnel.reflectance(cos_incidence, layer.index)
    double = layer.inner ** (2.0 / float(fresnel.cos_refracted(cos_incidence, layer.index)))
    return np.asarray((1.0 - f) ** 2 * double * backing / (1.0 - f * double * backing))


def over_matt(layer: Film, backing: Floats, cos_in: float = 1.0, cos_out: float = 1.0) -> Floats:
    """Reflectance factor (N,) by way of a matt `backing` (N,) under the film, lit at `cos_in` and seen at `cos_out`.

    The light goes in and out in those two directions; between the reflector and the film it goes at all angles. In contact:
    (1 - F in)(1 - F out) t in t out R / (n^2 (1 - K R)), n^2 for the spreading of the beam on leaving, K the inner reflectance
    for all directions with the absorption along each (Saunderson 1942). With an air gap: T in T out R / (1 - Rd R), Rd that of
    the sheet for all directions.
    """
    if not layer.contact:
        into, _ = sheet(layer.inner, layer.index, cos_in)
        out, _ = sheet(layer.inner, layer.index, cos_out)
        back = sum(2.0 * w * mu * sheet(layer.inner, layer.index, float(mu))[1] for mu, w in zip(_MU, _W, strict=True))
        return np.asarray(into * out * backing / (1.0 - back * backing))
    n = layer.index
    passed = (1.0 - fresnel.reflectance(cos_in, n)) * (1.0 - fresnel.reflectance(cos_out, n))
    path = sum(1.0 / float(fresnel.cos_refracted(cosine, n)) for cosine in (cos_in, cos_out))
    return np.asarray(passed * layer.inner**path * backing / (n * n * (1.0 - _thrown_back(layer) * backing)))


def _thrown_back(layer: Film) -> Floats:
    """K: of light that leaves a matt reflector inside the film, the share that comes back to it (N,)."""
    critical = np.sqrt(1.0 - 1.0 / layer.index**2)
    total = np.zeros_like(layer.inner)
    for low, high in ((0.0, critical), (critical, 1.0)):  # two smooth parts: reflected whole, and after Fresnel
        mu = low + (high - low) * _MU
        f = fresnel.reflectance(mu, 1.0 / layer.index)
        with np.errstate(under="ignore"):
            total += (2.0 * (high - low) * _W * mu * f) @ layer.inner[None, :] ** (2.0 / mu[:, None])
    return total


def covered(under: Surface, layer: Film, cos_in: float = 1.0, cos_out: float = 1.0) -> Surface:
    """The surface that a film over `under` makes, for light at `cos_in` and a view at `cos_out` (cosines, taken once).

    The gloss is the film's; of a film with an air gap the lower boundary adds its share (`sheen`). What `under` reflects as gloss
    goes on as a mirror under a film with an air gap, and is left out under one in contact (no boundary of air there any more).
    The path inside is that of the cosines given, whatever the tilt of a sample later. The boundary's factor on the matt part is
    taken out here and put back by `surface.matt_factor`, so that tilt acts on it as ever.
    """
    f_in, f_out = (float(fresnel.reflectance(cosine, layer.index)) for cosine in (cos_in, cos_out))
    boundary = (1.0 - f_in) * (1.0 - f_out) / (1.0 - fresnel.diffuse_reflectance(layer.index))
    body, metal = under.matt, under.mirror
    if under.index is not None and not layer.contact:
        body = body * matt_factor(np.array(cos_in), np.array(cos_out), under.index)
        glare = fresnel.reflectance(cos_in, under.index) * (np.ones_like(body) if under.sheen is None else under.sheen)
        metal = glare if metal is None else np.minimum(metal + glare, 1.0)
    return Surface(
        matt=over_matt(layer, body, cos_in, cos_out) / boundary,
        index=layer.index,
        roughness=layer.roughness,
        mirror=None if metal is None else over_mirror(layer, metal, cos_in),
        mirror_roughness=under.roughness if under.mirror_roughness is None else under.mirror_roughness,
        sheen=None if layer.contact else sheet(layer.inner, layer.index, cos_in)[1] / f_in,
    )
