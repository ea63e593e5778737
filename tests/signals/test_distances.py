"""Every distance against published pairs and colour-science, in any cutting and from several threads."""

import csv
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from colour_sensors import columns, model
from hypothesis import given, settings
from hypothesis import strategies as st

from stationtest.errors import UsageError
from stationtest.model.station import Channel, Colour, Learned, Reference
from stationtest.signals import colour_science, distances
from stationtest.signals.channel_distances import ChannelDistances
from stationtest.signals.scratch import BLOCK

VALUES = Path(__file__).parent.parent / "values"
# Sharma, Wu and Dalal (2005), Table 1; see values/colour_sources.md
PAIRS = list(csv.DictReader((VALUES / "ciede2000_sharma_34.csv").read_text(encoding="utf-8").splitlines()))
assert [int(row["pair"]) for row in PAIRS] == list(range(1, 35))
LAB_DISTANCES = ("CIE 1976 L*a*b*", "CIE 1994", "CIEDE2000", "CMC(2:1)", "CMC(1:1)")


def pair(row):
    return [tuple(float(row[f"{axis}{number}"]) for axis in "Lab") for number in (1, 2)]


def one(name, reference, sample):
    return float(distances.get(name).of(reference)(*columns([sample]))[0])


@pytest.mark.parametrize("row", PAIRS, ids=lambda row: row["pair"])
def test_published_pairs_of_ciede2000_in_both_directions(row):
    first, second = pair(row)
    assert one("CIEDE2000", first, second) == pytest.approx(float(row["dE00_published"]), abs=5e-5)
    assert one("CIEDE2000", second, first) == pytest.approx(float(row["dE00_published"]), abs=5e-5)


@pytest.mark.parametrize("row", PAIRS, ids=lambda row: row["pair"])
def test_published_pairs_through_a_sensor_that_reads_cielab(row):
    first, second = pair(row)
    channel = Channel(
        name="1", sensor="s", references=(Reference(name="x", colour=Colour(space="Lab", values=first)),),
        for_targets=("x",), distance="CIEDE2000", tolerance=1.0,
    )  # fmt: skip
    sensor = model("CIELAB")
    computed = ChannelDistances(sensor, [channel]).compute(sensor.relative(columns([second])))
    assert computed.shape == (1, 1)
    assert computed[0, 0] == pytest.approx(float(row["dE00_published"]), abs=5e-5)


@pytest.mark.parametrize("name, column", [
    ("CIE 1976 L*a*b*", "dE76_own"), ("CIE 1994", "dE94_own_std1_kL1"), ("CMC(1:1)", "dCMC11_own_std1"),
    ("CMC(2:1)", "dCMC21_own_std1"),
])  # fmt: skip
def test_other_distances_of_the_published_pairs(name, column):
    """The columns were computed without code of this project (values/colour_sources.md)."""
    for row in [row for row in PAIRS if row[column]]:
        first, second = pair(row)
        assert one(name, first, second) == pytest.approx(float(row[column]), abs=5e-7)


def test_the_reference_is_the_standard():
    """Counter-example A17: CIE 1994 takes its weights from the standard, here 1.85 one way and 2.01 the other."""
    assert one("CIE 1994", (50.0, 50.0, 0.0), (50.0, 44.0, 0.0)) == pytest.approx(6 / (1 + 0.045 * 50), abs=1e-12)
    assert one("CIE 1994", (50.0, 44.0, 0.0), (50.0, 50.0, 0.0)) == pytest.approx(6 / (1 + 0.045 * 44), abs=1e-12)


def hard_samples(reference, rng):
    """Random colours, and delicate ones: greys, hues opposite the reference, its neighbours, near black, light."""
    light, a, b = reference
    n = 1500
    points = np.column_stack([rng.uniform(0, 105, 4 * n), rng.uniform(-110, 110, (4 * n, 2))])
    points[:300, 1:] = 0.0
    points[300:600, 1:] *= 1e-14
    points[600:900, 0] *= 0.01
    points[900:n, 0] = 90 + 10 * rng.random(n - 900)
    turn = rng.normal(0, 1, n) * 10.0 ** rng.uniform(-16, -1, n)
    scale = rng.uniform(0, 2, n)
    points[n : 2 * n, 1] = -scale * (a * np.cos(turn) - b * np.sin(turn))
    points[n : 2 * n, 2] = -scale * (a * np.sin(turn) + b * np.cos(turn))
    points[2 * n : 3 * n] = np.array(reference) + rng.normal(0, 1e-3, (n, 3))
    points[3 * n] = reference
    points[3 * n + 1] = light, -a, -b
    points[3 * n + 2] = light, a, -b
    points[3 * n + 3 : 3 * n + 200] = np.column_stack(
        [np.full(197, light), a * scale[:197], -b * scale[:197] * (1 + rng.normal(0, 1, 197) * 10.0 ** rng.uniform(-17, -5, 197))]
    )  # mean hues about 0, where the formula jumps
    return points


@pytest.mark.parametrize("name", LAB_DISTANCES)
@pytest.mark.parametrize("kind", ["any", "grey", "nearly grey", "light", "black", "on an axis"])
def test_against_colour_science(name, kind):
    rng = np.random.default_rng(list(kind.encode()))
    for _ in range(4):
        light, a, b = rng.uniform(0, 100), rng.uniform(-90, 90), rng.uniform(-90, 90)
        reference = {
            "any": (light, a, b), "grey": (light, 0.0, 0.0), "nearly grey": (light, a * 1e-3, b * 1e-3),
            "light": (90 + light / 10, a / 5, b / 5), "black": (light / 20, a / 50, b / 50), "on an axis": (light, a, 0.0),
        }[kind]  # fmt: skip
        points = hard_samples(reference, rng)
        ours = distances.get(name).of(reference)(*columns(points))
        theirs = colour_science.distance(name, np.array(reference), points)
        # near 0 colour-science's roots of differences of squares are good to 1e-7 only
        assert np.abs(ours - theirs).max() <= (1e-9 if name in ("CIEDE2000", "CIE 1976 L*a*b*") else 2e-7)
        if name not in ("CIEDE2000", "CIE 1976 L*a*b*"):
            far = theirs > 0.1
            assert np.abs(ours - theirs)[far].max() <= 1e-9


coordinate = st.floats(-120, 120)
lightness = st.floats(0, 100)


@settings(max_examples=300, deadline=None)
@given(st.tuples(lightness, coordinate, coordinate), st.tuples(lightness, coordinate, coordinate))
def test_ciede2000_against_colour_science_anywhere(reference, sample):
    theirs = float(colour_science.distance("CIEDE2000", np.array(reference), np.array(sample)))
    assert one("CIEDE2000", reference, sample) == pytest.approx(theirs, abs=1e-9)


def test_where_the_mean_hue_passes_zero_the_formula_jumps():
    """Means of 0.006 and 359.994 degrees are 275 and 85 from the blue centre: exp(-(85 / 25)^2) = 1e-5 shows, and is kept."""
    reference, n = (60.0, 40.0, 40.0), 41
    points = np.column_stack([np.full(n, 60.0), np.full(n, 20.0), -20 + np.linspace(-1e-2, 1e-2, n)])
    ours = distances.get("CIEDE2000").of(reference)(*columns(points))
    theirs = colour_science.distance("CIEDE2000", np.array(reference), points)
    assert np.abs(ours - theirs).max() <= 1e-9
    steps = np.abs(np.diff(ours - np.linspace(ours[0], ours[-1], n)))
    assert steps.max() > 5 * np.median(steps)


@pytest.mark.parametrize("name", sorted(distances.BUILT_IN))
def test_no_cutting_changes_a_bit(name):
    rng = np.random.default_rng(5)
    space = distances.get(name).space
    points = rng.uniform(0.05, 0.6, (2 * BLOCK + 77, distances.COLUMNS[space])) * (100 if space == "Lab" else 1)
    if space == "Lab":
        points[::3, 1:] *= -1
        points[5::11, 1:] = -np.array([30.0, 20.0]) * rng.uniform(0.5, 1.5, (len(points[5::11]), 1))
    reference = (60.0, 30.0, 20.0) if space == "Lab" else (0.2, 0.5, 0.3)
    compare = distances.get(name).of(reference[: points.shape[1]])
    whole = compare(*columns(points))
    for cuts in ([1], [7, 8, 5000], list(range(3, 900, 17)), [BLOCK], [BLOCK - 1, BLOCK + 1, 2 * BLOCK]):
        parts = [compare(*columns(part)) for part in np.split(points, cuts)]
        assert np.array_equal(np.concatenate(parts), whole)
    into = np.empty(len(points) + 1)[1:]
    assert compare(*(np.concatenate([[0.0], column])[1:] for column in columns(points)), out=into) is into
    assert np.array_equal(into, whole)
    single = [compare(*columns(points[i : i + 1]))[0] for i in range(0, 600, 7)]
    assert np.array_equal(single, whole[:600:7])


def test_threads_do_not_disturb_each_other():
    rng = np.random.default_rng(6)
    points = columns(np.column_stack([rng.uniform(0, 100, 40_000), rng.uniform(-80, 80, (40_000, 2))]))
    references = [(50.0, 10.0 * k, 20.0 - k) for k in range(4)]
    alone = [distances.get("CIEDE2000").of(r)(*points) for r in references]
    found = {}

    def work(number):
        found[number] = [distances.get("CIEDE2000").of(references[number])(*points) for _ in range(3)]

    threads = [threading.Thread(target=work, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert all(np.array_equal(again, alone[number]) for number, several in found.items() for again in several)


def test_references_in_the_space_of_a_sensor():
    srgb = model()
    mint = Colour(space="Lab", values=(63.0, -28.0, 14.0))
    assert distances.reference_in("Lab", mint, srgb) == mint.values
    xyz = srgb.xyz_of_lab(mint.values)
    as_xyz = Colour(space="XYZ", values=tuple(100 * value for value in xyz))
    assert distances.reference_in("Lab", as_xyz, srgb) == pytest.approx(mint.values, abs=1e-9)
    expected = colour_science.uv_of_xyz(np.array(xyz))
    assert distances.reference_in("uv", mint, srgb) == pytest.approx(tuple(expected), abs=1e-12)
    assert distances.reference_in("uv", as_xyz, srgb) == pytest.approx(tuple(expected), abs=1e-12)
    assert distances.reference_in("shares", (0.1, 0.2, 0.1), srgb) == pytest.approx((0.25, 0.5, 0.25), abs=1e-15)
    stated = Colour(space="shares", values=(0.25, 0.5, 0.25))
    assert distances.reference_in("shares", stated, srgb) == (0.25, 0.5, 0.25)


def test_what_a_sensor_cannot_give_is_refused():
    bare = model(to_xyz=None)
    mint = Colour(space="Lab", values=(63.0, -28.0, 14.0))
    shares = Colour(space="shares", values=(1.0, 0.0, 0.0))
    cases = [("Lab", (0.1, 0.2, 0.1), bare), ("uv", mint, bare), ("shares", mint, model()), ("Lab", shares, bare)]
    for space, colour, sensor in cases:
        with pytest.raises(UsageError) as error:
            distances.reference_in(space, colour, sensor)
        assert error.value.problems[0].code == "colour-mismatch"
    with pytest.raises(UsageError) as error:
        distances.reference_in("shares", (0.0, 0.0, 0.0), bare)
    assert error.value.problems[0].code == "cannot-learn"


def test_a_channel_with_several_references_has_the_least_of_their_distances():
    srgb = model()
    learned = Learned(recording="r.csv", target="x")
    labs = [Colour(space="Lab", values=(63.0, -28.0, 14.0)), Colour(space="Lab", values=(82.0, 2.0, 46.0))]
    references = (*(Reference(name="x", colour=lab) for lab in labs), Reference(name="x", learned=learned))
    common = {"sensor": "s", "for_targets": ("x",), "tolerance": 4.0}
    both = Channel(name="1", references=references, distance="CIEDE2000", **common)
    chroma = Channel(name="2", references=references[:1], distance="CIE 1976 u'v'", **common)
    rng = np.random.default_rng(8)
    relative = columns(rng.uniform(0, 1, (500, 3)))
    engine = ChannelDistances(srgb, [both, chroma], {learned: (0.5, 0.3, 0.1)})
    assert engine.spaces == ("Lab", "uv")
    computed = engine.compute(relative)
    points = colour_science.lab_of_xyz(np.column_stack(srgb.xyz(relative)), srgb.white)
    taught = colour_science.lab_of_xyz(np.column_stack(srgb.xyz(columns([(0.5, 0.3, 0.1)]))), srgb.white)[0]
    each = [colour_science.distance("CIEDE2000", np.array(r), points) for r in (labs[0].values, labs[1].values, taught)]
    assert np.abs(computed[0] - np.min(each, axis=0)).max() < 1e-9
    uv = colour_science.uv_of_xyz(np.column_stack(srgb.xyz(relative)))
    there = colour_science.uv_of_xyz(np.array(srgb.xyz_of_lab(labs[0].values)))
    assert np.abs(computed[1] - np.hypot(*(uv - there).T)).max() < 1e-12
    assert np.array_equal(engine.compute(relative, rows=[1]), computed[1:])
    into = np.empty((2, 500))
    assert engine.compute(relative, into) is into and np.array_equal(into, computed)


def test_known_answers_hold_and_are_quick():
    start = time.perf_counter()
    answers = list(distances.known_answers())
    assert time.perf_counter() - start < 0.05
    assert len(answers) == 13
    assert all(abs(computed - published) <= tolerance for _, computed, published, tolerance, _ in answers)


def test_known_answers_are_the_published_ones():
    published = {row["pair"]: float(row["dE00_published"]) for row in PAIRS}
    for name, _, value, _, _ in distances.known_answers():
        if name.startswith("CIEDE2000"):
            assert value == published[name.rsplit(" ", 1)[1]]
