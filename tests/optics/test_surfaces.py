"""Fresnel, gloss and energy of surfaces against published values and integrals done another way."""

import numpy as np
import pytest
from optics_values import MU, WEIGHT, even, inputs, name_of, rows

from stationtest.errors import UsageError
from stationtest.optics import fresnel, surface


def brewster_deg(n):
    """Where nothing is reflected along the plane of incidence: tan = n (any optics text)."""
    return np.degrees(np.arctan(n))


def cosine(degrees):
    return np.cos(np.radians(degrees))


@pytest.mark.parametrize("row", rows("fresnel_table", "gloss_standard"), ids=name_of)
def test_fresnel_tables(row):
    given = inputs(row)
    s, p = fresnel.polarised(cosine(given["theta_deg"]), given["n"])
    found = s if row["quantity"] == "R_s" else (s + p) / 2
    assert found == pytest.approx(float(row["published"]), abs=float(row["tol"]))


@pytest.mark.parametrize("row", rows("fresnel"), ids=name_of)
def test_fresnel_at_one_angle(row):
    if row["quantity"] == "critical_angle_deg":
        found = np.degrees(np.arcsin(1 / 1.5))
        just = cosine(found + np.array([-0.1, 0.1]))
        below, above = fresnel.reflectance(just, 1 / 1.5)
        assert below < 1 and above == 1
    else:
        n = inputs(row)["n"]
        s, p = fresnel.polarised(cosine(brewster_deg(n)), n)
        found = {
            "R_normal": fresnel.reflectance(1.0, n), "R_s_at_brewster": s, "R_p_at_brewster": p,
            "R_45_unpolarised": fresnel.reflectance(cosine(45), n),
        }[row["quantity"]]  # fmt: skip
    assert found == pytest.approx(float(row["published"]), abs=float(row["tol"]))


@pytest.mark.parametrize("row", rows("gloss_table"), ids=name_of)
def test_gloss_of_polished_glass_by_refractive_index(row):
    """ISO 2813: gloss is the reflectance at the angle over that of the standard, index 1.567, times 100."""
    index, angle = inputs(row)["n"], cosine(float(row["quantity"].partition("_")[2]))
    gloss = 100 * fresnel.reflectance(angle, index) / fresnel.reflectance(angle, 1.567)
    assert gloss == pytest.approx(float(row["published"]), abs=float(row["tol"]))


@pytest.mark.parametrize("n", [1.33, 1.5, 1.8, 2.4])
def test_light_that_is_not_reflected_is_refracted_and_comes_back_the_same_way(n):
    """Reversibility: the same reflectance from inside at the refracted angle; both Brewster angles add up to 90 deg."""
    mu = np.linspace(0.05, 1, 50)
    assert fresnel.reflectance(fresnel.cos_refracted(mu, n), 1 / n) == pytest.approx(fresnel.reflectance(mu, n), rel=1e-9)
    assert brewster_deg(n) + brewster_deg(1 / n) == pytest.approx(90)
    grid = np.linspace(0, 89.9, 9000)
    assert grid[np.argmin(fresnel.polarised(cosine(grid), n)[1])] == pytest.approx(brewster_deg(n), abs=0.01)


def test_diffuse_reflectance_of_a_boundary():
    # n = 1.5: 0.092 from outside, 0.596 from inside (Saunderson 1942; Judd 1942; from memory)
    assert fresnel.diffuse_reflectance(1.5) == pytest.approx(0.092, abs=5e-4)
    assert fresnel.diffuse_reflectance(1 / 1.5) == pytest.approx(0.596, abs=5e-4)
    for n in (1.33, 1.5, 2.0):  # from inside, by integration up to the critical angle and whole beyond it
        critical = np.sqrt(1 - 1 / n**2)
        mu = critical + (1 - critical) * MU
        integral = critical**2 + (2 * (1 - critical) * WEIGHT * mu * fresnel.reflectance(mu, 1 / n)).sum()
        assert fresnel.diffuse_reflectance(1 / n) == pytest.approx(integral, abs=2e-5)


# microfacets


@pytest.mark.parametrize("roughness", [0.02, 0.1, 0.3, 0.7, 1.0])
def test_facets_cover_the_plane_once(roughness):
    """Walter et al. 2007, eq. 4: the projected area of all facets is that of the plane. Over the logarithm of the tangent."""
    tangent = np.logspace(-7, 5, 200_001)
    cos = 1 / np.sqrt(1 + tangent**2)
    # projected area in d(tan): D cos, solid angle 2 pi sin d(angle), d(angle) = d(tan) cos^2, d(tan) = tan d(log tan)
    area = surface.slopes_ggx(cos, roughness) * cos * 2 * np.pi * np.sqrt(1 - cos**2) * cos**2 * tangent
    assert ((area[1:] + area[:-1]) / 2 * np.diff(np.log(tangent))).sum() == pytest.approx(1, abs=1e-3)


def reflected(roughness, degrees, fresnel_of):
    """All light that the facets reflect at an angle of incidence: the lobe over directions, drawn by its own slopes."""
    cos_in, sin_in = cosine(degrees), np.sin(np.radians(degrees))
    u, turn = (np.arange(4000) + 0.5) / 4000, (np.arange(64) + 0.5) / 64 * 2 * np.pi
    cos_half = np.sqrt((1 - u) / (1 + (roughness**2 - 1) * u))[:, None]  # Walter et al. 2007, eq. 35
    to_half = sin_in * np.sqrt(1 - cos_half**2) * np.cos(turn) + cos_in * cos_half
    cos_out = 2 * to_half * cos_half - cos_in
    seen = (to_half > 0) & (cos_out > 1e-9)
    cos_out = np.where(seen, cos_out, 0.5)
    factor = surface.lobe(np.full_like(cos_out, cos_in), cos_out, np.broadcast_to(cos_half, cos_out.shape), roughness)
    density = surface.slopes_ggx(cos_half, roughness) * cos_half / (4 * np.maximum(to_half, 1e-12))
    part = factor / np.pi * cos_out / density * fresnel_of(np.clip(to_half, 0, 1))
    return float(np.where(seen, part, 0).mean())


@pytest.mark.parametrize("degrees", [0, 30, 60, 80, 87])
@pytest.mark.parametrize("roughness", [0.01, 0.1, 0.3, 0.6, 1.0])
def test_no_surface_gives_back_more_light_than_it_gets(roughness, degrees):
    mirror = reflected(roughness, degrees, np.ones_like)
    assert mirror <= 1 + 2e-3
    if roughness <= 0.1 and degrees <= 60:
        assert mirror == pytest.approx(1, abs=4 * roughness**2 + 2e-3)  # smooth facets lose nothing
    for index in (1.3, 1.5, 2.0, 3.0):
        gloss = reflected(roughness, degrees, lambda to_half, n=index: fresnel.reflectance(to_half, n))
        cos_in = np.full_like(MU, cosine(degrees))
        body = (2 * WEIGHT * MU * surface.matt_factor(cos_in, MU, index)).sum()  # a perfectly white body
        assert gloss + body <= 1 + 2e-3
        if roughness == 0.01:
            assert gloss == pytest.approx(fresnel.reflectance(cosine(degrees), index), abs=0.06 if degrees > 60 else 2e-3)


def test_reciprocity():
    """Helmholtz: light and view may be exchanged."""
    a, b, half = np.array([0.9, 0.4]), np.array([0.6, 0.8]), np.array([0.95, 0.7])
    assert surface.lobe(a, b, half, 0.2) == pytest.approx(surface.lobe(b, a, half, 0.2), rel=1e-14)
    assert surface.matt_factor(a, b, 1.5) == pytest.approx(surface.matt_factor(b, a, 1.5), rel=1e-14)


def test_a_mirror_square_on_is_limited_by_the_apertures():
    """Radiance of a mirror image of a small light over that of a white plate: pi over the solid angle of the receiver's cone."""
    for half in (2.0, 5.0, 10.0):
        seen = surface.lobe(np.array(1.0), np.array(1.0), np.array(1.0), surface.widened(0.0, 0.01, half))
        assert seen == pytest.approx(1 / np.sin(np.radians(half)) ** 2, rel=0.04)


def test_dust_takes_gloss_away_and_lightens_black():
    clean = surface.surface(even(0.05), "lid", index=1.5, roughness=0.1)
    dull = surface.dusty(clean, even(0.4), 0.25)
    assert dull.matt == pytest.approx(even(0.75 * 0.05 + 0.25 * 0.4))
    assert dull.sheen == pytest.approx(even(0.75))


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"matt": even(-0.1)}, "reflectance of lid: is below 0 at 380 nm"),
        ({"matt": even(1.2)}, "reflectance of lid: is 1.2 at 380 nm, above 1; only a fluorescent one"),
        ({"index": 0.9, "roughness": 0.1}, "refractive index must lie above 1 and at most at 4, found 0.9"),
        ({"index": 1.5}, "lid: a gloss needs its roughness"),
        ({"index": 1.5, "roughness": 1.5}, "roughness must lie between 0 and 1, found 1.5"),
        ({"mirror": even(0.8), "roughness": 0.1}, "matt and mirror reflectance together are above 1"),
        ({"mirror": even(0.4), "roughness": 0.1, "index": 1.5}, "lacquer on metal is a film in contact over a mirror"),
    ],
)
def test_impossible_surfaces_are_refused(changed, said):
    stated = {"matt": even(0.5), **changed}
    with pytest.raises(UsageError, match=said):
        surface.surface(stated.pop("matt"), "lid", **stated)
    assert surface.surface(even(1.2), "lid", fluorescent=True).matt.max() == pytest.approx(1.2)
