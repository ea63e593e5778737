"""Bands to X, Y, Z against the sum over the whole spectrum: published reflectances under published illuminants."""

import numpy as np
import pytest
from optics_values import GRID, chart, colour_samples, d65, observer

from stationtest.errors import UsageError
from stationtest.optics import band_sensors, detector, light, spectra
from stationtest.signals import colour_science

LAMP = light.light_of([light.Led(peak_nm=452, width_nm=22), light.Led(peak_nm=565, width_nm=130, level=0.6)])


def far_off(readings, matrix, reflectance, illuminant, curves):
    """CIEDE2000 between the direct sum over the spectrum and what the bands give."""
    white = spectra.white_of(illuminant, curves)
    direct = spectra.tristimulus(reflectance, illuminant, curves)
    labs = [colour_science.lab_of_xyz(xyz, white) for xyz in (direct, 100 * readings @ matrix.T)]
    return colour_science.distance("CIEDE2000", *labs)


@pytest.mark.parametrize("viewer", ["2 deg", "10 deg"])
@pytest.mark.parametrize("name", ["D65", "A", "FL2", "LED-B3"])
@pytest.mark.parametrize(("step", "mean", "most"), [(10, 0.1, 0.3), (20, 0.4, 1.0), (40, 1.6, 5.3)])
def test_narrow_bands_by_their_centres(step, mean, most, name, viewer):
    """The chart of ISO 17321-1 and the test colour samples of CIE 13.3, bands from 400 to 700 nm."""
    illuminant, curves = colour_science.illuminant_spectrum(name, GRID), observer(viewer)
    reflectance = np.vstack([chart(), colour_samples()])
    centres = np.arange(400, 701, step)
    readings = np.array([np.interp(centres, GRID, one) for one in reflectance])
    off = far_off(readings, band_sensors.from_centres(centres, illuminant, curves), reflectance, illuminant, curves)
    assert off.mean() < mean
    assert off.max() < most


@pytest.mark.parametrize("viewer", ["2 deg", "10 deg"])
@pytest.mark.parametrize(("bands", "width", "mean", "most"), [(8, 40, 0.25, 0.75), (16, 20, 0.15, 0.9)])
def test_broad_bands_by_their_responses_under_the_lamp_of_the_sensor(bands, width, mean, most, viewer):
    curves, reflectance = observer(viewer), np.vstack([chart(), colour_samples()])
    responses = detector.gaussian_bands(np.linspace(430, 670, bands), [width] * bands)
    matrix = band_sensors.from_responses(responses, LAMP, d65(), curves, correlation_nm=100)
    seen = responses * LAMP
    off = far_off(reflectance @ (seen / seen.sum(axis=1, keepdims=True)).T, matrix, reflectance, d65(), curves)
    assert off.mean() < mean
    assert off.max() < most


def test_bands_that_are_the_observer_give_its_values_whatever_is_expected_of_reflectances():
    """Where the weights are among the bands the estimate is exact (Luther's condition)."""
    curves = observer()
    matrix = band_sensors.from_responses(curves, d65(), d65(), curves, correlation_nm=80)
    weights = spectra.weighting(d65(), curves) / 100
    assert matrix == pytest.approx(np.diag(weights.sum(axis=1)), abs=1e-9)


@pytest.mark.parametrize("viewer", ["2 deg", "10 deg"])
def test_white_is_exact_and_grey_is_grey(viewer):
    curves = observer(viewer)
    responses = detector.gaussian_bands([450, 550, 640], [60, 60, 60])
    for matrix in (
        band_sensors.from_centres([430, 480, 530, 580, 630, 680], d65(), curves),
        band_sensors.from_responses(responses, LAMP, d65(), curves, correlation_nm=100),
    ):
        assert 100 * matrix.sum(axis=1) == pytest.approx(spectra.white_of(d65(), curves))


def test_rows_are_plain_numbers():
    rows = band_sensors.as_rows(band_sensors.from_centres([450, 550, 650], d65(), observer()))
    assert [len(row) for row in rows] == [3, 3, 3] and type(rows[0][0]) is float


@pytest.mark.parametrize(
    ("build", "said"),
    [
        (lambda: band_sensors.from_centres([450, 650], d65(), observer()), "at least three centre wavelengths, rising"),
        (lambda: band_sensors.from_centres([450, 650, 550], d65(), observer()), "at least three centre wavelengths, rising"),
        (lambda: band_sensors.from_centres([500, 550, 650], d65(), observer()), "from 500 to 650 nm do not cover"),
        (lambda: responses_of([450, 550]), "at least three responses"),
        (lambda: responses_of([450, 550, 550]), "two bands have the same response; leave one out"),
        (lambda: responses_of([400, 550, 650], lamp=light.led(650, 20)), "band 1 sees nothing of this light"),
    ],
)
def test_bands_that_make_no_colour_are_refused(build, said):
    with pytest.raises(UsageError, match=said):
        build()


def responses_of(peaks, lamp=LAMP):
    responses = detector.gaussian_bands(peaks, [20] * len(peaks))
    return band_sensors.from_responses(responses, lamp, d65(), observer(), correlation_nm=100)
