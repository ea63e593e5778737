"""`enabled_while` on channels (A12): a belt that stands with the spot half on a sachet gives a mixture that fires a foreign
channel; what the logic ignores meanwhile counts neither for firing nor against silence, and nothing else may be ignored."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from stationtest import plugins
from stationtest.engine import observing
from stationtest.files import suite as suites
from stationtest.model.observations import SourceObservations

STATION = """
station: mixture
scan: {{worst: 4 ms}}
{between}
sensors:
  eye: {{reads: CIELAB, columns: {{L: L, a: a, b: b}}, illuminant: D65, observer: 2 deg}}
targets:
  mint: {{colour: {{Lab: [50, 0, 0], illuminant: D65, observer: 2 deg}}}}
  hibiscus: {{colour: {{Lab: [50, 20, 0], illuminant: D65, observer: 2 deg}}}}
  belt: {{background: yes}}
channels:
  1: {{reference: mint, distance: CIE 1976 L*a*b*, tolerance: 1}}
  3: {{reference: hibiscus, distance: CIE 1976 L*a*b*, tolerance: 1, switches: {switches}, off_delay: 5 ms{enabled}}}
inputs: [belt running]
recordings:
  "recordings/*.csv":
    {{time: {{column: t, in: ms}}, every: 1 ms, gap: 5 ms, target: target{inputs}}}
"""
CASES = """
readings: ../recordings/r.csv
evidence: {trials: 1}
cases:
  A: {title: A, present: mint, expect: {own_channel_only: yes}}
"""
RUNS = ", inputs: {belt running: run}"


def observed(
    folder: Path, rows: list[tuple[float, str, int]], *, enabled: bool = True, inputs: str = RUNS, switches: str = "on match",
    between: str = "between: belt", channel: str = "", recorded: list[int] | None = None,
) -> SourceObservations:  # fmt: skip
    """Rows (a, target, running), one a millisecond."""
    (folder / "recordings").mkdir(parents=True)
    (folder / "cases").mkdir()
    said = ", enabled_while: belt running" if enabled else ""
    text = STATION.format(enabled=said, inputs=inputs + channel, switches=switches, between=between)
    (folder / "station.yaml").write_text(text)
    (folder / "cases" / "a.case.yaml").write_text(CASES)
    column = recorded or [0] * len(rows)
    lines = [f"{t},50,{a},0,{target},{run},{q}" for t, ((a, target, run), q) in enumerate(zip(rows, column, strict=True))]
    (folder / "recordings" / "r.csv").write_text("\n".join(["t,L,a,b,target,run,q3", *lines]) + "\n")
    parts = plugins.load()
    return observing.observe(suites.load(str(folder), expectations=parts.expectations), "recordings/r.csv", parts)


BELT, MINT, MIXED = (40.0, "", 1), (0.0, "mint", 1), (20.0, "mint", 0)
HALF_COVERED = [*[BELT] * 50, *[MINT] * 30, *[MIXED] * 400, *[MINT] * 30, *[BELT] * 50]


def did(obs: SourceObservations, name: str, channel: str = "3") -> Any:
    (row,) = np.flatnonzero(~obs.presentations.between)
    return getattr(obs.responses, name)[row, obs.responses.channels.index(channel)].item()


def test_a12_a_mixture_while_the_belt_stands_is_ignored(tmp_path: Path) -> None:
    """Channel 3 would be on for 400 ms and its off-delay of 5 ms: the sachet is hibiscus for as long as the belt stands."""
    heard = observed(tmp_path / "a", HALF_COVERED, enabled=False)
    assert (did(heard, "silent"), did(heard, "on_ns")) == (False, 405_000_000)
    ignored = observed(tmp_path / "b", HALF_COVERED)
    assert (did(ignored, "silent"), did(ignored, "on_ns"), did(ignored, "known")) == (True, 0, True)
    # its margin is that of the readings that count: mint is 20 away from hibiscus, the tolerance is 1
    assert did(ignored, "critical_any") == pytest.approx(20)
    assert did(heard, "critical_any") == 0


def test_only_what_the_station_declares_is_ignored(tmp_path: Path) -> None:
    """The same mixture 10 ms before the belt stands counts; channel 1, which is not said to be ignored, fires throughout."""
    early = [*HALF_COVERED[:80], *[(20.0, "mint", 1)] * 10, *HALF_COVERED[80:]]
    obs = observed(tmp_path, early)
    assert (did(obs, "silent"), did(obs, "on_ns")) == (False, 15_000_000)
    assert did(obs, "fired", "1")


@pytest.mark.parametrize("between", ["between: belt", ""])
def test_off_match_is_off_too(tmp_path: Path, between: str) -> None:
    """A channel that switches off match is on for all that is not hibiscus; while it is ignored it is off like any other."""
    rows = [*[BELT] * 20, *[MINT] * 30, *[(0.0, "mint", 0)] * 100, *[MINT] * 30, *[(40.0, "", 0)] * 20, *[BELT] * 20]
    obs = observed(tmp_path, rows, switches="off match", between=between)
    signal = obs.signals["channel", "3"]
    assert (signal.must // 1_000_000).tolist() == [[0, 55], [150, 185], [200, 220]]


def test_a_recorded_channel_is_ignored_alike(tmp_path: Path) -> None:
    on = [int(target == "mint" and not run) for _, target, run in HALF_COVERED]
    heard = observed(tmp_path / "a", HALF_COVERED, enabled=False, channel=", channels: {3: q3}", recorded=on)
    assert not did(heard, "silent")
    ignored = observed(tmp_path / "b", HALF_COVERED, channel=", channels: {3: q3}", recorded=on)
    assert did(ignored, "silent") and did(ignored, "known")


def test_without_the_input_nobody_knows(tmp_path: Path) -> None:
    obs = observed(tmp_path, HALF_COVERED, inputs="")
    assert not did(obs, "known") and did(obs, "known", "1")
