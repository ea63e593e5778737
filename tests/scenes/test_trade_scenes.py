"""A rule of the trade that needs time: an off-delay of a few hundred ms holds one output over the seam of a slow glossy part.

Common practice, no source. The part, its seam, the head and the belt are others than those of the example scenes.
"""

import numpy as np
import pytest
from scene_kit import make

import stationtest

SPOT, SEAM, SPEED = 3, 7, 45  # mm, mm, mm/s
FLASH_MS = (SEAM + SPOT) / SPEED * 1000  # for so long the spot has some of the seam in it

STATION = """
station: seams
between: bare belt
scan: {worst: 11 ms, input_filter: 3 ms}
sensors:
  eye: {reads: linear RGB, columns: {red: r, green: g, blue: b}, full_scale: 4095, white: [3650, 3720, 3590], spot: 3 mm}
targets: {mint: {title: Glossy pouch}, bare belt: {background: yes}}
channels:
  1: {reference: {learned: scenes/taught.scene.yaml, target: mint, samples: 100}, distance: sensor chromaticity, tolerance: 0.04,
      off_delay: DELAY ms}
"""
SCENE = f"""
seed: 5
every: 2 ms
sensors:
  eye:
    light: {{illuminant: LED-B2}}
    head: {{standoff: 32 mm, light: 11 deg, view: -11 deg, light_cone: 6 deg, view_cone: 6 deg}}
    bands: {{peaks: [620 nm, 535 nm, 455 nm], widths: [60 nm, 45 nm, 40 nm]}}
    electrons: 150000
    read_noise: 2
surfaces:
  mint: {{colour: {{Lab: [55, -20, -30], illuminant: D65, observer: 2 deg}}, gloss: {{index: 1.52, roughness: 0.04}}}}
  bare belt: {{grey: 5 %}}
targets:
  mint: {{length: 70 mm, specimens: 4, rib: {{at: 40 mm, width: {SEAM} mm, height: 0.5 mm, flanks: 40 deg, lean: -11 deg}}}}
belt: {{speed: {SPEED} mm/s, gap: 50 mm, order: [mint], count: 6}}
"""
FLAT = SCENE[: SCENE.index(", rib")] + "}" + SCENE[SCENE.index("\nbelt") :]
CASE = "scene: ../scenes/line.scene.yaml\nevidence: {trials: 1}\ncases: {A: {title: A, present: mint, expect: {channels: 1}}}\n"


def pulses(folder, off_delay_ms, scene=SCENE):
    """The fewest and the most pulses that a controller counts in each passage."""
    make(folder, scene, station=STATION.replace("DELAY", str(off_delay_ms)), cases=CASE)
    (folder / "scenes" / "taught.scene.yaml").write_text(FLAT)
    seen = stationtest.observe(stationtest.load(folder), "scenes/line.scene.yaml")
    mine = ~seen.presentations.between
    return np.stack([seen.responses.pulses_min[mine, 0], seen.responses.pulses_max[mine, 0]])


def test_without_an_off_delay_the_seam_breaks_the_output(tmp_path):
    assert (pulses(tmp_path, 0) == 2).all()


def test_an_off_delay_as_long_as_the_flash_can_be_holds_it(tmp_path):
    assert round(FLASH_MS) == 222
    assert (pulses(tmp_path, 222) == 1).all()


@pytest.mark.parametrize("delay", [50, 100])
def test_a_much_shorter_one_does_not(tmp_path, delay):
    assert (pulses(tmp_path, delay) == 2).all()


def test_without_a_seam_there_is_nothing_to_hold(tmp_path):
    assert (pulses(tmp_path, 0, FLAT) == 1).all()
