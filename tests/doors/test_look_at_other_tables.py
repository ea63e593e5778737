"""`stationtest look` at what is no stream: tables of trials by hand, and logs of signals alone.

How people write such tables and the words for on and off are common practice, no source."""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import pytest
from station_kit import command

from stationtest import plugins
from stationtest.files.suite import load_station
from stationtest.sources import drawn, looking
from stationtest.sources.opening import open_recording

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "sources"))
from tables_station import STATION, Day

HAND = "recordings/hand.csv"
BARE = STATION.partition("recordings:\n")[0]
CASE = """\
readings: [../recordings/hand.csv]
basis: by hand
cases:
  A: {title: t, present: mint, expect: {own_channel_only: yes}, evidence: {trials: 3}}
"""


def hand(on: str = "an", off: str = "aus", yes: str = "ja", no: str = "nein") -> str:
    """Twelve trials as a person writes them down: six parts, each twice; the seventh trial does not count."""
    rows = ["Versuch;Teil;Nr;Lampe 1;Lampe 2;ungültig"]
    for k in range(12):
        part = "mint" if k < 6 else "chamomile"
        lit = (on, off) if k < 6 else (off, on)
        rows.append(f"{k + 1};{part};{part[0].upper()}{k % 3 + 1};{';'.join(lit)};{yes if k == 6 else no}")
    return "\n".join(rows) + "\n"


def station(folder: Path, text: str) -> Path:
    for part in ("cases", "recordings"):
        (folder / part).mkdir(exist_ok=True)
    (folder / "station.yaml").write_text(BARE)
    (folder / HAND).write_text(text, encoding="cp1252")
    return folder


def looked(*paths: Path | str) -> str:
    done = command("look", *paths)
    assert done.returncode == 0, done.stderr
    return done.stdout


def kinds(folder: Path, text: str) -> tuple[dict[str, str], looking.Looked]:
    (folder / "a.csv").write_text(text, encoding="utf-8")
    found = looking.look(folder / "a.csv", "a.csv")
    return {column.name: column.kind for column in found.columns}, found


# --- trials by hand -----------------------------------------------------------------------------------------------------------


def test_a_table_of_trials_is_proposed_as_one_and_read_as_written(tmp_path: Path) -> None:
    folder = station(tmp_path, hand())
    printed = looked(folder / HAND)
    assert "no time: column Versuch is one more in each row, so it numbers trials" in printed
    text = printed.partition("# a proposal")[2].partition("\n")[2]
    for line in ("rows: trials", "target: Teil", "specimen: Nr", 'void: "ungültig"', 'channels: {"1": Lampe 1, "2": Lampe 2}'):
        assert f"    {line}" in text, line
    assert "time:" not in text and "every" not in text and "gap" not in text
    (folder / "station.yaml").write_text(BARE + text)
    (folder / "cases/a.case.yaml").write_text(CASE)
    checked = command("check", folder)
    assert checked.returncode == 0, checked.stderr
    batch = open_recording(load_station(str(folder)), HAND, plugins.load().formats).trials()
    with (folder / HAND).open(encoding="cp1252", newline="") as file:
        rows = list(csv.DictReader(file, delimiter=";"))
    assert [batch.tables["target"][code] for code in batch.codes["target"]] == [row["Teil"] for row in rows]
    assert [batch.tables["specimen"][code] for code in batch.codes["specimen"]] == [row["Nr"] for row in rows]
    for channel in ("1", "2"):
        assert batch.digital["channel", channel].tolist() == [int(row[f"Lampe {channel}"] == "an") for row in rows]
    assert batch.digital["void", "void"].tolist() == [int(row["ungültig"] == "ja") for row in rows]


def test_what_a_table_of_trials_does_not_say_is_asked(tmp_path: Path) -> None:
    text = hand().replace("mint", "rosehip").replace("chamomile", "nettle").replace("Lampe 1", "gelb").replace("Lampe 2", "grün")
    printed = looked(station(tmp_path, text) / HAND)
    assert "rows: trials" in printed and "# which column says what was presented? target: Teil or Nr" in printed
    assert "channels:" not in printed.partition("# a proposal")[2]
    assert '# on or off, to be named under inputs, channels or outputs: gelb and "grün"' in printed


def test_parts_with_numbers_for_names_are_no_readings(tmp_path: Path) -> None:
    """`specimen` may be a number; only three columns of numbers or more can be a sensor's bands."""
    printed = looked(station(tmp_path, hand().replace(";M", ";1").replace(";C", ";2")) / HAND)
    assert "specimen: Nr" in printed and "readings may be in" not in printed
    bands = "".join(f"{k};{'mint' if k % 2 else 'chamomile'};{k}{k};{k},5;2,25;3\n" for k in range(1, 9))
    printed = looked(station(tmp_path, "Versuch;Teil;Nr;rot;grün;blau\n" + bands) / HAND)
    assert "rows: trials" in printed and "readings may be in" in printed


@pytest.mark.parametrize(
    ("on", "off"),
    [("an", "aus"), ("EIN", "AUS"), ("ja", "nein"), ("yes", "no"), ("on", "off"), ("On", "Off"), ("TRUE", "FALSE"),
     ("WAHR", "FALSCH"), ("oui", "non"), ("lit", "dark"), ("1", "0"), ("j", "n"), ("y", "n")],
)  # fmt: skip
def test_words_for_on_and_off(tmp_path: Path, on: str, off: str) -> None:
    folder = station(tmp_path, hand(on, off))
    assert f"on or off: Lampe 1, on is {on}, off is {off}" in looked(folder / HAND)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("no,part,lamp\n1,mint,an\n2,mint,an\n3,mint,aus\n", "counter"),
        ("no,part,nr,lamp\n1,mint,7,an\n2,mint,8,an\n3,mint,7,aus\n", "counter"),  # with the number of the specimen
        ("no,r,g,b,part\n1,1,2,3.5,mint\n2,2,3,4,chamomile\n3,3,4,6,mint\n", "counter"),  # readings, another part in each row
        ("t,r,g,b,part\n0,1,2,3,mint\n1,2,3,4,mint\n2,3,4,6,\n3,3,4,6,\n", "time"),  # readings: it is a stream
        ("t ms,part,lamp\n1,mint,an\n2,mint,an\n3,mint,aus\n", "time"),  # its name says a unit
        ("t,part,lamp\n[ms],,\n1,mint,an\n2,mint,an\n3,mint,aus\n", "time"),  # the line of units does
        ("t,lamp\n1,an\n2,an\n3,aus\n", "time"),  # nothing may say what was presented
        ("t,part,lamp\n1,mint,an\n2,mint,an\n4,mint,aus\n", "time"),  # by more than one
        ("t,part,lamp\n0.001,mint,an\n1.001,mint,an\n2.001,mint,aus\n", "time"),  # no whole numbers
    ],
)
def test_what_numbers_trials_and_what_is_a_time(tmp_path: Path, text: str, kind: str) -> None:
    columns, found = kinds(tmp_path, text)
    assert next(iter(columns.values())) == kind and (found.time is None) == found.trials == (kind == "counter")


# --- a log of signals alone ---------------------------------------------------------------------------------------------------


def test_a_long_log_alone_is_no_stream(tmp_path: Path) -> None:
    folder = Day(6).write(tmp_path)
    (folder / "station.yaml").write_text(BARE)
    printed = looked(folder / "recordings/day1_plc.csv")
    assert "a log of signals in `layout: long`: one row a value, names in TAG, values in VAL" in printed
    assert "signal Gate1: 0 7, TRUE 6" in printed  # once at the beginning, and off and on again for each of six boxes
    assert f"# stationtest look SENSOR_LOG {folder}/recordings/day1_plc.csv" in printed
    assert "every" not in printed and "a proposal" not in printed and "gaps above" not in printed


def test_a_wide_log_of_changes_alone_is_no_stream(tmp_path: Path) -> None:
    """A row when a signal changes; the same columns at a beat are samples."""
    log = "t ms,Q1,Q2\n0,0,0\n500,1,0\n515,1,1\n1735,0,1\n2005,0,0\n2010,1,0\n"
    station(tmp_path, log)
    printed = looked(tmp_path / HAND)
    assert "a log of signals in `layout: wide`: a column each" in printed and "# stationtest look SENSOR_LOG" in printed
    assert "every" not in printed and "a proposal" not in printed
    _, found = kinds(tmp_path, "t ms,Q1\n" + "".join(f"{8 * k},{k % 5 // 4}\n" for k in range(20)))
    assert found.sampled and not found.log


def test_a_picture_draws_each_signal_of_a_long_log(tmp_path: Path) -> None:
    """On-times as they were made, in seconds from the first row; the clock gains 20 ppm, so to 0.1 ms in six seconds."""
    day = Day(6)
    folder = day.write(tmp_path)
    (folder / "station.yaml").write_text(BARE)
    log = folder / "recordings/day1_plc.csv"
    log.write_text(log.read_text().replace("TS,", "TS us,", 1))
    looked(log, "--picture", folder / "a.html")
    page = (folder / "a.html").read_text()
    assert all(name in page for name in ("Gate1", "Gate2", "Gate3", "Q1", "Q2", "Q41"))
    assert "TAG:" not in page and page.count("<td>on 6 times</td>") >= 2

    lanes = drawn.data(looking.look(log, "a.csv"))["lanes"]
    tags = {"Gate1": "bi", "Gate2": "bo", "Q1": "q1", "Q2": "q2", "Q41": "fl"}
    for lane in lanes:
        if lane["name"] in tags:
            made = [[a / 1000, b / 1000] for a, b in day.on[tags[lane["name"]]]]
            assert lane["on"] == [pytest.approx(pair, abs=2e-4) for pair in made], lane["name"]
    assert {lane["name"] for lane in lanes} >= set(tags)


def test_a_signal_that_is_on_at_the_end_is_drawn_to_the_end(tmp_path: Path) -> None:
    rows = [
        "0,Q1,0",
        "0,Q2,0",
        "10,Q1,1",
        "20,Q2,1",
        "30,Q1,1",
        "40,Q1,0",
        "50,Q2,0",
        "60,Q2,1",
        "70,K,0",
        "90,K,1",
        "95,Q1,0",
        "99,Q1,0",
    ]
    _, found = kinds(tmp_path, "t ms,tag,v\n" + "\n".join(rows) + "\n")
    assert found.long
    lanes = {lane["name"]: lane["on"] for lane in drawn.data(found)["lanes"]}
    assert lanes == {"Q1": [[0.01, 0.04]], "Q2": [[0.02, 0.05], [0.06, 0.099]], "K": [[0.09, 0.099]]}
