"""Events through the command line and into record and page: a small station whose belt stopped once."""

from __future__ import annotations

from pathlib import Path

import station_kit as kit

CASES = """\
  STOP-01:
    title: What lies under the spot at a stop is told apart as well
    present: [mint, chamomile]
    where: {during: belt stop}
    expect: {own_channel_only: yes}
    evidence: {trials: 1}
  FIRST-01:
    title: The first two after power-on
    present: [mint, chamomile]
    where: {first: 2, after: power on}
    expect: {own_channel_only: yes}
    evidence: {trials: 1}
"""
EVENTS = "events: {belt stop: {until: belt start}, power on: {}}\n"


def station(folder: Path, listed: str) -> Path:
    made = kit.station(folder, CASES)
    text = (made / "station.yaml").read_text(encoding="utf-8")
    text = text.replace("target: part, specimen: no}", "target: part, specimen: no, events: recordings/*_events.csv}", 1)
    (made / "station.yaml").write_text(text + EVENTS, encoding="utf-8")
    (made / "recordings" / "day1_events.csv").write_text("time,event,note\n" + listed, encoding="utf-8")
    return made


def test_events_from_the_list_to_the_page(tmp_path: Path) -> None:
    """The starter's first two sachets, mint and chamomile, come before 1 s: 'power on' at 0 means both of them."""
    made = station(tmp_path / "s", "0,power on,main switch\n0,belt stop,\n1000,belt start,\n")
    run = kit.command("run", made, "-o", tmp_path / "o")
    assert run.returncode == 0, run.stdout + run.stderr
    cases = {case["id"]: case for case in kit.record_of(tmp_path / "o")["result"]["cases"]}
    assert cases["FIRST-01"]["found"] == 2 and cases["STOP-01"]["found"] >= 2
    (source,) = kit.record_of(tmp_path / "o")["result"]["sources"]
    assert source["events"][0] == {"at_ns": 0, "event": "power on", "note": "main switch"} and source["events_count"] == 3
    roles = {part["path"]: part["role"] for part in kit.record_of(tmp_path / "o")["result"]["inputs"]}
    assert roles["recordings/day1_events.csv"] == "events"
    page = (tmp_path / "o" / "report.html").read_text(encoding="utf-8")
    assert "main switch" in page and "Events, 3" in page
    assert "events: from the list recordings/*_events.csv" in kit.command("check", made).stdout


def test_workers_hand_on_the_same_events(tmp_path: Path) -> None:
    made = station(tmp_path / "s", "0,power on,\n")
    for name, executor in (("a", "in process"), ("b", "processes")):
        kit.command("run", made, "-o", tmp_path / name, "--workers", "2", "--executor", executor)
    first, second = (kit.record_of(tmp_path / name)["result_sha256"] for name in ("a", "b"))
    assert first == second


def test_mistakes_are_one_sentence(tmp_path: Path) -> None:
    made = station(tmp_path / "s", "0,power onn,\n")
    run = kit.command("run", made, "-o", tmp_path / "o")
    assert run.returncode == 2 and not (tmp_path / "o").exists()
    told = "power onn is no event that the station declares; did you mean power on? [unknown-name]"
    assert f"day1_events.csv:2: event: {told}" in run.stderr
    (made / "recordings" / "day1_events.csv").unlink()
    gone = kit.command("check", made)
    assert gone.returncode == 2 and "there is no file" in gone.stderr and "Traceback" not in gone.stderr
