"""Counter-example A40: bad values that one meets in the first export. Each has a declared mapping, or a refusal that names the
row and the key which would declare it. What Python's csv and datetime make of the same cells is the check.
"""

from __future__ import annotations

import csv
import datetime
import sys
import zoneinfo
from pathlib import Path

import pytest
from recording_kit import MS, csv_file, form, opened, parquet_file, read, refusal

from stationtest import public
from stationtest.errors import StationtestError
from stationtest.model.digital import Digital

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "doors"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "files"))
from station_folder import STATION, make, problems

DAY_NS = 86_400 * 10**9


def rows(times: list[str]) -> str:
    return "t,r,g,b,target\n" + "".join(f"{t},1,2,3,\n" for t in times)


# --- a counter that wraps -----------------------------------------------------------------------------------------------------


def test_a_millisecond_counter_that_wraps(tmp_path: Path) -> None:
    """32 bits of milliseconds start again after 49.7 days; modular arithmetic of whole numbers is the check."""
    turn = 2**32
    counts = [(turn - 5 + 2 * k) % turn for k in range(8)]
    name = csv_file(tmp_path, rows([str(count) for count in counts]))
    batch = read(tmp_path, name, form(wraps_ns=turn * MS, every_ns=2 * MS))
    assert batch.t_ns is not None
    assert [int(t) // MS % turn for t in batch.t_ns] == counts
    assert set((batch.t_ns[1:] - batch.t_ns[:-1]).tolist()) == {2 * MS}


def test_without_that_it_is_refused_with_the_row_and_the_key(tmp_path: Path) -> None:
    problem = refusal(tmp_path, csv_file(tmp_path, rows(["4294967294", "4294967295", "0"])))
    assert (problem.place.line, problem.key, problem.code) == (4, "time", "unsorted-time") and "`wraps_at`" in problem.message


def test_a_count_that_is_not_below_its_turn(tmp_path: Path) -> None:
    problem = refusal(tmp_path, csv_file(tmp_path, rows(["65534", "65536", "1"])), form(wraps_ns=65536 * MS))
    assert (problem.place.line, problem.key) == (3, "time.wraps_at") and "not below the turn of 65.536 s" in problem.message


def test_a_time_that_goes_back_is_no_turn(tmp_path: Path) -> None:
    problem = refusal(tmp_path, csv_file(tmp_path, rows(["100", "90"])), form(wraps_ns=2**32 * MS))
    assert problem.code == "unsorted-time" and problem.place.line == 3


def test_many_turns_in_blocks_and_a_stretch_read_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """16 bits of milliseconds over five minutes: the same however the file is cut, and a stretch read again lies where it lay."""
    from stationtest.sources import csv_readings

    name = csv_file(tmp_path, rows([str(k % 65536) for k in range(60_000, 360_000)]))
    whole = read(tmp_path, name, form(wraps_ns=65536 * MS))
    assert whole.t_ns is not None and (whole.t_ns[1:] - whole.t_ns[:-1] == MS).all()
    monkeypatch.setattr(csv_readings, "BLOCK", 50_000)
    recording = opened(tmp_path, name, form(wraps_ns=65536 * MS))
    again = list(recording.seek(250_000 * MS, 260_000 * MS))
    assert again[0].t_ns is not None and again[0].t_ns[0] <= 250_000 * MS < again[-1].t_ns[-1]  # type: ignore[index]
    assert again[0].t_ns.tolist() == whole.t_ns[again[0].first_row : again[0].first_row + len(again[0])].tolist()


# --- time of day --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("zone", [None, "Europe/Berlin"])
def test_time_of_day_past_midnight(tmp_path: Path, zone: str | None) -> None:
    cells = [f"23:59:59.{k}00" for k in range(8, 10)] + [f"00:00:00.{k}00" for k in range(4)]
    keys = {"time_in": "time of day", "first_date": "2025-03-02", "zone": zone, "every_ns": 100 * MS, "gap_ns": 200 * MS}
    recording = opened(tmp_path, csv_file(tmp_path, rows(cells)), form(**keys))
    (batch,) = recording.batches()
    tz = zoneinfo.ZoneInfo(zone) if zone else datetime.UTC
    first = datetime.datetime(2025, 3, 2, 23, 59, 59, 800_000, tz).astimezone(datetime.UTC)
    assert recording.origin == first.strftime("%Y-%m-%dT%H:%M:%S.8Z")
    assert batch.t_ns is not None and batch.t_ns.tolist() == [100 * MS * k for k in range(6)]


def test_time_of_day_with_a_comma_and_in_parquet(tmp_path: Path) -> None:
    import pyarrow as pa

    keys = {"time_in": "time of day", "first_date": "2025-03-02", "every_ns": 100 * MS, "gap_ns": 200 * MS}
    text = "t;r;g;b;target\n" + "".join(f"23:59:59,{k}00;1;2;3;\n" for k in range(5))
    comma = read(tmp_path, csv_file(tmp_path, text), form(**keys, separator="semicolon", decimal="comma"))
    of_day = pa.array([(86_399 * 10**9) + k * 100 * MS for k in range(5)], pa.time64("ns"))
    table = pa.table({"t": of_day, "r": [1.0] * 5, "g": [1.0] * 5, "b": [1.0] * 5, "target": [""] * 5})
    parquet = read(tmp_path, parquet_file(tmp_path, table), form(**keys))
    assert comma.t_ns is not None and parquet.t_ns is not None
    assert comma.t_ns.tolist() == parquet.t_ns.tolist() == [100 * MS * k for k in range(5)]


def test_what_is_no_time_of_day(tmp_path: Path) -> None:
    keys = {"time_in": "time of day", "first_date": "2025-03-02"}
    problem = refusal(tmp_path, csv_file(tmp_path, rows(["10:00:00", "25:00:00"])), form(**keys))
    assert (problem.place.line, problem.key) == (3, "time") and "25:00:00 is not a time of day" in problem.message


def test_the_change_of_summer_time(tmp_path: Path) -> None:
    """2025-10-26 in Berlin has the hour from 2 to 3 twice: refused, with the row and the key. In UTC there is no such hour."""
    cells = [f"2025-10-26T02:{minute:02d}:00" for minute in (30, 31)]
    local = form(time_in="ISO 8601", zone="Europe/Berlin", every_ns=60_000 * MS, gap_ns=120_000 * MS)
    problem = refusal(tmp_path, csv_file(tmp_path, rows(cells)), local)
    assert (problem.place.line, problem.key) == (2, "time.zone") and "exists twice" in problem.message
    keys = {"time_in": "time of day", "first_date": "2025-10-26", "zone": "Europe/Berlin"}
    problem = refusal(tmp_path, csv_file(tmp_path, rows(["02:30:00", "02:31:00"])), form(**keys))
    assert problem.key == "time.zone" and "exists twice" in problem.message


# --- cells and lines ----------------------------------------------------------------------------------------------------------


def test_a_decimal_comma_between_commas(tmp_path: Path) -> None:
    text = "t,r,g,b,target\n0,0,012,2,3,\n"
    problem = refusal(tmp_path, csv_file(tmp_path, text))
    assert (problem.place.line, problem.key) == (2, "separator") and "decimal comma cannot stand between" in problem.message
    assert len(next(csv.reader(["0,0,012,2,3,"]))) == 6  # what a plain reader would have made of it


@pytest.mark.parametrize(("on", "off"), [("TRUE", "FALSE"), ("WAHR", "FALSCH"), ("1", "0"), ("-1", "0"), ("on", "off")])
def test_words_for_on_and_off(tmp_path: Path, on: str, off: str) -> None:
    text = "t,r,g,b,target,x\n" + "".join(f"{k},1,2,3,,{on if k % 2 else off}\n" for k in range(4))
    declared = form(inputs=(Digital(name="box in", column="x"),), on=(on,), off=(off,))
    assert read(tmp_path, csv_file(tmp_path, text), declared).digital["input", "box in"].tolist() == [False, True] * 2
    other = form(inputs=(Digital(name="box in", column="x"),), on=("ja",), off=("nein",))
    problem = refusal(tmp_path, csv_file(tmp_path, text), other)
    assert (problem.place.line, problem.key) == (2, "on, off")


def test_two_header_lines_and_a_line_of_units(tmp_path: Path) -> None:
    text = "made by nobody\nday one\nt,r,g,b,target\nms,1,1,1,\n0,1,2,3,\n1,1,2,3,\n"
    assert len(read(tmp_path, csv_file(tmp_path, text), form(skip_lines=2, units_line=True))) == 2
    assert refusal(tmp_path, csv_file(tmp_path, text), form(skip_lines=2)).key == "units_line"


def test_a_last_line_that_was_cut(tmp_path: Path) -> None:
    problem = refusal(tmp_path, csv_file(tmp_path, "t,r,g,b,target\n0,1,2,3,\n1,1"))
    assert problem.place.line == 3 and "the last line is cut" in problem.message


def test_micro_signs(tmp_path: Path) -> None:
    """`µs`, with either of its two code points, is `us`."""
    for sign in ("\u00b5", "\u03bc"):
        station = STATION.replace("in: ms", f"in: {sign}s")
        assert problems(make(tmp_path, station=station)) == []


# --- the same trials twice ----------------------------------------------------------------------------------------------------

CASE = """\
readings: [../recordings/day1.csv, ../recordings/day2.csv]
cases:
  A: {title: t, present: mint, expect: {level: {at_least: 1 %}}, evidence: {trials: 1}}
"""
DATED = STATION.replace("{column: t, in: ms}", "{column: t, in: ISO 8601}").replace(
    "{learned: recordings/day1.csv, target: chamomile}", "mint"
)


def day(hour: int, minute: int = 0, seconds: int = 2) -> str:
    """Two seconds of readings with a mint in the middle."""
    first = datetime.datetime(2025, 3, 2, hour, minute, tzinfo=datetime.UTC)
    lines = ["t,r,g,b,part,I1,I2"]
    for k in range(seconds * 1000):
        at = (first + datetime.timedelta(milliseconds=k)).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        lines.append(f"{at},900,900,900,{'mint' if 500 <= k < 600 else ''},0,0")
    return "\n".join(lines) + "\n"


def test_the_same_file_twice(tmp_path: Path) -> None:
    folder = make(tmp_path, station=DATED, cases=CASE)
    for name in ("day1", "day2"):
        (folder / f"recordings/{name}.csv").write_text(day(9))
    (said,) = problems(folder)
    assert said.startswith("cases/a.case.yaml:3:") and said.endswith("[overlap]")
    assert "recordings/day2.csv holds the same bytes as recordings/day1.csv" in said


@pytest.mark.parametrize(("second", "refused"), [((9, 0, 3), True), ((9, 1, 2), False)])
def test_recordings_that_overlap(tmp_path: Path, second: tuple[int, int, int], refused: bool) -> None:
    folder = make(tmp_path, station=DATED, cases=CASE)
    (folder / "recordings/day1.csv").write_text(day(9))
    (folder / "recordings/day2.csv").write_text(day(*second))
    suite = public.load(str(folder))
    if not refused:
        assert public.run(suite)["result"]["cases"][0]["verdict"] == "pass"
        return
    with pytest.raises(StationtestError) as caught:
        public.run(suite)
    (problem,) = caught.value.problems
    assert problem.code == "overlap" and problem.place.path == str(folder / "recordings/day2.csv")
    assert "overlaps recordings/day1.csv from 2025-03-02T09:00:00Z to 2025-03-02T09:00:02Z" in problem.message


# --- what is said of times in station.yaml ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("time", "message"),
    [
        ("{column: t, in: ms, wraps_at: 4294967296}", None),
        ("{column: t, in: time of day, date: 2025-03-02, zone: Europe/Berlin}", None),
        ("{column: t, in: time of day}", "time.date: this key is missing; a time of day needs the date of the first row"),
        ("{column: t, in: ms, date: 2025-03-02}", "time.date: a first date belongs to `in: time of day`"),
        ("{column: t, in: time of day, date: 2.3.2025}", "time.date: a date is due here; found 2.3.2025; allowed such as"),
        ("{column: t, in: ISO 8601, wraps_at: 5}", "time.wraps_at: a count may start again, ISO 8601 does so by itself or never"),
        ("{column: t, in: ms, zone: UTC}", "time.zone: a zone belongs to ISO 8601 times and times of day"),
    ],
)
def test_the_form_says_it(tmp_path: Path, time: str, message: str | None) -> None:
    found = problems(make(tmp_path, station=STATION.replace("{column: t, in: ms}", time)))
    assert (found == []) if message is None else any(message in text for text in found), found
