"""Counts to relative readings, level, XYZ, CIELAB, u'v' and shares: against colour-science, and in any cutting."""

import numpy as np
import pytest
from colour_sensors import SKEWED, SRGB, columns, model, sensor

from stationtest.errors import UsageError
from stationtest.model.station import WhenDark
from stationtest.signals import colour_science, distances
from stationtest.signals.conversion import SensorModel
from stationtest.signals.elementwise import LAB_CUBE, lab_function
from stationtest.signals.scratch import BLOCK


@pytest.fixture
def raw():
    rng = np.random.default_rng(3)
    return columns(4095 * rng.uniform(0, 1, (BLOCK + 500, 3)) ** rng.choice([1, 3], (BLOCK + 500, 1)))


def test_relative_readings_and_level():
    srgb = model()
    readings = columns([(12, 11, 14), (3650, 3720, 3590), (1831, 1865.5, 1802), (4095, 20, 20)])
    red, green, blue = srgb.relative(readings)
    assert red[:3].tolist() == green[:3].tolist() == blue[:3].tolist() == [0.0, 1.0, 0.5]
    # level: (count - dark) / (full_scale - dark) of the brightest band; full scale is 100 %, not 99.7 % (counter-example A15)
    assert srgb.level(readings) == pytest.approx([0.0, (3720 - 11) / (4095 - 11), (1865.5 - 11) / (4095 - 11), 1.0], abs=1e-15)


def test_clipped_is_any_band_at_or_above_clips_at():
    """Counter-example A15: glare on foil reads (4095, 4095, 4095), and averaging before logging hides it at 4080."""
    readings = columns([(4095, 100, 100), (4094, 4094, 4094), (100, 100, 4080)])
    assert model().clipped(readings).tolist() == [True, False, False]
    assert model(clips_at=4080.0).clipped(readings).tolist() == [True, True, True]
    assert model(full_scale=None, clips_at=None).clipped(readings).tolist() == [False, False, False]


def test_dark_is_below_the_stated_level():
    srgb = model(when_dark=WhenDark(below=0.02, channels="off"))
    level = np.array([0.0199, 0.02, 0.5])
    assert srgb.is_dark(level).tolist() == [True, False, False]
    assert model().is_dark(level).tolist() == [False, False, False]


@pytest.mark.parametrize("matrix", [SRGB, SKEWED])
def test_cielab_and_uv_against_colour_science(matrix, raw):
    srgb = model(to_xyz=matrix)
    relative = srgb.relative(raw)
    xyz = np.column_stack(relative) @ np.array(matrix).T
    assert np.abs(np.column_stack(srgb.xyz(relative)) - xyz).max() < 1e-14
    assert srgb.white == pytest.approx(tuple(np.sum(matrix, axis=1)), abs=1e-15)  # to_xyz (1, 1, 1)
    # the white's own scale matters only through the ratios X / Xn; colour-science takes whites with Y = 1
    theirs = colour_science.lab_of_xyz(xyz, srgb.white)
    positive = (xyz > 0).all(axis=1)
    assert np.abs(np.column_stack(srgb.lab(relative)) - theirs)[positive].max() < 1e-10
    assert np.abs(np.column_stack(srgb.uv(relative)) - colour_science.uv_of_xyz(xyz))[positive].max() < 1e-12


def test_a_stated_white_point_in_any_scale():
    for scale in (1.0, 100.0):
        white = tuple(scale * value for value in (0.9642, 1.0, 0.8252))
        assert model(white_point=white).white == pytest.approx((0.9642, 1.0, 0.8252), abs=1e-15)


def test_white_has_lightness_100_and_no_chroma():
    srgb = model()
    lab = srgb.lab(columns([(1.0, 1.0, 1.0), (0.0, 0.0, 0.0)]))
    assert np.column_stack(lab) == pytest.approx(np.array([(100.0, 0.0, 0.0), (0.0, 0.0, 0.0)]), abs=1e-11)


def test_shares_and_readings_without_a_colour():
    """Counter-example A15: a sum of 0 or less divides by zero; here such a reading is infinitely far from everything."""
    srgb = model()
    relative = columns([(0.1, 0.2, 0.1), (0.0, 0.0, 0.0), (-0.001, 0.0005, 0.0002), (0.3, 0.3, 0.4)])
    shares = srgb.shares(relative)
    assert [band[0] for band in shares] == pytest.approx([0.25, 0.5, 0.25])
    assert all(np.isposinf(band[1:3]).all() for band in shares)
    far = distances.get("sensor chromaticity").of((0.25, 0.5, 0.25))(*shares)
    assert far.tolist()[0] == 0 and np.isposinf(far[1:3]).all() and far[3] == pytest.approx(np.hypot(0.05, np.hypot(0.2, 0.15)))
    uv = srgb.uv(columns([(0.1, 0.2, 0.1), (0.0, 0.0, 0.0), (-0.001, -0.0005, 0.0002)]))
    assert np.isposinf(uv[0][1:3]).all()
    assert np.isposinf(distances.get("CIE 1976 u'v'").of((0.2, 0.5))(*uv)[1:3]).all()


def test_dark_readings_scatter_as_the_trade_knows():
    """Counter-example A15: at 0.32 % of full scale and 1.5 counts of noise, shares of mint err by 0.043 (median)."""
    rng = np.random.default_rng(1)
    counts = np.array([0.7, 1.0, 0.77]) * 0.0032 * 4095 + rng.normal(0, 1.5, (20_000, 3))
    plain = model(dark=(0.0, 0.0, 0.0), white=(4095.0, 4095.0, 4095.0))
    shares = plain.shares(plain.relative(columns(counts)))
    two = np.hypot(shares[0] - 0.7 / 2.47, shares[1] - 1.0 / 2.47)  # the counter-example counts two shares
    assert float(np.median(two)) == pytest.approx(0.043, abs=0.001)
    three = distances.get("sensor chromaticity").of(tuple(np.array([0.7, 1.0, 0.77]) / 2.47))(*shares)
    assert 1 < float(np.median(three / two)) < 1.5  # the third is the negative sum of the other two errors


def test_sensors_that_read_xyz():
    reads = model("XYZ")
    xyz = np.array([(20.0, 30.0, 25.0), (95.047, 100.0, 108.883), (0.3, 0.2, 0.1)])
    relative = reads.relative(columns(xyz))
    assert np.abs(np.column_stack(reads.xyz(relative)) - xyz / 100).max() < 1e-15
    assert reads.white == pytest.approx((0.95047, 1.0, 1.08883), abs=1e-12)  # ASTM E308, D65 for 2 degrees
    theirs = colour_science.lab_of_xyz(xyz / 100, (0.95047, 1.0, 1.08883))
    assert np.abs(np.column_stack(reads.lab(relative)) - theirs).max() < 1e-10
    assert reads.level(columns(xyz))[0] == pytest.approx(0.3)


def test_sensors_that_read_cielab():
    reads = model("CIELAB")
    lab = np.array([(63.0, -28.0, 14.0), (5.0, 1.0, -3.0), (95.0, 0.0, 0.0)])
    relative = reads.relative(columns(lab))
    assert np.array_equal(np.column_stack(reads.lab(relative)), lab)
    xyz = np.column_stack(reads.xyz(relative))
    assert np.abs(colour_science.lab_of_xyz(xyz, reads.white) - lab).max() < 1e-10
    assert np.abs(np.column_stack(reads.uv(relative)) - colour_science.uv_of_xyz(xyz)).max() < 1e-12
    assert reads.level(columns(lab)).tolist() == pytest.approx([0.63, 0.05, 0.95])
    with pytest.raises(UsageError, match="no bands"):
        reads.shares(relative)


def test_a_learned_mean_that_holds_edges_moves():
    """Counter-example A16: 10 % of a white belt (90, 0, 0) in the mean of mint (63, -28, 14) shifts it by 0.0102 in u'v'."""
    reads = model("XYZ")
    mint, belt = (np.array(reads.xyz_of_lab(lab)) for lab in ((63.0, -28.0, 14.0), (90.0, 0.0, 0.0)))
    clean, mixed = (distances.reference_in("uv", tuple(mean), reads) for mean in (mint, 0.9 * mint + 0.1 * belt))
    assert np.hypot(*np.subtract(clean, mixed)) == pytest.approx(0.0102, abs=5e-5)


def test_white_must_be_above_dark():
    with pytest.raises(UsageError, match="above `dark`"):
        SensorModel.from_sensor(sensor(white=(3650.0, 11.0, 3590.0)))


@pytest.mark.parametrize("name", ["relative", "lab", "uv", "shares", "xyz"])
def test_no_cutting_changes_a_bit(name, raw):
    srgb = model()
    source = raw if name == "relative" else srgb.relative(raw)
    convert = getattr(srgb, name)
    whole = convert(source)
    for cuts in ([1], [7, 8, 5000], list(range(3, 900, 17)), [BLOCK - 1, BLOCK]):
        pieces = [np.split(column, cuts) for column in source]
        parts = [convert(tuple(part)) for part in zip(*pieces, strict=True)]
        for number, column in enumerate(whole):
            assert np.array_equal(np.concatenate([part[number] for part in parts]), column)
    into = tuple(np.empty(len(raw[0]) + 1)[1:] for _ in whole)
    convert(source, into)
    assert all(np.array_equal(a, b) for a, b in zip(into, whole, strict=True))
    single = [srgb.level(tuple(band[i : i + 1] for band in raw))[0] for i in range(0, len(raw[0]), 50)]
    assert np.array_equal(srgb.level(raw)[::50], single)


def test_the_cube_root_is_good_to_the_last_digits():
    rng = np.random.default_rng(2)
    t = np.concatenate([rng.uniform(-0.1, LAB_CUBE, 2000), np.geomspace(LAB_CUBE, 1e6, 6000)])
    ours = t.copy()
    lab_function(ours, [np.empty(len(t)) for _ in range(4)])
    expected = np.where(t > LAB_CUBE, np.cbrt(t), t * 841 / 108 + 4 / 29)
    assert (np.abs(ours - expected) / np.maximum(np.abs(expected), 0.1)).max() < 2e-14
