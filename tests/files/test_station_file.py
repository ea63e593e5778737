# ruff: noqa: E501 (messages stand whole on one line)
"""station.yaml to the model, and every problem of the table in station_problems.py."""

from __future__ import annotations

from pathlib import Path

import pytest
from station_folder import CASES, STATION, make, problems, suite
from station_problems import STATION_PROBLEMS

from stationtest.model.station import Edge, Logic
from stationtest.place import Place


@pytest.mark.parametrize(("old", "new", "answer"), STATION_PROBLEMS, ids=[new[:30] for _, new, _ in STATION_PROBLEMS])
def test_problems(tmp_path: Path, old: str, new: str, answer: list[str]) -> None:
    assert old in STATION
    make(tmp_path, station=STATION.replace(old, new, 1))
    (tmp_path / "requirements.csv").write_text("id,text\nURS-12,a\nURS-13,b\n", encoding="utf-8")
    assert problems(tmp_path) == answer


def test_the_model(tmp_path: Path) -> None:
    station = suite(make(tmp_path)).station
    assert (station.name, station.between, station.inputs) == ("tea-sampler-2", "bare belt", ("box in", "box out"))
    sensor = station.sensor("sachet")
    assert (
        sensor.columns == ("r", "g", "b")
        and sensor.dark == (12.0, 11.0, 14.0)
        and sensor.clips_at == 4095.0
        and sensor.edge_ns is None
    )
    one, two = station.channels
    assert (
        one.references[0].colour is not None
        and one.references[0].colour.values == (63.0, -28.0, 14.0)
        and one.for_targets == ("mint",)
    )
    assert two.references[0].learned is not None and two.references[0].learned.recording == "recordings/day1.csv"
    assert station.output("complete").logic == Logic(op="all_of", of=("1", "2")) and station.output(
        "complete"
    ).held_until == Edge(input="box out")
    assert station.output("flap").pulse == 120_000_000
    assert station.set_kind("full box").members == (("mint", 1), ("chamomile", 1))
    form = station.recordings[0]
    assert (form.every_ns, form.gap_ns, form.time_column, form.time_in, form.target) == (1_000_000, 3_000_000, "t", "ms", "part")
    assert [(digital.name, digital.column) for digital in form.inputs] == [("box in", "I1"), ("box out", "I2")]
    assert one.place == Place(str(tmp_path / "station.yaml"), 18, 3) and station.targets[0].place.line == 14


def test_bands_keep_their_order_whatever_the_order_of_the_mapping(tmp_path: Path) -> None:  # C13, Y29
    text = STATION.replace("{red: r, green: g, blue: b}", "{blue: b, red: r, green: g}")
    text = text.replace("[12, 11, 14]", "{green: 11, blue: 14, red: 12}")
    sensor = suite(make(tmp_path, station=text)).station.sensor("sachet")
    assert sensor.columns == ("r", "g", "b") and sensor.dark == (12.0, 11.0, 14.0)


def test_names_are_text_whatever_they_look_like(tmp_path: Path) -> None:  # Y10, Y11, markup and formulas
    for name in ("=1+1", "<b>mint</b>", "on", "12:30", "0x1F", "-2"):
        text = STATION.replace("mint", name)
        assert suite(make(tmp_path, station=text, cases=CASES.replace("mint", name))).station.targets[0].name == name


def test_written_holds_the_words_with_defaults_filled_in(tmp_path: Path) -> None:
    written = suite(make(tmp_path)).station_written
    assert written["channels"]["1"] == {
        "reference": "mint",
        "distance": "CIEDE2000",
        "tolerance": "4",
        "hysteresis": "0 %",
        "switches": "on match",
        "read_as": "level",
        "on_delay": "0 ms",
        "off_delay": "0 ms",
    }
    assert written["scan"] == {"worst": "0 ms", "input_filter": "0 ms"}
    assert written["sets"]["full box"]["from"] == "box in"
    assert written["recordings"]["recordings/*.csv"]["time"] == {"column": "t", "in": "ms"}

    def check(value: object) -> None:
        assert type(value) in (dict, list, str)
        for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
            check(inner)

    check(written)


def test_written_is_the_same_for_other_spellings_of_the_same(tmp_path: Path) -> None:  # Y21
    one = suite(make(tmp_path)).station_written
    two = suite(
        make(tmp_path, station=STATION.replace("120 ms", "0.12 s").replace("3 ms", "3ms").replace("-28", "−28"))
    ).station_written
    assert one == two


def test_edge_from_spot_and_belt(tmp_path: Path) -> None:
    text = STATION.replace("between:", "belt_speed: 0.5 m/s\nbetween:").replace(
        "    observer: 2 deg\ntargets", "    observer: 2 deg\n    spot: 4 mm\ntargets"
    )
    found = suite(make(tmp_path, station=text)).station
    assert found.fill_ns(found.sensors[0]) == 8_000_000


def test_further_forms_of_recordings(tmp_path: Path) -> None:
    more = """\
  "recordings/*.tsv":
    {rows: trials, separator: tab, decimal: comma, encoding: cp1252, target: part, void: void, seen_by: who, on: [lit, "on"], off: dark,
     channels: {1: {column: Q, bit: 0}, 2: {column: Q, bit: 1, inverted: yes}}, conditions: {height: h}, empty: [none, ""]}
  "recordings/*.gate": {time: {column: t, in: s}, every: 1 ms, gap: 3 ms, inputs: {box in: I1}, target: part,
     gate: {input: box in, list: "recordings/*_list.csv", offset: -4 ms, shortest: 10 ms}}
  "recordings/*.two": {time: {column: t, in: ISO 8601, zone: Europe/Berlin}, every: 1 ms, gap: 3 ms, window: {from: -1 ms, after_end: 20 ms},
     presentations: {file: "recordings/*_truth.csv", start: s, end: e, target: what, separator: semicolon}}
"""
    trials, gate, two = suite(make(tmp_path, station=STATION + more)).station.recordings[1:]
    assert (trials.rows, trials.separator, trials.decimal, trials.encoding) == ("trials", "tab", "comma", "cp1252")
    assert [(d.column, d.bit, d.inverted) for d in trials.channels] == [("Q", 0, False), ("Q", 1, True)]
    assert (trials.on, trials.off, trials.empty, trials.conditions) == (
        ("lit", "on"),
        ("dark",),
        ("none", ""),
        (("height", "h"),),
    )
    assert gate.gate is not None and (gate.gate.list_path, gate.gate.offset_ns, gate.gate.shortest_ns) == (
        "recordings/*_list.csv",
        -4_000_000,
        10_000_000,
    )
    second = two.presentations_form
    assert second is not None and (second.start, second.end, second.separator, second.time_in, second.zone) == (
        "s",
        "e",
        "semicolon",
        "ISO 8601",
        "Europe/Berlin",
    )
    assert (two.window_from, two.window_after_end, two.presentations_path) == (
        -1_000_000,
        20_000_000,
        "recordings/*_truth.csv",
    )


def test_an_unreadable_station_does_not_make_every_name_of_the_cases_unknown(tmp_path: Path) -> None:
    make(tmp_path, station="station: [\n")
    assert problems(tmp_path) == [
        "station.yaml:1:10: a list is opened here with `[`, and its items are not separated by `,` or it is never closed with `]` [unreadable]"
    ]
