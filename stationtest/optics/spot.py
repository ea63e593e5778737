"""What a round spot averages: an edge that moves through it, and a texture.

The spot is a disc of even sensitivity, of diameter D. Places along the travel in mm, arrays of any shape, elementwise.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from stationtest.optics.noise import normals_at
from stationtest.optics.spectra import Floats, refused


def covered(edge_mm: ArrayLike, spot_mm: float) -> Floats:
    """Share of the spot's area behind a straight edge that has come `edge_mm` past its centre: 0 at -D/2, 1 at +D/2.

    1/2 + (t sqrt(1 - t^2) + asin t) / pi, t = 2 edge / D: the segment of a circle.
    """
    t = np.asarray(edge_mm, dtype=np.float64) * (2.0 / _above_zero(spot_mm))
    share = np.asarray((t >= 1.0).astype(np.float64))
    near = np.abs(t) < 1.0  # most places have no edge under the spot
    inside = t[near]
    share[near] = 0.5 + (inside * np.sqrt(1.0 - inside * inside) + np.arcsin(inside)) / np.pi
    return share


def covered_while_moving(edge_mm: ArrayLike, spot_mm: float, travel_mm: float) -> Floats:
    """Mean of `covered` while the edge moved `travel_mm` up to `edge_mm`: what an exposure or an average of that length sees.

    The mean of the closed form in closed form; `travel_mm` 0 gives `covered`. Not negative.
    """
    if travel_mm < 0:
        raise refused("travel", f"must not be below 0 mm, found {travel_mm:g} mm")
    now = np.asarray(edge_mm, dtype=np.float64)
    if travel_mm < 1e-6 * _above_zero(spot_mm):
        return covered(now, spot_mm)
    share = np.asarray((now > 0.0).astype(np.float64))
    near = np.abs(now - travel_mm / 2.0) < (spot_mm + travel_mm) / 2.0
    inside = now[near]
    share[near] = (_area_so_far(inside, spot_mm) - _area_so_far(inside - travel_mm, spot_mm)) / travel_mm
    return share


def strip(centre_mm: ArrayLike, begin_mm: ArrayLike, end_mm: ArrayLike, spot_mm: float, travel_mm: float = 0.0) -> Floats:
    """Share of the spot on a target or mark from `begin_mm` to `end_mm`, the spot's centre at `centre_mm` on the same scale.

    `travel_mm`: how far the spot has moved while the reading was taken, ending at `centre_mm`.
    """
    centre = np.asarray(centre_mm, dtype=np.float64)
    first = covered_while_moving(centre - np.asarray(begin_mm, dtype=np.float64), spot_mm, travel_mm)
    last = covered_while_moving(centre - np.asarray(end_mm, dtype=np.float64), spot_mm, travel_mm)
    return np.asarray(first - last)


def skewed(edge_mm: ArrayLike, skew_deg: float) -> Floats:
    """Distance of the spot's centre from an edge that is `edge_mm` away along the travel and lies skewed to it: edge cos skew.

    Under 8 deg the difference is below 1 %. Raises `UsageError` for 85 deg and more.
    """
    if not abs(skew_deg) < 85:
        raise refused("edge", f"its skew must stay below 85 deg, found {skew_deg:g} deg")
    return np.asarray(np.asarray(edge_mm, dtype=np.float64) * np.cos(np.radians(skew_deg)))


def texture_left(patch_mm: float, spot_mm: float) -> float:
    """Standard deviation that is left of a texture under the spot, relative to that under a very small one.

    1 / sqrt(1 + spot area / patch area), a patch being `patch_mm` square. Exact for a texture whose correlation falls off as a
    Gauss curve with the patch's area under it and a Gauss-shaped spot with the disc's second moment (D / 4 in each direction);
    for a large spot over even patches it is the 1 / sqrt(number of patches) of a mean.
    """
    area = np.pi / 4.0 * _above_zero(spot_mm) ** 2
    return float(1.0 / np.sqrt(1.0 + area / _above_zero(patch_mm) ** 2))


def texture(seed: int, stream: str, along_mm: ArrayLike, patch_mm: float, spot_mm: float) -> Floats:
    """The texture under the spot at places along the travel (not below 0): mean 0, standard deviation `texture_left`.

    Multiply by the standard deviation of the texture under a very small spot. The same place gives the same value, however the
    places are cut. Along the travel it is correlated as exp(-x^2 / L^2), L^2 = patch^2 / pi + D^2 / 4: normal numbers on a
    lattice of L / 8, smoothed by a Gauss curve, straight between its points.
    """
    places = np.asarray(along_mm, dtype=np.float64)
    if not places.size:
        return np.empty(places.shape)
    if places.min() < 0:
        raise refused("texture", f"places along the travel must not be below 0 mm, found {places.min():g} mm")
    length = float(np.sqrt(patch_mm**2 / np.pi + spot_mm**2 / 4.0))
    pitch = length / 8.0
    first, last = int(places.min() / pitch), int(places.max() / pitch) + 1
    reach = 16  # two lengths to each side: exp(-8) is left out
    kernel = np.exp(-2.0 * (np.arange(-reach, reach + 1) / 8.0) ** 2)
    kernel /= np.sqrt((kernel**2).sum())
    drawn = normals_at(seed, stream, first, last - first + 1 + 2 * reach)
    points = np.zeros(last - first + 1)
    for shift, weight in enumerate(kernel):  # element by element, so that a value does not depend on the stretch's length
        points += weight * drawn[shift : shift + len(points)]
    at = places / pitch
    below = np.minimum(at.astype(np.int64), last - 1)
    part = at - below
    low, high = points[below - first], points[below - first + 1]
    return np.asarray(texture_left(patch_mm, spot_mm) * (low + (high - low) * part))


def _area_so_far(edge_mm: Floats, spot_mm: float) -> Floats:
    """The integral of `covered` from far before up to `edge_mm`."""
    radius = spot_mm / 2.0
    scaled = edge_mm / radius
    t = np.clip(scaled, -1.0, 1.0)
    root = np.sqrt(1.0 - t * t)
    within = (t + 1.0) / 2.0 + (root - root**3 / 3.0 + t * np.arcsin(t) - np.pi / 2.0) / np.pi
    return np.asarray(radius * (within + np.maximum(scaled - 1.0, 0.0)))


def _above_zero(length_mm: float) -> float:
    if not length_mm > 0:
        raise refused("spot or patch", f"must be above 0 mm, found {length_mm:g} mm")
    return length_mm
