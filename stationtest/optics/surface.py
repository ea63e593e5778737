"""What a surface does with light: a matt part, gloss on a clear boundary, and a mirror part for metal foil.

The reflectance factor (1 for the perfect white matt plate in the same geometry) of a surface seen by a head is

    matt(nm) * matt factor  +  gloss factor  +  mirror lobe * metal reflectance(nm)

where only the three factors depend on angles, so each surface is summed over its spectra once.

* matt: Lambert. Under a clear boundary of index n the light that gloss takes is missing below it, on the way in and on the way
  out: (1 - F(in)) (1 - F(out)) / (1 - F mean), the coupled form of P. Shirley, B. Smits, H. Hu, E. Lafortune, 'A practitioners'
  assessment of light reflection models', Pacific Graphics 1997, and of C. Kelemen, L. Szirmay-Kalos, Eurographics 2001. `matt` is
  so the share of what the boundary lets through that comes back, and the sum of all light reflected is never above what fell in.
* gloss: F D G / (4 cos cos) of R. L. Cook, K. E. Torrance, 'A reflectance model for computer graphics', ACM Transactions on
  Graphics 1 (1982) 7-24, with the distribution of slopes D (GGX) and the Smith shadowing G of B. Walter, S. Marschner, H. Li, K.
  Torrance, 'Microfacet models for refraction through rough surfaces', EGSR 2007, equations 33 and 34. Light is scattered once.
  `roughness` is their alpha: about 0.01 polished, 0.05 to 0.1 coated card, above 0.3 no gloss that one would see.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from stationtest.optics import fresnel
from stationtest.optics.spectra import GRID, Floats, checked, refused


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """A surface. Spectra are (N,) on the grid, 0 to 1; `surface()` makes a checked one.

    `index`: refractive index of the clear boundary, None for none (then no gloss). `mirror`: reflectance of a metal at normal
    incidence, None for none. `roughness` is that of the gloss, and of the mirror unless it has a `mirror_roughness` of its own.
    `sheen` (N,) is what the gloss is multiplied by where a film adds the reflection of its lower boundary; None for 1.
    """

    matt: Floats
    index: float | None = None
    roughness: float = 1.0
    mirror: Floats | None = None
    mirror_roughness: float | None = None
    sheen: Floats | None = None


def surface(
    matt: ArrayLike,
    what: str,
    *,
    index: float | None = None,
    roughness: float | None = None,
    mirror: ArrayLike | None = None,
    fluorescent: bool = False,
    wavelengths: Floats = GRID,
) -> Surface:
    """A checked `Surface`; `what` names it in messages.

    Raises `UsageError` (wrong-value) for reflectance below 0 or (unless `fluorescent`) above 1, for an index outside 1 to 4,
    for a roughness outside 0 to 1, where gloss or mirror lacks a roughness, and for gloss and mirror in one (see
    `film.covered`). Fluorescence is only let through: no light is moved to other wavelengths.
    """
    limit = None if fluorescent else 1.0
    body = checked(matt, f"reflectance of {what}", wavelengths, at_most=limit)
    metal = None if mirror is None else checked(mirror, f"mirror reflectance of {what}", wavelengths, at_most=1.0)
    if index is not None and not (1.0 < index <= 4.0):
        raise refused(what, f"refractive index must lie above 1 and at most at 4, found {index:g}")
    if index is not None and metal is not None:
        raise refused(what, "a metal has no clear boundary of its own; lacquer on metal is a film in contact over a mirror")
    if roughness is None:
        if index is not None or metal is not None:
            raise refused(what, "a gloss needs its roughness (0 for a polished surface, 0.3 and above for a dull one)")
        roughness = 1.0
    if not (0.0 <= roughness <= 1.0):
        raise refused(what, f"roughness must lie between 0 and 1, found {roughness:g}")
    if metal is not None and not fluorescent and (body + metal).max() > 1.0 + 1e-12:
        raise refused(what, "matt and mirror reflectance together are above 1")
    return Surface(matt=body, index=index, roughness=roughness, mirror=metal)


def slopes_ggx(cos_half: Floats, roughness: ArrayLike) -> Floats:
    """D: density of facets per solid angle whose normal lies at this cosine from the surface's (Walter et al. 2007, eq. 33)."""
    square = np.asarray(roughness, dtype=np.float64) ** 2
    c2 = np.asarray(cos_half * cos_half)
    root = c2 * (square - 1.0) + 1.0
    return np.asarray(square / (np.pi * root * root))


def unshadowed(cosine: Floats, roughness: ArrayLike) -> Floats:
    """G1: share of the facets that are not shadowed seen at this cosine (Smith; Walter et al. 2007, eq. 34)."""
    square = np.asarray(roughness, dtype=np.float64) ** 2
    c = np.maximum(cosine, 1e-9)
    return np.asarray(2.0 * c / (c + np.sqrt(square + (1.0 - square) * c * c)))


def lobe(cos_in: Floats, cos_out: Floats, cos_half: Floats, roughness: ArrayLike) -> Floats:
    """pi D G / (4 cos cos): the reflectance factor of a rough surface whose facets are perfect mirrors.

    Multiply by the Fresnel reflectance at the angle between light and half vector. 0 where light or view lies below the surface.
    """
    seen = (cos_in > 0) & (cos_out > 0)
    shadow = unshadowed(cos_in, roughness) * unshadowed(cos_out, roughness)
    value = np.pi * slopes_ggx(cos_half, roughness) * shadow / (4.0 * np.maximum(cos_in * cos_out, 1e-12))
    return np.asarray(np.where(seen, value, 0.0))


def matt_factor(cos_in: Floats, cos_out: Floats, index: float | None) -> Floats:
    """What a matt surface loses and regains under a clear boundary; 1 where there is none. 0 below the horizon."""
    seen = ((cos_in > 0) & (cos_out > 0)).astype(np.float64)
    if index is None:
        return seen
    into = 1.0 - fresnel.reflectance(cos_in, index)
    through = into * (into if cos_out is cos_in else 1.0 - fresnel.reflectance(cos_out, index))
    return np.asarray(seen * through / (1.0 - fresnel.diffuse_reflectance(index)))


def widened(roughness: float, light_half_deg: float, view_half_deg: float) -> float:
    """The roughness that a head of finite apertures sees: alpha^2 + (tan^2 light + tan^2 view) / 4.

    A half vector moves by half of what light or view moves by, so two cones of directions blur the lobe as further slopes would;
    squares of widths are added, as for independent spreads (our approximation). It keeps the glare of a polished surface
    finite: a mirror seen square on through one aperture u in line with a small light has a reflectance factor near 1 / tan^2 u.
    """
    add = np.tan(np.radians(light_half_deg)) ** 2 + np.tan(np.radians(view_half_deg)) ** 2
    return float(min(1.0, np.sqrt(roughness**2 + add / 4.0)))


def dusty(clean: Surface, dust: Floats, covered: float) -> Surface:
    """The surface with matt dust of reflectance `dust` (N,) on a share `covered` of its area, which shows no gloss there."""
    if not (0.0 <= covered <= 1.0):
        raise refused("dirt", f"the covered share must lie between 0 and 1, found {covered:g}")
    left = 1.0 - covered
    sheen = left * (np.ones_like(dust) if clean.sheen is None else clean.sheen)
    mirror = None if clean.mirror is None else left * clean.mirror
    return replace(clean, matt=left * clean.matt + covered * dust, sheen=sheen, mirror=mirror)
