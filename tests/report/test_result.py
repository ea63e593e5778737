"""From a folder of files to the result of a record and its figures, with numbers worked out by hand.

The station compares band shares. Near reads 500, 300, 200 of 1000: shares 0.5, 0.3, 0.2, on the reference itself. Far reads 400,
300, 300: its distance is the root of (0.1² + 0² + 0.1²), 0.14142. The belt reads the same in all bands: the root of
((1/2 - 1/3)² + (1/3 - 0.3)² + (1/3 - 0.2)²), 0.21602.
"""

from __future__ import annotations

import copy
import dataclasses
import math
import re
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from stationtest import plugins
from stationtest.engine import claims, colour_figures, figure_words, illustrating, pairs, recording, running, thinning
from stationtest.files import canonical, suite
from stationtest.model.station import Channel, Reference
from stationtest.report import drawings, page
from stationtest.signals import colour_science

STATION = """
station: bench
between: belt
scan: {worst: 2 ms, input_filter: 1 ms}
sensors:
  eye: {reads: linear RGB, columns: {red: r, green: g, blue: b}, full_scale: 1000, dark: [0, 0, 0], white: [1000, 1000, 1000]}
targets:
  near: {colour: {shares: [0.5, 0.3, 0.2]}}
  far: {title: Far}
  belt: {background: yes}
channels:
  a: {reference: near, distance: sensor chromaticity, tolerance: 0.05, hysteresis: 10 %}
recordings:
  "day.csv": {time: {column: t, in: ms}, every: 1 ms, gap: 3 ms, target: what, specimen: no}
"""
CASES = """
readings: [../day.csv]
evidence: {trials: 3}
cases:
  OWN-1:
    {title: Near fires, requirement: R-1, present: near,
     expect: {own_channel_only: yes, response: {at_most: 20 ms, from: start}}}
  OWN-2: {title: Far must not be asked to, requirement: [R-1, R-2], present: far, expect: {channels: [a]}}
  BELT-1:
    {title: Quiet, requirement: R-4, present: {between: belt}, expect: {no_channel: yes},
     evidence: {duration: 10 min, events: none}}
  SPARE-1: {title: Nobody asked, present: near, expect: {held: at least 10 ms}}
"""
REQUIREMENTS = """id,text,verified_by
R-1,told apart,
R-2,also,
R-3,guarded,inspection
R-4,quiet,
R-5,forgotten,
"""
READS = {"near": (500, 300, 200), "far": (400, 300, 300), "": (100, 100, 100)}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("bench")
    (made / "cases").mkdir()
    (made / "station.yaml").write_text(STATION)
    (made / "cases" / "all.case.yaml").write_text(CASES)
    (made / "requirements.csv").write_text(REQUIREMENTS)
    lines, t = ["t,r,g,b,what,no"], 0
    for turn in range(4):
        for what, lasting in (("", 50), ("near", 40), ("", 50), ("far", 40)):
            for _ in range(lasting):
                lines.append(f"{t},{','.join(map(str, READS[what]))},{what},{f'{what}-{turn}' if what else ''}")
                t += 1
    lines += [f"{t + k},100,100,100,," for k in range(50)]
    (made / "day.csv").write_text("\n".join(lines) + "\n")
    return made


def run(folder: Path, only: list[str] | None = None) -> dict[str, Any]:
    parts = plugins.load()
    return dict(running.run(suite.load(folder, expectations=parts.expectations), parts, only=only).record)


@pytest.fixture(scope="module")
def record(folder: Path) -> dict[str, Any]:
    return run(folder)


@pytest.fixture(scope="module")
def result(record: dict[str, Any]) -> dict[str, Any]:
    return dict(record["result"])


def figure(result: dict[str, Any], kind: str) -> dict[str, Any]:
    return next(dict(each["data"]) for each in result["figures"] if each["kind"] == kind)


def test_counts_and_verdict(result: dict[str, Any]) -> None:
    assert result["verdict"] == "fail"
    assert result["counts"] == {
        "planned": 4, "selected": 4, "executed": 4, "repeated": 0, "passed": 2, "failed": 1, "not_shown": 1, "not_judged": 0,
    }  # fmt: skip
    assert (result["partial"], result["partial_because"], result["simulated"]) == (False, [], False)


def test_requirements_both_ways(result: dict[str, Any]) -> None:
    rows = {row["id"]: (row["state"], row["listed"], row["cases"]) for row in result["requirements"]}
    assert rows == {
        "R-1": ("failed", True, ["OWN-1", "OWN-2"]),
        "R-3": ("verified otherwise", True, []),
        "R-5": ("not covered", True, []),
        "R-2": ("failed", True, ["OWN-2"]),
        "R-4": ("not shown", True, ["BELT-1"]),
    }


def test_without_a_list_the_requirements_of_the_cases_stand_as_not_listed(folder: Path, result: dict[str, Any]) -> None:
    loaded = suite.load(folder, expectations=plugins.load().expectations)
    rows = claims.requirements(dataclasses.replace(loaded, requirements=()), result["cases"])
    assert [(row["id"], row["listed"], row["state"]) for row in rows] == [
        ("R-1", False, "failed"), ("R-2", False, "failed"), ("R-4", False, "not shown"),
    ]  # fmt: skip


def test_a_selection_is_partial_and_the_rest_stands_as_not_run(folder: Path) -> None:
    result = run(folder, ["OWN-1"])["result"]
    assert (result["verdict"], result["partial"]) == ("pass", True)
    assert result["partial_because"] == ["3 of the planned cases were not selected: OWN-2, BELT-1, SPARE-1."]
    states = {case["id"]: (case["state"], case["verdict"]) for case in result["cases"]}
    assert states["OWN-1"] == ("executed", "pass") and states["BELT-1"] == ("not run", None)
    assert next(row for row in result["requirements"] if row["id"] == "R-4")["state"] == "not shown"


def test_the_source_is_summed_up(result: dict[str, Any]) -> None:
    (source,) = result["sources"]
    assert (source["presentations"], source["stretches_between"], source["rows"]) == (8, 9, 770)
    assert source["period_ns"] == [1_000_000] * 3
    assert (source["outside"], source["outside_count"], source["outside_ns"]) == ([], 0, 0)
    met = {pair["target"]: pair for pair in source["observed"]}
    assert (met["near"]["should"], met["near"]["n"], met["near"]["fired"], met["near"]["silent"]) == ("on", 4, 4, 0)
    assert (met["far"]["should"], met["far"]["n"], met["far"]["fired"], met["far"]["silent"]) == ("off", 4, 0, 4)
    assert met["near"]["margin"] == pytest.approx([1.0] * 5)  # on the reference: the tolerance could shrink to nothing
    assert met["far"]["margin"] == pytest.approx([math.sqrt(0.02) / 0.05 - 1] * 5)
    assert met["far"]["closeness"] == pytest.approx([1 - math.sqrt(0.02) / 0.05] * 5)
    belt = math.sqrt((1 / 2 - 1 / 3) ** 2 + (1 / 3 - 0.3) ** 2 + (1 / 3 - 0.2) ** 2)
    assert met["belt"]["closeness"] == pytest.approx([1 - belt / 0.05] * 5)


def test_only_built_in_types_leave(record: dict[str, Any]) -> None:
    assert canonical.dumps(record["result"])  # refuses any other type, and numbers that are not finite


def test_distances_and_plane(result: dict[str, Any]) -> None:
    distances = figure(result, "distances")
    assert [(row["name"], row["should"], row["n"]) for row in distances["targets"]] == [
        ("near", "on", 4),
        ("far", "off", 4),
        ("belt", "off", 9),
    ]
    assert distances["targets"][1]["points"] == pytest.approx([math.sqrt(0.02)] * 4, abs=1e-6)
    assert (distances["tolerance"], distances["off"]) == (0.05, pytest.approx(0.055))
    plane = figure(result, "plane")
    assert (plane["references"][0]["x"], plane["references"][0]["y"]) == (0.5, 0.3)
    assert plane["targets"][1]["points"][0] == pytest.approx([0.4, 0.3])
    for x, y in plane["outlines"][0]["points"]:
        dx, dy = x - 0.5, y - 0.3
        assert math.sqrt(dx**2 + dy**2 + (dx + dy) ** 2) == pytest.approx(0.05, abs=3e-6)


def test_a_channel_that_switches_off_match_is_drawn_by_what_decides_it(folder: Path, tmp_path: Path) -> None:
    """It is on where a target is farther than the tolerance, so that near (distance 0) could have it on at no tolerance, and far
    at every tolerance below its distance, the root of 0.02 (by hand, head of this file)."""
    shutil.copytree(folder, tmp_path / "bench")
    turned = STATION.replace("hysteresis: 10 %", "switches: off match")
    (tmp_path / "bench" / "station.yaml").write_text(turned)
    found = run(tmp_path / "bench")["result"]["figures"]
    (distances,) = (each for each in found if each["kind"] == "distances")
    assert distances["data"]["off_match"] and "on where a target stays farther from near" in distances["description"]
    rows = {row["name"]: row for row in distances["data"]["targets"]}
    assert rows["near"]["should"] == "off" and rows["near"]["five"] == [0.0] * 5
    assert rows["far"]["should"] == "on" and rows["far"]["five"] == pytest.approx([math.sqrt(0.02)] * 5, abs=1e-6)
    drawn = str(drawings.draw(distances))
    line = float(re.search(r'class="limit" d="M([\d.]+) ', drawn).group(1))  # type: ignore[union-attr]
    shaded = float(re.search(r'class="within" d="M([\d.]+) ', drawn).group(1))  # type: ignore[union-attr]
    assert shaded == line and "on beyond 0.0500" in drawn and "off above" not in drawn


def test_the_matrix_keeps_each_basis_by_itself_and_names_its_recordings(result: dict[str, Any]) -> None:
    """What a person saw and what was computed are never one count."""
    (matrix,) = (each for each in result["figures"] if each["kind"] == "matrix")
    assert matrix["title"].endswith("channel of eye, computed") and matrix["description"].endswith("Of day.csv.")
    assert matrix["data"]["basis"] == "computed"


def test_a_pooled_figure_names_its_recordings() -> None:
    assert figure_words.of_recordings(["a", "b", "a"]) == "Of a and b."
    assert figure_words.of_recordings("abcde") == "Of a, b, c, d and e."
    assert figure_words.of_recordings("abcdef") == "Of a, b, c, d and 2 more recordings."


ORIGINS = """
  COV-1: {title: Covered, present: near, expect: {response: {at_most: 15 ms, from: covered}}}
  GATE-1: {title: Gate, present: near, expect: {response: {at_most: 16 ms, from: gate}}}
  GATE-2: {title: Gate, present: near, expect: {response: {at_most: 40 ms, from: gate falls}}}
"""


def test_each_origin_of_a_response_has_an_axis_of_its_own(folder: Path, tmp_path: Path) -> None:
    """By hand: a spot of 4 mm at 500 mm/s is covered 8 ms after the start. The channel comes on 20 ms after the start: 12 ms
    after that. The gate is on from 5 to 25 ms after the start of three presentations, and not during the fourth: 15 ms after its
    rise, 5 ms before its fall."""
    shutil.copytree(folder, tmp_path / "bench")
    text = STATION.replace("between: belt", "between: belt\nbelt_speed: 500 mm/s\ninputs: [gate]")
    text = text.replace("{reads:", "{spot: 4 mm, reads:").replace("hysteresis: 10 %", "on_delay: 20 ms")
    text = text.replace("specimen: no}", 'specimen: no, inputs: {gate: I1}, on: ["1"], off: ["0"]}')
    (tmp_path / "bench" / "station.yaml").write_text(text)
    (tmp_path / "bench" / "cases" / "all.case.yaml").write_text(CASES + ORIGINS)
    day = tmp_path / "bench" / "day.csv"
    head, *rows = day.read_text().splitlines()
    gate = [0] * len(rows)
    for start in (50, 230, 410):  # of near, 180 ms apart; the fourth comes at 590 ms, and the gate only after its end
        gate[start + 5 : start + 25] = [1] * 20
    gate[635:640] = [1] * 5
    day.write_text("\n".join([f"{head},I1", *(f"{row},{high}" for row, high in zip(rows, gate, strict=True))]) + "\n")
    found = [each for each in run(tmp_path / "bench")["result"]["figures"] if each["kind"] == "response"]
    told = {
        each["title"]: (each["data"]["groups"][0]["n"], each["data"]["groups"][0]["least"], each["data"]["groups"][0]["greatest"])
        for each in found
    }
    assert told == {
        "Response from start": (4, 20.0, 20.0),
        "Response from covered": (4, 12.0, 12.0),
        "Response from gate": (3, 15.0, 15.0),
        "Response from gate falls": (3, -5.0, -5.0),
    }
    limits = [[(limit["value"], limit["words"]) for limit in each["data"]["limits"]] for each in found]
    assert limits == [
        [(20.0, "OWN-1: at most 20 ms from start")],
        [(15.0, "COV-1: at most 15 ms from covered")],
        [(16.0, "GATE-1: at most 16 ms from gate")],
        [(40.0, "GATE-2: at most 40 ms from gate falls")],
    ]
    assert len({each["id"] for each in found}) == 4
    assert "Time from the edge gate to the first own on-time" in found[2]["description"]
    table = drawings.behind(found[1])
    assert table is not None
    assert "Response from covered by target and channel" in table.caption and "COV-1" in table.note
    assert all(str(drawings.draw(each)) for each in found)


def test_histogram_margins_and_strip(result: dict[str, Any]) -> None:
    response = figure(result, "response")
    assert (response["n"], sum(response["bars"]), response["limits"]) == (
        4,
        4,
        [{"value": 20.0, "words": "OWN-1: at most 20 ms from start"}],
    )
    assert [each["title"] for each in result["figures"] if each["kind"] == "response"] == ["Response from start"]
    on_time = figure(result, "on_time")
    assert on_time["groups"] == [{"name": "near → a, computed", "n": 4, "least": 40.0, "median": 40.0, "greatest": 40.0}]
    assert [limit["words"] for limit in on_time["limits"]] == ["seen for sure from 3 ms", "SPARE-1: at least 10 ms"]
    margins = figure(result, "margins")
    assert margins["recorded"] is False
    assert [(series["name"], series["n"], series["below"]) for series in margins["series"]] == [
        ("must switch on", 4, 0),
        ("must stay off", 13, 0),
    ]
    lanes = {lane["name"]: lane for lane in figure(result, "strip")["lanes"]}
    assert (lanes["near"]["n"], lanes["channel a"]["n"], lanes["channel a"]["total_ns"]) == (4, 4, 160_000_000)
    assert lanes["channel a"]["on"] == lanes["near"]["on"]  # it switches at its very first reading and off with the belt


def test_margins_beside_recorded_channels_contradict_the_readings_and_not_the_verdict(tmp_path: Path) -> None:
    """Near reads as far does, and the station's own channel comes on for it all the same: as recorded it is right four times of
    four, while the readings, 0.14142 from the reference with a tolerance of 0.05, ask for the other answer: 1 - 2.8284."""
    (tmp_path / "cases").mkdir()
    form = "channels: {a: q}, window: {from: 0 ms, after_end: 0 ms}, target:"
    (tmp_path / "station.yaml").write_text(STATION.replace("gap: 3 ms, target:", f"gap: 3 ms, {form}"))
    case = "  OWN-1: {title: Near, present: near, expect: {own_channel_only: yes}, basis: recorded}\n"
    (tmp_path / "cases" / "all.case.yaml").write_text(CASES.partition("cases:\n")[0] + "cases:\n" + case)
    lines = ["t,r,g,b,what,no,q"]
    for turn in range(4):
        for what, lasting in (("", 50), ("near", 40), ("", 10)):
            bands = ",".join(map(str, READS["far" if what else ""]))
            lines += [f"{len(lines) - 1 + k},{bands},{what},{turn if what else ''},{int(bool(what))}" for k in range(lasting)]
    (tmp_path / "day.csv").write_text("\n".join(lines) + "\n")
    result = run(tmp_path)["result"]
    assert [(one["verdict"], one["basis"], one["conforming"]) for one in result["cases"]] == [("pass", "recorded", 4)]
    (drawn,) = (each for each in result["figures"] if each["kind"] == "margins")
    must = next(series for series in drawn["data"]["series"] if series["name"] == "must switch on")
    assert (must["n"], must["below"]) == (4, 4)
    assert [margin for _, margin in must["points"]] == pytest.approx([1 - math.sqrt(0.02) / 0.05] * 4, abs=1e-4)
    assert drawn["data"]["recorded"] is True
    assert "not as asked" not in drawn["description"]
    words = "below 0 the readings, with the settings as declared, ask for another answer than the target does"
    assert words in drawn["description"]


def test_traces_show_the_trials_in_question(result: dict[str, Any]) -> None:
    failed = next(case for case in result["cases"] if case["id"] == "OWN-2")
    traces = {each["id"]: each for each in result["figures"] if each["kind"] == "trace"}
    assert len(failed["figures"]) == 3
    for key, trial in zip(failed["figures"], failed["nonconforming_trials"], strict=False):
        data = traces[key]["data"]
        subject = next(part for part in data["presented"] if part["subject"])
        assert subject["label"] == "far" and traces[key]["title"].startswith(trial["label"])
        inside = [v for t, v in data["closeness"][0]["points"] if subject["start_ns"] <= t < subject["end_ns"]]
        assert inside == pytest.approx([1 - math.sqrt(0.02) / 0.05] * 40, abs=1e-4)
        assert [v for t, v in data["level"] if subject["start_ns"] <= t < subject["end_ns"]] == [0.4] * 40


def test_the_page_of_this_record(record: dict[str, Any]) -> None:
    html = page.render(record)
    assert "Not accepted" in html and "not recorded" in html.lower()
    assert html.count('class="figure"') == len(record["result"]["figures"])


def test_traces_stay_few(folder: Path, result: dict[str, Any]) -> None:
    parts = plugins.load()
    loaded = suite.load(folder, expectations=parts.expectations)
    observed = running.run(loaded, parts).observations
    failed = next(case for case in result["cases"] if case["id"] == "OWN-2")
    many = []
    for number in range(200):
        case = copy.deepcopy(failed)
        case["nonconforming_trials"] = [{**failed["nonconforming_trials"][k % 4], "at_ns": 10_000_000 * number} for k in range(4)]
        for trial in case["nonconforming_trials"]:
            trial["index"] = -1  # a window around the instant, so that each is another one
        many.append({**case, "id": f"C-{number}", "unit": "run"})

    class Read:
        t_ns = np.arange(0, 9000) * 1_000_000
        level = np.linspace(0, 1, 9000)
        channels = ("a",)
        closeness = np.array([np.where(np.arange(9000) == 4321, 0.9, -np.inf)])

    found = illustrating.figures(loaded, many, observed, lambda *_: Read())
    traces = [each for each in found if each["kind"] == "trace"]
    assert len(traces) == illustrating.MOST_TRACES == 60
    assert all(len(case["figures"]) <= illustrating.MOST_TRACES_A_CASE for case in many)
    points = traces[0]["data"]["closeness"][0]["points"]
    assert len(points) <= 2000 and [4321 * 1_000_000, 0.9] in points  # the one reading that mattered is still there
    assert min(value for _, value in points) == -illustrating.FAR


def test_thinning_keeps_extremes_and_joins_only_what_is_near() -> None:
    values = np.sin(np.arange(10_000) / 7.0)
    values[5_001] = 9.0
    kept = thinning.extremes(values, 100)
    assert len(kept) <= 100 and 5_001 in kept and list(kept) == sorted(kept)
    assert list(thinning.extremes(values[:5], 100)) == [0, 1, 2, 3, 4]
    assert values[thinning.least(values, 7)].min() == values.min()
    assert len(range(1001)[thinning.every_kth(1001, 500)]) <= 500
    stretches = np.array([[0, 10], [12, 20], [30, 40]])
    assert thinning.joined(stretches, 5).tolist() == [[0, 20], [30, 40]]
    assert thinning.joined(stretches, 0).tolist() == stretches.tolist()
    assert thinning.clipped(stretches, 5, 30) == [[5, 10], [12, 20]]


def test_five_numbers_are_values_that_occurred() -> None:
    values = np.array([5.0, np.nan, 1.0, np.inf, 2.0, 3.0])
    assert pairs.five(values) == [1.0, 1.0, 2.0, 5.0, 5.0]
    assert pairs.five(np.array([np.nan])) is None


@pytest.mark.parametrize("name", ["CIE 1976 L*a*b*", "CIE 1994", "CIEDE2000", "CMC(2:1)"])
def test_outlines_lie_where_the_reference_library_has_the_tolerance(name: str) -> None:
    """colour-science says that every point of the outline is as far from the reference as the tolerance."""
    place = (63.0, -28.0, 14.0)
    channel = Channel(
        name="x", sensor="s", references=(Reference(name="mint"),), for_targets=("mint",), distance=name, tolerance=4.0
    )
    outline = colour_figures._outline(channel, place, (1, 2), "Lab")
    sample = np.array([[place[0], a, b] for a, b in outline])
    found = colour_science.distance(name, np.array([place] * len(sample)), sample)
    assert found == pytest.approx(np.full(len(sample), 4.0), abs=1e-4)


def test_the_worst_verdict_is_the_verdict() -> None:
    def overall(*verdicts: str | None) -> str:
        return recording.overall([{"state": "executed" if v else "not run", "verdict": v} for v in verdicts])  # type: ignore[typeddict-item]

    assert overall("pass", "pass", None) == "pass"
    assert overall("pass", "not shown") == "not shown"
    assert overall("not shown", "not judged") == "not judged"
    assert overall("not judged", "fail", "pass") == "fail"
    assert overall(None) == "not judged"


def test_limits_speak_of_what_was_done(folder: Path, result: dict[str, Any]) -> None:
    assert any("computed basis" in text for text in result["limits"])
    assert not any("by hand" in text for text in result["limits"])
    loaded = suite.load(folder, expectations=plugins.load().expectations)
    by_hand = [{**case, "basis": "by hand"} for case in result["cases"]]
    assert any("by hand" in text for text in claims.limits(loaded, by_hand, []))
