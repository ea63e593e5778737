"""What practitioners say of colour sensors must come out of the physics, under the conditions stated here.

Common practice, no source: each is a rule of thumb of the trade. No example scene has these parameters, so none was tuned to
show the fact. Where a rule does not hold, that is tested too.
"""

import numpy as np
import pytest
from optics_values import GRID, d65, even, head, observer

from stationtest.optics import chain, detector, film, geometry, light, recovery, spectra, spot, surface
from stationtest.signals import colour_science

LAMP = light.light_of([light.Led(peak_nm=448, width_nm=20), light.Led(peak_nm=570, width_nm=125, level=0.7)])
PEAKS = detector.gaussian_bands([455, 535, 615], [50, 60, 55])
WEIGHTS = chain.band_weights(LAMP, PEAKS, chain.band_gains(LAMP, PEAKS, white_level=0.5, balanced=True))
GREEN = np.interp(GRID, [380, 470, 540, 600, 780], [0.06, 0.12, 0.42, 0.10, 0.15])
BROWN = np.interp(GRID, [380, 480, 580, 680, 780], [0.04, 0.06, 0.14, 0.28, 0.33])


def levels(part, factors):
    return np.array(chain.levels([(chain.surface_sums(part, WEIGHTS), factors, 1.0)]))


def chroma(bands):
    """Shares of the bands: what a comparison by chromaticity sees."""
    return bands / bands.sum(axis=0)


@pytest.mark.parametrize("roughness", [0.01, 0.03])
@pytest.mark.parametrize("index", [1.45, 1.6])
def test_a_tilt_of_10_to_15_degrees_takes_the_glare_of_a_glossy_flat_target_away(index, roughness):
    """A head that lights and looks along one axis through half angles of 3 deg, and a polished target."""
    view = head(standoff_mm=35, light_half_deg=3, view_half_deg=3)
    glossy = surface.surface(GREEN, "lid", index=index, roughness=roughness)
    body = chroma(levels(surface.surface(GREEN, "lid"), geometry.factors(view, surface.surface(GREEN, "lid"))))
    off = {
        tilt: np.linalg.norm(chroma(levels(glossy, geometry.factors(view, glossy, slope_x=geometry.slope(tilt)))) - body)
        for tilt in (0, 5, 10, 15)
    }
    assert off[0] > 0.2  # square on the green is washed out to the colour of the light
    assert off[10] < 0.15 * off[0]
    assert off[15] < 0.05 * off[0]


def test_a_dull_gloss_is_not_tilted_away():
    """The rule's limit: with a roughness of 0.25 the lobe is wider than 15 deg, and a share of it stays."""
    view = head(standoff_mm=35, light_half_deg=3, view_half_deg=3)
    dull = surface.surface(GREEN, "card", index=1.5, roughness=0.25)
    square_on, tilted = (geometry.factors(view, dull, slope_x=geometry.slope(tilt)).gloss for tilt in (0, 15))
    assert tilted > 0.2 * square_on


@pytest.mark.parametrize("change", [{"nearer_mm": 3.0}, {"nearer_mm": -3.0}, {"slope_y": np.tan(np.radians(25))}])
def test_comparing_with_lightness_is_much_more_sensitive_to_standoff_and_angle(change):
    """A matt brown, 3 mm of 38 or 25 deg off, each distance against a usual tolerance of its own (4 and 0.012)."""
    lightness, colour = moved(surface.surface(BROWN, "lid"), change)
    assert lightness > 0.3
    assert lightness > 20 * colour


def test_the_rule_is_weaker_where_the_target_shines():
    """A slightly glossy brown: standoff acts on both parts alike, but with the angle gloss comes and goes, and so does colour."""
    glossy = surface.surface(BROWN, "lid", index=1.5, roughness=0.12)
    lightness, colour = moved(glossy, {"nearer_mm": 3.0})
    assert lightness > 20 * colour
    lightness, colour = moved(glossy, {"slope_y": np.tan(np.radians(25))})
    assert 0.5 < colour < lightness < 5 * colour


def moved(part, change):
    """How far a change of place moves a reading, in tolerances: by CIEDE2000 and by CIE 1976 u'v'."""
    matrix = np.linalg.lstsq(many() @ WEIGHTS, spectra.tristimulus(many(), d65(), observer()), rcond=None)[0].T
    white = spectra.white_of(d65(), observer())
    view = head(standoff_mm=38, light_deg=8, view_deg=-20, light_half_deg=3, view_half_deg=4)
    xyz = [matrix @ levels(part, geometry.factors(view, part, **where)) for where in ({}, change)]
    lightness = colour_science.distance("CIEDE2000", *(colour_science.lab_of_xyz(one, white) for one in xyz))
    return lightness / 4, np.linalg.norm(np.subtract(*(colour_science.uv_of_xyz(one) for one in xyz))) / 0.012


def many():
    """Reflectances of colours all around, to calibrate the three bands with."""
    colours = [(50, a, b) for a in (-25, 0, 25) for b in (-25, 0, 25)] + [(30, 10, 10), (80, -10, 20)]
    colour = colour_science.library()
    white = spectra.white_of(d65(), observer())
    to_xyz = [np.asarray(colour.Lab_to_XYZ(lab, colour.XYZ_to_xy(white))) * 100 for lab in colours]
    return np.array([recovery.reflectance_of(xyz, d65(), observer()) for xyz in to_xyz])


@pytest.mark.parametrize(("patch", "small", "large"), [(0.6, 0.7, 5.0), (1.5, 1.0, 9.0)])
def test_a_larger_spot_steadies_a_texture(patch, small, large):
    along = np.arange(40_000) * 0.11
    swings = [0.2 * spot.texture(11, "weave", along, patch, size).std() for size in (small, large)]
    assert swings[1] < swings[0] / 4
    # with a spot far larger than the patches it falls as the number of patches under it: with the diameter
    assert spot.texture(11, "weave", along, patch, 2 * large).std() * 0.2 == pytest.approx(swings[1] / 2, rel=0.15)


@pytest.mark.parametrize("reflector", ["mirror", "white"])
def test_a_reflective_background_makes_a_film_readable(reflector):
    """Clear and amber film of 60 um: over a black belt little light comes back, over a reflector they are told apart."""
    view = head(light_deg=12, view_deg=12)
    clear, amber = (
        film.film(inner, "wrap", index=1.5, roughness=0.06, contact=False)
        for inner in (even(0.98), np.interp(GRID, [380, 480, 560, 780], [0.25, 0.45, 0.85, 0.97]))
    )
    belt = surface.surface(even(0.03), "belt")
    bright = {
        "mirror": surface.surface(even(0.02), "plate", mirror=even(0.85), roughness=0.06),
        "white": surface.surface(even(0.85), "board"),
    }[reflector]

    def apart(under):
        """How far apart the shares of the bands are, in standard deviations of one reading of the tinted film."""
        parts = [film.covered(under, layer, np.cos(np.radians(12)), np.cos(np.radians(12))) for layer in (clear, amber)]
        seen = [levels(part, geometry.factors(view, part, slope_x=geometry.slope(6))) for part in parts]
        device = detector.Detector(bits=12, electrons=8000, dark=(10, 10, 10), read_noise=3)
        noisy = [np.full(20_000, level) for level in seen[1]]
        spread = chroma(np.array(detector.counts(noisy, device, seed=1, stream="film", cell=0)) - 10).std(axis=1)
        return np.linalg.norm(chroma(seen[0]) - chroma(seen[1])) / np.linalg.norm(spread)

    assert apart(bright) > 3 * apart(belt)
