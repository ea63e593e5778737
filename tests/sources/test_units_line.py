"""A line of units that says another unit of time than is declared, and tables that lie elsewhere than the readings.

How loggers write units is common practice, no source; the prefixes are those of the SI brochure (9th edition, table 7)."""

from __future__ import annotations

from pathlib import Path

import pytest
from recording_kit import form, opened, refusal
from tables_station import Day

from stationtest import cli, plugins, public
from stationtest.errors import StationtestError
from stationtest.files.suite import load_station
from stationtest.sources.opening import open_recording
from stationtest.sources.several_tables import TablesRecording
from stationtest.sources.units_line import unit_of

TABLES = "recordings/day1.recording.yaml"
MS = 1_000_000


@pytest.mark.parametrize(
    ("cell", "unit"),
    [
        ("s", "s"), ("[s]", "s"), ("(s)", "s"), ("sec", "s"), ("Sek.", "s"), ("Sekunden", "s"), (" ms ", "ms"), ("[ms]", "ms"),
        ("msec", "ms"), ("us", "us"), ("\u00b5s", "us"), ("[\u03bcs]", "us"), ("ns", "ns"),
        ("", None), ("1", None), ("cnt", None), ("hh:mm:ss", None), ("mm", None), ("Zeit", None),
    ],
)  # fmt: skip
def test_how_units_are_written(cell: str, unit: str | None) -> None:
    assert unit_of(cell) == unit


@pytest.mark.parametrize(("cell", "declared"), [("s", "ms"), ("[ms]", "s"), ("\u00b5s", "ms"), ("sec", "us")])
def test_an_entry_that_contradicts_the_line_of_units(tmp_path: Path, cell: str, declared: str) -> None:
    text = f"a logger\nt,r,g,b,target\n{cell},cnt,cnt,cnt,\n0,1,2,3,\n1,1,2,3,\n2,1,2,3,mint\n"
    (tmp_path / "day.csv").write_text(text, encoding="utf-8")
    problem = refusal(tmp_path, "day.csv", form(time_in=declared, skip_lines=1, units_line=True))
    assert (problem.place.path, problem.place.line, problem.key, problem.code) == ("day.csv", 3, "time.in", "bad-dialect")
    assert f"the line of units says {cell} for column t, `in` is {declared}; {unit_of(cell)} may be meant" in problem.message


def test_a_second_table_that_contradicts_its_line_of_units(tmp_path: Path) -> None:
    second = form(rows="trials", start="von", end="bis", time_column=None, units_line=True)
    (tmp_path / "day.csv").write_text("t,r,g,b\n0,1,2,3\n1,1,2,3\n2,1,2,3\n")
    (tmp_path / "truth.csv").write_text("von,bis,target\nms,s,\n0,2,mint\n")
    stream = form(target=None, presentations_path="truth.csv", presentations_form=second)
    with pytest.raises(StationtestError) as caught:
        opened(tmp_path, "day.csv", stream).listed()
    (problem,) = caught.value.problems
    assert (problem.place.path, problem.place.line, problem.key) == ("truth.csv", 2, "presentations.time.in")


def day(folder: Path, unit: str = "us", log: str = "us", truth: str = "us") -> TablesRecording:
    """A day in three tables, each with a line of units that says so; us is right."""
    Day(4).write(folder)
    for name, cell, columns in (("sensor", unit, 3), ("plc", log, 2), ("truth", truth, 3)):
        path = folder / f"recordings/day1_{name}.csv"
        head, _, rest = path.read_text().partition("\n")
        cells = [cell, cell if name == "truth" else "", *([""] * (columns - 1))]
        path.write_text(f"{head}\n{','.join(cells)}\n{rest}")
    text = (folder / TABLES).read_text().replace("file:", "units_line: yes, file:")
    (folder / TABLES).write_text(text)
    found = open_recording(load_station(str(folder)), TABLES, plugins.load().formats)
    assert isinstance(found, TablesRecording)
    return found


def test_tables_that_agree_with_their_lines_of_units(tmp_path: Path) -> None:
    assert len(day(tmp_path).logged()) == 6


@pytest.mark.parametrize(
    ("units", "path", "key"),
    [
        ({"unit": "[ms]"}, "recordings/day1_sensor.csv", "tables.colour.unit"),
        ({"log": "s"}, "recordings/day1_plc.csv", "tables.logic.unit"),
        ({"truth": "ms"}, "recordings/day1_truth.csv", "tables.truth.unit"),
    ],
)
def test_a_table_that_contradicts_its_line_of_units(tmp_path: Path, units: dict[str, str], path: str, key: str) -> None:
    with pytest.raises(StationtestError) as caught:
        recording = day(tmp_path, **units)
        recording.logged(), recording.listed()
    (problem,) = caught.value.problems
    assert (problem.place.path, problem.place.line, problem.key, problem.code) == (path, 2, key, "bad-dialect")
    assert "`unit` is us" in problem.message


# --- tables that lie elsewhere ------------------------------------------------------------------------------------------------

SENSOR = "t,r,g,b,part\n" + "".join(f"{k},160,150,155,{'mint' if 20 <= k < 60 else ''}\n" for k in range(100))
CHANGES = "time: t, rows_are: changes, signals: {1: a}"
SAMPLES = "time: t, rows_are: samples, gap: 12 ms, signals: {1: a}"
LOG = "t,a\n0,0\n25,1\n70,0\n100,0\n"


def placed(folder: Path, offset: str, table: str = CHANGES, log: str = LOG) -> Path:
    """100 ms of readings, and a log of as long that lies `offset` later, both in ms."""
    Day(0).write(folder)
    text = (
        "tables:\n  eye: {file: eye.csv, time: t, unit: ms, gap: 3 ms, target: part}\n"
        f"  log: {{file: log.csv, unit: ms, {table}}}\nclocks: {{log: {{to: eye, offset: {offset}, within: 0 ms}}}}\n"
    )
    case = "A: {title: t, present: mint, expect: {channels: 1}, evidence: {trials: 1}}"
    files = {
        "recordings/eye.csv": SENSOR,
        "recordings/log.csv": log,
        TABLES: text,
        "cases/a.case.yaml": f"readings: [../{TABLES}]\ncases:\n  {case}\n",
    }
    for name, content in files.items():
        (folder / name).write_text(content, encoding="utf-8")
    return folder


def notes(folder: Path) -> list[str]:
    found = open_recording(load_station(str(folder)), TABLES, plugins.load().formats)
    assert isinstance(found, TablesRecording)
    return found.notes


def test_a_log_that_lies_elsewhere_stands_in_check_and_in_the_record(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:  # fmt: skip
    said = (
        "recordings/log.csv, put on the clock eye, has no change of its signals between the first and the last reading: it "
        "goes from 37 s to 37.1 s, the readings from 0 s to 0.099 s; an offset, a date or a unit of time may be wrong"
    )
    folder = placed(tmp_path, "37 s")
    assert cli.main(["check", str(folder)]) == 0 and said in capsys.readouterr().out
    result = public.run(public.load(str(folder)))["result"]
    assert result["cases"][0]["verdict"] == "not judged" and said in result["sources"][0]["notes"]


def test_presentations_that_lie_elsewhere_stand_in_check(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Observing refuses them; `check` says so before."""
    folder = Day(4).write(tmp_path)
    text = (folder / TABLES).read_text().replace("kind: presentations, clock: plc", "kind: presentations, unit: us, clock: list")
    (folder / TABLES).write_text(text.replace("clocks:\n", "clocks:\n  list: {to: plc, offset: 300 s, within: 0 ms}\n"))
    assert cli.main(["check", str(folder)]) == 0
    assert capsys.readouterr().out.count("has no presentation between") == 0  # no case names it yet
    case = "A: {title: t, present: mint, expect: {channels: 1}, evidence: {trials: 1}}"
    (folder / "cases/a.case.yaml").write_text(f"readings: [../{TABLES}]\ncases:\n  {case}\n")
    assert cli.main(["check", str(folder)]) == 0
    printed = capsys.readouterr().out
    said = (
        "recordings/day1_truth.csv, put on the clock sensor, has no presentation between the first and the last reading: it goes "
    )
    assert said + "from 300." in printed
    with pytest.raises(StationtestError, match="none of the 7 presentations lies in the recording"):
        public.run(public.load(str(folder)))


@pytest.mark.parametrize(
    ("offset", "table", "log", "told"),
    [
        ("0 ms", CHANGES, LOG, ""),
        ("-80 ms", CHANGES, LOG, "has no change of its signals"),  # it goes on until 20 ms, and its last change is at -10 ms
        ("90 ms", CHANGES, LOG, ""),
        ("120 ms", CHANGES, LOG, "has no change of its signals"),
        ("0 ms", SAMPLES, "t,a\n" + "".join(f"{k},1\n" for k in range(-10, 120, 10)), ""),  # it never changes, and says so often
        ("200 ms", SAMPLES, "t,a\n" + "".join(f"{k},1\n" for k in range(-10, 120, 10)), "has no row"),
    ],
)
def test_where_a_log_lies_elsewhere(tmp_path: Path, offset: str, table: str, log: str, told: str) -> None:
    found = notes(placed(tmp_path, offset, table, log))
    assert len(found) == bool(told) and all(told in note for note in found)
