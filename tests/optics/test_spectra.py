"""Illuminants, observers, sums and measured spectra against CIE tables."""

import numpy as np
import pytest
from cie_13_3 import rendering
from optics_values import GRID, colour_samples, correlated_colour_temperature, d65, even, inputs, name_of, observer, rows, table

from stationtest.errors import UsageError
from stationtest.optics import spectra
from stationtest.signals import colour_science

CHROMATICITIES = table("illuminant_chromaticities.csv")


@pytest.mark.parametrize("row", table("white_points_astm_e308.csv"), ids=lambda row: f"{row['illuminant']} {row['observer_deg']}")
def test_white_points_of_astm_e308(row):
    light = colour_science.illuminant_spectrum(row["illuminant"], GRID)
    white = spectra.white_of(light, observer(f"{row['observer_deg']} deg"))
    # published values are sums of 1 nm tables, and sources differ by 0.02 in Z: see values/colour_sources.md
    assert white == pytest.approx([float(row[f"{axis}_published"]) for axis in "XYZ"], abs=0.025)


@pytest.mark.parametrize("row", CHROMATICITIES, ids=lambda row: f"{row['illuminant']} {row['observer_deg']}")
def test_chromaticities_and_sums_of_cie_015(row):
    light = colour_science.illuminant_spectrum(row["illuminant"], GRID)
    white = spectra.white_of(light, observer(f"{row['observer_deg']} deg"))
    # CIE 015:2018; FL2 is 1.0e-4 from the sum of its own table
    assert spectra.chromaticity(white) == pytest.approx([float(row["x_tabulated"]), float(row["y_tabulated"])], abs=1.1e-4)
    assert white == pytest.approx([float(row[f"{axis}_5nm"]) for axis in "XYZ"], abs=6e-4)


@pytest.mark.parametrize("row", [row for row in CHROMATICITIES if row["Duv"]], ids=lambda row: row["illuminant"])
def test_colour_temperatures(row):
    white = spectra.white_of(colour_science.illuminant_spectrum(row["illuminant"], GRID), observer())
    kelvin, duv = correlated_colour_temperature(white)
    assert kelvin == pytest.approx(float(row["CCT_K_Ohno2013"]), abs=1)
    assert duv == pytest.approx(float(row["Duv"]), abs=1e-4)


@pytest.mark.parametrize("row", rows("cct"), ids=name_of)
def test_colour_temperatures_that_cie_prints(row):
    white = spectra.white_of(colour_science.illuminant_spectrum(row["inputs"], GRID), observer())
    assert correlated_colour_temperature(white)[0] == pytest.approx(float(row["published"]), abs=float(row["tol"]))


@pytest.mark.parametrize("row", rows("cri", "cri_special"), ids=name_of)
def test_colour_rendering_indices_of_cie_13_3(row):
    light = colour_science.illuminant_spectrum(row["inputs"].partition(" ")[0], GRID)
    general, special = rendering(light)
    found = general if row["quantity"] == "Ra" else special[int(row["quantity"][1:])]
    assert found == pytest.approx(float(row["published"]), abs=float(row["tol"]))


@pytest.mark.parametrize("row", rows("illuminant_A"), ids=name_of)
def test_illuminant_a_by_its_formula(row):
    light = colour_science.illuminant_spectrum("A", GRID)
    assert np.interp(inputs(row)["nm"], GRID, light) == pytest.approx(float(row["published"]), abs=float(row["tol"]))


def munsell_value(y):
    """Munsell value of luminance factor Y in per cent, by solving the polynomial of ASTM D1535 (from memory)."""
    value = np.linspace(0, 10, 100_001)
    return np.interp(
        y, 1.1914 * value - 0.22533 * value**2 + 0.23352 * value**3 - 0.020484 * value**4 + 0.00081939 * value**5, value
    )


@pytest.mark.parametrize("row", rows("tcs"), ids=lambda row: row["quantity"])
def test_test_colour_samples_have_the_munsell_value_of_their_notation(row):
    """Reflectances through the same sums: CIE 13.3 prints an approximate Munsell notation of each sample."""
    reflectance = colour_samples()[int(row["quantity"][-2:]) - 1]
    y = spectra.tristimulus(reflectance, colour_science.illuminant_spectrum("C", GRID), observer())[1]
    assert munsell_value(y) == pytest.approx(float(row["published"]), abs=float(row["tol"]))


def test_the_trapezium_rule_gives_the_same_tristimulus_values():
    for name in ("D65", "A", "LED-B3", "FL11"):
        products = colour_science.illuminant_spectrum(name, GRID) * observer()
        by_trapezium = (products[:, 1:] + products[:, :-1]).sum(axis=1) / 2
        assert 100 * by_trapezium / by_trapezium[1] == pytest.approx(
            spectra.white_of(products[1] / observer()[1], observer()), abs=0.01
        )


def test_a_finer_grid_agrees():
    fine = spectra.grid(1)
    assert len(fine) == 401
    white = spectra.white_of(colour_science.illuminant_spectrum("D65", fine), colour_science.observer_curves("10 deg", fine))
    assert white == pytest.approx([94.811, 100, 107.304], abs=0.001)  # ASTM E308, from the 1 nm tables


def test_the_perfect_white_has_the_white_of_the_light_and_sums_are_linear():
    light, curves = d65(), observer()
    assert spectra.tristimulus(even(1), light, curves) == pytest.approx(spectra.white_of(light, curves), rel=1e-12)
    both = spectra.tristimulus(np.stack([even(0.2), even(0.4)]), light, curves)
    assert both.shape == (2, 3)
    assert both[1] == pytest.approx(2 * both[0], rel=1e-12)


# measured spectra


def test_on_the_grid_nothing_changes_and_coarser_spectra_are_straight_between():
    values = np.sin(GRID / 50) ** 2
    assert spectra.resampled(GRID, values, "x") == pytest.approx(values, abs=1e-15)
    coarse = np.arange(360.0, 801.0, 20)
    assert spectra.resampled(coarse, coarse / 1000, "x") == pytest.approx(GRID / 1000, rel=1e-12)


def test_a_narrow_line_keeps_its_power_between_grid_points():
    nm = np.arange(375.0, 785.0, 0.5)
    for centre in (541.0, 542.5, 545.0, 546.1):
        line = np.exp(-(((nm - centre) / 0.8) ** 2))
        assert spectra.resampled(nm, line, "x").sum() * 5 == pytest.approx(line.sum() * 0.5, rel=1e-6)
        assert np.argmax(spectra.resampled(nm, line, "x")) == round((centre - 380) / 5 - 1e-9)


@pytest.mark.parametrize(
    ("nm", "values", "limit", "said"),
    [
        ([400, 780], [1, 1], None, "film.csv: covers 400 to 780 nm; a spectrum must cover 380 to 780 nm"),
        ([380, 779], [1, 1], None, "covers 380 to 779 nm"),
        ([0.38, 0.78], [1, 1], None, "are the wavelengths in micrometres?"),
        ([380, 500, 450, 780], [1, 1, 1, 1], None, "wavelengths must rise; 450 nm comes after 500 nm"),
        ([380, 500, 500, 780], [1, 1, 1, 1], None, "wavelengths must rise; 500 nm comes after 500 nm"),
        ([380, 500, 780], [1, -0.01, 1], None, r"is below 0 at 500 nm \(-0.01\)"),
        ([380, 500, 780], [0.5, 1.01, 1], 1.0, "is 1.01 at 500 nm, above 1; only a fluorescent one can be, and must say so"),
        ([380, 500, 780], [50, 80, 60], 1.0, "is 80 at 500 nm, above 1; is it in per cent?"),
        ([380, 500, 780], [0.5, float("nan"), 1], None, "not a finite number"),
        ([380, 780], [1, 1, 1], None, "as many values as wavelengths"),
    ],
)
def test_a_spectrum_that_cannot_be_used_is_refused_in_one_sentence(nm, values, limit, said):
    with pytest.raises(UsageError, match=said) as caught:
        spectra.resampled(nm, values, "film.csv", at_most=limit)
    assert caught.value.problems[0].code == "wrong-value"
    assert "\n" not in str(caught.value)


def test_other_refusals():
    with pytest.raises(UsageError, match="does not divide 5 nm"):
        spectra.grid(3)
    with pytest.raises(UsageError, match="has 3 values where the grid has 81"):
        spectra.checked([1, 2, 3], "x")
    with pytest.raises(UsageError, match="no power"):
        spectra.weighting(even(0), observer())
    with pytest.raises(UsageError, match=r"no CIE illuminant is called LED-B9; did you mean LED-B5\?|did you mean LED-B"):
        colour_science.illuminant_spectrum("LED-B9", GRID)
    with pytest.raises(UsageError, match="write 2 deg or 10 deg"):
        colour_science.observer_curves("4 deg", GRID)


def test_the_led_set_and_the_f_series_are_there_by_name():
    names = set(colour_science.illuminants())
    led = {"LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-BH1", "LED-RGB1", "LED-V1", "LED-V2"}  # CIE 015:2018
    assert led | {f"FL{n}" for n in range(1, 13)} | {f"FL3.{n}" for n in range(1, 16)} | {"A", "C", "D50", "D65", "E"} <= names
    for name in names:
        assert spectra.checked(colour_science.illuminant_spectrum(name, GRID), name).max() > 0
