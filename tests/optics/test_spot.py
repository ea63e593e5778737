"""Edges and textures under a round spot against segments of a circle and against averages made by hand."""

from itertools import pairwise

import numpy as np
import pytest

from stationtest.errors import UsageError
from stationtest.optics import spot

PLACES = np.linspace(-4, 4, 161)


def test_the_segment_of_a_circle():
    """Share of a disc cut off at half the radius: 1/3 - sqrt(3) / (4 pi) = 0.19550 (tables of circular segments)."""
    assert spot.covered([-3.0, -1.5, 0.0, 1.5, 3.0], 6.0) == pytest.approx([0, 0.19550, 0.5, 0.80450, 1], abs=5e-6)


def test_a_disc_of_points_counted():
    axis = (np.arange(2000) + 0.5) / 1000 - 1
    x, y = np.meshgrid(axis, axis)
    inside = x[x**2 + y**2 < 1]
    for edge in (-0.9, -0.3, 0.1, 0.75):
        assert spot.covered(edge, 2.0) == pytest.approx((inside < edge).mean(), abs=1e-3)


@pytest.mark.parametrize("travel", [0.0, 0.3, 3.0, 20.0])
def test_while_it_moves_it_is_the_mean_of_many_instants(travel):
    steps = (np.arange(2000) + 0.5) / 2000 * travel
    by_hand = spot.covered(PLACES[:, None] - steps, 3.0).mean(axis=1)
    assert spot.covered_while_moving(PLACES, 3.0, travel) == pytest.approx(by_hand, abs=1e-4)


@pytest.mark.parametrize("travel", [0.0, 2.0])
def test_neighbours_fill_the_spot_together(travel):
    """What lies side by side without a gap adds up to the whole spot: mixing at an edge is by area."""
    bounds = [-50.0, -2.0, -0.5, 1.0, 50.0]
    total = sum(spot.strip(PLACES, begin, end, 3.0, travel) for begin, end in pairwise(bounds))
    assert total == pytest.approx(np.ones(len(PLACES)), abs=1e-12)


def test_a_mark_narrower_than_the_spot_never_fills_it():
    share = spot.strip(PLACES, -0.5, 0.5, 4.0)
    assert share.max() == pytest.approx(1 - 2 * float(spot.covered(-0.5, 4.0)), abs=1e-12)
    assert share.max() < 0.32
    # all of the light of the mark is seen some time: its area under the curve is its width, whatever the spot
    assert share.sum() * (PLACES[1] - PLACES[0]) == pytest.approx(1.0, rel=1e-3)


def test_an_average_over_the_travel_lowers_a_short_mark():
    """A moving average of length T sees at most width / T of a mark that is shorter (arithmetic), with a small spot."""
    share = spot.strip(np.linspace(-5, 10, 3001), 0.0, 1.0, 0.01, 4.0)
    assert share.max() == pytest.approx(1 / 4, abs=1e-3)


def test_a_skewed_edge():
    assert spot.skewed(2.0, 60) == pytest.approx(1.0)
    assert spot.skewed(2.0, 8) > 0.99 * 2


def test_a_texture_is_averaged_like_independent_patches():
    """A chequerboard of random values averaged over a disc, square by square: 1 / sqrt(number of patches) of a mean."""
    random, patch, diameter = np.random.default_rng(5), 1.0, 10.0
    axis = np.arange(-6, 6, 0.05)
    x, y = np.meshgrid(axis, axis)
    means = []
    for _ in range(300):
        board = random.standard_normal((14, 14))
        shift = random.random(2)
        inside = x**2 + y**2 < (diameter / 2) ** 2
        means.append(board[(x[inside] + 6 + shift[0]).astype(int), (y[inside] + 6 + shift[1]).astype(int)].mean())
    number = np.pi / 4 * diameter**2 / patch**2
    assert np.std(means) == pytest.approx(1 / np.sqrt(number), rel=0.1)
    assert spot.texture_left(patch, diameter) == pytest.approx(1 / np.sqrt(number), rel=0.01)
    assert spot.texture_left(10.0, 0.1) == pytest.approx(1, abs=1e-4)  # a spot far smaller than a patch sees it all


def test_texture_along_the_travel_has_the_stated_spread_and_correlation():
    patch, diameter, step = 0.8, 2.0, 0.2
    values = spot.texture(7, "web", np.arange(200_000) * step, patch, diameter)
    length = np.sqrt(patch**2 / np.pi + diameter**2 / 4)
    assert values.mean() == pytest.approx(0, abs=0.02)
    assert values.std() == pytest.approx(spot.texture_left(patch, diameter), rel=0.02)
    for lag in (2, 5, 8):
        alike = np.corrcoef(values[:-lag], values[lag:])[0, 1]
        assert alike == pytest.approx(np.exp(-((lag * step / length) ** 2)), abs=0.03)


def test_the_same_place_has_the_same_texture_however_the_row_is_cut():
    places = np.arange(30_000) * 0.37
    whole = spot.texture(1, "web", places, 1.0, 2.0)
    pieces = [spot.texture(1, "web", part, 1.0, 2.0) for part in np.split(places, [1, 700, 701, 20_000])]
    assert np.array_equal(whole, np.concatenate(pieces))
    assert not np.array_equal(whole, spot.texture(1, "other web", places, 1.0, 2.0))
    assert spot.texture(1, "web", [], 1.0, 2.0).size == 0


@pytest.mark.parametrize(
    ("build", "said"),
    [
        (lambda: spot.covered(0.0, 0.0), "must be above 0 mm, found 0 mm"),
        (lambda: spot.covered_while_moving(0.0, 1.0, -1.0), "travel: must not be below 0 mm"),
        (lambda: spot.skewed(1.0, 85), "skew must stay below 85 deg"),
        (lambda: spot.texture_left(0.0, 1.0), "must be above 0 mm"),
        (lambda: spot.texture(1, "web", [-1.0], 1.0, 1.0), "places along the travel must not be below 0 mm, found -1 mm"),
    ],
)
def test_impossible_spots_are_refused(build, said):
    with pytest.raises(UsageError, match=said):
        build()
