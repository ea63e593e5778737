"""`stationtest look` at a logger that counts from its start and a controller with dates: what it proposes loads, and judges as
the relation does that the logs were made with."""

from __future__ import annotations

import csv
import io
import re
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from station_kit import command

from stationtest import public
from stationtest.sources import syncing

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "sources"))
from tables_station import OFFSET_US, STATION, Day

MADE = "recordings/day1.recording.yaml"
BEGAN = "2026-03-02T07:15:00"
BEGAN_NS = int(np.datetime64(BEGAN, "ns").astype(np.int64))
GRID_US = 5000
SIGNALS = "{box in: Gate1, box out: Gate2, flap: Q41, box present: {from: Gate3, inverted: yes}, 1: Q1, 2: Q2}"
TRUTH = "  truth: {file: truth.csv, kind: presentations, clock: controller, unit: ISO 8601, within: 2 ms}\n"
CASES = """\
readings: [../recordings/day1.recording.yaml]
evidence: {trials: 3}
cases:
  A: {title: each its own, present: [mint, chamomile], expect: {own_channel_only: yes}}
  B: {title: answers, present: [mint, chamomile], expect: {response: {at_most: 60 ms, from: start}}}
  C: {title: thrown out, present: {set: full box, lacking: any}, expect:
      {outputs: {flap: {is: on, from: box out, within: 60 ms}}}}
  D: {title: let through, present: {set: full box, complete: yes}, expect: {outputs: {flap: {is: off, from: box out}}}}
"""


def date(us: str | Fraction) -> str:
    """Microseconds since it began, in ISO 8601 to the nanosecond."""
    return f"{np.datetime64(BEGAN_NS + round(Fraction(us) * 1000), 'ns')}Z"


def two_logs(folder: Path) -> tuple[Path, Path]:
    """A logger with a row every ms from 0 on, with a line to a lamp; changes in steps of 5 ms and truth on the controller's
    clock, which is 37 ms after 07:15 where the logger begins, and gains 20 ppm."""
    day = Day(40)
    for name in ("cases", "recordings"):
        (folder / name).mkdir(parents=True)
    (folder / "station.yaml").write_text(STATION.partition("recordings:\n")[0])
    (folder / "cases/a.case.yaml").write_text(CASES)
    rows = list(csv.DictReader(io.StringIO(day.tidy())))
    logger = [f"{row['t']},{row['r']},{row['g']},{row['b']},{row['q1']}" for row in rows]
    (folder / "recordings/logger.csv").write_text("t us,r,g,b,L1\n" + "\n".join(logger) + "\n")
    for name, text, columns in (("plc", day.controller_log(GRID_US), ("TS",)), ("truth", day.truth(), ("start", "end"))):
        table = list(csv.DictReader(io.StringIO(text)))
        lines = [",".join(date(cell) if key in columns else cell for key, cell in row.items()) for row in table]
        (folder / f"recordings/{name}.csv").write_text(",".join(table[0]) + "\n" + "\n".join(lines) + "\n")
    return folder / "recordings/logger.csv", folder / "recordings/plc.csv"


def proposed(folder: Path) -> tuple[str, str]:
    """What `look` prints of the two logs, and its proposal with what only a user can know: the signals and the list."""
    done = command("look", *two_logs(folder))
    assert done.returncode == 0, done.stderr
    text = done.stdout.partition("# a proposal")[2].partition("\n")[2]
    text = re.sub(r"    signals:.*\n(      .*\n)*", f"    signals: {SIGNALS}\n", text)
    return done.stdout, text.replace("clocks:\n", TRUTH + "clocks:\n")


def results(folder: Path, text: str) -> list[dict[str, Any]]:
    """Verdicts, counts and reasons of the cases, with this recording file."""
    (folder / MADE).write_text(text)
    wanted = ("id", "verdict", "planned", "found", "conforming", "nonconforming", "not_judged")
    cases = public.run(public.load(str(folder)))["result"]["cases"]
    return [{key: case[key] for key in wanted if key in case} for case in cases]


def with_clocks(text: str, line: str) -> str:
    return text.partition("clocks:\n")[0] + f"clocks:\n  {line}\n"


def test_what_it_proposes_of_dates_and_a_count_loads_and_judges_as_stated(tmp_path: Path) -> None:
    printed, text = proposed(tmp_path / "a")
    (tmp_path / "a" / MADE).write_text(text)
    done = command("check", tmp_path / "a")
    assert done.returncode == 0, done.stderr
    assert "clock controller, in steps of 5 ms" in done.stdout

    found = re.search(r"offset: (\S+) s, drift: (\S+) ppm,\s+within: (\S+) ms", text)
    assert found
    offset_ns, within_ns = int(Fraction(found[1]) * 10**9), int(Fraction(found[3]) * 10**6)
    stated_ns = BEGAN_NS + OFFSET_US * 1000
    # a change is stamped at the next of the 5 ms steps, so half a step late on average and no edge farther from that than half a
    # step, and a row of the logger comes every ms
    assert abs(offset_ns - stated_ns - 2_500_000) <= 1_000_000 and 2_500_000 <= within_ns <= 4_500_000
    assert abs(Fraction(found[2]) - 20) <= 40  # half a minute is short for a drift: 1 ms in 40 s is 25 ppm
    assert abs(offset_ns - stated_ns) <= within_ns + GRID_US * 1000  # with `resolution` the relation they were made with is in it
    assert "resolution: 5 ms    # all its stamps lie on this grid" in text
    spread = re.search(
        r"the edges of Q1 come up to (\S+) ms early and up to (\S+) ms late, half of them within (\S+) us", printed
    )
    assert spread and 2 < max(float(spread[1]), float(spread[2])) <= within_ns / 1e6 and 500 < float(spread[3]) < 1000

    hand = f"sensor: {{to: controller, offset: {stated_ns // 1000} us, drift: 20 ppm, within: {within_ns} ns}}"
    turned = f"controller: {{to: sensor, offset: {-stated_ns // 1000} us, drift: -19.9996 ppm, within: {within_ns} ns}}"
    judged = results(tmp_path / "a", text)
    assert {case["verdict"] for case in judged} == {"pass", "fail"}
    assert results(tmp_path / "a", with_clocks(text, hand)) == judged
    assert results(tmp_path / "a", with_clocks(text, turned)) == judged


@pytest.mark.parametrize(
    "line",
    [
        "sensor: {to: controller, offset: 37 ms, drift: 20 ppm, within: 4 ms}",  # the date left out
        f"sensor: {{to: controller, offset: {(BEGAN_NS + OFFSET_US * 1000) // 1000} ns, drift: 20 ppm, within: 0 ms}}",  # us
    ],
)
def test_an_offset_without_the_date_or_in_a_wrong_unit(tmp_path: Path, line: str) -> None:
    _, text = proposed(tmp_path / "a")
    (tmp_path / "a" / MADE).write_text(with_clocks(text, line))
    done = command("check", tmp_path / "a")
    assert done.returncode == 2 and "Traceback" not in done.stderr
    assert "put on the clock sensor, its times lie more than 104 days from the first row" in done.stderr
    assert "the offset may be in a wrong unit, or leave out a date" in done.stderr and "[bad-value]" in done.stderr


def test_residuals_by_hand() -> None:
    """Of 12 edges at whole seconds eleven agree with 37 ms, and one comes 3 ms late: the line through them, by numpy's own
    formula of least squares, leaves that one 2.x ms late and none more than 1 ms early."""
    a = np.cumsum([1000, 1300, 900, 1700, 1100, 2300, 800, 1900, 1200, 1500, 700, 2100]).astype(np.int64) * 10**6
    b = a + 37 * 10**6
    b[5] += 3 * 10**6
    found = syncing.common(a, b, 0)
    slope, offset = np.polynomial.polynomial.polyfit(a / 1e9, (b - a) / 1e6, 1)[::-1]
    left = (b - a) / 1e6 - offset - slope * a / 1e9
    assert found is not None and found.matched == 12
    assert found.late_ns / 1e6 == pytest.approx(left.max(), abs=2e-3)
    assert found.early_ns / 1e6 == pytest.approx(left.min(), abs=2e-3)
    assert found.half_ns / 1e6 == pytest.approx(np.median(np.abs(left)), abs=2e-3)
    assert found.within_ns == -(-max(-found.early_ns, found.late_ns) // 100_000) * 100_000


def test_edges_of_one_event_before_edges_that_mostly_follow_it() -> None:
    """A reject that follows two of three boxes, always after the same time, lies as near to a line as the box itself; but every
    third edge has no partner."""
    chance = np.random.default_rng(4)
    a = np.cumsum(chance.integers(2000, 4000, 90)).astype(np.int64) * 10**6
    same = syncing.common(a, a + chance.integers(-2_000_000, 2_000_000, 90), 0)
    after = syncing.common(a, (a + 440 * 10**6 + chance.integers(-1_500_000, 1_500_000, 90))[np.arange(90) % 3 > 0], 0)
    assert same is not None and after is not None
    assert after.within_ns < same.within_ns and same.doubt < after.doubt


@pytest.mark.parametrize(("unit", "per_us"), [("s", 10**6), ("ms", 1000), ("us", 1), ("ns", Fraction(1, 1000))])
def test_a_unit_that_nobody_wrote_down_is_that_with_which_the_edges_fit(tmp_path: Path, unit: str, per_us: Fraction) -> None:
    """The controller's log counts from its own start; whatever its unit, offset and steps come out as they were made."""
    folder = tmp_path / "a"
    logger, plc = two_logs(folder)
    table = list(csv.DictReader(io.StringIO(Day(40).controller_log(GRID_US))))
    digits = {"s": 6, "ms": 3, "us": 0, "ns": 0}[unit]
    lines = [f"{float(Fraction(row['TS']) / per_us):.{digits}f},{row['TAG']},{row['VAL']}" for row in table]
    plc.write_text("TS,TAG,VAL\n" + "\n".join(lines) + "\n")
    done = command("look", logger, plc)
    assert done.returncode == 0, done.stderr
    text = done.stdout.partition("# a proposal")[2]
    found = re.search(r"offset: (\S+) ms, drift", text)
    assert found and abs(float(found[1]) - OFFSET_US / 1000 - 2.5) <= 1
    assert f"unit: {unit}    #" in text and "resolution: 5 ms" in text
