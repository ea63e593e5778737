"""One truth column for each sensor (counter-example A27), end to end from CSV files, against a state machine over the rows.

Tins pass one sensor and lids another at the same time, each in a rhythm of its own, so that their presentations overlap.
"""

from __future__ import annotations

import numpy as np
import pytest
import tin_line
from tin_line import MS, OWN, STATION, TABLE, counts, folder_of, judged, machine, observed, parts_of, rows_of, two_and_two

from stationtest.cli import main
from stationtest.errors import StationtestError
from stationtest.files import canonical
from stationtest.model.observations import GAP
from stationtest.sources import recorded


@pytest.mark.parametrize("seed", range(4))
def test_each_sensor_has_the_presentations_of_its_own_column(tmp_path, seed):
    """Starts, ends, parts and numbers by the machine; and each fires the channel of its own part, of its own sensor only."""
    rows = rows_of(parts_of(seed))
    obs = observed(folder_of(tmp_path / "s", rows))
    shown, did = obs.presentations, obs.responses
    expected = {place: machine(rows[place]) for place in rows}
    starts = np.array([a for a, _, part, _ in expected["lid"] if part])
    assert any((a < starts).any() and (starts < b).any() for a, b, part, _ in expected["tin"] if part)  # they do overlap
    for code, place in enumerate(shown.sensors):
        mine = np.flatnonzero(shown.sensor == code)
        assert (shown.start_ns[mine] // MS).tolist() == [a for a, _, _, _ in expected[place]]
        assert (shown.end_ns[mine] // MS).tolist() == [b for _, b, _, _ in expected[place]]
        for row, (start, _, part, number) in zip(mine.tolist(), expected[place], strict=True):
            assert shown.targets[shown.target[row]] == (part or "bare belt")
            if part:
                assert shown.specimens[shown.specimen[row]] == f"{place[0].upper()}{number}"
                before = rows[place][start - 1]
                assert bool(shown.touches_before[row]) == bool(before[0])
            fired = {did.channels[c] for c in np.flatnonzero(did.fired[row]).tolist()}
            assert fired == ({f"{place} {part}"} if part else set())


def test_the_verdicts_are_those_of_a_second_table(tmp_path):
    """The same truth written as a list with times: the other way to say it, by other code."""
    rows = rows_of(parts_of(7))
    reads = {("tin", t): 12 for t in range(40, 400)}  # some tins fade away from their reference by more than 5
    own, table = (judged(folder_of(tmp_path / form[:3], rows, form, reads)) for form in (OWN, TABLE))
    assert sum(bad for _, bad, _ in counts(own["TIN-1"])) > 2
    assert sum(bad for _, bad, _ in counts(own["LID-1"])) == 0
    for name in ("TIN-1", "LID-1", "BELT-1"):
        assert counts(own[name]) == counts(table[name]), name


@pytest.mark.parametrize("cut", [1, 7, 200])
def test_the_same_bytes_however_cut(tmp_path, monkeypatch, cut):
    path = folder_of(tmp_path / "s", rows_of(parts_of(3)))
    whole = canonical.dumps(tin_line.record_of(path)["result"])
    plain = recorded.on_grid
    monkeypatch.setattr(recorded, "on_grid", lambda batches: plain(batches, cut))
    assert canonical.dumps(tin_line.record_of(path)["result"]) == whole


def test_conforming_nonconforming_and_not_judged(tmp_path):
    """By hand: a lid at 200 to 260 ms turned 12 off its colour is nonconforming, and no tin is. Rows lost from 110 to 120 ms
    leave the first tin open, and the lid that comes after them not."""
    assert counts(judged(folder_of(tmp_path / "a", two_and_two()))["TIN-1"]) == [(1, 0, 0), (1, 0, 0)]
    wrong = judged(folder_of(tmp_path / "b", two_and_two(), reads={("lid", t): 12 for t in range(230, 290)}))
    assert (counts(wrong["TIN-1"]), counts(wrong["LID-1"])) == ([(1, 0, 0), (1, 0, 0)], [(0, 1, 0), (1, 0, 0)])
    assert "channel lid green did not fire" in wrong["LID-1"]["nonconforming_trials"][0]["text"]
    lost = folder_of(tmp_path / "c", two_and_two(), lost=range(110, 120))
    shown = observed(lost).presentations
    assert [bool(status & GAP) for status in shown.status[~shown.between].tolist()] == [True, False, False, False]
    assert counts(judged(lost)["TIN-1"]) == [(0, 0, 1), (1, 0, 0)] and counts(judged(lost)["LID-1"]) == [(1, 0, 0)] * 2


def test_a_sensor_that_the_columns_leave_out_has_no_presentations(tmp_path, capsys):
    """Nobody says what was before the lid sensor: no trial of it, not even of the bare belt; what its channels did while
    'nothing' was presented is listed as outside of everything, and `check` says so."""
    path = folder_of(tmp_path / "s", two_and_two(), "target: {tin: tin part}")
    obs = observed(path)
    shown = obs.presentations
    assert {shown.sensors[code] for code in shown.sensor.tolist()} == {"tin"}
    outside = [(obs.responses.channels[c], int(a) // MS, int(b) // MS) for c, a, b in obs.outside.tolist()]
    assert outside == [("lid green", 230, 290), ("lid blue", 130, 190)]
    case = judged(path)["LID-1"]
    assert (case["verdict"], case["found"]) == ("not shown", 0)
    assert main(["check", str(path)]) == 0
    said = capsys.readouterr().out
    assert "presented to sensor tin: target from tin part" in said
    assert "presented to sensor lid: nothing says what, so this sensor has no presentations" in said


def test_what_was_understood(tmp_path, capsys):
    rows = two_and_two()
    rows = {place: rows[place][139:] for place in rows}  # the first rows lie where both sensors have something
    assert main(["check", str(folder_of(tmp_path / "s", rows))]) == 0
    said = capsys.readouterr().out
    assert "  presented to sensor lid: target from lid part, specimen from lid nr\n" in said
    assert "target of tin green, target of lid blue, specimen of tin T1, specimen of lid L1\n" in said
    assert main(["look", str(tmp_path / "s" / "recordings" / "r.csv")]) == 0


def test_a_reference_is_learned_from_the_column_of_its_sensor(tmp_path):
    """The lid sensor learns green where its own column says so, 230 to 290 ms, though the tin column says it elsewhere."""
    green = "sensor: lid, reference: green"
    learned = STATION.replace(green, green.replace("green", "{learned: recordings/r.csv, target: green}"))
    path = folder_of(tmp_path / "s", two_and_two(), reads={("lid", t): 7 for t in range(230, 290)}, station=learned)
    obs = observed(path)
    (at,) = [c for c, name in enumerate(obs.responses.channels) if name == "lid green"]
    (row,) = np.flatnonzero(obs.responses.fired[:, at]).tolist()
    assert (int(obs.presentations.start_ns[row]) // MS, obs.responses.closeness_max[row, at]) == (230, pytest.approx(1))


CORRECTION = "recording,time,sensor,was,is,by,when,why\nrecordings/r.csv,0.140,{},{},{},A,2027-01-01,seen\n"


def test_a_correction_says_of_which_sensor(tmp_path):
    """At 140 ms lies a green tin and a blue lid. The lid is corrected to green: it fired blue, so it is then nonconforming."""
    path = folder_of(tmp_path / "s", two_and_two())
    (path / "corrections.csv").write_text(CORRECTION.format("lid", "blue", "green"))
    case = judged(path)["LID-1"]
    assert counts(case) == [(1, 1, 0), (0, 0, 0)]
    assert "channel lid blue was on for 60 ms" in case["nonconforming_trials"][0]["text"]
    for sensor, answer in (
        ("", "several sensors have a presentation there in recordings/r.csv, at 0.140 s; the column `sensor` says which"),
        ("lit", "there is no sensor of this name; did you mean `lid`?"),
        ("tin", "`was` does not fit: at 0.140 s, sensor tin of recordings/r.csv the target is green; found blue"),
    ):
        (path / "corrections.csv").write_text(CORRECTION.format(sensor, "blue", "green"))
        with pytest.raises(StationtestError) as caught:
            judged(path)
        assert answer in str(caught.value.problems[0])


def test_a_word_that_is_no_target_is_refused_with_row_and_key(tmp_path):
    rows = two_and_two()
    path = folder_of(tmp_path / "s", rows)
    text = (path / "recordings" / "r.csv").read_text().replace("130,50,0,0,50,30,0,green,blue,", "130,50,0,0,50,30,0,green,blu,")
    (path / "recordings" / "r.csv").write_text(text)
    with pytest.raises(StationtestError) as caught:
        observed(path)
    assert str(caught.value.problems[0]).endswith(
        "r.csv:132: target.lid: blu is not a target of this station; did you mean blue? [unknown-name]"
    )
    (path / "station.yaml").write_text(STATION.replace("TRUTH", OWN.replace("lid: lid part", "lid: lid prt")))
    with pytest.raises(StationtestError) as caught:
        observed(path)
    said = str(caught.value.problems[0])
    assert "target.lid: there is no column lid prt in this file" in said and "did you mean lid part?" in said
