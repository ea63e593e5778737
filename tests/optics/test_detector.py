"""Noise, converter and averaging against statistics of Poisson, against LSB / sqrt(12) and against 1 / sqrt(n)."""

import math

import numpy as np
import pytest
from optics_values import GRID, inputs, name_of, rows

from stationtest.errors import UsageError
from stationtest.optics import detector, noise
from stationtest.optics.detector import Detector

MANY = 200_000  # a standard deviation is then known to 0.16 %
SPREAD = {"rel": 0.01}


def device(**changed):
    return Detector(**{"bits": 24, "electrons": 20_000.0, "dark": (0.0,), **changed})


def drawn(level, built, cell=0, many=MANY):
    return detector.noisy(np.full(many, level), built, 0, seed=3, stream="test", cell=cell)


@pytest.mark.parametrize("row", [row for row in rows("shot_noise") if row["quantity"] == "SNR"], ids=name_of)
def test_signal_to_noise_of_photons_is_the_root_of_their_number(row):
    """EMVA Standard 1288: the variance of the number of photo-electrons is its mean."""
    electrons = inputs(row)["electrons"]
    values = drawn(electrons / 100_000, device(electrons=100_000.0))
    assert values.mean() / values.std() == pytest.approx(float(row["published"]), **SPREAD)


@pytest.mark.parametrize("row", [row for row in rows("shot_noise") if row["quantity"] == "SNR_with_dark_noise"], ids=name_of)
def test_signal_to_noise_with_dark_noise(row):
    """EMVA Standard 1288: eta mu / sqrt(sigma_d^2 + eta mu)."""
    given = inputs(row)
    mean, full = given["photons"] * given["QE"], 20_000.0
    bits = 24
    values = drawn(mean / full, device(electrons=full, bits=bits, read_noise=given["sigma_d"] / full * (2**bits - 1)))
    assert values.mean() / values.std() == pytest.approx(float(row["published"]), **SPREAD)


@pytest.mark.parametrize("row", [row for row in rows("shot_noise") if "half_light" in row["quantity"]], ids=name_of)
def test_half_the_light_is_relatively_noisier_by_the_root_of_two(row):
    full, half = drawn(0.6, device()), drawn(0.6 * inputs(row)["light"], device(), cell=1)
    assert (half.std() / half.mean()) / (full.std() / full.mean()) == pytest.approx(float(row["published"]), **SPREAD)


@pytest.mark.parametrize("mean", [0.2, 3.0, 30.0, 49.0])
def test_few_photons_arrive_after_poisson(mean):
    """Frequencies of 0, 1, 2 .. electrons against exp(-m) m^k / k!; chi-square with its quantile by Wilson and Hilferty."""
    values = drawn(mean / 1000, device(electrons=1000.0)) * 1000
    counted = np.bincount(np.rint(values).astype(int))
    assert np.abs(values - np.rint(values)).max() < 1e-6
    expected = np.array([math.exp(-mean + k * math.log(mean) - math.lgamma(k + 1)) for k in range(len(counted))]) * MANY
    enough = expected > 10
    chi = ((counted - expected)[enough] ** 2 / expected[enough]).sum()
    free = int(enough.sum()) - 1
    assert chi < free * (1 - 2 / (9 * free) + 3.09 * math.sqrt(2 / (9 * free))) ** 3  # 99.9 %


def test_mean_and_variance_pass_smoothly_from_few_photons_to_many():
    for mean in (49.9, 50.1):
        values = drawn(mean / 1000, device(electrons=1000.0)) * 1000
        assert values.mean() == pytest.approx(mean, rel=0.001)
        assert values.var() == pytest.approx(mean, rel=0.015)


def test_a_dark_sensor_shows_its_offset_and_read_noise():
    built = device(bits=12, dark=(40.0,), read_noise=3.0)
    counted = detector.counts([np.zeros(MANY)], built, seed=1, stream="s", cell=0)[0]
    assert counted.mean() == pytest.approx(40, abs=0.03)
    assert counted.std() == pytest.approx(math.hypot(3.0, 1 / math.sqrt(12)), **SPREAD)  # rounding adds its own


# converter


def test_rounding_to_whole_counts_is_noise_of_one_step_over_the_root_of_twelve():
    """W. R. Bennett, 'Spectra of quantized signals', Bell System Technical Journal 27 (1948) 446-472."""
    built = device(bits=10, dark=(12.0,))
    level = np.linspace(0, 1, 1_000_003)
    error = detector.converted(level, built, 0) - (12 + level * (1023 - 12))
    assert error.std() == pytest.approx(1 / math.sqrt(12), rel=1e-3)
    assert np.abs(error).max() <= 0.5 + 1e-9


@pytest.mark.parametrize("bits", [8, 10, 12])
def test_signal_to_quantisation_noise_of_a_full_sine(bits):
    """6.02 bits + 1.76 dB (Bennett 1948; any handbook of converters)."""
    built = device(bits=bits)
    sine = 0.5 + 0.5 * np.sin(np.arange(500_000) * 0.7390851)
    error = detector.converted(sine, built, 0) - sine * built.full_scale
    swing = 0.5 * built.full_scale / math.sqrt(2)
    assert 20 * math.log10(swing / error.std()) == pytest.approx(6.02 * bits + 1.76, abs=0.1)


def test_counts_clip_at_nothing_and_at_full_scale():
    built = device(bits=12, dark=(12.0,))
    assert detector.converted(np.array([-1.0, 0.0, 0.5, 1.0, 1.7]), built, 0).tolist() == [0, 12, 2054, 4095, 4095]


# averaging


@pytest.mark.parametrize("row", rows("averaging"), ids=name_of)
def test_averaging_lowers_noise_by_the_root_of_the_number(row):
    """Standard error of a mean: of n conversions in a reading, and of n readings in a moving average."""
    number, factor = int(inputs(row)["readings"]), float(row["published"])
    one, mean = drawn(0.4, device(read_noise=30_000.0)), drawn(0.4, device(read_noise=30_000.0, samples=number), cell=1)
    assert mean.std() / one.std() == pytest.approx(factor, **SPREAD)
    assert detector.moving_mean(one, number).std() / one.std() == pytest.approx(factor, rel=0.03)


@pytest.mark.parametrize("window", [1, 2, 3, 7, 64, 100])
def test_a_moving_mean_is_that_of_numpy_wherever_the_stretch_began(window):
    values = np.random.default_rng(2).random(5000)
    whole = detector.moving_mean(values, window)
    assert whole == pytest.approx(np.convolve(values, np.ones(window) / window, "valid"), rel=1e-12)
    assert np.array_equal(detector.moving_mean(values[1234:], window), whole[1234:])


def test_a_step_becomes_a_ramp_of_the_response_time():
    step = np.r_[np.zeros(20), np.ones(20)]
    seen = detector.moving_mean(step, 8)
    assert np.count_nonzero((seen > 0) & (seen < 1)) == 7
    assert np.diff(seen[seen > 0][:8]) == pytest.approx(np.full(7, 1 / 8))


# bands and units


def test_bands_are_half_at_half_their_width():
    fine = np.arange(380.0, 781.0)
    curve = detector.gaussian_bands([550], [40], fine)[0]
    assert curve[[150, 170, 190]] == pytest.approx([0.5, 1, 0.5])
    assert detector.gaussian_bands([450, 550, 650], [30, 30, 30]).shape == (3, len(GRID))


def test_units_of_a_series_spread_as_stated_and_each_is_always_the_same():
    units = [
        detector.unit_of([450, 550, 650], [1, 2, 3], peak_sd_nm=1.5, gain_sd=0.04, seed=9, unit=f"demo-{number}")
        for number in range(3000)
    ]
    peaks, gains = (np.array(part) for part in zip(*units, strict=True))
    assert peaks.mean(axis=0) == pytest.approx([450, 550, 650], abs=0.1)
    assert peaks.std(axis=0) == pytest.approx([1.5] * 3, rel=0.05)
    assert (np.log(gains) - np.log([1, 2, 3])).std(axis=0) == pytest.approx([0.04] * 3, rel=0.05)
    again = detector.unit_of([450, 550, 650], [1, 2, 3], peak_sd_nm=1.5, gain_sd=0.04, seed=9, unit="demo-17")
    assert np.array_equal(again, units[17])
    alone = detector.unit_of([450], [1], peak_sd_nm=0, gain_sd=0, seed=9, unit="demo-17")
    assert np.concatenate(alone).tolist() == [450, 1]


# ambient light


def test_flicker_of_the_mains_is_averaged_away_over_a_whole_period():
    """Light on mains of 50 Hz flickers at 100 Hz; an exposure of 10 ms, or of any multiple, sees none of it (arithmetic)."""
    t = np.arange(0, 40_000_000, 100_000)
    steady = detector.ambient(t, frequency_hz=100, depth=0.6, rejection=1, exposure_ns=10_000_000)
    assert steady == pytest.approx(np.ones(len(t)), abs=1e-9)
    quick = detector.ambient(t, frequency_hz=100, depth=0.6, rejection=1)
    assert (quick.max() - quick.min()) / (quick.max() + quick.min()) == pytest.approx(0.6, abs=1e-3)


def test_an_exposure_sees_the_mean_of_the_flicker_over_it():
    steps = np.arange(0, 3_000_000, 1000) + 500
    for end in (3_000_000, 7_400_000):
        by_hand = detector.ambient(end - steps, frequency_hz=120, depth=0.8, rejection=1, phase=0.2).mean()
        assert detector.ambient(end, frequency_hz=120, depth=0.8, rejection=1, exposure_ns=3_000_000, phase=0.2) == pytest.approx(
            by_hand, abs=1e-6
        )


def test_a_pulsed_light_rejects_steady_light():
    assert detector.ambient([0, 10**9], frequency_hz=0, depth=0, rejection=200) == pytest.approx([1 / 200] * 2)


# random numbers


def test_any_part_of_a_row_of_numbers_can_be_made_alone():
    whole = noise.normals_at(5, "tilt", 0, 20_000)
    for first, count in ((0, 1), (4095, 2), (9000, 11_000)):
        assert np.array_equal(noise.normals_at(5, "tilt", first, count), whole[first : first + count])
    assert np.array_equal(noise.uniforms_at(5, "order", 5000, 9), noise.uniforms_at(5, "order", 0, 6000)[5000:5009])
    assert noise.normals_at(5, "tilt", 3, 0).size == 0
    begun = noise.normals(5, "tilt", 2, 1000)
    assert np.array_equal(begun, noise.normals(5, "tilt", 2, 5000)[:1000])


def test_streams_cells_and_seeds_share_no_numbers():
    rows_of = [noise.normals(seed, name, cell, 50_000) for seed in (0, 1) for name in ("a", "b") for cell in (0, 1)]
    alike = np.corrcoef(rows_of) - np.eye(len(rows_of))
    assert np.abs(alike).max() < 5 / math.sqrt(50_000)


def test_the_generator_is_philox():
    """Philox 4x64 in 10 rounds worked out from Salmon et al. 2011, for cell 7: numpy counts up before it draws."""
    key, counter, mask = list(noise._key(4, "s")), [1, 0, 7, 0], 2**64 - 1
    for _ in range(10):
        first, second = counter[0] * 0xD2E7470EE14C6C93, counter[2] * 0xCA5A826395121157
        counter = [(second >> 64) ^ counter[1] ^ key[0], second & mask, (first >> 64) ^ counter[3] ^ key[1], first & mask]
        key = [(key[0] + 0x9E3779B97F4A7C15) & mask, (key[1] + 0xBB67AE8584CAA73B) & mask]
    assert noise.generator(4, "s", 7).bit_generator.random_raw(4).tolist() == counter


@pytest.mark.parametrize(
    ("build", "said"),
    [
        (lambda: device(bits=0), "a converter has 1 to 32 bits, found 0"),
        (lambda: device(electrons=0), "electrons at full scale must be above 0, found 0"),
        (lambda: device(read_noise=-1), "read noise must not be below 0, and samples at least 1"),
        (lambda: device(samples=0), "read noise must not be below 0, and samples at least 1"),
        (lambda: device(bits=8, dark=(255.0,)), "dark counts must lie from 0 to below full scale, 255"),
        (lambda: detector.gaussian_bands([550], [0]), "as many widths as peaks, all above 0 nm"),
        (lambda: detector.gaussian_bands([950], [20]), "the band at 950 nm sees nothing between 380 and 780 nm"),
        (lambda: detector.unit_of([1], [1], peak_sd_nm=-1, gain_sd=0, seed=0, unit="x"), "deviations must not be below 0"),
        (lambda: detector.counts([np.zeros(2)] * 2, device(), seed=0, stream="x", cell=0), "has 1 dark counts for 2 bands"),
        (lambda: detector.moving_mean(np.zeros(3), 4), r"window must be from 1 to the number of readings \(3\), found 4"),
        (lambda: detector.ambient(0, frequency_hz=100, depth=1.2, rejection=1), "depth from 0 to 1"),
        (lambda: detector.ambient(0, frequency_hz=100, depth=1, rejection=0.5), "rejection ratio must be at least 1, found 0.5"),
        (lambda: noise.generator(0, "x", -1), "a cell must not be below 0"),
        (lambda: noise.normals_at(0, "x", -1, 1), "must not begin or end below 0"),
    ],
)
def test_impossible_detectors_are_refused(build, said):
    with pytest.raises(UsageError, match=said):
        build()
