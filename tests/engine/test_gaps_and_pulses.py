"""A gap can only take away 'conforming': a pulse that it may have begun was seen by nobody (A9)."""

from __future__ import annotations

from pathlib import Path

import pytest

from stationtest import public

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


@pytest.mark.parametrize("lost", [range(0), range(170, 178)])
def test_a_pulse_that_a_gap_may_have_begun_is_nonconforming_nowhere(lost: range, tmp_path: Path) -> None:
    """B from 140 to 190 ms: one pulse from 145 to 165 ms. Eight rows of it are lost: had it gone away meanwhile, there would be a
    second one from 183 to 203 ms, and A lies at 196 ms. Nobody saw that, so A is not judged."""
    rows = [(a, part) for part, a, ms in PARTS for _ in range(ms)]
    text = "".join(f"{t},50,{a},0,{part}\n" for t, (a, part) in enumerate(rows) if t not in lost)
    for name, content in (("station.yaml", STATION), ("cases/a.case.yaml", CASES), ("recordings/r.csv", "t,L,a,b,part\n" + text)):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(content, encoding="utf-8")
    (case,) = public.run(public.load(str(tmp_path)))["result"]["cases"]
    counts = case["conforming"], case["nonconforming"], case["not_judged"]
    assert counts == ((1, 0, 1) if lost else (2, 0, 0)), case["reason"]


def test_what_comes_on_after_its_presentation_is_held_over_from_it(tmp_path: Path) -> None:
    """On-delay 30 ms, hysteresis: a red part of 20 ms switches the match, the orange one behind it lies in the hysteresis band
    and keeps it; the output comes on 10 ms into the orange part. An earlier red part, long gone, has nothing to do with it."""
    station = STATION.replace("tolerance: 3, on_delay: 5 ms, pulse: 20 ms", "tolerance: 3, hysteresis: 200 %, on_delay: 30 ms")
    parts = [("", 60, 60), ("B", 20, 50), ("", 60, 60), ("A", 20, 20), ("B", 26, 40), ("", 60, 60)]
    text = "".join(f"{t},50,{a},0,{part}\n" for t, (a, part) in enumerate((a, p) for p, a, ms in parts for _ in range(ms)))
    cases = CASES.replace("present: A", "present: B")
    for name, content in (("station.yaml", station), ("cases/a.case.yaml", cases), ("recordings/r.csv", "t,L,a,b,part\n" + text)):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(content, encoding="utf-8")
    (case,) = public.run(public.load(str(tmp_path)))["result"]["cases"]
    assert any("channel 2 was on for 30 ms, held over from A" in trial["text"] for trial in case["nonconforming_trials"]), case
