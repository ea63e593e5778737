"""Observing, end to end from a CSV file, against a plain machine that goes through the readings one by one.

The machine shares no code with the package: it is written from the rules of a comparator with hysteresis and of the timers
TON, TOF and TP of IEC 61131-3, and from the rule of who caused which on-time (counter-examples A4, A8, A23).
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stationtest import plugins
from stationtest.engine import observing
from stationtest.files import suite as suites
from stationtest.sources import recorded

MS = 1_000_000
STATION = """
station: test
scan: {{worst: {seen} ms}}
{between}
sensors:
  eye: {{reads: CIELAB, columns: {{L: L, a: a, b: b}}, illuminant: D65, observer: 2 deg}}
targets:
  red: {{colour: {{Lab: [50, 0, 0], illuminant: D65, observer: 2 deg}}}}
  blue: {{title: Blue}}
  belt: {{background: yes}}
channels:
  one: {{reference: red, distance: CIE 1976 L*a*b*, tolerance: 1, hysteresis: {hysteresis} %, switches: {switches},
    on_delay: {on_delay} ms, off_delay: {off_delay} ms{pulse}}}
recordings:
  "recordings/*.csv": {{time: {{column: t, in: ms}}, every: 1 ms, gap: 5 ms, target: target, specimen: specimen}}
"""
CASE = """
readings: ../recordings/r.csv
evidence: {trials: 1, of: presentations}
cases:
  A: {title: A, present: red, expect: {channels: [one]}}
"""


def folder_of(path, rows, **settings_):
    """A station folder; `rows` are (distance, target, specimen), one a millisecond."""
    defaults = {"seen": 0, "hysteresis": 0, "switches": "on match", "on_delay": 0, "off_delay": 0, "pulse": "", "between": ""}
    (path / "recordings").mkdir(parents=True, exist_ok=True)
    (path / "cases").mkdir(exist_ok=True)
    (path / "station.yaml").write_text(STATION.format(**(defaults | settings_)))
    (path / "cases" / "a.case.yaml").write_text(CASE)
    lines = [f"{i},50,0,{d},{target},{specimen}" for i, (d, target, specimen) in enumerate(rows)]
    (path / "recordings" / "r.csv").write_text("\n".join(["t,L,a,b,target,specimen", *lines]) + "\n")
    return path


def observe(path):
    parts = plugins.load()
    suite = suites.load(path, expectations=parts.expectations)
    return observing.observe(suite, "recordings/r.csv", parts)


def loaded_run(path):
    """The cases of a run by id."""
    from stationtest.engine import running

    parts = plugins.load()
    record = running.run(suites.load(path, expectations=parts.expectations), parts).record
    return {case["id"]: case for case in record["result"]["cases"]}


def presentations(rows, between):
    """(start, end, target) in ms, in order; stretches with nothing presented have no target."""
    found = []
    for index, (_, target, specimen) in enumerate(rows):
        key = (target, specimen) if target else ("", "")
        if not found or found[-1][2] != key:
            found.append([index, index + 1, key])
        found[-1][1] = index + 1
    return [(s, e, key[0] or None) for s, e, key in found if key[0] or between]


def machine(rows, shown, hysteresis, on_match, on_delay, off_delay, pulse, seen):
    n = len(rows)
    state, compared = None, []
    for distance, _, _ in rows:
        if distance <= 1:
            state = True
        elif distance / (1 + hysteresis) > 1:
            state = False
        compared.append(state)
    inputs = [(c is True) if on_match else (c is False) for c in compared]
    unknown = [c is None for c in compared]

    def timed(signal):
        rose, out = None, []
        for index, is_on in enumerate(signal):
            rose = (index if rose is None else rose) if is_on else None
            out.append(is_on and index - rose >= on_delay)
        return out

    def stretched(signal, extra=0):
        last, out = None, []
        for index, is_on in enumerate([*signal, *[False] * extra]):
            last = index if is_on else last
            out.append(is_on or (last is not None and index - last - 1 < off_delay))
        return out

    through = timed(inputs)
    output = stretched(through)
    if pulse is not None:
        pulsed, until, before = [], -1, False
        starts = []
        for index, is_on in enumerate(output):
            if is_on and not before and index >= until:
                until = index + pulse
                starts.append(index)
            before = is_on
            pulsed.append(index < until)
        output = pulsed
    answers = []
    for start, end, target in shown:
        own_state = not on_match
        own = [False] * n
        for index in range(start, end):
            if rows[index][0] <= 1:
                own_state = True
            elif rows[index][0] / (1 + hysteresis) > 1:
                own_state = False
            own[index] = (own_state if on_match else not own_state) and inputs[index]
        if pulse is None:
            mine = stretched([a and b for a, b in zip(own, through, strict=True)], off_delay)
        else:
            # a pulse is this presentation's if its trigger is an own on-time within it
            mine = [False] * (n + pulse)
            for at in starts:
                if start <= at < end and own[at]:
                    for index in range(at, min(at + pulse, len(mine))):
                        mine[index] = True
        runs, begin = [], None
        for index, is_on in enumerate([*mine, False]):
            if is_on and begin is None:
                begin = index
            if not is_on and begin is not None:
                runs.append((begin, index - begin))
                begin = None
        sure = [run for run in runs if run[1] >= max(seen, 1)]
        inside = sum(output[start:end])
        answers.append(
            {
                "fired": bool(sure),
                "perhaps": bool(runs) and not sure,
                "silent": not runs if target is None else not (inside or runs),
                "on": sum(length for _, length in runs),
                "longest": max((length for _, length in runs), default=0),
                "first": sure[0][0] if sure else None,
                "held": inside - sum(mine[start:end]),
                "unknown": any(unknown[max(0, start - on_delay - off_delay) : end]),
            }
        )
    return answers


@st.composite
def recordings(draw):
    rows = []
    for _ in range(draw(st.integers(1, 7))):
        target = draw(st.sampled_from(("red", "red", "blue", "")))
        specimen = draw(st.sampled_from(("a", "b")))
        palette = (0.2, 0.9, 1.0, 1.05, 1.3, 3.0) if target == "red" else (0.8, 1.05, 1.3, 3.0, 3.0, 3.0)
        for _ in range(draw(st.integers(1, 4))):
            distance = draw(st.sampled_from(palette))
            rows += [(distance, target, specimen)] * draw(st.integers(1, 4))
    return rows


@given(rows=recordings(), data=st.data())
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
def test_every_answer_is_the_machines(tmp_path_factory, rows, data):
    draw = data.draw
    hysteresis = draw(st.sampled_from((0, 10, 50)))
    on_match = draw(st.booleans())
    on_delay, off_delay = draw(st.sampled_from((0, 1, 3))), draw(st.sampled_from((0, 2, 6)))
    seen = draw(st.sampled_from((0, 2, 4)))
    pulse = draw(st.sampled_from((None, None, 3)))
    between = draw(st.booleans())
    path = folder_of(
        tmp_path_factory.mktemp("s"), rows, seen=seen, hysteresis=hysteresis, switches="on match" if on_match else "off match",
        on_delay=on_delay, off_delay=off_delay, pulse=f", pulse: {pulse} ms" if pulse else "",
        between="between: belt" if between else "",
    )  # fmt: skip
    shown = presentations(rows, between)
    if not shown:
        return
    observed = observe(path)
    assert len(observed.presentations) == len(shown)
    did = observed.responses
    expected = machine(rows, shown, hysteresis / 100, on_match, on_delay, off_delay, pulse, seen)
    for row, (answer, (start, _, _)) in enumerate(zip(expected, shown, strict=True)):
        found = {
            "fired": bool(did.fired[row, 0]),
            "perhaps": bool(did.perhaps[row, 0]),
            "silent": bool(did.silent[row, 0]),
            "on": did.on_ns[row, 0] / MS,
            "longest": did.longest_ns[row, 0] / MS,
            "first": did.first_on_ns[row, 0] / MS if did.fired[row, 0] else None,
            "held": did.held_over_ns[row, 0] / MS,
        }
        assert found == {key: value for key, value in answer.items() if key != "unknown"}, (row, start)
        if answer["unknown"] and not did.fired[row, 0] and pulse is None:
            continue
        margin_says(did, row, on_match, answer, pulse)


def margin_says(did, row, on_match, answer, pulse):
    """The sign of the margin is the verdict, for firing and for silence; pulses have no margin (A1)."""
    any_, sure = did.critical_any[row, 0], did.critical_sure[row, 0]
    if pulse is not None:
        assert np.isnan(any_) and np.isnan(sure)
        return
    fires = sure <= 1 if on_match else sure > 1
    on_at_all = any_ <= 1 if on_match else any_ > 1
    assert fires == answer["fired"]
    assert on_at_all == (not answer["silent"])


@pytest.mark.parametrize("cut", [1, 7, 50])
def test_nothing_depends_on_how_the_readings_are_cut(tmp_path, monkeypatch, cut):
    rng = np.random.default_rng(11)
    rows = []
    for _ in range(60):
        target = str(rng.choice(["red", "blue", ""]))
        rows += [(round(float(d), 3), target, str(rng.integers(3))) for d in rng.choice([0.5, 1.02, 1.2, 3], rng.integers(3, 25))]
    path = folder_of(tmp_path, rows, seen=3, hysteresis=10, on_delay=2, off_delay=5, between="between: belt")
    whole = observe(path)
    plain = recorded.on_grid
    monkeypatch.setattr(recorded, "on_grid", lambda batches: plain(batches, cut))
    assert_same(whole, observe(path))


def assert_same(one, other):
    if isinstance(one, np.ndarray):
        np.testing.assert_array_equal(one, other)
    elif dataclasses.is_dataclass(one):
        for field in dataclasses.fields(one):
            assert_same(getattr(one, field.name), getattr(other, field.name))
    elif isinstance(one, dict):
        assert one.keys() == other.keys()
        for key in one:
            assert_same(one[key], other[key])
    elif isinstance(one, tuple):
        assert len(one) == len(other)
        for a, b in zip(one, other, strict=True):
            assert_same(a, b)
    else:
        assert one == other


def test_a23_a_touching_neighbour_that_matches_by_itself_fires(tmp_path):
    rows = [(3, "", "")] * 10 + [(0.5, "red", "a")] * 20 + [(0.5, "red", "b")] * 20 + [(3, "", "")] * 10
    observed = observe(folder_of(tmp_path, rows, seen=8))
    assert observed.responses.fired[:, 0].tolist() == [True, True]
    assert observed.presentations.touches_before.tolist() == [False, True]


def test_pulses_that_touch_belong_each_to_its_own_presentation(tmp_path):
    """A pulse of 3 ms that ends where the next presentation's pulse begins is 3 ms long, and so is the next one."""
    rows = [(0.2, "red", "a")] * 5 + [(3, "red", "a")] * 2 + [(0.2, "red", "a")] + [(3, "red", "a")] * 2
    rows += [(3, "red", "b"), (0.2, "red", "b")] + [(3, "red", "b")] * 6
    rows[8:11] = [(0.2, "red", "a"), (3, "red", "a"), (0.2, "red", "b")]
    observed = observe(folder_of(tmp_path, rows, pulse=", pulse: 3 ms"))
    assert [first // MS for first in observed.responses.first_on_ns[:, 0].tolist()] == [0, 10]
    assert observed.responses.on_ns[:, 0].tolist() == [6 * MS, 3 * MS]
    assert observed.responses.longest_ns[:, 0].tolist() == [3 * MS, 3 * MS]


MARGINS = """
readings: ../recordings/r.csv
evidence: {trials: 2}
cases:
  FIRE: {title: A, present: red, expect: {margin: {must_fire: at least 0.1}}}
  BLUE: {title: B, present: blue, expect: {margin: {must_be_silent: at least 0.1}}}
"""


def test_a1_a_channel_that_gives_pulses_has_no_margin(tmp_path):
    """Two parts touch, both at half the tolerance, and the one pulse of 10 ms comes under the first. Margins of 0.5 would say of
    both that they fired; at a tolerance of 0.1 neither does, so no single tolerance tells the two answers of the second apart."""
    rows = [(3, "", "")] * 20 + [(0.5, "red", "a")] * 20 + [(0.5, "red", "b")] * 20 + [(3, "blue", "c")] * 20 + [(3, "", "")] * 20
    path = folder_of(tmp_path, rows, pulse=", pulse: 10 ms")
    shown = [(20, 40, "red"), (40, 60, "red"), (60, 80, "blue")]
    answers = machine(rows, shown, 0, True, 0, 0, 10, 0)
    did = observe(path).responses
    assert did.fired[:, 0].tolist() == [answer["fired"] for answer in answers] == [True, False, False]
    assert np.isnan(did.critical_any).all() and np.isnan(did.critical_sure).all()
    assert did.closeness_max[:, 0].tolist() == [0.5, 0.5, -2.0]
    (path / "cases" / "a.case.yaml").write_text(MARGINS)
    cases = loaded_run(path)
    for name, n in (("FIRE", 2), ("BLUE", 1)):
        assert cases[name]["verdict"] == "not judged" and cases[name]["not_judged"] == n
        assert "channel one gives pulses, so it has no margin" in cases[name]["reason"]


@pytest.mark.parametrize(("pulse", "margin"), [("", 0.5), (", pulse: 10 ms", np.nan)])
def test_a1_nor_has_it_one_in_trials_noted_by_hand(tmp_path, pulse, margin):
    """A red trial at half the tolerance: 1 - 0.5 / 1."""
    path = folder_of(tmp_path, [(0.5, "red", "a")], pulse=pulse)
    station = path / "station.yaml"
    form = "{rows: trials, target: target, specimen: specimen, channels: {one: Q}}"
    station.write_text(station.read_text().split('"recordings/*.csv": ')[0] + f'"recordings/*.csv": {form}\n')
    (path / "recordings" / "r.csv").write_text("L,a,b,target,specimen,Q\n50,0,0.5,red,a,1\n")
    did = observe(path).responses
    assert did.fired.tolist() == [[True]] and did.closeness_max.tolist() == [[0.5]]
    np.testing.assert_array_equal(1 - did.critical_sure, [[margin]])


def test_a4_a_faded_part_is_not_recognised_by_what_the_one_before_left_on(tmp_path):
    """Gap 25 ms, off-delay 40 ms, then a part that never matches: on for its first 15 ms, and that is held over."""
    rows = [(3, "", "")] * 50 + [(0.5, "red", "a")] * 80 + [(3, "", "")] * 25 + [(3, "red", "b")] * 80 + [(3, "", "")] * 50
    observed = observe(folder_of(tmp_path, rows, seen=8, off_delay=40))
    did = observed.responses
    assert did.fired[:, 0].tolist() == [True, False]
    assert did.held_over_ns[1, 0] == 15 * MS
    assert did.held_from[1, 0] == 0
    assert not did.silent[1, 0]


def test_a8_on_time_that_belongs_to_nobody_is_listed(tmp_path):
    rows = [(3, "", "")] * 20 + [(0.5, "", "")] * 30 + [(3, "", "")] * 20 + [(0.5, "red", "a")] * 30 + [(3, "", "")] * 20
    observed = observe(folder_of(tmp_path, rows))
    assert observed.outside.tolist() == [[0, 20 * MS, 50 * MS]]


def test_a9_a_gap_is_marked_and_takes_the_margin_away(tmp_path):
    rows = [(3, "", "")] * 20 + [(0.5, "red", "a")] * 60 + [(3, "", "")] * 20
    path = folder_of(tmp_path, rows)
    recording = path / "recordings" / "r.csv"
    lines = recording.read_text().splitlines()
    recording.write_text("\n".join(lines[:41] + lines[51:]) + "\n")
    observed = observe(path)
    assert observed.gaps.tolist() == [[44 * MS, 50 * MS]]
    assert observed.presentations.status.tolist() == [1]
    assert np.isnan(observed.responses.critical_sure[0, 0])
    assert observed.responses.fired[0, 0]


def test_a25_what_was_before_the_first_row_is_not_known(tmp_path):
    """In the hysteresis band from the first row on: on or off cannot be told, so the presentation's answer is not known."""
    rows = [(1.05, "red", "a")] * 20 + [(3, "", "")] * 20
    observed = observe(folder_of(tmp_path, rows, hysteresis=10))
    assert not observed.responses.known[0, 0]
