"""Sensors of many bands: published reflectances through their bands to CIE colours, against the sum over the whole spectrum."""

import numpy as np
import pytest
from colour_sensors import columns

from stationtest.errors import FileProblems
from stationtest.model.spectrum import CIE_ILLUMINANTS, SpectralBands, Spectrum
from stationtest.model.station import Channel, Colour, Reference, Sensor
from stationtest.optics import spectra
from stationtest.optics.spectra import GRID
from stationtest.signals import colour_science
from stationtest.signals.channel_distances import ChannelDistances
from stationtest.signals.conversion import SensorModel
from stationtest.signals.distances import reference_in

CENTRES = tuple(float(nm) for nm in range(400, 701, 20))
DARK = tuple(10.0 + number for number in range(16))
WHITE = tuple(3000.0 + 40 * number for number in range(16))


def chart():
    """The reflectances (24, N) of the colour chart of ISO 17321-1, as colour-science holds them."""
    patches = colour_science.library().SDS_COLOURCHECKERS["ISO 17321-1"]
    return np.stack([spectra.resampled(one.wavelengths, one.values, name) for name, one in patches.items()])


def sensor(bands=None, names=16, **fields):
    named = tuple(f"F{number}" for number in range(names))
    stated = {
        "dark": DARK[:names], "white": WHITE[:names], "full_scale": 4095.0, "illuminant": "D65", "observer": "2 deg",
        "spectral": bands or SpectralBands(centres_nm=CENTRES[:names]),
    }  # fmt: skip
    return Sensor(name="s", reads="bands", bands=named, columns=named, **{**stated, **fields})


def counts(reflectance, centres=CENTRES):
    """Counts of narrow bands at the centres, columns of (n,)."""
    seen = np.array([np.interp(centres, GRID, one) for one in reflectance])
    return columns(np.array(DARK) + seen * (np.array(WHITE) - np.array(DARK)))


@pytest.mark.parametrize("observer", ["2 deg", "10 deg"])
@pytest.mark.parametrize("illuminant", ["D65", "A", "LED-B3", "FL11"])
def test_counts_of_bands_give_the_colours_of_a_published_chart(illuminant, observer):
    """16 bands 20 nm apart, within 1.5 of CIEDE2000 (FL11 has lines between the bands), 0.4 in the mean."""
    light, curves = colour_science.illuminant_spectrum(illuminant, GRID), colour_science.observer_curves(observer, GRID)
    white = spectra.white_of(light, curves)
    direct = colour_science.lab_of_xyz(spectra.tristimulus(chart(), light, curves), white)
    model = SensorModel.from_sensor(sensor(illuminant=illuminant, observer=observer))
    found = np.column_stack(model.lab(model.relative(counts(chart()))))
    off = colour_science.distance("CIEDE2000", direct, found)
    assert off.mean() < 0.4
    assert off.max() < 1.5
    assert model.white == pytest.approx(tuple(white / 100))


def test_responses_and_a_measured_light_take_the_same_path():
    """Gauss-shaped bands 20 nm wide under a lamp that reddens: the readings are integrals, done here by themselves."""
    nm = np.arange(370.0, 791.0, 2.0)
    curves = [np.exp(-4 * np.log(2) * ((nm - centre) / 20) ** 2) for centre in CENTRES]
    lamp = 0.3 + (nm - 370) / 420
    bands = SpectralBands(
        responses=tuple(Spectrum(path="r.csv", nm=tuple(nm), values=tuple(curve)) for curve in curves),
        light_spectrum=Spectrum(path="l.csv", nm=tuple(nm), values=tuple(lamp)), alike_over_nm=100.0,
    )  # fmt: skip
    fine = np.array([np.interp(nm, GRID, one) for one in chart()])
    seen = np.array([(fine * curve * lamp).sum(axis=1) / (curve * lamp).sum() for curve in curves])
    model = SensorModel.from_sensor(sensor(bands))
    found = np.column_stack(model.lab(tuple(seen)))
    light, eye = colour_science.illuminant_spectrum("D65", GRID), colour_science.observer_curves("2 deg", GRID)
    direct = colour_science.lab_of_xyz(spectra.tristimulus(chart(), light, eye), spectra.white_of(light, eye))
    off = colour_science.distance("CIEDE2000", direct, found)
    assert off.mean() < 0.15
    assert off.max() < 0.9


def test_level_clipping_and_shares_are_of_all_bands():
    model = SensorModel.from_sensor(sensor(names=8, spectral=None, clips_at=4000.0))
    raw = [np.full(4, dark) for dark in DARK[:8]]
    raw[6] = np.array([DARK[6], 1000.0, 4000.0, 4095.0])
    raw[1] = np.array([DARK[1], 500.0, 500.0, 500.0])
    raw = tuple(raw)
    assert model.level(raw) == pytest.approx((raw[6] - DARK[6]) / (4095 - DARK[6]))
    assert model.clipped(raw).tolist() == [False, False, True, True]
    relative = model.relative(raw)
    shares = np.column_stack(model.shares(relative))
    assert shares.shape == (4, 8)
    assert np.isinf(shares[0]).all()  # dark: no colour
    assert shares[1:] == pytest.approx(np.column_stack(relative)[1:] / np.column_stack(relative)[1:].sum(axis=1, keepdims=True))


def test_distances_to_references_of_many_bands():
    """Sensor chromaticity is Euclidean over all shares; a stated Lab is compared with what the bands give."""
    model = SensorModel.from_sensor(sensor())
    relative = model.relative(counts(chart()[:5]))
    taught = tuple(float(column[2]) for column in relative)
    shares = reference_in("shares", taught, model)
    lab = reference_in("Lab", taught, model)
    channels = [
        Channel(name=name, sensor="s", references=(Reference(name=name, colour=colour),), for_targets=(name,), distance=distance,
                tolerance=1.0)
        for name, colour, distance in (
            ("a", Colour(space="shares", values=shares), "sensor chromaticity"),
            ("b", Colour(space="Lab", values=lab), "CIEDE2000"),
        )
    ]  # fmt: skip
    found = ChannelDistances(model, channels).compute(relative)
    each = np.column_stack(relative)
    each = each / each.sum(axis=1, keepdims=True)
    assert found[0] == pytest.approx(np.linalg.norm(each - each[2], axis=1), abs=1e-12)
    assert found[1] == pytest.approx(
        colour_science.distance("CIEDE2000", np.array(lab), np.column_stack(model.lab(relative))), abs=1e-9
    )


def test_the_same_last_bits_however_the_readings_are_cut():
    model = SensorModel.from_sensor(sensor())
    relative = model.relative(counts(chart()))
    whole = np.column_stack(model.lab(relative))
    parts = [np.column_stack(model.lab(tuple(column[k : k + 1] for column in relative))) for k in range(24)]
    assert np.array_equal(whole, np.concatenate(parts))


def test_bands_that_give_no_colour_are_told_at_the_sensor():
    flat = Spectrum(path="r.csv", nm=(380.0, 780.0), values=(1.0, 1.0))
    bands = SpectralBands(responses=(flat,) * 3, light="LED-B3", alike_over_nm=100.0)
    with pytest.raises(FileProblems, match=r"sensors\.s: bands: two bands have the same response; leave one out"):
        SensorModel.from_sensor(sensor(bands, names=3))


def test_the_illuminants_that_may_be_named_are_those_there_are_spectra_of():
    assert set(CIE_ILLUMINANTS) == set(colour_science.illuminants())
    for name in CIE_ILLUMINANTS:
        table = colour_science.library().SDS_ILLUMINANTS[name]
        assert table.wavelengths[0] <= 380 and table.wavelengths[-1] >= 780
