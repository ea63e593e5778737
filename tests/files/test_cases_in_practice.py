"""Cases as a plant would write them about truth, events and neighbours: accepted as they stand (L2 to L5, L9, L12, L16)."""

from __future__ import annotations

from pathlib import Path

import pytest
from station_folder import STATION, make, problems, suite

PLANT = (
    STATION.replace("inputs: [box in, box out]", "inputs: [box in, box out, alarm line]")
    .replace("sets:\n", "  alarm: {any_of: [alarm line]}\nsets:\n")
    .replace("  height: [low, high]", "  height: [low, high]\n  belt: [running, stopped]\n  mark: [splice, plain]")
    + "events:\n  belt stop: {until: belt start}\n  power on: {}\n  sachet sensor unplugged: {until: sachet sensor plugged in}\n"
    + "  window covered: {until: window clean}\n"
)
REGISTER = "id,target,grade,mark\nM1,mint,normal,plain\nM2,mint,light limit,plain\nM3,mint,dark limit,splice\n"
HEAD = "readings: [../recordings/day1.csv]\nbasis: recorded\n"
SPECIMENS = "evidence: {reliability: 95 %, confidence: 95 %, of: specimens, presented: 5}\ncases:\n"

REC = """\
  REC-01:
    title: Each sachet switches its own channel once and no other
    requirement: [URS-12, URS-13]
    rows:
      - {id: mint, present: mint}
      - {id: chamomile, present: chamomile}
    where: {belt: running, grade: [normal, light limit, dark limit]}
    expect:
      own_channel_only: yes
      pulses: {channels: own, exactly: 1}
"""
BELT = """\
  BELT-04:
    title: Nothing switches on the bare belt, its splice included, running or stopped
    rows:
      - {id: running, present: {between: bare belt}, where: {belt: running}}
      - {id: splice, present: {between: bare belt}, where: {mark: splice}}
      - {id: stopped, present: {between: bare belt}, where: {during: belt stop}}
    expect: {no_channel: yes}
    evidence: {duration: 30 min, events: none}
"""
SET = """\
  SET-05:
    title: A box that lacks one sachet, and no other box, is thrown out at the flap
    present: {set: full box, lacking: each}
    expect:
      outputs: {flap: {is: on, from: box out, after: 1240 ms, within: 30 ms, lasts: at least 100 ms}}
      neighbours: {flap: off}
    evidence: {reliability: 99 %, confidence: 95 %, of: presentations}
"""
STOP = """\
  STOP-11:
    title: The box under way at a belt stop and the first three after power-on are judged rightly
    requirement: URS-20
    rows:
      - {id: stop short, present: {set: full box, lacking: any}, where: {during: belt stop}}
      - {id: stop full, present: {set: full box, complete: yes}, where: {during: belt stop}}
      - {id: power, present: {set: full box, lacking: any}, where: {first: 3, after: power on}}
    expect: {outputs: {flap: {is: as the set is}}}
    evidence: {trials: 20}
"""
SAFE = """\
  SAFE-12:
    title: With the sensor unplugged or dark every box is thrown out and the alarm comes
    rows:
      - {id: unplugged, where: {event: sachet sensor unplugged}}
      - {id: dark, where: {event: window covered}}
    present: {set: full box, complete: yes}
    expect:
      outputs: {flap: {is: on, from: box out, after: 1240 ms, within: 30 ms}, alarm: {is: on, from: event, within: 2 s}}
    evidence: {trials: 10}
"""


@pytest.mark.parametrize(("case", "ids"), [
    (REC, ["REC-01.mint", "REC-01.chamomile"]),
    (BELT, ["BELT-04.running", "BELT-04.splice", "BELT-04.stopped"]),
    (SET, ["SET-05"]),
    (STOP, ["STOP-11.stop short", "STOP-11.stop full", "STOP-11.power"]),
    (SAFE, ["SAFE-12.unplugged", "SAFE-12.dark"]),
])  # fmt: skip
def test_what_a_plant_asks_is_accepted(tmp_path: Path, case: str, ids: list[str]) -> None:
    make(tmp_path, PLANT, HEAD + SPECIMENS + case, **{"specimens.csv": REGISTER})
    assert problems(tmp_path) == []
    read = suite(tmp_path)
    assert [one.id for one in read.cases] == ids and {one.basis for one in read.cases} == {"recorded"}


def test_an_event_that_nobody_declared(tmp_path: Path) -> None:
    make(tmp_path, PLANT, HEAD + SPECIMENS + SAFE.replace("window covered", "window coverd"), **{"specimens.csv": REGISTER})
    (problem,) = problems(tmp_path)
    assert "there is no event of this name; did you mean `window covered`?; found window coverd" in problem
