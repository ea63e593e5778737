"""From light to counts in one piece: against the integral over the spectrum done at once, and mixing by area."""

import numpy as np
import pytest
from optics_values import GRID, colour_samples, even, head

from stationtest.errors import UsageError
from stationtest.optics import chain, detector, geometry, light, surface

WHITE_LED = light.light_of([light.Led(peak_nm=452, width_nm=22), light.Led(peak_nm=565, width_nm=130, level=0.6)])
BANDS = detector.gaussian_bands([460, 540, 620], [40, 45, 50])


def weights(level=0.8, balanced=True):
    return chain.band_weights(WHITE_LED, BANDS, chain.band_gains(WHITE_LED, BANDS, white_level=level, balanced=balanced))


def seen(part, weight, factors, share=1.0):
    return np.array(chain.levels([(chain.surface_sums(part, weight), factors, share)]))


def test_the_perfect_white_reads_the_level_that_the_exposure_was_set_to():
    flat = geometry.factors(head(), surface.surface(even(1), "white"))
    assert seen(surface.surface(even(1), "white"), weights(), flat) == pytest.approx([0.8] * 3)
    unbalanced = seen(surface.surface(even(1), "white"), weights(balanced=False), flat)
    assert unbalanced.max() == pytest.approx(0.8)
    assert unbalanced / unbalanced.max() == pytest.approx((BANDS @ WHITE_LED) / (BANDS @ WHITE_LED).max())


def test_a_real_surface_reads_its_reflectance_under_each_band():
    """Sum of light x reflectance x response over the spectrum, relative to that of the white: test colour samples of CIE 13.3."""
    for sample in colour_samples():
        tilted = geometry.factors(head(), surface.surface(sample, "sample"), slope_x=geometry.slope(30))
        by_hand = 0.8 * (sample * WHITE_LED * BANDS).sum(axis=1) / (WHITE_LED * BANDS).sum(axis=1) * np.cos(np.radians(30))
        assert seen(surface.surface(sample, "sample"), weights(), tilted) == pytest.approx(by_hand)


def test_gloss_has_the_colour_of_the_light_and_metal_that_of_the_metal():
    flat = geometry.Factors(np.array(0.0), np.array(2.0), np.array(3.0), np.array(1.0))
    glossy = surface.surface(np.linspace(0, 0.5, len(GRID)), "red card", index=1.5, roughness=0.1)
    assert seen(glossy, weights(), flat) == pytest.approx([1.6] * 3)
    copper = np.linspace(0.4, 0.95, len(GRID))
    foil = surface.surface(even(0), "foil", mirror=copper, roughness=0.1)
    assert seen(foil, weights(), flat) == pytest.approx(3 * copper @ weights())


def test_two_surfaces_mix_by_their_share_of_the_spot():
    first, second = (surface.surface(sample, "x") for sample in colour_samples()[:2])
    share = np.linspace(0, 1, 11)
    flat = geometry.factors(head(), first)
    mixed = chain.levels(
        [(chain.surface_sums(part, weights()), flat, amount) for part, amount in ((first, share), (second, 1 - share))]
    )
    alone = [seen(part, weights(), flat) for part in (first, second)]
    assert np.array(mixed) == pytest.approx(alone[0][:, None] * share + alone[1][:, None] * (1 - share))


def test_ambient_light_adds_what_its_own_spectrum_gives():
    sample = surface.surface(even(0.5), "grey")
    lamp = chain.scaled_to(even(7.0), WHITE_LED, 0.1)
    assert lamp.sum() == pytest.approx(0.1 * WHITE_LED.sum())
    gains = chain.band_gains(WHITE_LED, BANDS, white_level=0.8, balanced=True)
    extra = chain.surface_sums(sample, chain.band_weights(lamp, BANDS, gains)).matt
    flat = geometry.factors(head(), sample)
    sums = chain.surface_sums(sample, weights())
    amount = np.array([0.0, 1.0, 0.25])
    found = np.array(chain.levels([(sums, flat, 1.0)], [(extra, amount)]))
    by_hand = 0.5 * 0.8 * (lamp @ BANDS.T) / (WHITE_LED @ BANDS.T)
    assert found == pytest.approx(0.4 + by_hand[:, None] * amount)


@pytest.mark.parametrize("kind", [np.float64, np.float32])
def test_sums_of_presentations_have_the_same_bits_in_blocks_however_many_there_are(kind):
    spectra = np.random.default_rng(1).random((1000, len(GRID))).astype(kind)
    whole = chain.band_sums(spectra, weights())
    assert whole == pytest.approx(spectra.astype(float) @ weights(), rel=1e-5 if kind == np.float32 else 1e-12)
    for first in (0, chain.BLOCK, 2 * chain.BLOCK):
        assert np.array_equal(chain.band_sums(spectra[first:], weights()), whole[first:])
        assert np.array_equal(chain.band_sums(spectra[first : first + 10], weights()), whole[first : first + 10])


@pytest.mark.parametrize(
    ("build", "said"),
    [
        (lambda: weights(level=0), "exposure: the level on white must be above 0, found 0"),
        (lambda: chain.band_gains(light.led(630, 10), BANDS, white_level=1, balanced=True), "band 1 sees nothing of this light"),
        (lambda: chain.scaled_to(even(0), WHITE_LED, 0.1), "needs a spectrum with power"),
        (lambda: chain.levels([]), "sees no surface"),
    ],
)
def test_chains_that_cannot_be_are_refused(build, said):
    with pytest.raises(UsageError, match=said):
        build()
