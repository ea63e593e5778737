"""The screen never misses: whatever reading, reference, distance and threshold, a bit of 0 means farther than the threshold."""

import numpy as np
import pytest
from colour_sensors import SKEWED, SRGB, columns, model
from hypothesis import given, settings
from hypothesis import strategies as st

from stationtest.model.station import Channel, Colour, Reference
from stationtest.signals import distances
from stationtest.signals.channel_distances import ChannelDistances
from stationtest.signals.enclosures import lab_boxes, least_2000, least_weighted, lightness_2000, quotient_boxes
from stationtest.signals.screen import CELLS, Screen, cells_of_the_cube

NEGATIVE = ((1.2, -0.3, 0.05), (0.3, 0.9, -0.2), (-0.1, -0.05, 1.2))
NAMES = sorted(distances.BUILT_IN)
TOLERANCES = {"Lab": (0.5, 2.0, 4.0, 10.0, 30.0), "uv": (0.003, 0.012, 0.05), "shares": (0.005, 0.02, 0.1)}


def misses(sensor, sought, relative):
    """How many pairs of reading and channel are within the threshold, and how many of those the screen would pass over."""
    screen = Screen(sensor, sought)
    words = screen.may_be_within(relative)
    within, missed = 0, 0
    for number, (name, references, threshold) in enumerate(sought):
        space = distances.get(name).space
        near = np.zeros(len(words), dtype=bool)
        for reference in references:
            near |= distances.get(name).of(reference)(*sensor.columns(space, relative)) <= threshold
        within += int(near.sum())
        missed += int((near & ((words & screen.bit(number)) == 0)).sum())
    return within, missed


def readings_about(point, rng, n):
    """Relative readings anywhere, dark, beyond the cube, and about a point."""
    return np.concatenate([
        rng.uniform(-0.1, 1.5, (n, 3)), rng.uniform(0, 1, (n, 3)) ** 3, rng.uniform(-1e-3, 1e-3, (n, 3)),
        rng.standard_cauchy((n // 10, 3)), [(1e30, 0, 0), (-1e30, 0.5, 0.5)],
        *(point * (1 + rng.normal(0, spread, (n, 3))) + rng.normal(0, 0.003, (n, 3)) for spread in (0.01, 0.05, 0.2)),
    ])  # fmt: skip


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
@pytest.mark.parametrize("matrix", [SRGB, SKEWED, NEGATIVE], ids=["sRGB", "skewed", "negative"])
@pytest.mark.parametrize("name", NAMES)
def test_no_match_is_missed(name, matrix):
    rng = np.random.default_rng([len(name), int(matrix[0][0] * 1e4)])
    sensor = model(to_xyz=matrix)
    space = distances.get(name).space
    kinds = {
        "any": rng.uniform(0, 1.1, 3), "dark": 0.02 * rng.uniform(0, 1, 3), "light": 1 - 0.1 * rng.uniform(0, 1, 3),
        "grey": np.full(3, 0.4), "saturated": rng.uniform(0, 1, 3) ** 4 + 0.005,
    }  # fmt: skip
    within = 0
    for point in kinds.values():
        reference = distances.reference_in(space, tuple(point), sensor)
        if point is kinds["light"] and space == "Lab":
            assert reference[0] > 90
        if point is kinds["grey"] and space == "Lab":
            reference = (reference[0], 0.0, 0.0)
        threshold = float(rng.choice(TOLERANCES[space]))
        found, missed = misses(sensor, [(name, [reference], threshold)], columns(readings_about(point, rng, 4000)))
        within += found
        assert missed == 0
    assert within > 500


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(NAMES), st.tuples(*[st.floats(0.001, 1.1)] * 3), st.floats(0.02, 3), st.integers(0, 2**31),
    st.sampled_from([SRGB, SKEWED, NEGATIVE]),
)  # fmt: skip
def test_no_match_is_missed_anywhere(name, point, share, seed, matrix):
    sensor, space = model(to_xyz=matrix), distances.get(name).space
    relative = columns(readings_about(np.array(point), np.random.default_rng(seed), 300))
    reference = tuple(float(column[0]) for column in sensor.columns(space, columns([point])))
    if not np.isfinite(reference).all():
        return
    threshold = share * TOLERANCES[space][1]
    assert misses(sensor, [(name, [reference], threshold)], relative)[1] == 0


BLUE = [(40.0, 20.0, -60.0), (50.0, 5.0, -80.0), (30.0, 45.0, -70.0), (60.0, -20.0, -40.0)]


def test_the_least_distance_to_a_box_is_never_above_that_of_a_colour_in_it():
    """Boxes of every size down to a point; blue references, for which the rotation term of CIEDE2000 is strong, among others."""
    rng = np.random.default_rng(21)
    n = 20_000
    anywhere = np.column_stack([rng.uniform(0, 105, 12), rng.uniform(-80, 80, (12, 2))])
    references = [*BLUE, (95.0, 2.0, -3.0), (50.0, 0.0, 0.0), *anywhere]
    for values in references:
        reference = tuple(map(float, values))
        spread = 10.0 ** rng.uniform(-1, 1.7, (n, 1))
        middle = np.array(reference) + spread * rng.normal(0, 1, (n, 3))
        half = np.array([4.0, 8.0, 8.0]) * rng.uniform(0, 1, (n, 3)) * rng.choice([1e-9, 0.1, 1.0], (n, 1))
        points = middle + half * rng.choice([-1, -0.5, 0, 0.3, 1], (n, 3))
        box = [(middle[:, axis] - half[:, axis], middle[:, axis] + half[:, axis]) for axis in range(3)]
        exact = distances.get("CIEDE2000").of(reference)(*columns(points))
        assert (least_2000(*box, reference) <= exact + 1e-7).all()
        for name, weights in distances.WEIGHTS.items():
            exact = distances.get(name).of(reference)(*columns(points))
            assert (least_weighted(*box, reference, weights(reference)) <= exact + 1e-7).all()


@pytest.mark.parametrize("matrix", [SRGB, SKEWED, NEGATIVE], ids=["sRGB", "skewed", "negative"])
def test_boxes_hold_the_colours_of_their_cells(matrix):
    """The number of each reading's cell is looked up as the screen does, with readings at the borders of cells among them."""
    sensor = model(to_xyz=matrix)
    screen = Screen(sensor, [("CIEDE2000", [(50.0, 0.0, 0.0)], 1.0)] * 33)
    screen.table = np.arange(CELLS**3, dtype=np.uint64)
    rng = np.random.default_rng(22)
    edges = 1.2 * (np.arange(CELLS + 1) / CELLS) ** 2
    at_border = rng.choice(edges, (30_000, 3)) * (1 + rng.uniform(-3e-7, 3e-7, (30_000, 3)))
    relative = columns(np.concatenate([at_border, rng.uniform(-0.1, 1.4, (30_000, 3)), rng.uniform(0, 1, (30_000, 3)) ** 4]))
    cells = screen.may_be_within(relative).astype(np.intp)
    grid = cells_of_the_cube()
    for band, number in zip(range(3), (cells // CELLS**2, cells // CELLS % CELLS, cells % CELLS), strict=True):
        assert (grid.low[band][number] <= relative[band]).all() and (relative[band] <= grid.high[band][number]).all()
    with np.errstate(invalid="ignore"):
        boxes = [*lab_boxes(grid, sensor), *quotient_boxes(grid, sensor.uv_rows()[:2], sensor.uv_rows()[2])]
    for value, (low, high) in zip((*sensor.lab(relative), *sensor.uv(relative)), boxes, strict=True):
        colour = np.isfinite(value)
        assert (low[cells] <= value + 1e-7)[colour].all() and (value <= high[cells] + 1e-7)[colour].all()


@pytest.mark.parametrize("name", NAMES)
def test_no_match_is_missed_at_the_borders_of_cells(name):
    """Readings at the borders, where single precision may put them in either cell, and a threshold that they just keep."""
    sensor, space = model(), distances.get(name).space
    edges = 1.2 * (np.arange(4, CELLS - 4, 5) / CELLS) ** 2
    around = np.concatenate([edges * (1 + shift) for shift in (-3e-7, -1e-7, 0, 1e-7, 3e-7)])
    relative = tuple(axis.ravel() for axis in np.meshgrid(around, around, around))
    rng = np.random.default_rng(4)
    compare = distances.get(name)
    for index in rng.integers(0, len(relative[0]), 8):
        centre = tuple(float(band[index]) * rng.uniform(0.95, 1.05) for band in relative)
        reference = distances.reference_in(space, centre, sensor)
        threshold = float(compare.of(reference)(*sensor.columns(space, relative))[index])
        screen = Screen(sensor, [(name, [reference], threshold)])
        words = screen.may_be_within(tuple(band[index : index + 1] for band in relative))
        assert words[0] & screen.bit(0)


def test_the_lightness_bound_of_ciede2000_is_the_least_over_the_interval():
    """The claim that |dL'| / S_L grows on either side of every reference from -5 to 105, on a dense grid."""
    samples = np.concatenate([np.linspace(-60, 160, 4001), np.geomspace(161, 1e6, 500)])
    for l1 in np.linspace(-5, 105, 111):
        squared = ((samples + l1) / 2 - 50) ** 2
        weighted = np.abs(samples - l1) / (1 + 0.015 * squared / np.sqrt(20 + squared))
        assert (np.diff(weighted[samples > l1]) > 0).all() and (np.diff(weighted[samples < l1]) < 0).all()
        assert np.allclose(lightness_2000((samples, samples), l1), weighted, rtol=1e-12)


def test_little_is_left_over():
    """Four colours far apart, 4 units each: hardly more is left than truly matches, so the bounds are of use."""
    rng = np.random.default_rng(9)
    points = np.array([(0.52, 0.09, 0.07), (0.10, 0.38, 0.12), (0.08, 0.14, 0.46), (0.62, 0.50, 0.08)])
    readings = points[rng.integers(0, 4, 8000)] * (1 + rng.normal(0, 0.006, (8000, 3)))
    relative = columns(np.concatenate([readings, rng.uniform(0, 1, (8000, 3))]))
    sensor = model()
    for name in ("CIEDE2000", "CIE 1976 L*a*b*", "CIE 1994", "CMC(2:1)", "CMC(1:1)"):
        sought = [(name, [distances.reference_in("Lab", tuple(point), sensor)], 4.0) for point in points]
        screen = Screen(sensor, sought)
        words = screen.may_be_within(relative)
        left = np.mean([(words & screen.bit(number)) != 0 for number in range(4)])
        true = np.mean([distances.get(name).of(r)(*sensor.lab(relative)) <= t for name, [r], t in sought])
        assert true <= left <= true + 0.02


def test_words_hold_a_bit_for_each_channel_and_share_it_beyond_64():
    sensor = model()
    rng = np.random.default_rng(10)
    relative = columns(rng.uniform(0, 1, (3000, 3)))
    for count, word in ((1, np.uint8), (9, np.uint16), (17, np.uint32), (33, np.uint64), (66, np.uint64)):
        points = rng.uniform(0.1, 1, (count, 3))
        sought = [("CIE 1976 L*a*b*", [distances.reference_in("Lab", tuple(point), sensor)], 8.0) for point in points]
        assert Screen(sensor, sought).may_be_within(relative).dtype == word
        assert misses(sensor, sought, relative)[1] == 0


def test_what_has_no_bound_is_never_screened_out():
    sensor = model()
    relative = columns(np.random.default_rng(0).uniform(0, 1, (50, 3)))
    assert Screen(sensor, [("a distance of a plugin", [(1.0, 2.0, 3.0)], 0.1)]).may_be_within(relative).all()
    reads_lab = model("CIELAB")
    assert Screen(reads_lab, [("CIEDE2000", [(50.0, 2.0, 3.0)], 0.1)]).may_be_within(relative).all()


def test_of_channels_takes_every_reference_and_the_off_threshold():
    sensor = model()
    labs = [(63.0, -28.0, 14.0), (30.0, 20.0, 10.0)]
    references = tuple(Reference(name="x", colour=Colour(space="Lab", values=lab)) for lab in labs)
    channel = Channel(
        name="1", sensor="s", references=references, for_targets=("x",), distance="CIEDE2000", tolerance=4.0, hysteresis=0.5
    )
    engine = ChannelDistances(sensor, [channel])
    relative = columns(np.random.default_rng(0).uniform(0, 1, (100_000, 3)) ** 1.5)
    words = Screen.of([channel], engine).may_be_within(relative)
    near = engine.compute(relative)[0] <= 6.0
    assert near.sum() > 100 and words[near].all() and not words.all()


def test_no_cutting_changes_a_word():
    sensor = model()
    screen = Screen(sensor, [("CIEDE2000", [(63.0, -28.0, 14.0)], 4.0), ("CIE 1976 u'v'", [(0.2, 0.45)], 0.02)])
    points = np.random.default_rng(0).uniform(0, 1, (20_000, 3))
    whole = screen.may_be_within(columns(points))
    parts = [screen.may_be_within(columns(part)) for part in np.split(points, [1, 8, 700, 8193])]
    assert np.array_equal(np.concatenate(parts), whole)
