"""References learned at an edge (A16): judged rightly before, during and after it; what is taught wrongly shows as a failure."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scene_kit import CASES, SCENE, STATION, make, opened, problems, suite, whole

from stationtest import plugins
from stationtest.engine import running
from stationtest.model.observations import TAUGHT, SourceObservations

AT_AN_EDGE = "{learned_at: teach, targets: [mint, chamomile], samples: 40, meanwhile: hold}"
LEARNS = STATION.replace("inputs: [box in, box out]", "inputs: [box in, box out, teach]")
LEARNS = LEARNS.replace("{learned: scenes/taught.scene.yaml, target: mint}", AT_AN_EDGE)
LEARNS = LEARNS.replace("  2: {", "  3: {").replace("all_of: [1, 2]", "all_of: [1, 3]")

# leading edges of 70 mm pitch at 500 mm/s: target k is before the sensor from 396 + 140 k to 484 + 140 k ms, mint where k is even
TEACH_MINT, TEACH_CHAMOMILE = 396 + 140 * 2 + 20, 396 + 140 * 31 + 20


def taught(*instants_ms: int, more: str = "") -> str:
    times = ", ".join(f"{at} ms" for at in instants_ms)
    return SCENE + f"inputs:\n  teach: {{times: [{times}], lasts: 10 ms}}\n" + more


def observed(folder: Path, key: str = "scenes/line.scene.yaml") -> SourceObservations:
    return running.observe_all(suite(folder), plugins.load(), [key])[key]


def shown(obs: SourceObservations) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Presentations of targets in order: which target (0 mint), whether channel 1 fired, and their status."""
    mine = np.flatnonzero(~obs.presentations.between)
    named = np.array([obs.presentations.targets.index("mint")])
    return (
        np.where(obs.presentations.target[mine] == named, 0, 1),
        obs.responses.fired[mine, 0],
        obs.presentations.status[mine],
    )


def test_a_changeover_is_judged_before_during_and_after_its_edge(tmp_path: Path) -> None:
    """Mint is taught on the third target, chamomile on the thirty-second: between them mint fires, after that chamomile."""
    obs = observed(make(tmp_path, taught(TEACH_MINT, TEACH_CHAMOMILE), station=LEARNS))
    target, fired, status = shown(obs)
    assert not fired[:2].any()  # nothing is known before the first edge
    assert not obs.responses.known[~obs.presentations.between][:2, 0].any()
    assert (status & TAUGHT != 0).nonzero()[0].tolist() == [2, 31]
    assert (fired[3:31] == (target[3:31] == 0)).all()
    assert (fired[32:] == (target[32:] == 1)).all()
    assert [each.from_ns for each in obs.settings] == [None, (TEACH_MINT + 40) * 10**6, (TEACH_CHAMOMILE + 40) * 10**6]
    stands_for = [next(channel for channel in each.channels if channel.name == "1").for_targets for each in obs.settings]
    assert stands_for == [("mint",), ("mint",), ("chamomile",)]


def test_what_is_learned_is_the_mean_of_the_readings_from_the_edge_on(tmp_path: Path) -> None:
    """Arithmetic: 40 rows from the rising edge, dark off, over white less dark; then what the channel compares with."""
    folder = make(tmp_path, taught(TEACH_MINT), station=LEARNS)
    from stationtest.engine import learning
    from stationtest.engine.learning_at_edges import learn_at_edges

    found = suite(folder)
    relearned = learn_at_edges(found.station, opened(folder), learning.learn(found, plugins.load()))
    assert relearned is not None
    (key,) = [learned for learned in relearned.means if learned.at_ns is not None]
    rows = np.stack(whole(opened(folder)).bands["eye"])[:, TEACH_MINT : TEACH_MINT + 40].mean(axis=1)
    dark, white = np.array([12, 11, 14]), np.array([3650, 3720, 3590])
    assert relearned.means[key] == pytest.approx(((rows - dark) / (white - dark)).tolist(), rel=1e-12)
    assert key.at_ns == TEACH_MINT * 10**6


def test_a_case_before_and_after(tmp_path: Path) -> None:
    """The same case on the whole scene: its trials are those between and after, none that taught, none that knew nothing."""
    asked = "evidence: {reliability: 80 %, confidence: 80 %, of: presentations, not_judged: at most 20 %}"
    cases = CASES.replace("evidence: {trials: 20}", asked)
    folder = make(tmp_path, taught(TEACH_MINT, TEACH_CHAMOMILE), station=LEARNS, cases=cases)
    (recognised, *_) = running.run(suite(folder), plugins.load()).record["result"]["cases"]
    assert recognised["nonconforming"] == 0
    assert any("a reference was learned from it" in entry["why"] for entry in recognised["left_out"]), recognised


def test_learning_on_the_wrong_target_shows_as_a_failure(tmp_path: Path) -> None:
    """Taught while chamomile lies there, meant for mint: mint does not fire from then on, and chamomile does."""
    folder = make(tmp_path, taught(TEACH_MINT + 140), station=LEARNS)
    target, fired, _ = shown(observed(folder))
    after = slice(4, None)
    assert (fired[after] == (target[after] == 1)).all()
    cases = {case["id"]: case for case in running.run(suite(folder), plugins.load()).record["result"]["cases"]}
    assert cases["REC-01"]["verdict"] == "fail"


def test_clipped_readings_teach_nothing(tmp_path: Path) -> None:
    """The second teaching meets a light that is too bright: what was learned before stays, and the run says why."""
    text = taught(TEACH_MINT, TEACH_CHAMOMILE)
    bright = text.replace("chamomile: {colour: {Lab: [82, 2, 46], illuminant: D65, observer: 2 deg}}", "chamomile: {grey: 100 %}")
    bright = bright.replace("electrons: 200000", "electrons: 200000\n    white: 100 %")
    obs = observed(make(tmp_path, bright, station=LEARNS))
    (note,) = [note for note in obs.notes if "nothing was learned" in note]
    assert note == f"channel 1: nothing was learned at {TEACH_CHAMOMILE / 1000:.3f} s: 40 of its 40 readings are clipped or dark"
    target, fired, _ = shown(obs)
    assert (fired[3:31] == (target[3:31] == 0)).all() and (fired[32:] == (target[32:] == 0)).all()
    last = next(channel for channel in obs.settings[-1].channels if channel.name == "1")
    assert last.for_targets == ("chamomile",)  # it was meant to; its firing for mint is now wrong
    assert last.references[0].learned is not None and last.references[0].learned.at_ns == TEACH_MINT * 10**6


def test_dark_readings_teach_nothing(tmp_path: Path) -> None:
    station = LEARNS.replace("    spot: 4 mm", "    spot: 4 mm\n    when_dark: {below: 8 %, channels: compare}")
    obs = observed(make(tmp_path, taught(100), station=station))  # over the bare belt, which reads 6 % of white
    assert any("40 of its 40 readings are clipped or dark" in note for note in obs.notes)
    assert not shown(obs)[1].any()


@pytest.mark.parametrize(
    ("instants", "why"),
    [
        ((1000, 1020), "the next edge comes before its readings are in"),
        ((8470,), ""),
        ((9130,), "the recording ends before its readings are in"),
    ],
)
def test_a_lesson_that_is_cut_short_teaches_nothing(tmp_path: Path, instants: tuple[int, ...], why: str) -> None:
    obs = observed(make(tmp_path, taught(*instants), station=LEARNS))
    found = [note for note in obs.notes if "nothing was learned" in note]
    assert (len(found) == 1 and found[0].endswith(why)) if why else not found


@pytest.mark.parametrize("meanwhile", ["hold", "off"])
def test_what_the_output_does_meanwhile(tmp_path: Path, meanwhile: str) -> None:
    """Taught again in the middle of a mint that fires: for the 40 ms it stays on, or drops."""
    station = LEARNS.replace("meanwhile: hold", f"meanwhile: {meanwhile}").replace("targets: [mint, chamomile]", "target: mint")
    again = 396 + 140 * 10 + 20
    obs = observed(make(tmp_path, taught(TEACH_MINT, again), station=station))
    match = obs.signals["match", "1"].must
    inside = (match[:, 0] < (again + 1) * 10**6) & (match[:, 1] > (again + 39) * 10**6)
    assert inside.any() == (meanwhile == "hold")


def test_a_reference_before_the_first_edge(tmp_path: Path) -> None:
    """`before:` is what the channel looks for until it is taught: here chamomile, from a stretch of another scene."""
    station = LEARNS.replace("meanwhile: hold", "meanwhile: hold, before: {learned: scenes/taught.scene.yaml, target: chamomile}")
    obs = observed(make(tmp_path, taught(TEACH_MINT + 560), station=station))
    target, fired, status = shown(obs)
    assert (fired[:6] == (target[:6] == 1)).all() and status[6] & TAUGHT
    assert (fired[7:] == (target[7:] == 0)).all()


def test_an_input_that_is_on_in_the_first_row_has_had_no_edge(tmp_path: Path) -> None:
    obs = observed(make(tmp_path, SCENE + "inputs:\n  teach: {times: 0 ms, lasts: 700 ms}\n", station=LEARNS))  # A25
    assert len(obs.settings) == 1 and not shown(obs)[1].any()
    falls = LEARNS.replace("learned_at: teach,", "learned_at: teach falls,")
    obs = observed(make(tmp_path, SCENE + "inputs:\n  teach: {times: 0 ms, lasts: 700 ms}\n", station=falls))
    assert [each.from_ns for each in obs.settings] == [None, 740 * 10**6]


def test_a_recording_without_the_sensor_is_not_gone_through_for_it(tmp_path: Path) -> None:
    """A second sensor learns at the edge; the scene is of the first."""
    ear = "  ear: {reads: linear RGB, columns: {red: x, green: y, blue: z}, full_scale: 4095, white: [9, 9, 9]}\n  eye:\n"
    station = STATION.replace("inputs: [box in, box out]", "inputs: [box in, box out, teach]").replace("  eye:\n", ear)
    station = station.replace("1: {", "1: {sensor: eye, ").replace("2: {", "2: {sensor: eye, ")
    learns = "  3: {sensor: ear, reference: {learned_at: teach, target: mint, samples: 9, meanwhile: off},\n"
    learns += "      distance: sensor chromaticity, tolerance: 0.03}\n"
    obs = observed(make(tmp_path, taught(TEACH_MINT), station=station.replace("inputs: [", f"{learns}inputs: [")))
    assert obs.settings == () and not obs.notes


def test_without_the_input_nothing_is_taught_and_the_run_says_so(tmp_path: Path) -> None:
    obs = observed(make(tmp_path, station=LEARNS))
    assert "input teach is not in this recording, so nothing was taught" in obs.notes


def test_the_same_in_other_processes_and_from_a_recording(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from stationtest import cli

    folder = make(tmp_path, taught(TEACH_MINT, TEACH_CHAMOMILE), station=LEARNS)
    keys, parts = ["scenes/line.scene.yaml", "scenes/taught.scene.yaml"], plugins.load()
    here = running.observe_all(suite(folder), parts, keys[:1])[keys[0]]
    both = CASES.replace("../scenes/line.scene.yaml", "[../scenes/taught.scene.yaml, ../scenes/line.scene.yaml]")
    (folder / "cases" / "line.case.yaml").write_text(both, encoding="utf-8")
    there = running.observe_all(suite(folder), parts, keys, workers=2)[keys[0]]
    assert there.settings == here.settings and (there.responses.fired == here.responses.fired).all()
    cli.main(["simulate", str(folder / keys[0]), "-o", str(folder / "recordings" / "line.parquet")])
    form = capsys.readouterr().out.partition("recordings:\n")[2]
    station = (folder / "station.yaml").read_text(encoding="utf-8")
    (folder / "station.yaml").write_text(station.replace("recordings:\n", f"recordings:\n{form}"), encoding="utf-8")
    later = running.observe_all(suite(folder), parts, ["recordings/line.parquet"])["recordings/line.parquet"]
    assert [each.from_ns for each in later.settings] == [each.from_ns for each in here.settings]
    assert (later.responses.fired == here.responses.fired).all()


BAD = [
    ("samples: 40, ", "", "samples: this key is missing; it says how many readings are averaged, such as 64 [missing-key]"),
    (", meanwhile: hold", "", "meanwhile: this key is missing; it says what the output does until they are in: hold or off"),
    ("targets: [mint, chamomile], ", "", "what is taught is said by `target`, or by `targets` for one edge after the other"),
    ("targets: [mint, chamomile]", "targets: [mint], target: mint", "what is taught is said by `target`, or by `targets`"),
    ("learned_at: teach", "learned_at: tech", "there is no input of this name; did you mean `teach`?"),
    ("learned_at: teach", "learned: scenes/taught.scene.yaml, target: mint", "this belongs to a learned_at reference"),
    ("meanwhile: hold", "meanwhile: keep", "this word is not known here"),
    ("meanwhile: hold}", "meanwhile: hold}, for: [mint]", "what it stands for changes with what is taught; leave `for:` out"),
    ("meanwhile: hold}", "meanwhile: hold, before: {learned_at: teach, target: mint, samples: 3, meanwhile: off}}",
     "before the first edge the reference is"),
    ("reference: {learned_at: teach, targets: [mint, chamomile], samples: 40, meanwhile: hold}",
     "references: [{learned_at: teach, target: mint, samples: 40, meanwhile: hold}]",
     "a channel that learns at an edge has one `reference:`"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "answer"), BAD, ids=[f"{number}" for number in range(len(BAD))])
def test_bad_references(tmp_path: Path, old: str, new: str, answer: str) -> None:
    assert LEARNS.count(old) == 1
    found = problems(make(tmp_path, station=LEARNS.replace(old, new)))
    assert any(answer in problem for problem in found), found
