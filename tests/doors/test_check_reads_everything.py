"""`check` reads what lies beside the readings too, and tells all of it at once: nothing that stops a run is left for the run."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import station_kit as kit

PRESENTATIONS = "presentations: {file: truth.csv, time: {in: ms}, start: from, end: to, target: part}"
CORRECTIONS = "recording,row,time,what,was,is,by,when,why\n"


def told(folder: Path) -> list[str]:
    """The problems that `check` prints; `run` must be stopped by the same recording."""
    check, run = kit.command("check", folder), kit.command("run", folder, "-o", folder / "out")
    assert (check.returncode, run.returncode) == (2, 2), check.stdout[-300:] + run.stdout[-300:]
    assert not (folder / "out").exists() and "Traceback" not in check.stderr + run.stderr
    return [line.removeprefix(f"{folder}/") for line in check.stderr.splitlines()]


def changed(folder: Path, old: str, new: str) -> Path:
    text = (folder / "station.yaml").read_text(encoding="utf-8")
    assert old in text
    (folder / "station.yaml").write_text(text.replace(old, new, 1), encoding="utf-8")
    return folder


def with_table(folder: Path, table: str, more: str = "") -> Path:
    """Presentations from a second table; of two sensors that read the same kind of counts."""
    made = kit.station(folder, kit.PASSES)
    form = PRESENTATIONS[:-1] + (", sensor: eye}" if more else "}")
    changed(made, "target: part, specimen: no}", form + "}")
    (made / "truth.csv").write_text(table, encoding="utf-8")
    return made


def test_a_second_table_all_its_columns_at_once(tmp_path: Path) -> None:
    lines = told(with_table(tmp_path / "s", "from,bis,sort\n60,120,mint\n", "sensor"))
    of_day = [line for line in lines if "truth.csv" in line]
    assert [line.split(": ")[1] for line in of_day] == ["presentations.end", "presentations.sensor", "presentations.target"]
    line = 1 + (tmp_path / "s" / "station.yaml").read_text(encoding="utf-8").split('"recordings/*.csv"')[0].count("\n")
    named = f"named in {tmp_path / 's' / 'station.yaml'}:{line}:3"
    assert f"there is no column to in this file, {named}; it has from, bis, sort [missing-column]" in of_day[0]


def test_a_second_table_all_kinds_of_mistakes_at_once(tmp_path: Path) -> None:
    lines = told(with_table(tmp_path / "s", "from,to,part,eye\n60,120,mimt,eye\n180,240,mint,ear\n", "sensor"))
    assert any("truth.csv:2: presentations.target: mimt is not a target of this station; did you mean mint?" in x for x in lines)
    assert any("truth.csv:3: presentations.sensor: ear is not a sensor of this station" in x for x in lines)


def test_an_end_before_its_start(tmp_path: Path) -> None:
    lines = told(with_table(tmp_path / "s", "from,to,part\n60,20,mint\n180,240,\n300,250,mint\n"))
    assert [line.split(": ")[0] for line in lines] == ["truth.csv:2", "truth.csv:3", "truth.csv:4"]
    assert "a presentation must end after it starts" in lines[0] and "does not say what was presented" in lines[1]


def test_a_list_beside_a_gate(tmp_path: Path) -> None:
    """The starter's recording with a gate that is on wherever a sachet is."""
    made = kit.station(tmp_path / "s", kit.PASSES)
    form = """  "recordings/day1.csv":
    {separator: semicolon, time: {column: ms, in: ms}, every: 1 ms, gap: 3 ms, inputs: {gate: gate}, on: ["1"], off: ["0"],
     target: target, gate: {input: gate, list: lists/*_list.csv}}
"""
    changed(changed(made, '  "recordings/*.csv":', form + '  "recordings/*.csv":'), "between:", "inputs: [gate]\nbetween:")
    day = made / "recordings" / "day1.csv"
    head, *lines = day.read_text(encoding="utf-8").splitlines()
    lines = [f"{line};{int(line.split(';')[4] != '')}" for line in lines]
    day.write_text("\n".join([f"{head};gate", *lines]) + "\n", encoding="utf-8")
    (made / "lists").mkdir()
    (made / "lists" / "day1_list.csv").write_text("target\nmimt\n", encoding="utf-8")
    (line,) = told(made)
    assert line.startswith("lists/day1_list.csv:2: target: mimt is not a target of this station; did you mean mint?")
    (made / "lists" / "day1_list.csv").write_text("target\nmint\nchamomile\n", encoding="utf-8")
    (line,) = told(made)
    assert "gate was on 118 times, lists/day1_list.csv lists 2" in line


@pytest.mark.parametrize(
    ("events", "expected"),
    [
        (
            "time,event,note\n0,power onn,\n5 s,belt stop,\n",
            ["2: event: power onn is no event", "3: time: a time is due here, as the recording writes its own; found 5 s"],
        ),
        ("when,what\n0,power on\n", ["1: there is no column `when`", "1: the column `time` is missing"]),
    ],
)
def test_a_list_of_events(events: str, expected: list[str], tmp_path: Path) -> None:
    made = kit.station(tmp_path / "s", kit.PASSES)
    changed(made, "target: part, specimen: no}", "target: part, specimen: no, events: events.csv}")
    changed(made, "scan:", "events: {belt stop: {until: belt start}, power on: {}}\nscan:")
    (made / "events.csv").write_text(events, encoding="utf-8")
    text = "\n".join(told(made))
    assert all(f"events.csv:{words}" in text for words in expected), text


def test_a_specimen_that_the_register_has_as_another_target(tmp_path: Path) -> None:
    made = kit.station(tmp_path / "s", kit.PASSES)
    (made / "specimens.csv").write_text("id,target\n1,mint\n", encoding="utf-8")
    (line,) = told(made)
    assert "recordings/day1.csv: specimen: specimen 1 is presented as chamomile in row 181" in line
    assert "and the register has it as mint" in line and line.endswith("[contradiction]")


def test_corrections_that_speak_of_nothing(tmp_path: Path) -> None:
    """The starter's first sachet, mint, lies in the rows 61 to 120."""
    made = kit.station(tmp_path / "s", kit.PASSES)
    rows = ["99999,,,mint,chamomile", "1,,,mint,chamomile", "61,,,chamomile,mint", ",0.07,,mint,chamomile"]
    text = CORRECTIONS + "".join(f"recordings/day1.csv,{row},A,2026-03-02,seen\n" for row in rows)
    (made / "corrections.csv").write_text(text, encoding="utf-8")
    lines = told(made)
    assert [line.split(": ")[0] for line in lines] == [f"corrections.csv:{line}" for line in (2, 3, 4, 5)]
    assert "nothing is presented there in recordings/day1.csv, at row 99999" in lines[0]
    assert "at row 61 of recordings/day1.csv the target is mint; found chamomile" in lines[2]
    assert "this presentation is corrected already, in line 4" in lines[3]


def test_a_belt_column_that_is_not_there(tmp_path: Path) -> None:
    made = kit.station(tmp_path / "s", kit.PASSES)
    changed(made, "between:", "travel: {column: count, per_count: 0.5 mm}\nbetween:")
    (line,) = told(made)
    assert line.startswith("recordings/day1.csv: travel.column: there is no column count in this file")
    assert line.endswith("[missing-column]")


def test_recordings_that_no_case_names_yet(tmp_path: Path) -> None:
    made = kit.station(tmp_path / "s", kit.PASSES)
    (made / "recordings" / "day2.csv").write_text("ms;r;gr;b;sort;no\n0;1;2;3;;\n", encoding="utf-8")
    check = kit.command("check", made)
    assert check.returncode == 2
    lines = check.stderr.splitlines()
    assert [line.split(": ")[:2] for line in lines] == [
        [str(made / "recordings/day2.csv"), "sensors.eye.columns"],
        [str(made / "recordings/day2.csv"), "target"],
    ]
    (made / "recordings" / "day2.csv").write_text("ms;r;g;b;part;no\n0;1;2;3;;\n", encoding="utf-8")
    check = kit.command("check", made)
    assert check.returncode == 0 and "recordings/day2.csv: nothing wrong with it; no case names it" in check.stdout


def test_a_word_of_a_run_that_is_nearly_a_known_one(tmp_path: Path) -> None:
    made = kit.station(tmp_path / "s", kit.PASSES)
    (made / "run.yaml").write_text("whoo: A\nlamp hours: 100\n", encoding="utf-8")
    said = kit.command("check", made).stdout.splitlines()
    assert [line for line in said if line.startswith("warning: run.yaml")] == [
        "warning: run.yaml: whoo: this is taken as a word of your own; did you mean who?"
    ]


@pytest.mark.parametrize(
    ("run", "words"),
    [
        ("started: 1 March\n", "run.yaml:1:10: started: a date as in ISO 8601 is due here"),
        (
            "settings_as_found: {file: found.csv, read: yesterday, by: A}\n",
            "run.yaml:1:44: settings_as_found.read: a date as in ISO 8601 is due here",
        ),
    ],
)
def test_dates_of_a_run(run: str, words: str, tmp_path: Path) -> None:
    made = kit.station(tmp_path / "s", kit.PASSES)
    (made / "found.csv").write_text("A;1\n", encoding="utf-8")
    (made / "run.yaml").write_text(run, encoding="utf-8")
    assert any(line.startswith(words) for line in told(made))


def test_a_setting_in_a_unit_that_it_cannot_have(tmp_path: Path) -> None:
    made = kit.station(tmp_path / "s", kit.PASSES)
    with (made / "station.yaml").open("a", encoding="utf-8") as file:
        file.write("settings_keys:\n  channels.1.hysteresis: {key: CH1.HYS, in: ms}\n")
    (line,) = told(made)
    assert "settings_keys.channels.1.hysteresis.in: channels.1.hysteresis is 10 %, so a unit of a share is due here" in line


def test_a_margin_that_a_channel_cannot_have(tmp_path: Path) -> None:
    """A channel that gives pulses has no margin, so a case that asks for it cannot pass: told before anything is shown."""
    case = "  M-01:\n    title: t\n    present: [mint]\n    expect: {margin: {must_fire: at least 0.1}}\n"
    made = kit.station(tmp_path / "s", kit.PASSES + case + case.replace("M-01", "M-02").replace("must_fire", "must_be_silent"))
    assert "no margin" not in kit.command("check", made).stdout
    text = (made / "station.yaml").read_text()
    (made / "station.yaml").write_text(re.sub(r"(\n  2: \{(?:[^{}]|\{[^}]*\})*)\}", r"\1, pulse: 50 ms}", text))
    said = kit.command("check", made)
    warned = [line for line in said.stdout.splitlines() if "no margin" in line]
    assert len(warned) == 1, said.stdout + said.stderr
    assert warned[0].endswith("M-02: channel 2 gives pulses, and so has no margin: its trials are not judged")
