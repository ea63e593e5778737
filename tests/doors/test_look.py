"""`stationtest look`: what it says of files that nobody declared, and that what it proposes works as it is."""

from __future__ import annotations

import csv
import random
import re
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pytest
from station_kit import command

from stationtest import plugins
from stationtest.files.suite import load_station
from stationtest.signals.batch import joined
from stationtest.sources import syncing
from stationtest.sources.opening import open_recording

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "sources"))
from tables_station import STATION, on_plc

EXPORT = "recordings/export.csv"
BARE = STATION.partition("recordings:\n")[0]
CASE = f"""\
readings: [../{EXPORT}]
cases:
  A: {{title: t, present: mint, expect: {{own_channel_only: yes}}, evidence: {{trials: 3}}}}
"""


def export(rows: int = 1050, encoding: str = "cp1252") -> bytes:
    """As an instrument of the trade writes it: two lines of title, a header, a line of units; semicolons and decimal commas."""
    chance = random.Random(5)
    lines = ["Prüfstand Süd", "exportiert von Hand", "Zeit;r;g;b;Teil;Nr;box in;I07", "ms;1;1;1;;;;"]
    for k in range(rows):
        part, number = (("mint", k // 200 + 1) if k % 200 >= 120 else ("", "")) if k % 400 < 200 else ("", "")
        counts = (740, 1850, 1100) if part else (160, 150, 155)
        bands = ";".join(f"{count + chance.random():.2f}".replace(".", ",") for count in counts)
        lines.append(f"{100 + k},5;{bands};{part};{number};{int(k % 400 == 90)};{'EIN' if k % 50 < 5 else 'AUS'}")
    return ("\r\n".join(lines) + "\r\n").encode(encoding)


def station(folder: Path, data: bytes = b"", name: str = EXPORT) -> Path:
    for part in ("cases", "recordings"):
        (folder / part).mkdir(exist_ok=True)
    (folder / "station.yaml").write_text(BARE)
    (folder / name).write_bytes(data or export())
    return folder


def proposal(printed: str) -> str:
    """What is to be pasted: from the line behind the comment that says so."""
    return printed.partition("# a proposal")[2].partition("\n")[2]


def looked(*paths: Path | str) -> str:
    done = command("look", *paths)
    assert done.returncode == 0, done.stderr
    return done.stdout


# --- one file -----------------------------------------------------------------------------------------------------------------


def test_a_proposal_works_as_it_is(tmp_path: Path) -> None:
    """Pasted unchanged, `check` and `observe` run, and the readings are those that Python's csv and pyarrow read."""
    folder = station(tmp_path)
    printed = looked(folder / EXPORT)
    (folder / "station.yaml").write_text(BARE + proposal(printed))
    (folder / "cases/a.case.yaml").write_text(CASE)
    checked = command("check", folder)
    assert checked.returncode == 0, checked.stderr
    observed = command("observe", folder, EXPORT, "--csv", "-")
    assert observed.returncode == 0, observed.stderr
    shown = [row for row in csv.DictReader(observed.stdout.splitlines()) if row["target"] == "mint"]
    assert len({row["presentation"] for row in shown}) == 3 and {row["specimen"] for row in shown} == {"1", "3", "5"}

    batch = joined(list(open_recording(load_station(str(folder)), EXPORT, plugins.load().formats).batches()))
    with (folder / EXPORT).open(encoding="cp1252", newline="") as file:
        rows = list(csv.reader(file, delimiter=";"))[4:]
    assert len(batch) == len(rows) == 1050
    assert batch.t_ns is not None and batch.t_ns.tolist() == [int(Fraction(row[0].replace(",", ".")) * 10**6) for row in rows]
    assert batch.bands["sachet"][1].tolist() == [float(row[2].replace(",", ".")) for row in rows]
    by_arrow = pa.csv.read_csv(
        folder / EXPORT,
        pa.csv.ReadOptions(skip_rows=2, skip_rows_after_names=1, encoding="cp1252"),
        pa.csv.ParseOptions(delimiter=";"),
        pa.csv.ConvertOptions(decimal_point=",", column_types={band: pa.float64() for band in "rgb"}),
    )
    assert by_arrow.num_rows == 1050 and by_arrow["b"].to_pylist() == batch.bands["sachet"][2].tolist()
    assert batch.digital["input", "box in"].tolist() == [row[6] == "1" for row in rows]


def test_a_proposal_goes_below_the_entries_that_are_there(tmp_path: Path) -> None:
    folder = station(tmp_path)
    head = 'recordings:\n  "recordings/other.csv": {time: {column: t, in: ms}, every: 1 ms, gap: 5 ms, target: part}\n'
    (folder / "station.yaml").write_text(BARE + head)
    printed = looked(folder / EXPORT)
    assert "\nrecordings:" not in printed and "pasted below `recordings:`" in printed
    (folder / "station.yaml").write_text(BARE + head + proposal(printed))
    (folder / "cases/a.case.yaml").write_text(CASE)
    checked = command("check", folder)
    assert checked.returncode == 0, checked.stderr


def test_what_it_says(tmp_path: Path) -> None:
    printed = looked(station(tmp_path) / EXPORT)
    for words in (
        "recordings/export.csv: 1050 rows and 8 columns",
        "separator semicolon, decimal comma, encoding cp1252, 2 lines before the header and a line of units under it",
        "time: column Zeit in ms (from the line of units)",
        "a row every 1 ms, steps of 1 ms to 1 ms, no gap",
        "on or off: I07, on is EIN, off is AUS",
        "words: Teil, empty 810, mint 240",
        "specimen: Nr",
        "inputs: {box in: box in}",
        "# on or off, to be named under inputs, channels or outputs: I07",
        "row 1: 100,5, ",
    ):
        assert words in printed, words
    assert printed == looked(tmp_path / EXPORT)
    assert sorted(path.name for path in tmp_path.rglob("*") if path.is_file()) == ["export.csv", "station.yaml"]


def test_a_declared_recording_is_told_as_declared(tmp_path: Path) -> None:
    folder = station(tmp_path)
    (folder / "station.yaml").write_text(BARE + proposal(looked(folder / EXPORT)))
    printed = command("look", folder / EXPORT, "--picture", folder / "a.html").stdout
    assert (folder / "a.html").read_text().count("<svg") == 1
    assert printed.startswith('recordings/export.csv: by the entry "recordings/export.csv"') and "proposal" not in printed


@pytest.mark.parametrize(
    ("text", "unit", "why"),
    [
        ("t;r;g;b\n1700000000000;1;2;3\n1700000000010;1;2;3\n1700000000020;1;2;3\n", "ms", "as a count since 1970"),
        ("t [µs];r;g;b\n0;1;2;3\n500;1;2;3\n1000;1;2;3\n", "us", "from its name"),
        ("t;r;g;b\n0,000;1;2;3\n0,001;1;2;3\n0,002;1;2;3\n", "s", "a guess"),
        ("t;r;g;b\n" + "".join(f"2025-03-02T09:00:00,10{k};1;2;3\n" for k in range(3)), "ISO 8601, zone: UTC", "without a zone"),
        ("t,r,g,b\n23:59:59.998,1,2,3\n23:59:59.999,1,2,3\n00:00:00.000,1,2,3\n", "time of day, date: 1970-01-01", "say which"),
        ("t,r,g,b\n" + "".join(f"2025-03-02T09:00:00.10{k}Z,1,2,3\n" for k in range(3)), "ISO 8601", "dates"),
    ],
)
def test_units_of_time(tmp_path: Path, text: str, unit: str, why: str) -> None:
    printed = looked(station(tmp_path, text.encode()) / EXPORT)
    assert re.search(rf"time: {{column: .*, in: {re.escape(unit)}}}    # .*{why}", printed), printed


def test_gaps_are_counted(tmp_path: Path) -> None:
    rows = "".join(f"{k};1;2;3\n" for k in [*range(50), *range(80, 130), *range(400, 450)])
    assert "steps of 1 ms to 271 ms, 2 gaps above 3 ms" in looked(station(tmp_path, f"t ms;r;g;b\n{rows}".encode()) / EXPORT)


@pytest.mark.parametrize(
    ("data", "words"),
    [(b"\n", "has no lines of a table"), (b"a;b\n", "has no lines of a table"), (b"PAR1", "has no lines of a table")],
)
def test_files_that_are_no_tables(tmp_path: Path, data: bytes, words: str) -> None:
    done = command("look", station(tmp_path, data) / EXPORT)
    assert done.returncode == 2 and words in done.stderr and "Traceback" not in done.stderr


def test_no_such_file_and_no_picture_over_another(tmp_path: Path) -> None:
    assert command("look", tmp_path / "none.csv").returncode == 2
    folder = station(tmp_path)
    (folder / "a.html").write_text("mine")
    done = command("look", folder / EXPORT, "--picture", folder / "a.html")
    assert done.returncode == 2 and "[exists]" in done.stderr and (folder / "a.html").read_text() == "mine"


def test_a_picture(tmp_path: Path) -> None:
    folder = station(tmp_path)
    assert command("look", folder / EXPORT, "--picture", folder / "a.html").returncode == 0
    page = (folder / "a.html").read_text()
    assert page.count("<svg") == 1 and "<script" not in page and "http" not in page.replace("http://www.w3.org", "")
    assert "Teil: mint" in page and "I07" in page and "on 3 times" in page


# --- two logs -----------------------------------------------------------------------------------------------------------------


def two_logs(folder: Path) -> tuple[Path, Path]:
    """A sensor's log of 40 parts over a minute and a half, and a controller's log of changes of an eye at the same spot, on a
    clock that is 37 ms on and gains 20 ppm; a gate at other times."""
    chance = random.Random(3)
    starts = [200 + 2000 * k + chance.randrange(900) for k in range(40)]
    lit = {ms for start in starts for ms in range(start, start + 80)}
    rows = [f"{ms * 1000};{'740;1850;1100' if ms in lit else '160;150;155'}" for ms in range(83_000)]
    log = [(on_plc(ms * 1000), "Eye1", on) for start in starts for ms, on in ((start, "TRUE"), (start + 80, "FALSE"))]
    log += [(on_plc(ms * 1000), "Gate", on) for k in range(30) for ms, on in ((2500 * k + 7, "TRUE"), (2500 * k + 400, "FALSE"))]
    station(folder, ("t us;r;g;b\n" + "\n".join(rows) + "\n").encode())
    text = "TS us;TAG;VAL\n" + "".join(f"{float(at):.1f};{tag};{value}\n" for at, tag, value in sorted(log))
    (folder / "recordings/plc.csv").write_text(text)
    return folder / EXPORT, folder / "recordings/plc.csv"


def test_the_offset_between_two_logs_and_a_file_that_says_so(tmp_path: Path) -> None:
    printed = looked(*two_logs(tmp_path))
    words = r"the readings as they brighten and Eye1, 39 of 40\n  offset (\S+) ms at the first row, drift (\S+) ppm"
    found = re.search(words, printed)
    assert found and abs(float(found[1]) - 37) <= 0.2 and abs(float(found[2]) - 20) <= 3
    text = proposal(printed)
    within = re.search(r"within: (\S+) ms, found_by", text)
    assert within and float(within[1]) >= 1  # no edge is known better than to a step of the readings
    assert "layout: long" in text and "name: TAG" in text and "# NAME: Eye1" in text and "unit: us" in text
    text = text.replace("# NAME: Eye1", "box in: Eye1")
    truth = "  truth: {file: truth.csv, kind: presentations, clock: sensor}\nclocks:"
    (tmp_path / "recordings/day1.recording.yaml").write_text(text.replace("clocks:", truth))
    (tmp_path / "recordings/truth.csv").write_text("start,end,target\n500000,580000,mint\n")
    told = command("look", tmp_path / "recordings/day1.recording.yaml", "--picture", tmp_path / "a.html").stdout
    assert (tmp_path / "a.html").read_text().count("<svg") == 3
    assert "input box in from Eye1: on 40 times" in told  # the first row of it is on, which is no edge that was seen
    assert "found by 39 of 40 common edges" in told


def test_sync_by_arithmetic() -> None:
    """Edges an hour long, mapped in fractions of whole numbers; a third of the partners missing and as many strangers."""
    chance = random.Random(8)
    a = np.cumsum([chance.randrange(400, 5000) * 10**6 for _ in range(1000)])
    mapped = [int(x) + 37 * 10**6 + int(Fraction(20, 10**6) * (int(x) - int(a[0]))) for x in a]
    kept = [x for x in mapped if chance.random() < 0.67] + [chance.randrange(int(a[-1])) for _ in range(300)]
    found = syncing.common(a, np.sort(np.array(kept, np.int64)), int(a[0]))
    assert found is not None and found.also_ns is None
    assert abs(found.offset_ns - 37 * 10**6) <= 10**6 and abs(found.drift_e12 - 20 * 10**6) <= 10**6 and 600 < found.matched < 760


def test_edges_that_come_too_evenly_are_told_so() -> None:
    a = np.arange(60, dtype=np.int64) * 10**9
    found = syncing.common(a, a + 37 * 10**6, 0)
    assert found is not None and found.also_ns is not None
    assert syncing.common(a, np.array([1, 2, 3, 4, 5]), 0) is None


def test_start_up_stays_cheap() -> None:
    """`look --help` loads no numpy and no pyarrow."""
    code = "import sys, stationtest.cli as c\ntry: c.main(['look', '--help'])\nexcept SystemExit: print('numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2])
    assert done.stdout.rstrip().endswith("False")


@pytest.mark.parametrize("end", ["", "\n"])
def test_rows_of_a_long_file_are_counted_to_its_end(end: str, tmp_path: Path) -> None:
    """The first 8 MB are read, the first 50,000 rows looked at: of the others nobody says that they have no gap."""
    rows = [f"{ms},160,150,{ms % 7}" for ms in range(700_000)]
    (tmp_path / "long.csv").write_text("t,r,g,b\n" + "\n".join(rows) + end)
    said = command("look", tmp_path / "long.csv").stdout
    assert "700000 rows and 4 columns, of which the first 50001 were looked at" in said
    assert "no gap in the first 50001 rows" in said
