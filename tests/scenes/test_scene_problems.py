# ruff: noqa: E501 (messages stand whole on one line)
"""Bad scenes: one sentence each, at its place, with the nearest right word; nothing but that."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from scene_kit import BOXES, CASES, SCENE, make, problems

AT = "scenes/line.scene.yaml"

CHANGED = [
    ("light: {illuminant: LED-B3}", "light: {illuminant: LED-B9}", f"{AT}:5:25: sensors.eye.light.illuminant: there is no CIE illuminant of this name; did you mean `LED-B5`?; found LED-B9"),
    ("light: {illuminant: LED-B3}", "light: {illuminat: LED-B3}", f"{AT}:5:13: sensors.eye.light.illuminat: there is no key `illuminat` here; did you mean `illuminant`?"),
    ("light: {illuminant: LED-B3}", "light: {level: 80 %}", f"{AT}:5:5: sensors.eye.light: a light is exactly one of illuminant, leds and spectrum; found none [missing-key]"),
    ("light: {illuminant: LED-B3}", "light: {illuminant: LED-B3, used: 100 h}", f"{AT}:5:39: sensors.eye.light.used: what `used` does is stated for each of `leds`; this light has none [contradiction]"),
    ("light: {illuminant: LED-B3}", "light: {leds: [{peak: 450 nm, width: 20 nm}], used: 100 h}", "it says after how many hours 70 % of the light is left"),
    ("light: {illuminant: LED-B3}", "light: {leds: [{peak: 450 nm, width: 20 nm, output: -0.3 %/K}], warmer: 10 K}", "it says what a kelvin does, such as 0.05 nm/K"),
    ("light: {illuminant: LED-B3}", "light: {leds: [{peak: 450, width: 20 nm}]}", "a bare number needs a unit: 450 nm"),
    ("light: {illuminant: LED-B3}", "light: {leds: [{peak: 1450 nm, width: 20 nm}]}", f"{AT}:4:3: light: light: no LED is lit between 380 and 780 nm [wrong-value]"),
    ("standoff: 40 mm", "standoff: 0 mm", "a length must be more than nothing"),
    ("standoff: 40 mm", "standoff: 40 mm, depth_of_focus: 50 mm", "the depth of focus must be less than the standoff [contradiction]"),
    ("view: 45 deg", "view: 95 deg", "this angle is too steep to be lit or seen; found 95 deg; allowed -85 deg to 85 deg"),
    ("view: 45 deg", "view: 45 deg, view_cone: 0 deg", "a cone of light is wider than 0 deg [wrong-value]"),
    ("peaks: [610 nm, 540 nm, 460 nm]", "peaks: [610 nm, 540 nm]", f"{AT}:7:13: sensors.eye.bands.peaks: one for each of the 3 bands that the station reads; found 2 [wrong-value]"),
    ("peaks: [610 nm, 540 nm, 460 nm]", "peaks: [610 nm, 540 nm, 960 nm]", "bands: bands: the band at 960 nm sees nothing between 380 and 780 nm [wrong-value]"),
    ("electrons: 200000", "electrons: 200000\n    bits: 10", f"{AT}:9:11: sensors.eye.bits: a converter of 10 bits ends at 1023, and station.yaml says full_scale: 4095 [contradiction]"),
    ("electrons: 200000", "electrons: 200000\n    exposure: 2 ms", "an exposure cannot be longer than from one reading to the next (every) [contradiction]"),
    ("electrons: 200000", "electrons: 200000\n    balanced: no", "without `white` each band reads the white that station.yaml states [contradiction]"),
    ("electrons: 200000", "electrons: 200000\n    ambient: {light: {illuminant: FL2}, share: 5 %, depth: 40 %}", "flicker has a frequency, such as 100 Hz"),
    ("grey: 6 %", "grey: 106 %", "a share is out of range; found 106 %; allowed 0 % to 100 %"),
    ("grey: 6 %", "grey: 6 %, mirror: {reflectance: 90 %, roughness: 0.1}, gloss: {index: 1.5, roughness: 0.1}", "lacquer on metal is a film in contact over a mirror [contradiction]"),
    ("grey: 6 %", "film: {over: bare bel, transmittance: 90 %, index: 1.5, roughness: 0.1, lies: loose}", "there is no surface of this name in the scene; did you mean `bare belt`?"),
    ("grey: 6 %", "film: {over: bare belt, transmittance: 90 %, index: 1.5, roughness: 0.1, lies: loose}", "this film lies over itself [loop]"),
    ("grey: 6 %", "fluorescent: yes, grey: 6 %", "fluorescence lets a measured `spectrum` go above 1; there is none here [contradiction]"),
    ("grey: 6 %", "gloss: {index: 0.9, roughness: 0.1}, grey: 6 %", "a refractive index lies above 1 and at most at 4; found 0.9"),
    ("Lab: [82, 2, 46]", "Lab: [98, 2, 146]", "no reflectance between 0 and 1 has X, Y, Z"),
    ("Lab: [82, 2, 46]", "Lab: [182, 2, 46]", "surfaces.chamomile.colour: L is 0 to 100; found Lab: [182, 2, 46]"),
    ("chamomile: {length: 40 mm", "chamomil: {length: 40 mm", "there is no target of this name; did you mean `chamomile`?"),
    ("chamomile: {length: 40 mm", "chamomile: {surface: camomile, length: 40 mm", "there is no surface of this name in the scene; did you mean `chamomile`?"),
    ("chamomile: {length: 40 mm", "chamomile: {raised: 40 mm, length: 40 mm", "a target 40 mm higher would touch the head at a standoff of 40 mm [contradiction]"),
    ("chamomile: {length: 40 mm", "chamomile: {sideways: 4 mm, length: 40 mm", "only a cylinder along the travel looks different from beside it [contradiction]"),
    ("chamomile: {length: 40 mm", "chamomile: {cylinder: {radius: 30 mm, axis: across}, length: 40 mm", "a cylinder across the travel is as long as its diameter, 60 mm [contradiction]"),
    ("chamomile: {length: 40 mm", "chamomile: {rib: {at: 39 mm, width: 4 mm, height: 1 mm, flanks: 45 deg}, length: 40 mm", "the rib does not lie on the target, which is 40 mm long [contradiction]"),
    ("chamomile: {length: 40 mm", "chamomile: {rib: {at: 20 mm, width: 4 mm, height: 3 mm, flanks: 45 deg}, length: 40 mm", "flanks of 45 deg do not reach 3 mm within 4 mm [contradiction]"),
    ("order: [mint, chamomile]", "order: [mint, camomile]", f"{AT}:19:17: belt.order.2: there is no target or set of this name in the scene; did you mean `chamomile`?"),
    ("order: [mint, chamomile]", "order: {weighted: {mint: 3, camomile: 1}}", "did you mean `chamomile`?"),
    ("order: [mint, chamomile]", "order: {random: [mint], weighted: {mint: 3}}", "an order is a list, or exactly one of random and weighted [contradiction]"),
    ("count: 60", "count: 60\n  lasts: 3 s", "how much comes past is said by exactly one of `count` and `lasts` [contradiction]"),
    ("count: 60", "lead: 100 mm", "how much comes past is said by exactly one of `count` and `lasts` [missing-key]"),
    ("count: 60", "count: 60000000", "a scene holds at most 5000000 presentations; this one would hold about 60000000 [too-large]"),
    ("count: 60", "lasts: 500 ms", "belt.lasts: is too short for one target to pass"),
    ("gap: 30 mm", "gap: {from: 30 mm, to: 20 mm}", "`from` must not be above `to` [contradiction]"),
    ("jitter: {height: 0.2 mm", "jitter: {sideways: 1 mm, height: 0.2 mm", "only a cylinder along the travel does [contradiction]"),
    ("jitter: {height: 0.2 mm", "jitter: {height: 20 mm", "would touch the head at a standoff of 40 mm"),
    ("mint: {length: 40 mm, specimens: 5", "mint: {length: 40 mm, specimens: [a, a]", "two specimens have one name [duplicate-name]"),
    ("every: 1 ms", "every: 1", "a bare number needs a unit: 1 ms"),
    ("seed: 7", "seed: 7\nlamps: 3", f"{AT}:2:1: lamps: there is no key `lamps` here"),
]  # fmt: skip

SETS = [
    ("defects: [{missing: mint, sets: [3]}", "defects: [{missing: min, sets: [3]}", "there is no member of this name in the scene; did you mean `mint`?"),
    ("{missing: mint, sets: [3]}", "{missing: mint, doubled: mint, sets: [3]}", "a defect is exactly one of missing, wrong and doubled; found missing and doubled [contradiction]"),
    ("{missing: mint, sets: [3]}", "{missing: mint}", "which sets have the defect is said by exactly one of `share` and `sets` [missing-key]"),
    ("by: chamomile, ", "", "`by` says what lies in the place of a wrong member [missing-key]"),
    ("box in: {at: start", "box inn: {at: start", "there is no input of this name; did you mean `box in`?"),
    ("of: box, offset: -40 ms, lasts: 20 ms", "of: crate, offset: -40 ms, lasts: 20 ms", "there is no target or set of this name in the scene"),
    ("offset: -40 ms, lasts: 20 ms", "offset: -40 ms", "inputs.box in.lasts: `at` needs `lasts` beside it [missing-key]"),
    ("at: start, of: box, offset: -40 ms, lasts: 20 ms", "during: box, lasts: 20 ms", "`during` has no `lasts` beside it [contradiction]"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "answer"), CHANGED, ids=[f"{number}" for number in range(len(CHANGED))])
def test_a_bad_scene(tmp_path: Path, old: str, new: str, answer: str) -> None:
    assert SCENE.count(old) == 1
    (found, *more) = problems(make(tmp_path, SCENE.replace(old, new)))
    assert answer in found and not more, [found, *more]


@pytest.mark.parametrize(("old", "new", "answer"), SETS, ids=[f"{number}" for number in range(len(SETS))])
def test_a_bad_set_or_input(tmp_path: Path, old: str, new: str, answer: str) -> None:
    assert BOXES.count(old) == 1
    (found, *more) = problems(make(tmp_path, BOXES.replace(old, new)))
    assert answer in found and not more, [found, *more]


def spectrum(low: float = 380, high: float = 780, value: float = 0.5, name: str = "r") -> str:
    return f"nm,{name}\n" + "".join(f"{nm:g},{value:g}\n" for nm in np.arange(low, high + 1, 10))


MEASURED = re.sub(r"chamomile: \{colour.*", "chamomile: {spectrum: part.csv}", SCENE)


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        (spectrum(400, 700), "scenes/part.csv:2: the spectrum covers 400 to 700 nm; it must cover 380 to 780 nm [wrong-value]"),
        (spectrum(0.38, 0.78).replace("0.38,0.5", "0.38,0.5\n0.6,0.5\n0.78,0.5"), "are the wavelengths in micrometres?"),
        (spectrum().replace("400,0.5", "400,-0.1"), "scenes/part.csv:4: a spectrum is not below 0; found -0.1 at 400 nm [wrong-value]"),
        (spectrum().replace("400,0.5", "400,1.2"), "scenes/part.csv:4: 1.2 at 400 nm is above 1; only a fluorescent surface can be, and must say so"),
        (spectrum().replace("400,0.5", "400,50"), "scenes/part.csv:4: 50 at 400 nm is above 1; is it in per cent?"),
        (spectrum().replace("400,0.5", "400,half"), "scenes/part.csv:4: this is not a number; found half"),
        (spectrum().replace("400,0.5", "400"), "scenes/part.csv:4: this row has 1 cells where the header has 2"),
        (spectrum().replace("400,0.5", "390,0.5"), "scenes/part.csv:4: wavelengths must rise; 390 nm comes after 390 nm"),
        (spectrum().partition("\n")[2], "scenes/part.csv:1: the first line is a header"),
        ("nm,r\n", "scenes/part.csv:1: a spectrum has a header and 2 to 20000 rows"),
        (spectrum().replace("nm,r\n", "nm,r,s\n").replace(",0.5", ",0.5,0.5"), "one curve is due here; found r, s in part.csv"),
    ],
)
def test_a_bad_spectrum(tmp_path: Path, text: str, answer: str) -> None:
    (found,) = problems(make(tmp_path, MEASURED, part=text))
    assert answer in found


def test_a_spectrum_that_is_not_there(tmp_path: Path) -> None:
    (found,) = problems(make(tmp_path, MEASURED, parts=spectrum()))
    assert found == "scenes/line.scene.yaml:12:25: surfaces.chamomile.spectrum: there is no file scenes/part.csv; did you mean scenes/parts.csv? [no-file]"


def test_a_fluorescent_spectrum_may_go_above_1(tmp_path: Path) -> None:
    text = MEASURED.replace("{spectrum: part.csv}", "{spectrum: part.csv, fluorescent: yes}")
    assert problems(make(tmp_path, text, part=spectrum().replace("600,0.5", "600,1.3"))) == []


def test_responses_need_a_curve_for_each_band(tmp_path: Path) -> None:
    text = re.sub(r"bands: \{.*\}", "bands: {responses: eye.csv}", SCENE)
    (found,) = problems(make(tmp_path, text, eye=spectrum()))
    assert "3 curves, one for each band, are due here; found r in eye.csv" in found
    three = spectrum(name="r,g,b").replace(",0.5", ",0.5,0.4,0.3")
    assert problems(make(tmp_path, text, eye=three)) == []


def test_touching_neighbours_must_be_told_apart(tmp_path: Path) -> None:
    text = SCENE.replace("gap: 30 mm", "gap: 2 mm").replace("order: [mint, chamomile]", "order: [mint]").replace("specimens: 5, spread", "specimens: 1, spread")
    (found,) = problems(make(tmp_path, text))
    assert "one specimen of mint follows itself without a reading between them (presentations 1 and 2)" in found  # A23


def test_a_scene_stands_under_scene_and_a_recording_under_readings(tmp_path: Path) -> None:
    assert "stands under `scene:`" in problems(make(tmp_path, cases=CASES.replace("scene: ../", "readings: ../")))[0]
    both = CASES.replace("scene: ../scenes/line.scene.yaml", "scene: ../scenes/line.scene.yaml\nreadings: ../scenes/line.scene.yaml")
    assert any("a case is judged on recordings (readings) or on a scene; make two cases" in found for found in problems(make(tmp_path, cases=both)))


def test_one_sensor_to_a_scene(tmp_path: Path) -> None:
    from scene_kit import STATION

    second = STATION.replace("  eye:\n", "  ear: {reads: linear RGB, columns: {red: x, green: y, blue: z}, full_scale: 4095, white: [1, 2, 3]}\n  eye:\n").replace(
        "1: {", "1: {sensor: eye, ").replace("2: {", "2: {sensor: eye, ")  # fmt: skip
    text = SCENE.replace("sensors:\n", "sensors:\n  ear: {light: {illuminant: A}, head: {standoff: 1 mm, spot: 1 mm}, bands: {peaks: [600 nm, 540 nm, 460 nm], widths: [9 nm, 9 nm, 9 nm]}, electrons: 9}\n")
    (found,) = problems(make(tmp_path, text, station=second))
    assert "a scene is what one sensor sees; make one scene for each sensor [contradiction]" in found
