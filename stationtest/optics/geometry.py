"""How head and target stand to each other: what distance, tilt, offset and shape do to the matt, gloss and mirror parts.

Axes: the head looks down along z from its standoff; x is the direction of travel, y goes across. The light comes from `light_deg`
off the axis towards +x, the receiver looks from `view_deg` off the axis towards -x; 0 and 0 is a head that lights and looks along
one axis. A normal is given by its slopes: the surface z = slope_x x + slope_y y has the normal (-slope_x, -slope_y, 1). All
angles are those at the spot's centre (the spot is small against the standoff).

The target fills the field, and the receiver sees a fixed part of it: the signal goes with the cosine at which light falls in. A
patch smaller than the spot loses by its projected area as well; that is the area share of `spot`.

Distance: light falls off with the square of the distance from the head; the receiver's lens sees the same radiance at every
distance, until out of focus. Depth of focus: off focus by z both the lit spot and the seen field widen by blur to
D sqrt(1 + (z / z_half)^2), and the share of the light that falls in the field is 1 / (1 + (z / z_half)^2): one half at z_half,
which is the stated depth of focus (our model: geometric blur added in squares).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from stationtest.optics import fresnel
from stationtest.optics.spectra import Floats, refused
from stationtest.optics.surface import Surface, lobe, matt_factor, widened

POINTS = 48
"""Samples over the spot's diameter for curved and raised shapes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """A sensor head. Angles in degrees, lengths in mm.

    `standoff_mm` is the distance in focus, at which levels are stated. `depth_of_focus_mm` None: no loss out of focus.
    `light_half_deg`, `view_half_deg`: half the angle of the cone of light, and of the cone that the receiver takes in.
    """

    standoff_mm: float
    spot_mm: float
    light_deg: float
    view_deg: float
    light_half_deg: float
    view_half_deg: float
    depth_of_focus_mm: float | None = None

    def __post_init__(self) -> None:
        if not (self.standoff_mm > 0 and self.spot_mm > 0):
            raise refused("head", f"standoff and spot must be above 0 mm, found {self.standoff_mm:g} and {self.spot_mm:g} mm")
        if self.depth_of_focus_mm is not None and not self.depth_of_focus_mm > 0:
            raise refused("head", f"depth of focus must be above 0 mm, found {self.depth_of_focus_mm:g} mm")
        for name, angle in (("light", self.light_deg), ("view", self.view_deg)):
            if not -85 <= angle <= 85:
                raise refused("head", f"the angle of {name} must lie within 85 deg of the axis, found {angle:g} deg")
        for name, angle in (("light", self.light_half_deg), ("view", self.view_half_deg)):
            if not 0 < angle <= 45:
                raise refused("head", f"the half angle of {name} must lie above 0 and up to 45 deg, found {angle:g} deg")


@dataclass(frozen=True, slots=True)
class Factors:
    """What multiplies the band sums of a surface's matt, gloss and mirror parts; arrays of one shape.

    `cover`: share of the spot on the surface at all, already counted in the three.
    """

    matt: Floats
    gloss: Floats
    mirror: Floats
    cover: Floats


def distance_factor(head: Head, nearer_mm: ArrayLike) -> Floats:
    """Signal relative to that at the standoff, for a target `nearer_mm` nearer to the head (raised); inverse square and focus.

    Raises `UsageError` (wrong-value) where the target would touch the head.
    """
    nearer = np.asarray(nearer_mm, dtype=np.float64)
    if nearer.size and nearer.max() >= head.standoff_mm:
        raise refused(
            "geometry", f"a target {nearer.max():g} mm nearer would touch the head at a standoff of {head.standoff_mm:g} mm"
        )
    square = (head.standoff_mm / (head.standoff_mm - nearer)) ** 2
    if head.depth_of_focus_mm is not None:
        square = square / (1.0 + (nearer / head.depth_of_focus_mm) ** 2)
    return np.asarray(square)


def slope(tilt_deg: ArrayLike) -> Floats:
    """Slope of a surface tilted by an angle. Raises `UsageError` for 85 deg and more."""
    angle = np.asarray(tilt_deg, dtype=np.float64)
    if angle.size and np.abs(angle).max() >= 85:
        raise refused("tilt", f"must stay below 85 deg, found {np.abs(angle).max():g} deg")
    return np.asarray(np.tan(np.radians(angle)))


def factors(
    head: Head, surface: Surface, *, slope_x: ArrayLike = 0.0, slope_y: ArrayLike = 0.0, nearer_mm: ArrayLike = 0.0
) -> Factors:
    """Factors of a flat surface that fills the spot, elementwise on arrays that broadcast to one shape.

    1 in `matt` for a matt surface square on, in focus, lit and seen along the axis. Mirror: the lobe only; that metals reflect
    more towards grazing is left out (below 1 % up to 65 deg).
    """
    sx, sy = np.asarray(slope_x, dtype=np.float64), np.asarray(slope_y, dtype=np.float64)
    a, b = np.radians(head.light_deg), np.radians(head.view_deg)
    norm = 1.0 / np.sqrt(1.0 + sx * sx + sy * sy)
    cos_in = (np.cos(a) - sx * np.sin(a)) * norm
    cos_out = cos_in if b == -a else (np.cos(b) + sx * np.sin(b)) * norm
    distance = distance_factor(head, nearer_mm) * np.maximum(cos_in, 0.0)
    matt = distance * matt_factor(cos_in, cos_out, surface.index)
    zero = np.zeros(matt.shape)
    gloss = mirror = zero
    if surface.index is not None or surface.mirror is not None:
        half_x, half_z = np.sin(a) - np.sin(b), np.cos(a) + np.cos(b)
        length = np.hypot(half_x, half_z)
        cos_half = (half_z - sx * half_x) / length * norm
        own = widened(surface.roughness, head.light_half_deg, head.view_half_deg)
        peak = distance * lobe(cos_in, cos_out, cos_half, own)
        if surface.index is not None:
            gloss = peak * fresnel.reflectance(length / 2.0, surface.index)  # light to half vector: the same for every normal
        if surface.mirror is not None:
            mirror = peak
            if surface.mirror_roughness is not None and surface.mirror_roughness != surface.roughness:
                deeper = widened(surface.mirror_roughness, head.light_half_deg, head.view_half_deg)
                mirror = distance * lobe(cos_in, cos_out, cos_half, deeper)
    return Factors(matt, gloss, mirror, np.ones(matt.shape))


@dataclass(frozen=True, slots=True, kw_only=True)
class Cylinder:
    """A round part, its top at the standoff. x is the distance from its axis, whichever way that lies."""

    radius_mm: float

    def __post_init__(self) -> None:
        if not self.radius_mm > 0:
            raise refused("cylinder", f"radius must be above 0 mm, found {self.radius_mm:g} mm")

    def at(self, x_mm: Floats) -> tuple[Floats, Floats, Floats]:
        """Height over the top (not above 0), slope along x, and 1 where there is a surface below, 0 beside it."""
        share = x_mm / self.radius_mm
        on = np.abs(share) < 0.996  # the last degrees face away from any head within 85 deg
        share = np.where(on, share, 0.0)
        root = np.sqrt(1.0 - share * share)
        return np.where(on, self.radius_mm * (root - 1.0), 0.0), np.where(on, -share / root, 0.0), on.astype(np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rib:
    """A raised rib or seam across the travel: a flat top between two flanks, on a flat ground; x = 0 in its middle.

    `width_mm` at the foot, `height_mm`, `flank_deg` the angle of both flanks; `lean_deg` turns the whole seam as it lies.
    """

    width_mm: float
    height_mm: float
    flank_deg: float
    lean_deg: float = 0.0

    def __post_init__(self) -> None:
        if not (self.width_mm > 0 and self.height_mm > 0 and 0 < self.flank_deg < 85):
            raise refused("rib", "width and height must be above 0 mm, and the flanks between 0 and 85 deg")
        if 2 * self.height_mm / np.tan(np.radians(self.flank_deg)) > self.width_mm * (1 + 1e-9):
            raise refused(
                "rib", f"flanks of {self.flank_deg:g} deg do not reach {self.height_mm:g} mm within {self.width_mm:g} mm"
            )
        if not abs(self.lean_deg) < 45:
            raise refused("rib", f"its lean must stay below 45 deg, found {self.lean_deg:g} deg")

    def at(self, x_mm: Floats) -> tuple[Floats, Floats, Floats]:
        """Height over the ground, slope along x, and 1 everywhere (the ground goes on beside the rib)."""
        steep, lean = np.tan(np.radians(self.flank_deg)), np.tan(np.radians(self.lean_deg))
        foot = self.width_mm / 2.0 - np.abs(x_mm)
        on, flank = foot > 0, (foot > 0) & (foot * steep < self.height_mm)
        height = np.where(on, np.minimum(foot * steep, self.height_mm), 0.0)
        return height, np.where(on, lean, 0.0) - np.where(flank, np.sign(x_mm) * steep, 0.0), np.ones(x_mm.shape)


def chords(points: int = POINTS) -> tuple[Floats, Floats]:
    """Places across a round spot (in radii, -1 to 1) and their weights (sum 1), for what varies along one direction only.

    Gauss quadrature with the length of the chord as weight (Chebyshev, second kind; Abramowitz & Stegun 25.4.40).
    """
    angle = np.arange(1, points + 1) * np.pi / (points + 1)
    return np.cos(angle), 2.0 / (points + 1) * np.sin(angle) ** 2


def over(
    head: Head,
    surface: Surface,
    shape: Cylinder | Rib,
    centre_mm: ArrayLike,
    *,
    along: bool = False,
    slope_x: ArrayLike = 0.0,
    slope_y: ArrayLike = 0.0,
    nearer_mm: ArrayLike = 0.0,
    points: int = POINTS,
) -> Factors:
    """Factors (n,) of a shape under the spot, whose centre is at `centre_mm` (n,) from its middle: means over every normal.

    The shape lies across the travel, so `centre_mm` is along x; with `along` it lies along the travel, and `centre_mm` is across,
    along y. The part as a whole may be tilted and raised (numbers, or (n,)); its slopes are added to those of the shape. Costs
    `points` times a flat sample: make it once over a row of places and take samples from it by `numpy.interp`.
    """
    place, weight = chords(points)
    spots = np.asarray(centre_mm, dtype=np.float64)[..., None] + place * head.spot_mm / 2.0
    height, steep, there = shape.at(spots)
    tilt_x, tilt_y, raised = (np.asarray(value, dtype=np.float64)[..., None] for value in (slope_x, slope_y, nearer_mm))
    each = factors(
        head,
        surface,
        slope_x=tilt_x if along else tilt_x + steep,
        slope_y=tilt_y + steep if along else tilt_y,
        nearer_mm=raised + height,
    )
    share = there * weight
    return Factors(*((part * share).sum(axis=-1) for part in (each.matt, each.gloss, each.mirror, np.ones(share.shape))))
