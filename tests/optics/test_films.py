"""Films: Beer-Lambert, plates, double pass, and that no light appears or gets lost."""

import numpy as np
import pytest
from optics_values import MU, WEIGHT, even, head, inputs, name_of, rows

from stationtest.errors import UsageError
from stationtest.optics import film, fresnel, geometry, surface


def layer(inner=1.0, index=1.5, contact=True):
    return film.film(even(inner), "wrap", index=index, roughness=0.05, contact=contact)


@pytest.mark.parametrize("row", rows("beer_lambert"), ids=name_of)
def test_beer_lambert(row):
    given = inputs(row)
    if "A" in given:
        found = film.of_thickness(np.array(0.1), given["A"])  # A times the thickness of absorbance 1
    else:
        found = film.of_thickness(np.array(given["T_single"]), 2)
    assert found == pytest.approx(float(row["published"]), abs=float(row["tol"]))


def test_absorbance_adds_up():
    """IUPAC Gold Book: A is proportional to concentration and to path."""
    one = np.array([0.1, 0.5, 0.9])
    assert film.of_thickness(one, 0.2 + 0.5) == pytest.approx(film.of_thickness(one, 0.2) * film.of_thickness(one, 0.5))
    assert -np.log10(film.of_thickness(one, 2.5)) == pytest.approx(2.5 * -np.log10(one))


@pytest.mark.parametrize("row", rows("plate"), ids=name_of)
def test_a_clear_plate(row):
    through, back = film.sheet(even(1), inputs(row)["n"])
    if "incoherent" in row["quantity"]:  # 2 n / (n^2 + 1), all inner reflections
        assert through[0] == pytest.approx(float(row["published"]), abs=float(row["tol"]))
        assert through + back == pytest.approx(even(1), abs=1e-14)
    else:  # without inner reflections it would be (1 - F)^2: the difference is what the sum over all orders adds
        f = fresnel.reflectance(1.0, inputs(row)["n"])
        assert through[0] * (1 - f**2) == pytest.approx(float(row["published"]), abs=float(row["tol"]))


@pytest.mark.parametrize("row", rows("double_pass"), ids=name_of)
def test_double_pass_over_a_mirror(row):
    given = inputs(row)
    found = film.over_mirror(layer(given["T_int"], given["n"]), even(given["R_back"]))
    assert found == pytest.approx(even(float(row["published"])), abs=float(row["tol"]))


@pytest.mark.parametrize("contact", [True, False])
@pytest.mark.parametrize("degrees", [0, 30, 60])
def test_orders_of_inner_reflection_followed_one_by_one(contact, degrees):
    """The geometric series against light followed from boundary to boundary."""
    cos, inner, metal, n = np.cos(np.radians(degrees)), 0.8, 0.7, 1.5
    f, t = fresnel.reflectance(cos, n), inner ** (1 / fresnel.cos_refracted(cos, n))
    # amounts moving down and up in: air above, film, gap; each step moves all of them
    down_film, up_film, down_gap, up_gap, out = 1 - f, 0.0, 0.0, 0.0, 0.0
    for _ in range(400):
        at_bottom, at_top, at_metal = down_film * t, up_film * t, down_gap
        if contact:
            down_film, up_film = at_top * f, at_bottom * metal
        else:
            down_film, up_film = at_top * f, at_bottom * f + up_gap * (1 - f)
            down_gap, up_gap = at_bottom * (1 - f) + up_gap * f, at_metal * metal
        out += at_top * (1 - f)
    direct = 0.0 if contact else float(film.sheet(even(inner), n, cos)[1][0]) - f  # seen without the metal
    assert film.over_mirror(layer(inner, n, contact), even(metal), cos)[0] == pytest.approx(out - direct, rel=1e-9)


@pytest.mark.parametrize("contact", [True, False])
@pytest.mark.parametrize("index", [1.33, 1.5, 1.7])
def test_a_clear_film_over_a_perfect_white_gives_all_light_back(index, contact):
    for cos_in in (1.0, 0.6):
        body = sum(
            2 * w * mu * film.over_matt(layer(1.0, index, contact), even(1), cos_in, float(mu))[0]
            for mu, w in zip(MU, WEIGHT, strict=True)
        )
        top = fresnel.reflectance(cos_in, index) if contact else film.sheet(even(1), index, cos_in)[1][0]
        assert body + top == pytest.approx(1, abs=2e-4)


def test_a_film_in_contact_is_the_boundary_of_a_glossy_surface():
    """A white under clear lacquer, by way of all inner reflections, and by the coupled form of a glossy surface."""
    white = film.over_matt(layer(), even(1), 0.9, 0.7)
    assert white == pytest.approx(surface.matt_factor(np.array(0.9), np.array(0.7), 1.5) * even(1), rel=1e-4)
    # a grey gets darker under it: light is thrown back to the grey again (wet things are darker)
    assert film.over_matt(layer(), even(0.3))[0] < 0.2


def test_absorption_grows_with_the_slant_of_the_path():
    steep, slant = (film.over_mirror(layer(0.5), even(1), cos)[0] for cos in (1.0, 0.5))
    through = fresnel.cos_refracted(0.5, 1.5)
    assert through == pytest.approx(np.cos(np.arcsin(np.sin(np.radians(60)) / 1.5)))  # Snell
    assert slant < steep
    with_path = 0.5 ** (2 / through)
    f = fresnel.reflectance(0.5, 1.5)
    assert slant == pytest.approx((1 - f) ** 2 * with_path / (1 - f * with_path))


def test_a_measured_transmittance_gives_the_inner_one_back():
    for inner in (0.05, 0.5, 0.9, 1.0):
        measured, _ = film.sheet(even(inner), 1.5)
        assert film.inner_from_measured(measured, 1.5) == pytest.approx(even(inner), rel=1e-9)
    with pytest.raises(UsageError, match=r"lets through at most 0.9231, found 0.9500"):
        film.inner_from_measured(even(0.95), 1.5, "wrap")


def test_covering_puts_the_boundary_back_and_no_light_appears():
    view = head()
    for contact in (True, False):
        over = film.covered(surface.surface(even(0.6), "card"), layer(0.9, 1.5, contact))
        seen = geometry.factors(view, over)
        assert over.matt * seen.matt == pytest.approx(film.over_matt(layer(0.9, 1.5, contact), even(0.6)), rel=1e-12)
        assert over.mirror is None
    gap = film.covered(surface.surface(even(0.6), "card"), layer(0.9, 1.5, False))
    assert gap.sheen == pytest.approx(film.sheet(even(0.9), 1.5)[1] / 0.04, rel=1e-9)  # both boundaries shine


def test_foil_under_a_film_keeps_its_own_roughness_and_is_seen_through_the_tint():
    foil = surface.surface(even(0.05), "foil", mirror=even(0.8), roughness=0.2)
    tinted = film.film(np.linspace(0.2, 1, 81), "wrap", index=1.5, roughness=0.02, contact=True)
    over = film.covered(foil, tinted)
    assert (over.roughness, over.mirror_roughness) == (0.02, 0.2)
    assert over.mirror == pytest.approx(film.over_mirror(tinted, even(0.8)))
    assert over.mirror[0] < 0.1 < 0.7 < over.mirror[-1]


def test_gloss_under_a_loose_film_is_still_seen():
    card = surface.surface(even(0.3), "card", index=1.5, roughness=0.1)
    loose, wet = (film.covered(card, layer(1.0, 1.5, contact)) for contact in (False, True))
    assert loose.mirror == pytest.approx(film.over_mirror(layer(1.0, 1.5, False), even(0.04)))
    assert loose.mirror_roughness == 0.1
    assert wet.mirror is None


@pytest.mark.parametrize(
    ("inner", "index", "roughness", "said"),
    [
        (1.1, 1.5, 0.1, "transmittance of wrap: is 1.1 at 380 nm, above 1"),
        (-0.1, 1.5, 0.1, "below 0"),
        (0.9, 1.0, 0.1, "index must lie above 1"),
        (0.9, 1.5, 2.0, "roughness from 0 to 1"),
    ],
)
def test_impossible_films_are_refused(inner, index, roughness, said):
    with pytest.raises(UsageError, match=said):
        film.film(even(inner), "wrap", index=index, roughness=roughness, contact=True)
    with pytest.raises(UsageError, match="its thickness must not be below 0"):
        film.of_thickness(even(0.5), -1)
