"""Channels whose references change at edges, against a machine that goes through the samples one by one in plain Python."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scene_kit import STATION, make, opened, suite, whole

from stationtest import plugins
from stationtest.engine import running

SHORT = """\
seed: {seed}
every: 1 ms
sensors:
  eye:
    light: {{illuminant: LED-B3}}
    head: {{standoff: 40 mm, view: 45 deg}}
    bands: {{peaks: [610 nm, 540 nm, 460 nm], widths: [50 nm, 50 nm, 50 nm]}}
    electrons: 3000
surfaces:
  mint: {{colour: {{Lab: [63, -28, 14], illuminant: D65, observer: 2 deg}}}}
  chamomile: {{colour: {{Lab: [82, 2, 46], illuminant: D65, observer: 2 deg}}}}
  bare belt: {{grey: 6 %}}
targets:
  mint: {{length: 12 mm, specimens: 9}}
  chamomile: {{length: 12 mm, specimens: 9}}
belt: {{gap: 10 mm, order: [mint, chamomile], count: 12, lead: 20 mm}}
inputs:
  teach: {{times: [{times}], lasts: 3 ms}}
"""
DARK, WHITE, FULL = (12, 11, 14), (3650, 3720, 3590), 4095


def shares(counts: tuple[float, ...]) -> tuple[float, ...]:
    relative = [(count - dark) / (white - dark) for count, dark, white in zip(counts, DARK, WHITE, strict=True)]
    total = sum(relative)
    return tuple(value / total for value in relative)


def machine(rows: list[tuple[float, ...]], teach: list[bool], samples: int, meanwhile: str, tolerance: float, hysteresis: float):
    """For each row: on, off, or None where nothing is known. Written from the words of the README, one sample after the other."""
    reference, lesson, state, before = None, None, None, True
    states = []
    for counts, pressed in zip(rows, teach, strict=True):
        if pressed and not before:
            lesson = []
        before = pressed
        learning = lesson is not None
        if lesson is not None:
            lesson.append(counts)
        if learning:
            state = False if meanwhile == "off" else state
        elif reference is not None:
            distance = sum((a - b) ** 2 for a, b in zip(shares(counts), reference, strict=True)) ** 0.5
            if distance <= tolerance:
                state = True
            elif distance > tolerance * (1 + hysteresis) or state is None:
                state = False if distance > tolerance * (1 + hysteresis) else state
        states.append(state)
        if lesson is not None and len(lesson) == samples:
            level = [max((c - d) / (FULL - d) for c, d in zip(one, DARK, strict=True)) for one in lesson]
            bad = any(value <= 0 for value in level) or any(max(one) >= FULL for one in lesson)
            if not bad:
                reference = shares(tuple(sum(one[band] for one in lesson) / samples for band in range(3)))
            lesson = None
    return states


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    seed=st.integers(0, 99),
    times=st.lists(st.integers(2, 580), min_size=1, max_size=4, unique=True),
    samples=st.sampled_from((1, 5, 17, 60)),
    meanwhile=st.sampled_from(("hold", "off")),
    tolerance=st.sampled_from((0.01, 0.05, 0.2)),
)
def test_every_sample_is_compared_with_what_held_then(
    tmp_path: Path, seed: int, times: list[int], samples: int, meanwhile: str, tolerance: float
) -> None:
    reference = f"{{learned_at: teach, target: mint, samples: {samples}, meanwhile: {meanwhile}}}"
    station = STATION.replace("inputs: [box in, box out]", "inputs: [box in, box out, teach]")
    station = station.replace("{learned: scenes/taught.scene.yaml, target: mint}", reference)
    station = station.replace("tolerance: 0.03,\n      hysteresis: 10 %", f"tolerance: {tolerance},\n      hysteresis: 10 %")
    text = SHORT.format(seed=seed, times=", ".join(f"{at} ms" for at in sorted(times)))
    folder = make(tmp_path, text, station=station)
    batch = whole(opened(folder))
    rows = list(zip(*(column.tolist() for column in batch.bands["eye"]), strict=True))
    expected = machine(rows, batch.digital["input", "teach"].tolist(), samples, meanwhile, tolerance, 0.1)
    obs = running.observe_all(suite(folder), plugins.load(), ["scenes/line.scene.yaml"])["scenes/line.scene.yaml"]
    match = obs.signals["match", "1"]

    def covered(intervals: np.ndarray) -> list[bool]:
        found = np.zeros(len(rows), bool)
        for begin, end in intervals.tolist():
            found[begin // 10**6 : end // 10**6] = True
        return found.tolist()

    assert covered(match.must) == [state is True for state in expected]
    assert covered(match.can) == [state is not False for state in expected]
