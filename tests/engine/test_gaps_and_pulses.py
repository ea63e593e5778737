"""A gap can only take away 'conforming': what it may have begun, or cut, was seen by nobody (A9)."""

from __future__ import annotations

from pathlib import Path

import pytest

from stationtest import public
from stationtest.model.record import ResultPart

STATION = """\
station: pulses
scan: {worst: 2 ms, input_filter: 1 ms}
between: belt
sensors:
  eye: {reads: CIELAB, columns: {L: L, a: a, b: b}, illuminant: D65, observer: 2 deg}
targets:
  A: {colour: {Lab: [50, 0, 0], illuminant: D65, observer: 2 deg}}
  B: {colour: {Lab: [50, 20, 0], illuminant: D65, observer: 2 deg}}
  belt: {background: yes}
channels:
  1: {reference: A, distance: CIE 1976 L*a*b*, tolerance: 3}
  2: {reference: B, distance: CIE 1976 L*a*b*, tolerance: 3, on_delay: 5 ms, pulse: 20 ms}
recordings:
  "recordings/*.csv": {time: {column: t, in: ms}, every: 1 ms, gap: 3 ms, target: part}
"""
CASES = """\
readings: [../recordings/r.csv]
evidence: {trials: 2}
cases:
  S-1: {title: Channel 2 is silent, present: A, expect: {silent: 2}}
"""
PARTS = [("", 30, 60), ("A", 0, 40), ("", 30, 40), ("B", 20, 50), ("", 30, 6), ("A", 0, 20), ("", 30, 60)]  # target, a*, ms


def result_of(folder: Path, station: str, cases: str, text: str) -> ResultPart:
    for name, content in (("station.yaml", station), ("cases/a.case.yaml", cases), ("recordings/r.csv", text)):
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(content, encoding="utf-8")
    return public.run(public.load(str(folder)))["result"]


def verdicts(folder: Path, station: str, cases: str, text: str) -> dict[str, tuple[str, str]]:
    return {case["id"]: (case["verdict"], case["reason"]) for case in result_of(folder, station, cases, text)["cases"]}


@pytest.mark.parametrize("lost", [range(0), range(170, 178)])
def test_a_pulse_that_a_gap_may_have_begun_is_nonconforming_nowhere(lost: range, tmp_path: Path) -> None:
    """B from 140 to 190 ms: one pulse from 145 to 165 ms. Eight rows of it are lost: had it gone away meanwhile, there would be a
    second one from 183 to 203 ms, and A lies at 196 ms. Nobody saw that, so A is not judged."""
    rows = [(a, part) for part, a, ms in PARTS for _ in range(ms)]
    text = "".join(f"{t},50,{a},0,{part}\n" for t, (a, part) in enumerate(rows) if t not in lost)
    (case,) = result_of(tmp_path, STATION, CASES, "t,L,a,b,part\n" + text)["cases"]
    counts = case["conforming"], case["nonconforming"], case["not_judged"]
    assert counts == ((1, 0, 1) if lost else (2, 0, 0)), case["reason"]


def test_what_comes_on_after_its_presentation_is_held_over_from_it(tmp_path: Path) -> None:
    """On-delay 30 ms, hysteresis: a red part of 20 ms switches the match, the orange one behind it lies in the hysteresis band
    and keeps it; the output comes on 10 ms into the orange part. An earlier red part, long gone, has nothing to do with it."""
    station = STATION.replace("tolerance: 3, on_delay: 5 ms, pulse: 20 ms", "tolerance: 3, hysteresis: 200 %, on_delay: 30 ms")
    parts = [("", 60, 60), ("B", 20, 50), ("", 60, 60), ("A", 20, 20), ("B", 26, 40), ("", 60, 60)]
    text = "".join(f"{t},50,{a},0,{part}\n" for t, (a, part) in enumerate((a, p) for p, a, ms in parts for _ in range(ms)))
    cases = CASES.replace("present: A", "present: B")
    (case,) = result_of(tmp_path, station, cases, "t,L,a,b,part\n" + text)["cases"]
    assert any("channel 2 was on for 30 ms, held over from A" in trial["text"] for trial in case["nonconforming_trials"]), case


SETS = """\
station: sets
scan: {worst: 7 ms, input_filter: 2 ms}
between: belt
sensors:
  eye: {reads: CIELAB, columns: {L: L, a: a, b: b}, illuminant: D65, observer: 2 deg}
targets:
  A: {colour: {Lab: [50, 0, 0], illuminant: D65, observer: 2 deg}}
  belt: {background: yes}
channels:
  1: {reference: A, distance: CIE 1976 L*a*b*, tolerance: 3}
inputs: [in, out]
outputs:
  full: {any_of: [1], held_until: out}
sets:
  box: {members: {A: 1}, from: in, to: out, output: full}
recordings:
  "recordings/*.csv":
    {time: {column: t, in: ms}, every: 1 ms, gap: 3 ms, target: part, inputs: {in: in, out: out}, on: ["1"], off: ["0"]}
"""
BOXES = """\
readings: [../recordings/r.csv]
evidence: {trials: 1}
cases:
  S: {title: x, present: {set: box, complete: yes}, expect: {set: complete}}
  O: {title: x, present: A, expect: {outputs: {full: {is: on, from: start, within: 10 ms, lasts: at least 10 ms}}}}
"""


@pytest.mark.parametrize(
    ("on_ms", "lost", "verdict"), [(14, range(0), "pass"), (14, range(104, 112), "not judged"), (6, range(0), "fail")]
)
def test_on_time_that_a_gap_cuts_is_not_short(on_ms: int, lost: range, verdict: str, tmp_path: Path) -> None:
    """Seen for sure from 7 + 2 = 9 ms. On for 14 ms: seen. Cut into 4 ms and 2 ms by a gap: nobody knows. On for 6 ms: perhaps
    missed, which is nonconforming."""
    rows = []
    for t in range(200):
        part, a = "A" if 100 <= t < 120 else "", 0 if 100 <= t < 100 + on_ms else 30
        if t not in lost:
            rows.append(f"{t},50,{a},0,{part},{int(80 <= t < 85)},{int(150 <= t < 155 or 20 <= t < 25)}\n")
    cases = result_of(tmp_path, SETS, BOXES, "t,L,a,b,part,in,out\n" + "".join(rows))["cases"]
    assert [case["verdict"] for case in cases] == [verdict, verdict], [case["reason"] for case in cases]


@pytest.mark.parametrize("lost", [range(0), range(90, 98)])
def test_an_answer_is_open_where_a_gap_hides_what_switched_the_output_on(lost: range, tmp_path: Path) -> None:
    """A from 60 to 99 ms, the next A to 103 ms, on-delay 5 ms, off-delay 25 ms. The second A lasts 4 ms and needs the input to
    have been on at 98 ms; the output is on throughout by the off-delay alone. With 90 to 98 ms lost nobody knows whose it is."""
    station = STATION.replace("tolerance: 3, on_delay: 5 ms, pulse: 20 ms", "tolerance: 3")
    station = station.replace("tolerance: 3}\n  2", "tolerance: 3, on_delay: 5 ms, off_delay: 25 ms}\n  2")
    station = station.replace("target: part}", "target: part, specimen: nr}").replace("worst: 2 ms, input_filter: 1", "worst: 1")
    cases = "readings: [../recordings/r.csv]\nevidence: {trials: 1}\ncases:\n"
    cases += '  C: {title: x, present: A, where: {specimen: "2"}, expect: {channels: 1}}\n'
    rows = []
    for t in range(250):
        part = ("A", "1") if 60 <= t < 99 else ("A", "2") if 99 <= t < 103 else ("", "")
        if t not in lost:
            rows.append(f"{t},50,{0 if part[0] else 30},0,{part[0]},{part[1]}\n")
    found = verdicts(tmp_path, station, cases, "t,L,a,b,part,nr\n" + "".join(rows))
    assert found["C"][0] == ("not judged" if lost else "pass"), found


@pytest.mark.parametrize("lost", [range(0), range(70, 79)])
def test_an_output_that_a_gap_may_have_set_was_not_seen_on_before(lost: range, tmp_path: Path) -> None:
    """The latch is set at 100 ms, 20 ms after the box came; a gap before that may have set it already, or not."""
    cases = BOXES.split("  S:")[0] + "  O:" + BOXES.split("  O:")[1]
    rows = []
    for t in range(200):
        part, a = ("A", 0) if 100 <= t < 120 else ("", 30)
        if t not in lost:
            rows.append(f"{t},50,{a},0,{part},{int(60 <= t < 65)},{int(150 <= t < 155 or 20 <= t < 25)}\n")
    found = verdicts(tmp_path, SETS, cases, "t,L,a,b,part,in,out\n" + "".join(rows))
    assert found["O"][0] == ("not judged" if lost else "pass"), found


@pytest.mark.parametrize(("off_delay", "verdict"), [("", "pass"), (", off_delay: 5 ms", "not judged")])
def test_a_count_over_a_run_whose_beginning_is_not_known(off_delay: str, verdict: str, tmp_path: Path) -> None:
    """One part, one pulse; with an off-delay the output may still be on from before the first row, and that is no second pulse
    that anybody saw."""
    station = SETS.replace("  full: {any_of: [1], held_until: out}", f"  full: {{any_of: [1]{off_delay}}}")
    station = station.replace("worst: 7 ms, input_filter: 2 ms", "worst: 1 ms")
    cases = "readings: [../recordings/r.csv]\nevidence: {runs: 1}\ncases:\n"
    cases += "  K: {title: x, present: A, expect: {count: {output: full}}}\n"
    rows = [f"{t},50,{0 if 100 <= t < 120 else 30},0,{'A' if 100 <= t < 120 else ''},0,0\n" for t in range(200)]
    found = verdicts(tmp_path, station, cases, "t,L,a,b,part,in,out\n" + "".join(rows))
    assert found["K"][0] == verdict, found


TICKS = SETS.replace(", held_until: out}", "}").replace("worst: 7 ms, input_filter: 2 ms", "worst: 1 ms")


def ticks(lost: range, parts: tuple[range, ...]) -> str:
    """Parts of A, and a box in and out beside each of them."""
    rows = []
    for t in range(300):
        part = any(t in one for one in parts)
        box_in = any(t in range(one[0] - 20, one[0] - 15) for one in parts)
        box_out = t in (*range(20, 25), *range(150, 153), *range(230, 235))
        if t not in lost:
            rows.append(f"{t},50,{0 if part else 30},0,{'A' if part else ''},{int(box_in)},{int(box_out)}\n")
    return "t,L,a,b,part,in,out\n" + "".join(rows)


@pytest.mark.parametrize(
    ("expect", "lost", "expected"),
    [
        ("{is: off, from: end, until: out}", range(0), (2, 0, 0)),
        ("{is: off, from: end, until: out}", range(145, 157), (1, 0, 1)),  # the first box out is lost
        ("{is: on, from: start, within: 4 ms, lasts: at least 10 ms}", range(0), (2, 0, 0)),
        ("{is: on, from: start, within: 4 ms, lasts: at least 10 ms}", range(107, 113), (1, 0, 1)),  # behind its window
    ],
)
def test_a_window_and_a_gap(expect: str, lost: range, expected: tuple[int, int, int], tmp_path: Path) -> None:
    cases = "readings: [../recordings/r.csv]\nevidence: {trials: 2}\ncases:\n"
    cases += f"  O: {{title: x, present: A, expect: {{outputs: {{full: {expect}}}}}}}\n"
    (case,) = result_of(tmp_path, TICKS, cases, ticks(lost, (range(100, 120), range(180, 200))))["cases"]
    assert (case["conforming"], case["nonconforming"], case["not_judged"]) == expected, case["reason"]


def test_on_time_that_nobody_kept_on_by_itself_is_outside_everything(tmp_path: Path) -> None:
    """The last 3 ms of a foreign part match, 5 ms of the belt behind it lie in the hysteresis band, and the on-delay of 5 ms ends
    in them, at 122 ms: neither the part nor the belt switched the output by itself, and it is on all the same."""
    station = STATION.replace("tolerance: 3, on_delay: 5 ms, pulse: 20 ms", "tolerance: 3, hysteresis: 200 %, on_delay: 5 ms")
    rows = [(60, "")] * 100 + [(60, "A")] * 17 + [(20, "A")] * 3 + [(26, "")] * 5 + [(60, "")] * 75
    text = "".join(f"{t},50,{a},0,{part}\n" for t, (a, part) in enumerate(rows))
    (source,) = result_of(tmp_path, station, CASES, "t,L,a,b,part\n" + text)["sources"]
    assert [(on["channel"], on["start_ns"], on["end_ns"]) for on in source["outside"]] == [("2", 122_000_000, 125_000_000)]


@pytest.mark.parametrize("lost", [range(0), range(120, 128), range(160, 168)])
def test_what_is_recorded_as_on_behind_a_gap_did_not_rise_there(lost: range, tmp_path: Path) -> None:
    """Recorded on from 105 to 190 ms, once: a gap in the part makes no second pulse of it, one behind the part no pulse of the
    belt's."""
    station = STATION.replace("target: part}", 'target: part, channels: {1: q}, on: ["1"], off: ["0"]}')
    cases = "readings: [../recordings/r.csv]\nevidence: {trials: 1}\ncases:\n"
    cases += "  P: {title: x, present: A, expect: {pulses: {channels: 1, exactly: 1}}}\n"
    cases += "  S: {title: x, present: {between: belt}, expect: {silent: 1}, evidence: {trials: 2}}\n"
    rows = []
    for t in range(300):
        part = 100 <= t < 150
        if t not in lost:
            rows.append(f"{t},50,{0 if part else 30},0,{'A' if part else ''},{int(105 <= t < 190)}\n")
    found = verdicts(tmp_path, station, cases, "t,L,a,b,part,q\n" + "".join(rows))
    assert found["P"][0] == ("not judged" if 120 in lost else "pass"), found
    assert found["S"][0] != "fail", found
