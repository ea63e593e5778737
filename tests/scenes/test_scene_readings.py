"""Scenes as readings: arithmetic of belt, light and noise; the same bytes however the work is cut; no name in the readings."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from scene_kit import BOXES, CASES, SCENE, STATION, counts, make, opened, suite, whole

from stationtest import plugins
from stationtest.engine import running
from stationtest.sources.scenes.opened import open_scene

JITTER = "  jitter: {height: 0.2 mm, tilt: 0.5 deg}\n"
QUIET = SCENE.replace("electrons: 200000", "electrons: 1e12").replace("read_noise: 1.5", "read_noise: 0")


def plateau(batch, target: str, sensor: str = "eye") -> np.ndarray:  # type: ignore[no-untyped-def]
    """(3, n) counts of the rows in the middle of the presentations of a target."""
    mine = batch.codes["target"] == batch.tables["target"].index(target)
    inner = mine & np.roll(mine, 12) & np.roll(mine, -12)
    return np.stack(batch.bands[sensor])[:, inner]


def runs(mask: np.ndarray) -> np.ndarray:
    """First and last + 1 of each run of true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return edges.reshape(-1, 2)


# --- the belt: arithmetic ---------------------------------------------------------------------------------------------------


def test_presentations_last_as_long_as_length_and_spot_take(tmp_path: Path) -> None:
    """40 mm and a spot of 4 mm at 500 mm/s: 88 ms; leading edges 70 mm apart: 140 ms; the first enters at (200 - 2) / 500 s."""
    batch = whole(opened(make(tmp_path)))
    found = runs(batch.codes["target"] >= 0)
    assert len(found) == 60
    assert (found[:, 1] - found[:, 0] == 88).all()
    assert (np.diff(found[:, 0]) == 140).all()
    assert found[0, 0] == 396
    assert len(batch) == round((200 + 60 * 70 - 30 + 200) / 500 * 1000)


def test_order_in_turn_and_specimens_in_turn(tmp_path: Path) -> None:
    batch = whole(opened(make(tmp_path)))
    starts = runs(batch.codes["target"] >= 0)[:, 0]
    named = [batch.tables["target"][code] for code in batch.codes["target"][starts]]
    assert named == ["mint", "chamomile"] * 30
    parts = [batch.tables["specimen"][code] for code in batch.codes["specimen"][starts]]
    assert parts[:12:2] == ["mint 1", "mint 2", "mint 3", "mint 4", "mint 5", "mint 1"]


def test_a_weighted_order_keeps_its_weights(tmp_path: Path) -> None:
    """3 to 1 of 2000: 1500, standard deviation sqrt(2000 x 3/4 x 1/4) = 19.4 (binomial)."""
    text = SCENE.replace("order: [mint, chamomile]", "order: {weighted: {mint: 3, chamomile: 1}}")
    text = text.replace("count: 60", "count: 2000")
    line = opened(make(tmp_path, text)).line
    assert abs(int((line.target == 0).sum()) - 1500) < 4 * 19.4


def test_gaps_are_even_between_their_ends(tmp_path: Path) -> None:
    """Mean 30 mm, standard deviation 20 / sqrt(12) (uniform)."""
    text = SCENE.replace("gap: 30 mm", "gap: {from: 20 mm, to: 40 mm}").replace("count: 60", "count: 4000")
    line = opened(make(tmp_path, text)).line
    gaps = line.begin_mm[1:] - line.end_mm[:-1]
    assert gaps.min() >= 20 and gaps.max() <= 40
    assert abs(gaps.mean() - 30) < 4 * 20 / np.sqrt(12 * 4000)
    assert gaps.std() == pytest.approx(20 / np.sqrt(12), rel=0.05)


def test_a_scene_that_lasts_ends_then_and_holds_whole_targets(tmp_path: Path) -> None:
    scene = opened(make(tmp_path, SCENE.replace("count: 60", "lasts: 3 s")))
    assert scene.line.rows == 3000
    # (3 s x 500 mm/s - 200 - 200) / 70 mm = 15.7, the last one needs no gap after it
    assert len(scene.line.target) == 16
    assert scene.line.end_ns[-1] <= 3_000_000_000


def test_neighbours_closer_than_the_spot_meet_in_the_middle(tmp_path: Path) -> None:
    batch = whole(opened(make(tmp_path, SCENE.replace("gap: 30 mm", "gap: 2 mm"))))
    target = batch.codes["target"]
    assert len(runs(target >= 0)) == 1  # touching: no row between them
    change = np.flatnonzero(np.diff(target[400 : 400 + 42 * 10])) + 1
    assert (np.diff(change) == 84).all()  # 42 mm at 500 mm/s


# --- light and counts -------------------------------------------------------------------------------------------------------


def test_white_reads_what_the_station_says(tmp_path: Path) -> None:
    """A perfect white matt target in focus, square on, is what the sensor was set up on."""
    text = re.sub(r"  chamomile: \{colour.*\n", "  chamomile: {grey: 100 %}\n", QUIET).replace(JITTER, "")
    found = plateau(whole(opened(make(tmp_path, text))), "chamomile")
    assert np.abs(found - np.array([[3650], [3720], [3590]])).max() <= 1


def test_a_grey_reads_its_share_of_white(tmp_path: Path) -> None:
    """The belt is 6 % grey: dark + 0.06 (white - dark), rounded to counts."""
    batch = whole(opened(make(tmp_path, QUIET)))
    for band, (dark, white) in enumerate(((12, 3650), (11, 3720), (14, 3590))):
        assert np.abs(batch.bands["eye"][band][:300] - (dark + 0.06 * (white - dark))).max() <= 0.5


@pytest.mark.parametrize(
    ("light", "left"),
    [
        ("{illuminant: LED-B3, level: 80 %}", 0.80),
        ("{leds: [{peak: 540 nm, width: 120 nm, life: 30000 h}], used: 30000 h}", 0.70),  # L70, by its definition
        ("{leds: [{peak: 540 nm, width: 120 nm, life: 30000 h}], used: 15000 h}", np.sqrt(0.70)),
        ("{leds: [{peak: 540 nm, width: 120 nm, shift: 0 nm/K, output: -0.5 %/K}], warmer: 20 K}", 0.90),
    ],
)
def test_what_has_become_of_the_light_is_in_the_readings(tmp_path: Path, light: str, left: float) -> None:
    batch = whole(opened(make(tmp_path, QUIET.replace("light: {illuminant: LED-B3}", f"light: {light}"))))
    for band, (dark, white) in enumerate(((12, 3650), (11, 3720), (14, 3590))):
        assert np.abs(batch.bands["eye"][band][:300] - (dark + left * 0.06 * (white - dark))).max() <= 0.5 + 1e-6


def test_noise_is_that_of_the_electrons(tmp_path: Path) -> None:
    """Photon noise (variance = mean, Poisson), read noise and rounding (1/12): EMVA Standard 1288."""
    text = SCENE.replace("electrons: 200000", "electrons: 20000").replace("grey: 6 %", "grey: 40 %")
    text = text.replace("count: 60", "lasts: 4 s")
    text = text.replace("lead: 200 mm", "").replace("  gap: 30 mm", "  gap: 30 mm\n  lead: 900 mm")
    batch = whole(opened(make(tmp_path, text)))
    still = batch.bands["eye"][0][:1700]
    level = (still.mean() - 12) / (4095 - 12)
    expected = np.sqrt(level / 20000 * (4095 - 12) ** 2 + 1.5**2 + 1 / 12)
    assert still.std(ddof=1) == pytest.approx(expected, rel=4 / np.sqrt(2 * 1700))


def test_averaging_lowers_noise_by_the_root_and_makes_a_ramp(tmp_path: Path) -> None:
    """1 / sqrt(16), and an edge takes 15 readings longer."""
    base = SCENE.replace("  gap: 30 mm", "  gap: 30 mm\n  lead: 900 mm")
    plain = whole(opened(make(tmp_path, base))).bands["eye"][0]
    mean = whole(opened(make(tmp_path, base.replace("read_noise: 1.5", "read_noise: 1.5\n    averages: 16")))).bands["eye"][0]
    # rounding to whole counts adds 1/12 to both
    quiet = np.sqrt(max(mean[:1700].var(ddof=1) - 1 / 12, 0)) / np.sqrt(plain[:1700].var(ddof=1) - 1 / 12)
    assert quiet == pytest.approx(1 / 4, rel=0.25)  # 1700 / 16 independent values: 7 % standard deviation
    top = plain[1830:1870].mean()
    low = plain[:1700].mean()
    reached = [int(np.argmax(values[1700:] > low + 0.98 * (top - low))) for values in (plain, mean)]
    assert 12 <= reached[1] - reached[0] <= 15


def test_exposure_smears_an_edge_over_its_travel(tmp_path: Path) -> None:
    """The leading edge crosses a 4 mm spot in 8 ms; seen during 5 ms, its crossing is seen over 13 ms."""
    batches = [
        whole(opened(make(tmp_path, QUIET.replace("every: 1 ms", "every: 5 ms").replace("electrons", f"{more}electrons"))))
        for more in ("", "exposure: 5 ms\n    ")
    ]
    edges = []
    for batch in batches:
        band = batch.bands["eye"][1]
        low, high = band[:70].mean(), band[84:90].mean()
        moving = (band[:90] > low + 0.002 * (high - low)) & (band[:90] < high - 0.002 * (high - low))
        edges.append(int(moving.sum()) * 5)
    assert edges[0] <= 10 and 10 <= edges[1] <= 15 and edges[1] > edges[0]


def test_ambient_light_flickers_at_its_frequency_and_is_rejected(tmp_path: Path) -> None:
    """5 % of steady light on a 6 % grey, 40 % deep at 100 Hz; a rejection of 10 leaves a tenth."""
    found = []
    for rejection in ("1", "10"):
        ambient = f"ambient: {{light: {{illuminant: LED-B3}}, share: 5 %, flicker: 100 Hz, depth: 40 %, rejection: {rejection}}}"
        text = QUIET.replace("electrons", f"{ambient}\n    bits: 20\n    electrons")
        text = text.replace("  gap: 30 mm", "  gap: 30 mm\n  lead: 900 mm")
        station = STATION.replace("full_scale: 4095", "full_scale: 1048575")
        station = station.replace("[3650, 3720, 3590]", "[900000, 900000, 900000]")
        band = whole(opened(make(tmp_path, text, station=station))).bands["eye"][0][:1000]
        found.append(np.abs(np.fft.rfft(band)) / 500)
    white = 900000 - 12
    assert int(np.argmax(found[0][1:])) + 1 == 100  # cycles in one second
    assert found[0][100] == pytest.approx(0.06 * 0.05 * 0.40 * white, rel=0.01)
    assert found[1][100] == pytest.approx(0.06 * 0.05 * 0.40 * white / 10, rel=0.02)
    assert found[0][0] / 2 == pytest.approx(12 + 0.06 * 1.05 * white, rel=0.001)


def test_a_part_nearer_to_the_head_reads_by_the_inverse_square(tmp_path: Path) -> None:
    """Raised by 4 mm of 40: (40 / 36)^2 = 1.2346."""
    still = QUIET.replace(JITTER, "")
    flat = plateau(whole(opened(make(tmp_path, still))), "chamomile").mean(axis=1)
    raised = still.replace("chamomile: {length: 40 mm", "chamomile: {raised: 4 mm, length: 40 mm")
    near = plateau(whole(opened(make(tmp_path, raised))), "chamomile")
    dark = np.array([12, 11, 14])
    assert (near.mean(axis=1) - dark) / (flat - dark) == pytest.approx([(40 / 36) ** 2] * 3, rel=2e-3)


def test_a_round_part_beside_its_axis_reads_by_the_cosine(tmp_path: Path) -> None:
    """A matt cylinder of 30 mm radius under light from above, the spot 15 mm beside its axis: the normal is 30 deg off, and the
    surface 30 (1 - cos 30 deg) = 4.02 mm lower: cos 30 deg (40 / 44.02)^2 (Lambert, inverse square), for a small spot."""
    base = QUIET.replace(JITTER, "").replace("{standoff: 40 mm, view: 45 deg}", "{standoff: 40 mm, spot: 0.5 mm}")
    shaped = "chamomile: {cylinder: {radius: 30 mm, axis: along}, SIDE length: 40 mm"
    above = base.replace("chamomile: {length: 40 mm", shaped.replace("SIDE ", ""))
    on = plateau(whole(opened(make(tmp_path, above))), "chamomile")
    beside = base.replace("chamomile: {length: 40 mm", shaped.replace("SIDE", "sideways: 15 mm,"))
    off = plateau(whole(opened(make(tmp_path, beside))), "chamomile")
    dark = np.array([12, 11, 14])
    down = 30 * (1 - np.cos(np.radians(30)))
    expected = np.cos(np.radians(30)) * (40 / (40 + down)) ** 2
    assert (off.mean(axis=1) - dark) / (on.mean(axis=1) - dark) == pytest.approx([expected] * 3, rel=5e-3)


def test_a_film_over_white_is_passed_twice(tmp_path: Path) -> None:
    """Liquids in contact over one reflector, the second twice as thick: each passes the light twice, so the darker is to the
    lighter as T to the power of the path, but for the little that is thrown back inside (Beer-Lambert; T = 80 %)."""
    films = """\
  white: {grey: 4 %}
  mint: {film: {over: white, transmittance: 80 %, index: 1.33, roughness: 0, lies: in contact}}
  chamomile: {film: {over: white, transmittance: 80 %, index: 1.33, roughness: 0, lies: in contact, thickness: 2}}
"""
    seam = "view: 30 deg, light_cone: 2 deg, view_cone: 2 deg"
    text = re.sub(r"  mint: \{colour.*\n  chamomile: \{colour.*\n", films, QUIET).replace("view: 45 deg", seam)
    text = text.replace(JITTER, "").replace(", spread: {L: 0.5, a: 0.3, b: 0.3, gloss: 5 %}", "")
    batch = whole(opened(make(tmp_path, text)))
    dark = np.array([12, 11, 14])
    thin, thick = (plateau(batch, name).mean(axis=1) - dark for name in ("mint", "chamomile"))
    inside = np.degrees(np.arcsin(np.sin(np.radians(30)) / 1.33))  # Snell: the way back out is longer
    path = 1 + 1 / np.cos(np.radians(inside))
    assert thick / thin == pytest.approx([0.8**path] * 3, rel=0.03)


def test_a_texture_is_steadier_under_a_larger_spot(tmp_path: Path) -> None:
    """Common practice, no source: here with the closed form of its own spread, 1 / sqrt(1 + spot area / patch area)."""
    text = QUIET.replace("grey: 6 %", "grey: 40 %, texture: {patch: 1 mm, amount: 10 %}")
    text = text.replace("  gap: 30 mm", "  gap: 30 mm\n  lead: 9000 mm")
    spread = []
    for spot in ("1 mm", "6 mm"):
        under = text.replace("standoff: 40 mm", f"standoff: 40 mm, spot: {spot}")
        band = whole(opened(make(tmp_path, under))).bands["eye"][0][:17900]
        spread.append((band - 12).std() / (band - 12).mean())
    expected = [0.1 / np.sqrt(1 + np.pi / 4 * spot**2) for spot in (1, 6)]
    assert spread == pytest.approx(expected, rel=0.15)


def test_a_seam_flashes_where_its_flank_mirrors_the_light(tmp_path: Path) -> None:
    """Lit along the axis and seen at 45 deg, a glossy face mirrors light into the receiver where it is tilted by 22.5 deg: only
    the flank of the seam that faces it does (law of reflection)."""
    seam = "mint: {rib: {at: 20 mm, width: 12 mm, height: 2 mm, flanks: 22.5 deg}, length: 40 mm"
    text = QUIET.replace("mint: {length: 40 mm", seam)
    text = text.replace("roughness: 0.3", "roughness: 0.08").replace(JITTER, "")
    text = text.replace("light_cone: 10 deg", "").replace("standoff: 40 mm", "standoff: 60 mm, spot: 2 mm")
    batch = whole(opened(make(tmp_path, text)))
    (first, last), *_ = runs(batch.codes["target"] == 0)
    face = batch.bands["eye"][0][first:last]
    plain = np.median(face)
    flash = runs(face > 1.5 * plain)
    assert len(flash) == 1
    # the flanks are 12 to 2 x 2 / tan 22.5 deg = 9.66 mm apart at the top; one of them, 4.83 mm wide, at 500 mm/s: 9.7 ms
    assert 6 <= flash[0][1] - flash[0][0] <= 14
    # the light comes from above and the receiver looks from where the belt comes from: the flank behind the seam's middle
    assert flash[0].mean() > (first + 2 / 0.5 / 2 + 20 / 0.5) - first


# --- specimens, sets, inputs ------------------------------------------------------------------------------------------------


def test_specimens_keep_their_colour(tmp_path: Path) -> None:
    """Five parts of spread colour, presented six times each: the same part reads the same, others do not."""
    still = QUIET.replace(JITTER, "").replace("L: 0.5", "L: 3")
    batch = whole(opened(make(tmp_path, still)))
    starts = runs(batch.codes["target"] == 0)
    centre = np.stack([batch.bands["eye"][1][(a + b) // 2] for a, b in starts])
    by_part = centre.reshape(6, 5)
    assert np.ptp(by_part, axis=0).max() <= 1
    assert by_part.std(axis=1).min() > 20


def test_chosen_defects_are_in_the_chosen_sets(tmp_path: Path) -> None:
    scene = opened(make(tmp_path, BOXES))
    line = scene.line
    held = [sorted(line.target[line.set == number].tolist()) for number in range(30)]
    assert held[2] == [1]  # box 3 lacks its mint
    assert held[4] == [1, 1]  # box 5 holds chamomile in place of mint
    assert len(held[6]) == 3  # box 7 holds one of them twice
    assert all(held[number] == [0, 1] for number in range(30) if number not in (2, 4, 6))


def test_a_share_of_defects(tmp_path: Path) -> None:
    """10 % of 1000 boxes: 100, standard deviation sqrt(1000 x 0.1 x 0.9) = 9.5 (binomial)."""
    text = BOXES.replace("{missing: mint, sets: [3]}", "{missing: any, share: 10 %}").replace("count: 30", "count: 1000")
    line = opened(make(tmp_path, text.replace(", {wrong: mint, by: chamomile, sets: [5]}, {doubled: any, sets: 7}", ""))).line
    short = sum(int((line.set == number).sum()) == 1 for number in range(1000))
    assert abs(short - 100) < 4 * 9.5


def test_shuffled_members_come_in_every_order(tmp_path: Path) -> None:
    text = BOXES.replace("box: {gap", "box: {order: shuffled, gap").replace("count: 30", "count: 400")
    line = opened(make(tmp_path, text)).line
    first = np.array([line.target[np.argmax(line.set == number)] for number in range(400)])
    assert abs(int(first.sum()) - 200) < 4 * 10  # sqrt(400 / 4)


def test_inputs_rise_when_they_should(tmp_path: Path) -> None:
    """Box in 40 ms before the first sachet of a box enters the spot, box out 40 ms after the last one has left it; 20 ms long."""
    batch = whole(opened(make(tmp_path, BOXES)))
    of_set = batch.codes["set"]
    into, out = runs(batch.digital["input", "box in"]), runs(batch.digital["input", "box out"])
    assert len(into) == len(out) == 30
    assert (into[:, 1] - into[:, 0] == 20).all() and (out[:, 1] - out[:, 0] == 20).all()
    for number in range(30):
        rows = np.flatnonzero(of_set == number)
        assert rows[0] - into[number, 0] == 40
        assert out[number, 0] - (rows[-1] + 1) == 40


def test_inputs_at_times_and_during(tmp_path: Path) -> None:
    text = SCENE + "inputs:\n  box in: {times: [1 s, 2.5 s], lasts: 50 ms}\n  box out: {during: mint}\n"
    batch = whole(opened(make(tmp_path, text)))
    assert runs(batch.digital["input", "box in"]).tolist() == [[1000, 1050], [2500, 2550]]
    assert (batch.digital["input", "box out"] == (batch.codes["target"] == 0)).all()


# --- the same bytes -----------------------------------------------------------------------------------------------------------


LONG = SCENE.replace("count: 60", "lasts: 4 min").replace("read_noise: 1.5", "read_noise: 1.5\n    averages: 7").replace(
    "grey: 6 %", "grey: 6 %, texture: {patch: 1 mm, amount: 5 %}"
)


def test_any_cell_can_be_made_alone(tmp_path: Path) -> None:
    folder = make(tmp_path, LONG)
    straight = list(opened(folder).batches())
    assert len(straight) == 4  # 240,000 rows in cells of 65,536
    for number in (3, 1, 2, 0):
        alone = opened(folder).cell(number)
        for mine, other in zip(alone.bands["eye"], straight[number].bands["eye"], strict=True):
            assert mine.tobytes() == other.tobytes()
        for role in alone.codes:
            assert alone.codes[role].tobytes() == straight[number].codes[role].tobytes()


def test_levels_do_not_depend_on_where_a_stretch_begins(tmp_path: Path) -> None:
    sensed = opened(make(tmp_path, LONG))._sensed
    apart = [sensed.levels(low, low + 977) for low in range(60_000, 60_000 + 9 * 977, 977)]
    together = sensed.levels(60_000, 60_000 + 9 * 977)
    for band in range(3):
        assert np.concatenate([piece[band] for piece in apart]).tobytes() == together[band].tobytes()


def test_seek_gives_the_cells_that_hold_a_stretch(tmp_path: Path) -> None:
    scene = opened(make(tmp_path, LONG))
    assert [batch.first_row for batch in scene.seek(65_530_000_000, 65_540_000_000)] == [0, 65_536]
    assert [batch.first_row for batch in scene.seek(239_000_000_000, 300_000_000_000)] == [3 * 65_536]


def test_workers_give_the_same_result(tmp_path: Path) -> None:
    cases = CASES.replace("scene: ../scenes/line.scene.yaml", "scene: [../scenes/line.scene.yaml, ../scenes/more.scene.yaml]")
    folder = make(tmp_path, cases=cases)
    (folder / "scenes" / "more.scene.yaml").write_text(SCENE.replace("seed: 7", "seed: 8"), encoding="utf-8")
    found, parts = suite(folder), plugins.load()
    digests = {running.run(found, parts, workers=workers).record["result_sha256"] for workers in (0, 2)}
    assert len(digests) == 1


def test_another_seed_gives_other_readings(tmp_path: Path) -> None:
    first = counts(opened(make(tmp_path)))
    again = counts(opened(make(tmp_path)))
    other = counts(opened(make(tmp_path, SCENE.replace("seed: 7", "seed: 8"))))
    assert (first == again).all() and not (first == other).all()


def test_names_do_not_reach_the_readings(tmp_path: Path) -> None:
    """Every target renamed, the sensor too: the same counts, and the same switching."""

    def renamed(text: str) -> str:
        return text.replace("chamomile", "zebra").replace("mint", "aardvark").replace("eye", "other eye")

    for name in ("as it is", "renamed"):
        (tmp_path / name).mkdir()
    usual = make(tmp_path / "as it is", BOXES)
    strange = make(tmp_path / "renamed", renamed(BOXES), station=renamed(STATION), cases=renamed(CASES))
    (strange / "scenes" / "taught.scene.yaml").write_text(renamed(SCENE.replace("count: 60", "count: 6")), encoding="utf-8")
    assert (counts(opened(usual)) == counts(opened(strange))).all()
    key, parts = "scenes/line.scene.yaml", plugins.load()
    observed = [running.observe_all(suite(folder), parts, [key])[key] for folder in (usual, strange)]
    for name in ("fired", "silent", "first_on_ns", "on_ns", "critical_sure"):
        assert np.array_equal(getattr(observed[0].responses, name), getattr(observed[1].responses, name), equal_nan=True)
    for signal, other in zip(observed[0].signals.values(), observed[1].signals.values(), strict=True):
        assert (signal.must == other.must).all()


# --- how verdicts on a scene are marked ----------------------------------------------------------------------------------------


def test_everything_that_rests_on_a_scene_is_simulated(tmp_path: Path) -> None:
    found, parts = suite(make(tmp_path, BOXES)), plugins.load()
    done = running.run(found, parts)
    result = done.record["result"]
    assert result["simulated"] is True
    assert {case["basis"] for case in result["cases"]} == {"simulated"}
    (source,) = result["sources"]
    assert source["kind"] == "scene" and source["basis"] == "simulated"
    assert {entry["role"] for entry in result["inputs"]} == {"station", "cases", "scene"}
    assert any("simulated" in limit for limit in result["limits"])
    assert {signal.basis for signal in done.observations["scenes/line.scene.yaml"].signals.values()} == {"simulated"}


def test_a_case_that_asks_for_recorded_outputs_is_not_judged_on_a_scene(tmp_path: Path) -> None:
    folder = make(tmp_path, cases=CASES.replace("evidence: {trials: 20}", "evidence: {trials: 20}\nbasis: recorded"))
    result = running.run(suite(folder), plugins.load()).record["result"]
    assert {case["verdict"] for case in result["cases"]} == {"not judged"}


def test_the_page_says_simulated_loudly(tmp_path: Path) -> None:
    from stationtest.report.page import render

    page = render(running.run(suite(make(tmp_path)), plugins.load()).record)
    page = page if isinstance(page, str) else page.decode("utf-8")
    assert "SIMULATED" in page and "Verdicts on simulated readings say nothing about a station that was built." in page


def test_scenes_that_are_not_named_are_no_inputs(tmp_path: Path) -> None:
    folder = make(tmp_path)
    before = running.run(suite(folder), plugins.load()).record["result_sha256"]
    (folder / "scenes" / "other.scene.yaml").write_text(SCENE, encoding="utf-8")
    assert running.run(suite(folder), plugins.load()).record["result_sha256"] == before


def test_open_scene_asks_for_one_that_was_read(tmp_path: Path) -> None:
    with pytest.raises(Exception, match="this scene was not read with the station"):
        open_scene(suite(make(tmp_path)), "scenes/none.scene.yaml")


# --- sensors of many bands, units, and responses --------------------------------------------------------------------------------

SIX = (420, 470, 520, 570, 620, 680)
MANY = STATION.replace("reads: linear RGB", "reads: bands").replace(
    "columns: {red: r, green: g, blue: b}", "columns: {" + ", ".join(f"b{nm}: c{nm}" for nm in SIX) + "}"
)
MANY = MANY.replace("dark: [12, 11, 14]", "dark: [10, 10, 10, 10, 10, 10]")
MANY = MANY.replace("white: [3650, 3720, 3590]", "white: [3600, 3600, 3600, 3600, 3600, 3600]")


def six_bands(text: str) -> str:
    peaks, widths = ", ".join(f"{nm} nm" for nm in SIX), ", ".join(["20 nm"] * 6)
    return re.sub(r"peaks: \[.*?\], widths: \[.*?\]", f"peaks: [{peaks}], widths: [{widths}]", text)


def test_a_sensor_of_six_bands_reads_the_spectrum_under_each(tmp_path: Path) -> None:
    """A reflectance that falls straight from 80 % at 380 nm to 20 % at 780 nm, under a light that is even: each narrow symmetric
    band reads its value at the centre (a mean of a straight line)."""
    line = "nm,r\n" + "".join(f"{nm},{0.8 - 0.6 * (nm - 380) / 400:.6f}\n" for nm in range(380, 781, 5))
    text = re.sub(r"chamomile: \{colour.*", "chamomile: {spectrum: part.csv}", six_bands(QUIET)).replace(JITTER, "")
    text = text.replace("illuminant: LED-B3", "illuminant: E")
    folder = make(tmp_path, text, station=MANY, part=line)
    (folder / "scenes" / "taught.scene.yaml").write_text(six_bands(SCENE), encoding="utf-8")
    found = plateau(whole(opened(folder)), "chamomile").mean(axis=1)
    expected = [10 + (0.8 - 0.6 * (nm - 380) / 400) * 3590 for nm in SIX]
    assert found == pytest.approx(expected, abs=1.5)


def test_a_sensor_of_six_bands_is_judged_and_written_out(tmp_path: Path) -> None:
    folder = make(tmp_path, six_bands(SCENE), station=MANY)
    (folder / "scenes" / "taught.scene.yaml").write_text(six_bands(SCENE), encoding="utf-8")
    result = running.run(suite(folder), plugins.load(), only=["REC-01"]).record["result"]
    assert result["cases"][0]["nonconforming"] == 0 and result["cases"][0]["conforming"] > 40


def test_another_unit_reads_white_with_its_own_gains(tmp_path: Path) -> None:
    """Gains 5 % apart from unit to unit (log-normal): of 200 units the mean of the logarithms is 0 and their spread 0.05."""
    logs = []
    for number in range(70):
        spread = f"widths: [50 nm, 50 nm, 50 nm], spread: {{gains: 5 %}}, unit: U{number}"
        text = QUIET.replace("widths: [50 nm, 50 nm, 50 nm]", spread).replace("count: 60", "count: 2").replace("6 %", "50 %")
        bands = whole(opened(make(tmp_path, text))).bands["eye"]
        for band, dark, white in zip(bands, (12, 11, 14), (3650, 3720, 3590), strict=True):
            logs.append(np.log((band[:300].mean() - dark) / (0.5 * (white - dark))))
    assert abs(np.mean(logs)) < 4 * 0.05 / np.sqrt(210)
    assert np.std(logs) == pytest.approx(0.05, rel=4 / np.sqrt(2 * 210))


def test_a_file_of_responses_reads_as_the_bands_it_holds(tmp_path: Path) -> None:
    """The Gauss-shaped bands written out as curves every nm, and read again: the same counts within one."""
    nm = np.arange(380, 781)
    curves = [np.exp(-4 * np.log(2) * ((nm - peak) / 50) ** 2) for peak in (610, 540, 460)]
    table = "nm,red,green,blue\n" + "".join(
        f"{at},{r:.9f},{g:.9f},{b:.9f}\n" for at, r, g, b in zip(nm.tolist(), *curves, strict=True)
    )
    by_peaks = plateau(whole(opened(make(tmp_path, QUIET))), "mint").mean(axis=1)
    text = re.sub(r"bands: \{.*\}", "bands: {responses: eye.csv}", QUIET)
    by_curves = plateau(whole(opened(make(tmp_path, text, eye=table))), "mint").mean(axis=1)
    assert by_curves == pytest.approx(by_peaks, abs=2)
