"""Distance, tilt and shape against laws, handbook values and integrals over the disc done another way."""

import numpy as np
import pytest
from optics_values import even, head, inputs, name_of, rows

from stationtest.errors import UsageError
from stationtest.optics import fresnel, geometry, surface

MATT = surface.surface(even(0.5), "card")
GLOSSY = surface.surface(even(0.5), "foil", index=1.5, roughness=0.05)


@pytest.mark.parametrize("row", rows("inverse_square"), ids=name_of)
def test_the_inverse_square_law(row):
    """E = I / r^2, as the ratio to 1 m (CIE e-ILV)."""
    given = inputs(row)
    factor = geometry.distance_factor(head(standoff_mm=1000), 1000 * (1 - given["r_m"]))
    assert given["I_cd"] * factor == pytest.approx(float(row["published"]), rel=1e-9)


@pytest.mark.parametrize("row", rows("standoff"), ids=name_of)
def test_two_millimetres_further_away(row):
    found = geometry.distance_factor(head(standoff_mm=20), -2.0)
    assert found == pytest.approx(float(row["published"]), abs=float(row["tol"]))


def test_half_of_the_light_is_lost_at_the_depth_of_focus():
    view = head(standoff_mm=50, depth_of_focus_mm=4)
    for nearer in (4.0, -4.0):
        assert geometry.distance_factor(view, nearer) == pytest.approx(0.5 * (50 / (50 - nearer)) ** 2)
    assert geometry.distance_factor(view, 0.0) == 1


@pytest.mark.parametrize("tilt", [-40, -10, 0, 20, 60])
def test_a_matt_surface_goes_with_the_cosine_of_incidence(tilt):
    """Lambert's cosine law, for light along the axis and for light 30 deg off it."""
    slope = geometry.slope(tilt)
    assert geometry.factors(head(), MATT, slope_x=slope).matt == pytest.approx(np.cos(np.radians(tilt)))
    assert geometry.factors(head(), MATT, slope_y=slope).matt == pytest.approx(np.cos(np.radians(tilt)))
    aside = geometry.factors(head(light_deg=30), MATT, slope_x=slope).matt  # slope up towards +x turns the normal away from there
    assert aside == pytest.approx(np.cos(np.radians(30 + tilt)) if tilt < 60 else 0, abs=1e-12)


@pytest.mark.parametrize(("light", "view", "tilt"), [(0, 0, 0), (20, 0, 10), (30, 30, 0), (45, 0, 22.5), (15, 45, -15)])
def test_glare_lies_where_the_law_of_reflection_puts_it(light, view, tilt):
    """The normal that sends the light to the receiver bisects the two: tilted towards the light by (light - view) / 2."""
    stood = head(light_deg=light, view_deg=view)
    tilts = np.linspace(-50, 50, 4001)
    polished = surface.surface(even(0.5), "x", index=1.5, roughness=0.02)
    gloss = geometry.factors(stood, polished, slope_x=-geometry.slope(tilts)).gloss
    assert tilts[np.argmax(gloss)] == pytest.approx(tilt, abs=0.3)


def test_45_0_geometry_excludes_glare():
    """45:0 is the geometry of CIE 15 that leaves specular reflection out: a glossy black plate reads as black."""
    black = surface.surface(even(0), "black glass", index=1.5, roughness=0.02)
    assert geometry.factors(head(light_deg=45), black).gloss < 1e-3
    assert geometry.factors(head(), black).gloss > 1  # brighter than the perfect white


def test_the_gloss_of_a_plate_square_on_is_fresnel_times_the_lobe():
    found = geometry.factors(head(), GLOSSY).gloss
    one = np.array(1.0)
    wide = surface.widened(0.05, 2, 2)
    assert found == pytest.approx(fresnel.reflectance(1.0, 1.5) * surface.lobe(one, one, one, wide))
    assert fresnel.reflectance(1.0, 1.5) == pytest.approx(0.04)


# shapes


def test_chords_weigh_the_disc():
    """Mean square of x a quarter of the radius squared, mean fourth power an eighth: moments of the disc (any handbook)."""
    place, weight = geometry.chords()
    assert [(weight * place**power).sum() for power in (0, 1, 2, 4)] == pytest.approx([1, 0, 1 / 4, 1 / 8], abs=1e-12)


def disc(points=801):
    """Places in a disc of radius 1, evenly."""
    axis = (np.arange(points) + 0.5) / points * 2 - 1
    x, y = np.meshgrid(axis, axis)
    inside = x**2 + y**2 < 1
    return x[inside], y[inside]


@pytest.mark.parametrize("along", [False, True])
@pytest.mark.parametrize("aside", [0.0, 3.0, 11.0])
def test_a_round_part_against_the_sum_over_the_whole_disc(aside, along):
    view, radius = head(spot_mm=4), 12.0
    x, _ = disc()
    x = aside + 2 * x
    on = np.abs(x) < 0.996 * radius
    x = x[on]
    each = geometry.factors(
        view, GLOSSY,
        **{"slope_y" if along else "slope_x": -x / np.sqrt(radius**2 - x**2)}, nearer_mm=np.sqrt(radius**2 - x**2) - radius,
    )  # fmt: skip
    found = geometry.over(view, GLOSSY, geometry.Cylinder(radius_mm=radius), aside, along=along)
    share = len(x) / len(on)
    assert found.cover == pytest.approx(share, abs=0.02)
    assert found.matt == pytest.approx(each.matt.mean() * share, rel=0.02)
    if aside < 5:  # the lobe under the rim is steeper than the chords are dense
        assert found.gloss == pytest.approx(each.gloss.mean() * share, rel=0.05)


def test_a_large_cylinder_is_flat_and_one_beside_the_spot_is_not_seen():
    flat, seen = geometry.factors(head(), GLOSSY), geometry.over(head(), GLOSSY, geometry.Cylinder(radius_mm=1e5), [0.0, 2e5])
    for name in ("matt", "gloss", "cover"):
        assert getattr(seen, name) == pytest.approx([float(getattr(flat, name)), 0], rel=1e-4)


def test_half_of_the_spot_lies_on_the_part_at_its_rim():
    found = geometry.over(head(), MATT, geometry.Cylinder(radius_mm=400), 400.0 * 0.996)
    assert found.cover == pytest.approx(0.5, abs=0.02)


def test_a_rib_shows_its_flank_its_top_and_the_ground():
    rib = geometry.Rib(width_mm=6, height_mm=1, flank_deg=45)
    height, steep, there = rib.at(np.array([-9.0, -2.5, 0.0, 2.5, 9.0]))
    assert height == pytest.approx([0, 0.5, 1, 0.5, 0])
    assert steep == pytest.approx([0, 1, 0, -1, 0])
    assert there == pytest.approx(np.ones(5))


def test_glare_flashes_where_a_leaning_seam_faces_the_head():
    """A head 20 deg off the normal of the web: the ground shows no glare, a seam that leans 20 deg towards it does."""
    view = head(light_deg=20, view_deg=-20, spot_mm=1)
    seam = geometry.Rib(width_mm=4, height_mm=0.3, flank_deg=60, lean_deg=-20)
    gloss = geometry.over(view, GLOSSY, seam, np.array([-10.0, 0.0, 10.0])).gloss
    assert gloss[1] > 50 * gloss[0] and gloss[0] == pytest.approx(gloss[2])


@pytest.mark.parametrize(
    ("build", "said"),
    [
        (lambda: head(standoff_mm=0), "standoff and spot must be above 0 mm, found 0 and 3 mm"),
        (lambda: head(depth_of_focus_mm=0), "depth of focus must be above 0 mm"),
        (lambda: head(light_deg=90), "the angle of light must lie within 85 deg of the axis, found 90 deg"),
        (lambda: head(view_half_deg=0), "the half angle of view must lie above 0 and up to 45 deg"),
        (lambda: geometry.distance_factor(head(), 40.0), "a target 40 mm nearer would touch the head at a standoff of 40 mm"),
        (lambda: geometry.slope([0, -85]), "tilt: must stay below 85 deg, found 85 deg"),
        (lambda: geometry.Cylinder(radius_mm=0), "cylinder: radius must be above 0 mm"),
        (lambda: geometry.Rib(width_mm=1, height_mm=1, flank_deg=45), "flanks of 45 deg do not reach 1 mm within 1 mm"),
        (lambda: geometry.Rib(width_mm=0, height_mm=1, flank_deg=45), "width and height must be above 0 mm"),
        (lambda: geometry.Rib(width_mm=4, height_mm=1, flank_deg=45, lean_deg=50), "its lean must stay below 45 deg"),
    ],
)
def test_impossible_geometry_is_refused(build, said):
    with pytest.raises(UsageError, match=said) as caught:
        build()
    assert caught.value.problems[0].code == "wrong-value"
