"""Nearest-wins groups, end to end from a CSV file, against a machine that goes through the readings one by one (A18).

The sensor reads CIELAB and the distance is that of CIE 1976 L*a*b* (ISO/CIE 11664-4), so a reading at a* is |a* - reference|
away: arithmetic by hand. The machine shares no code with the package.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stationtest import plugins
from stationtest.engine import observing
from stationtest.files import suite as suites

MS = 1_000_000
AT = {"green": 0.0, "olive": 4.0, "brown": 9.0}
TOLERANCE = {"green": 3.0, "olive": 2.5, "brown": 4.0}
STATION = """
station: test
scan: {{worst: 4 ms}}
sensors:
  eye: {{reads: CIELAB, columns: {{L: L, a: a, b: b}}, illuminant: D65, observer: 2 deg}}
targets:
  green: {{colour: {{Lab: [50, 0, 0], illuminant: D65, observer: 2 deg}}}}
  olive: {{colour: {{Lab: [50, 4, 0], illuminant: D65, observer: 2 deg}}}}
  brown: {{colour: {{Lab: [50, 9, 0], illuminant: D65, observer: 2 deg}}}}
channels:
  green: {{reference: green, distance: CIE 1976 L*a*b*, tolerance: 3{timing}}}
  olive: {{reference: olive, distance: CIE 1976 L*a*b*, tolerance: 2.5{timing}}}
  brown: {{reference: brown, distance: CIE 1976 L*a*b*, tolerance: 4{timing}}}
groups:
  tea: {{channels: [green, olive, brown], choose: nearest, lead: {lead} %}}
recordings:
  "recordings/*.csv": {{time: {{column: t, in: ms}}, every: 1 ms, gap: 5 ms, target: target, specimen: specimen}}
"""
CASES = """
readings: ../recordings/r.csv
evidence: {trials: 1}
cases:
  OWN: {title: Own, present: [green, olive, brown], expect: {own_channel_only: yes}}
  MARGIN: {title: Margin, present: green, expect: {margin: {must_fire: at least 0.1, must_be_silent: at least 0.1}}}
"""


def folder_of(path, rows, lead=0, hysteresis=0, on_delay=0, off_delay=0):
    """A station folder; `rows` are (a*, target, specimen), one a millisecond."""
    (path / "recordings").mkdir(parents=True, exist_ok=True)
    (path / "cases").mkdir(exist_ok=True)
    timing = f", hysteresis: {hysteresis} %, on_delay: {on_delay} ms, off_delay: {off_delay} ms"
    (path / "station.yaml").write_text(STATION.format(lead=lead, timing=timing))
    (path / "cases" / "a.case.yaml").write_text(CASES)
    lines = [f"{i},50,{a},0,{target},{specimen}" for i, (a, target, specimen) in enumerate(rows)]
    (path / "recordings" / "r.csv").write_text("\n".join(["t,L,a,b,target,specimen", *lines]) + "\n")
    return path


def loaded(path):
    return suites.load(path, expectations=plugins.load().expectations)


def observe(path):
    return observing.observe(loaded(path), "recordings/r.csv", plugins.load())


def machine(positions, own, scale, lead, hysteresis, on_delay, off_delay):
    """(on at all, longest on-time) of channel `own`, its tolerance scaled; off before the first reading."""
    state, inputs = False, []
    for position in positions:
        ratio = {name: abs(position - at) / TOLERANCE[name] for name, at in AT.items()}
        mine = ratio[own] / scale
        wins = mine * (1 + lead) < min(value for name, value in ratio.items() if name != own)
        state = wins and (mine <= 1 or (state and mine / (1 + hysteresis) <= 1))
        inputs.append(state)
    rose, last, run, longest, any_on = None, None, 0, 0, False
    for index, is_on in enumerate([*inputs, *[False] * off_delay]):
        rose = (index if rose is None else rose) if is_on else None
        through = is_on and index - rose >= on_delay
        last = index if through else last
        stretched = through or (last is not None and index - last - 1 < off_delay)
        any_on |= through
        run = run + 1 if stretched else 0
        longest = max(longest, run)
    return any_on, longest


@given(data=st.data())
@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
def test_every_answer_and_every_margin_is_the_machines(tmp_path_factory, data):
    """Answers at the declared tolerances, and a little below and above each critical one: the margin's sign is the verdict."""
    draw = data.draw
    lead, hysteresis = draw(st.sampled_from((0, 10, 50))), draw(st.sampled_from((0, 20)))
    on_delay, off_delay = draw(st.sampled_from((0, 3))), draw(st.sampled_from((0, 2, 6)))
    steps = st.tuples(st.sampled_from((-3.3, -1.0, 0.0, 1.1, 2.1, 2.2, 2.3, 4.0, 5.9, 6.2, 7.0, 9.0, 12.5)), st.integers(1, 5))
    shown = [draw(st.lists(steps, min_size=1, max_size=5)) for _ in range(2)]
    rows, blocks = [(90, "", "")] * 12, []
    for number, block in enumerate(shown):
        positions = [a for a, n in block for _ in range(n)]
        blocks.append(positions)
        rows += [(a, "green", number) for a in positions] + [(90, "", "")] * 12
    did = observe(folder_of(tmp_path_factory.mktemp("s"), rows, lead, hysteresis, on_delay, off_delay)).responses
    for row, positions in enumerate(blocks):
        for c, name in enumerate(did.channels):

            def asked(scale, name=name, positions=positions):
                on, longest = machine(positions, name, scale, lead / 100, hysteresis / 100, on_delay, off_delay)
                return on, longest >= 4

            assert asked(1.0) == (not did.silent[row, c], did.fired[row, c])
            for which, border in enumerate((did.critical_any[row, c], did.critical_sure[row, c])):
                assert (border <= TOLERANCE[name]) == asked(1.0)[which]
                scale = border / TOLERANCE[name]
                if np.isfinite(scale) and scale > 0:
                    assert not asked(scale * (1 - 1e-9))[which] and asked(scale * (1 + 1e-9))[which]


def block(a, target, specimen, n=30):
    return [(a, target, specimen)] * n + [(90, "", "")] * 20


def test_one_conforms_one_does_not_and_one_cannot_be_told(tmp_path):
    """A green at 0, one that lies nearer to olive, and one whose readings were lost."""
    from stationtest.engine import running

    rows = [(90, "", "")] * 20 + block(0.4, "green", 1) + block(2.4, "green", 2) + block(0.2, "green", 3)
    path = folder_of(tmp_path, rows)
    lines = (path / "recordings" / "r.csv").read_text().splitlines()
    (path / "recordings" / "r.csv").write_text("\n".join(lines[:131] + lines[141:]) + "\n")
    record = running.run(loaded(path), plugins.load()).record
    cases = {case["id"]: case for case in record["result"]["cases"]}
    green = cases["OWN"]["strata"][0]
    assert (green["conforming"], green["nonconforming"], green["not_judged"]) == (1, 1, 1)
    assert "channel green did not fire" in cases["OWN"]["nonconforming_trials"][0]["text"]
    margin = cases["MARGIN"]["strata"][0]
    assert (margin["conforming"], margin["nonconforming"], margin["not_judged"]) == (1, 1, 1)


def test_the_lead_decides_between_neighbours(tmp_path):
    """At 2.1: 2.1 / 3 = 0.70 of green's tolerance and 1.9 / 2.5 = 0.76 of olive's: a lead of 8.6 %."""
    rows = [(90, "", "")] * 20 + block(2.1, "green", 1)
    did = observe(folder_of(tmp_path / "a", rows, lead=8)).responses
    assert did.fired[0].tolist() == [True, False, False]
    assert did.closeness_max[0, 0] == pytest.approx(0.3)
    assert 1 - did.critical_sure[0, 0] / 3 == pytest.approx(1 - 0.70 * 1.08 / 0.76)
    did = observe(folder_of(tmp_path / "b", rows, lead=9)).responses
    assert did.fired[0].tolist() == [False, False, False] and did.silent[0].all()
    assert 1 - did.critical_sure[0, 0] / 3 == pytest.approx(1 - 0.70 * 1.09 / 0.76)


def test_nothing_depends_on_how_the_readings_are_cut(tmp_path, monkeypatch):
    from test_observing import assert_same

    from stationtest.sources import recorded

    rng = np.random.default_rng(7)
    rows = []
    for number in range(40):
        rows += [(round(float(a), 2), str(rng.choice(["green", "olive", ""])), number) for a in rng.uniform(-2, 12, 17)]
    path = folder_of(tmp_path, rows, lead=5, hysteresis=10, on_delay=1, off_delay=4)
    whole = observe(path)
    plain = recorded.on_grid
    monkeypatch.setattr(recorded, "on_grid", lambda batches: plain(batches, 13))
    assert_same(whole, observe(path))
