"""`travel:` and lengths in station and case files: what is understood, and every way to write it wrongly."""

from __future__ import annotations

from pathlib import Path

import pytest
from station_folder import CASES, STATION, make, problems, suite

from stationtest.model.travel import NM, Length, Travel

FLAP = "  flap: {none_of: [complete], decided_at: box out, on_delay: 620 mm, pulse: 60 mm}"
TRAVELLING = STATION.replace("  flap: {none_of: [complete], decided_at: box out, pulse: 120 ms}", FLAP)
WINDOW = """\
  SET-01:
    title: The flap comes
    present: {set: full box, lacking: each}
    expect: {outputs: {flap: {is: on, from: box out, after: 620 mm, within: 15 mm, lasts: at least 100 ms}}}
"""


def test_what_is_understood(tmp_path: Path) -> None:
    folder = make(tmp_path, TRAVELLING + "travel: {speed: 0.5 m/s, within: 1 %}\n", CASES + WINDOW)
    read = suite(folder)
    flap = read.station.output("flap")
    assert (flap.on_delay, flap.pulse) == (Length(620 * NM), Length(60 * NM))
    assert read.station.travel == Travel(speed_nm_s=500.0 * NM, within=0.01)
    asked = next(case for case in read.cases if case.id == "SET-01").expect[0].fields.root["flap"]
    assert (asked.after, asked.within, asked.lasts) == (Length(620 * NM), Length(15 * NM), 100_000_000)
    assert read.station_written["outputs"]["flap"]["on_delay"] == "620 mm"
    assert read.station_written["travel"] == {"speed": "500 mm/s", "within": "1 %"}


@pytest.mark.parametrize(
    ("written", "travel"),
    [
        ("{input: encoder, per_pulse: 0.5 mm}", Travel(input="encoder", per_pulse_nm=500_000)),
        ("{column: pos, per_count: 0.3141 mm, wraps_at: 65536}", Travel(column="pos", per_count_nm=314_100, wraps_at=65536.0)),
        ("{column: pos, per_count: 1 mm, within: 50 um}", Travel(column="pos", per_count_nm=NM, within_nm=50_000)),
        ("{speed: 30 m/min}", Travel(speed_nm_s=500.0 * NM)),
    ],
)
def test_three_ways(tmp_path: Path, written: str, travel: Travel) -> None:
    inputs = TRAVELLING.replace("[box in, box out]", "[box in, box out, encoder]")
    assert suite(make(tmp_path, inputs + f"travel: {written}\n", CASES)).station.travel == travel


def test_a_recording_may_have_its_own(tmp_path: Path) -> None:
    own = TRAVELLING.replace("every: 1 ms,", "every: 1 ms, travel: {speed: 420 mm/s}, window: {from: 2 mm, after_end: 10 mm},")
    (form,) = suite(make(tmp_path, own, CASES + WINDOW)).station.recordings
    assert form.travel == Travel(speed_nm_s=420.0 * NM)
    assert (form.window_from, form.window_after_end) == (Length(2 * NM), Length(10 * NM))


def test_a_length_without_travel_says_what_to_declare(tmp_path: Path) -> None:
    needs = "a length of belt needs `travel:` in station.yaml, which says how the belt moves, such as travel: {speed: 500 mm/s}"
    told = problems(make(tmp_path, TRAVELLING, CASES + WINDOW))
    assert len(told) == 4
    assert told[0].startswith("cases/a.case.yaml:12:")
    assert f"after: {needs}; found 620 mm; allowed a duration such as 40 ms" in told[0]
    assert all(needs in line and line.endswith("[missing-key]") for line in told)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("{}", "travel: the belt's way is known by exactly one of speed, input and column; found none [missing-key]"),
        (
            "{speed: 500 mm/s, input: spare, per_pulse: 1 mm}",
            "travel: the belt's way is known by exactly one of speed, input and column; found speed and input [contradiction]",
        ),
        ("{speed: 500}", "travel.speed: a bare number needs a unit"),
        ("{speed: 0 mm/s}", "travel.speed: a speed must be more than nothing"),
        ("{speed: 1 m/s, within: 2 mm}", "travel.within: how far travel by speed may be off is a share; allowed a share such"),
        ("{speed: 1 m/s, wraps_at: 9}", "travel.wraps_at: this key does not belong to travel by speed; leave the line out"),
        ("{input: spare}", "travel.per_pulse: this key is missing; it says how much belt one pulse is, such as 0.5 mm"),
        ("{input: spare, per_pulse: 0 mm}", "travel.per_pulse: a length must be more than nothing"),
        ("{input: spare, per_pulse: 1 ms}", "travel.per_pulse: `ms` is a unit of duration, and a length is due here"),
        ("{input: spar, per_pulse: 1 mm}", "travel.input: there is no input of this name; did you mean `spare`?"),
        ("{input: box out, per_pulse: 1 mm}", "travel.input: pulses of the belt are counted and not kept"),
        ("{column: pos}", "travel.per_count: this key is missing; it says how much belt one count of the column is"),
        ("{column: pos, per_count: 1 mm, within: 2 %}", "travel.within: how far travel by column may be off is a length"),
        ("{column: pos, per_count: 1 mm, wraps_at: 0}", "travel.wraps_at: this number must be more than 0"),
        ("{speed: 1 m/s, standstill: 200 ms}", "travel.standstill: this key does not belong to travel by speed"),
        ("{colum: pos}", "travel.colum: there is no key `colum` here; did you mean `column`?"),
    ],
)
def test_wrong_travel(tmp_path: Path, written: str, said: str) -> None:
    inputs = STATION.replace("[box in, box out]", "[box in, box out, spare]")
    (told,) = problems(make(tmp_path, inputs + f"travel: {written}\n", CASES))
    assert said in told


@pytest.mark.parametrize(
    ("after", "said"),
    [
        ("-5 mm", "this length is out of range; found -5 mm; allowed 0 mm or more"),
        ("620", "a bare number needs a unit: 620 ms"),
        ("620 mn", "`mn` is no unit of a duration"),
        ("0.0000001 mm", "a length is out of range; found 0.0000001 mm; allowed whole nanometres"),
        ("10000 m", "a length is out of range"),
    ],
)
def test_wrong_lengths(tmp_path: Path, after: str, said: str) -> None:
    cases = CASES + WINDOW.replace("after: 620 mm", f"after: {after}")
    if after == "10000 m":
        cases = cases.replace("10000 m", "10000000 m")
    (told,) = problems(make(tmp_path, STATION + "travel: {speed: 500 mm/s}\n", cases))
    assert said in told


def test_decisions_that_act_later_and_what_is_ignored(tmp_path: Path) -> None:
    later = STATION.replace("decided_at: box out, pulse", "decided_at: box out, acts_after: 620 mm, enabled_while: box in, pulse")
    later = later.replace("CIEDE2000, tolerance: 4}\n  2", "CIEDE2000, tolerance: 4, enabled_while: box in}\n  2")
    read = suite(make(tmp_path, later + "travel: {speed: 500 mm/s}\n", CASES))
    flap = read.station.output("flap")
    assert (flap.acts_after, flap.enabled_while) == (Length(620 * NM), "box in")
    assert read.station.channel("1").enabled_while == "box in"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("held_until: box out}", "held_until: box out, acts_after: 1 s}", "acts_after: only what is decided at an edge can act"),
        ("decided_at: box out, p", "decided_at: box out, acts_after: 62 mm, p", "a length of belt needs `travel:`"),
        ("decided_at: box out, p", "decided_at: box out, enabled_while: box on, p", "there is no input of this name"),
        ("tolerance: 4}", "tolerance: 4, enabled_while: flap}", "there is no input of this name"),
    ],
)
def test_what_is_wrong_with_them(tmp_path: Path, old: str, new: str, said: str) -> None:
    (told,) = problems(make(tmp_path, STATION.replace(old, new, 1), CASES))
    assert said in told


def test_the_belts_own_condition(tmp_path: Path) -> None:
    stands = STATION + "travel: {column: pos, per_count: 1 mm, standstill: 200 ms}\n"
    where = CASES.replace("    expect:", "    where: {belt: stopped}\n    expect:")
    assert problems(make(tmp_path, stands, where)) == []
    (told,) = problems(make(tmp_path, stands, where.replace("stopped", "stoped")))
    assert "`stoped` is no value of belt; did you mean `stopped`?" in told
    (told,) = problems(make(tmp_path, stands.replace("conditions:\n", "conditions:\n  belt: [running, stopped]\n"), where))
    assert "travel.standstill: with this key the condition `belt` follows from the travel" in told
    (told,) = problems(make(tmp_path, STATION, where))
    assert "there is no condition of this name" in told


def test_spacing_speaks_of_neighbours_among_targets(tmp_path: Path) -> None:
    spaced = WINDOW.partition("    expect")[0] + "    expect: {spacing: {nominal: 80 mm, within: 2 mm}}\n"
    (told,) = problems(make(tmp_path, STATION + "travel: {speed: 500 mm/s}\n", CASES + spaced))
    assert told.endswith("neighbours among targets; present: a target, or a list of them [mixed-units]")
    mixed = spaced.replace("present: {set: full box, lacking: each}", "present: mint").replace("within: 2 mm", "within: 2 ms")
    (told,) = problems(make(tmp_path, STATION + "travel: {speed: 500 mm/s}\n", CASES + mixed))
    assert "`nominal` and `within` are both times or both lengths; found 2 ms [contradiction]" in told


def test_a_limit_in_length_begins_with_its_word(tmp_path: Path) -> None:
    cases = CASES + WINDOW.replace("at least 100 ms", "50 mm")
    (told,) = problems(make(tmp_path, STATION + "travel: {speed: 500 mm/s}\n", cases))
    assert "a limit begins with `at least`; found 50 mm; allowed at least 100 ms, or at least 50 mm" in told
