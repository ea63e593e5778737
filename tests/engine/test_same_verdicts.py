"""Three tables on two clocks give the verdicts of the tidy table they were made from, or say that time is not known so well."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from stationtest import plugins
from stationtest.engine import judging
from stationtest.engine.observing import observe
from stationtest.files.suite import load

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "sources"))
from tables_station import Day

TABLES, TIDY = "recordings/day1.recording.yaml", "recordings/tidy.csv"
NOT_JUDGED = 2
CASES = """\
readings: [../recordings/day1.recording.yaml, ../recordings/tidy.csv]
evidence: {trials: 1}
cases:
  OWN: {title: t, present: mint, expect: {own_channel_only: yes}}
  NONE: {title: t, present: {between: bare belt}, expect: {no_channel: yes}}
  SOON: {title: t, present: mint, expect: {response: {at_most: 45 ms, from: start}}}
  JUST: {title: t, present: chamomile, expect: {response: {at_most: 30 ms, from: start}}}
  HELD: {title: t, present: [mint, chamomile], expect: {held: at least 40 ms}}
  ONCE: {title: t, present: chamomile, expect: {pulses: {channels: own, exactly: 1}}}
  LEVEL: {title: t, present: mint, expect: {level: {at_least: 30 %, at_most: 95 %}}}
  MARGIN: {title: t, present: mint, expect: {margin: {must_fire: at least 0.2}}}
  OUT: {title: t, present: {set: full box, lacking: chamomile}, expect: {outputs: {flap: {is: on, from: box out, within: 60 ms}}}}
  IN: {title: t, present: {set: full box, complete: yes}, expect: {outputs: {flap: {is: off, from: box out}}}}
"""


@pytest.mark.parametrize(
    ("step_us", "resolution", "truth", "sync"),
    [(0, "0 ms", "0 ms", "0 ms"), (0, "0 ms", "0 ms", "4 ms"), (8000, "8 ms", "5 ms", "4 ms")],
)
def test_the_same_verdicts(tmp_path: Path, step_us: int, resolution: str, truth: str, sync: str) -> None:
    """37 ms and 20 ppm, which after the hour of pause are 72 ms more: without clocks nothing would be right after it."""
    day = Day(44, pause_ms=3_600_000)
    folder = day.write(tmp_path, step_us, resolution, truth, sync)
    (folder / "cases/a.case.yaml").write_text(CASES)
    parts = plugins.load()
    suite = load(str(folder), expectations=parts.expectations)
    views = {key: judging.view_of(suite.station, observe(suite, key, parts)) for key in (TABLES, TIDY)}
    counts: Counter[str] = Counter()
    for case in suite.cases:
        for _, present in case.strata:
            tables, tidy = (judging._batch(suite, case, parts, case.unit, key, views[key], present) for key in (TABLES, TIDY))
            assert len(tables.outcome) == len(tidy.outcome) > 0
            assert np.abs(tables.trials.start_ns() - tidy.trials.start_ns()).max() <= 9_000_000
            for i, (here, there) in enumerate(zip(tables.outcome.tolist(), tidy.outcome.tolist(), strict=True)):
                if here == NOT_JUDGED and there != NOT_JUDGED:
                    assert "time is not known well enough; as logged:" in tables.why(i), (case.id, tables.why(i))
                    counts[case.id] += 1
                elif there != NOT_JUDGED:  # tidy does not know the logic's state after its gap; the log does
                    assert here == there, (case.id, i, tables.why(i), tidy.why(i))
                    counts["same"] += 1
    assert counts.pop("same") > 150
    if truth == "0 ms":  # the list and the log are on one clock, so that its doubt against the readings decides nothing here
        assert not counts
    else:  # 15 to 20 ms, logged up to 8 ms late and known to 13 ms: at most 45 ms is sure, at most 30 ms is not
        assert counts["JUST"] > 9 and counts.keys() == {"JUST"}


def test_without_the_clocks_it_would_be_wrong(tmp_path: Path) -> None:
    """The test above would fail if offset and drift were not used: the mint after the pause would lie 109 ms late."""
    day = Day(6, pause_ms=3_600_000)
    folder = day.write(tmp_path)
    text = (folder / TABLES).read_text()
    (folder / TABLES).write_text(text.replace("drift: 20 ppm", "drift: 0 ppm"))
    from stationtest.files.suite import load_station

    found = observe(load_station(str(folder)), TABLES, plugins.load())
    starts = found.presentations.start_ns[~found.presentations.between] // 1_000_000
    assert starts[0] == day.shown[0][0] and starts[-1] - day.shown[-1][0] == 72
