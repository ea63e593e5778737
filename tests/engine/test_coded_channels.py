# ruff: noqa: E501 (messages stand whole on one line)
"""Matches recorded as numbers (A18): on lines in a code, and in a column; end to end from CSV files, judged as recorded."""

from __future__ import annotations

import pytest

from stationtest import plugins
from stationtest.engine import running
from stationtest.errors import StationtestError
from stationtest.files import suite as suites

STATION = """
station: test
scan: {worst: 8 ms}
sensors:
  eye: {reads: CIELAB, columns: {L: L, a: a, b: b}, illuminant: D65, observer: 2 deg}
targets:
  mint: {colour: {Lab: [50, 0, 0], illuminant: D65, observer: 2 deg}}
  hibiscus: {colour: {Lab: [50, 40, 0], illuminant: D65, observer: 2 deg}}
channels:
  7: {reference: mint, distance: CIE 1976 L*a*b*, tolerance: 5}
  8: {reference: hibiscus, distance: CIE 1976 L*a*b*, tolerance: 5}
recordings:
  "recordings/*.csv": {time: {column: t, in: ms}, every: 1 ms, gap: 3 ms, target: part, specimen: no, window: {after_end: 5 ms}, HOW}
  "hand/*.csv": {rows: trials, target: part, specimen: no, match: {column: M}}
"""
CASES = """
readings: ../recordings/r.csv
basis: recorded
evidence: {trials: 1}
cases:
  OWN: {title: Own, present: [mint, hibiscus], expect: {own_channel_only: yes}}
"""
LINES = "coded: {lines: [b0, b1, b2, b3]}"
STROBED = "coded: {lines: [b0, b1, b2, b3], strobe: valid}"


def folder_of(path, blocks, how=LINES, columns=("b0", "b1", "b2", "b3"), cases=CASES, **words):
    """`blocks` are (ms, target, specimen, a*, what the further columns hold)."""
    for name in ("recordings", "cases", "hand"):
        (path / name).mkdir(parents=True, exist_ok=True)
    (path / "station.yaml").write_text(STATION.replace("HOW", how))
    (path / "cases" / "a.case.yaml").write_text(cases)
    rows = [row for n, *row in blocks for _ in range(n)]
    lines = [f"{t},50,{a},0,{part},{no},{','.join(map(str, more))}" for t, (part, no, a, more) in enumerate(rows)]
    (path / "recordings" / "r.csv").write_text("\n".join([f"t,L,a,b,part,no,{','.join(columns)}", *lines]) + "\n")
    return path


def bits(number, strobe=None):
    return [number >> k & 1 for k in range(4)] + ([] if strobe is None else [int(strobe)])


def loaded(path):
    return suites.load(path, expectations=plugins.load().expectations)


def judged(path):
    done = running.run(loaded(path), plugins.load())
    (case,) = done.record["result"]["cases"]
    found = {part["label"]: (part["conforming"], part["nonconforming"], part["not_judged"]) for part in case["strata"]}
    return found, case, done.record["result"]["sources"]


BELT = (40, "", "", 90, bits(0))


def test_lines_are_judged_as_recorded_channels(tmp_path):
    """Mint is 7 and hibiscus is 8: by their names. The readings say so too; the verdict rests on the lines."""
    blocks = [BELT, (40, "mint", 1, 0, bits(7)), BELT, (40, "hibiscus", 2, 40, bits(8)), BELT]
    found, case, _ = judged(folder_of(tmp_path, blocks))
    assert found == {"mint": (1, 0, 0), "hibiscus": (1, 0, 0)} and case["basis"] == "recorded"


def test_the_wrong_number_is_the_wrong_channel(tmp_path):
    blocks = [BELT, (40, "mint", 1, 0, bits(8)), BELT, (40, "hibiscus", 2, 40, bits(8)), BELT]
    found, case, _ = judged(folder_of(tmp_path, blocks))
    assert found == {"mint": (0, 1, 0), "hibiscus": (1, 0, 0)}
    assert "channel 7 did not fire" in case["nonconforming_trials"][0]["text"]



def test_a18_a_number_passed_through_without_a_strobe_is_a_perhaps_and_with_one_is_not(tmp_path):
    """Between a touching mint and hibiscus, the lines show 8 for 3 ms too early: too much for silence where it may be seen."""
    early = [BELT, (37, "mint", 1, 0, bits(7)), (3, "mint", 1, 0, bits(8)), (2, "mint", 1, 0, bits(7)), BELT]
    found, case, _ = judged(folder_of(tmp_path / "a", early))
    assert found["mint"] == (0, 1, 0)
    assert "channel 8 was on for 3 ms, which may have been seen" in case["nonconforming_trials"][0]["text"]
    strobed = [(n, *rest, [*more, int(n > 3)]) for n, *rest, more in early]
    found, _, _ = judged(folder_of(tmp_path / "b", strobed, STROBED, ("b0", "b1", "b2", "b3", "valid")))
    assert found["mint"] == (0, 0, 1)  # what the lines did without a strobe is not known


def test_with_a_strobe_the_number_stays_until_the_next(tmp_path):
    """The strobe lasts 10 ms, the lines stay: 7 is known all the time, and 0 comes with a strobe of its own."""
    blocks = [(40, "", "", 90, bits(0, True)), (10, "mint", 1, 0, bits(7, True)), (30, "mint", 1, 0, bits(7, False)),
              (40, "", "", 90, bits(0, True))]  # fmt: skip
    found, _, _ = judged(folder_of(tmp_path / "a", blocks, STROBED, ("b0", "b1", "b2", "b3", "valid")))
    assert found["mint"] == (1, 0, 0)
    blocks[1] = (10, "mint", 1, 0, bits(7, False))  # the number changed, and no strobe ever said so
    found, _, _ = judged(folder_of(tmp_path / "b", blocks, STROBED, ("b0", "b1", "b2", "b3", "valid")))
    assert found["mint"] == (0, 0, 1)


def test_a_number_of_no_channel_is_noted(tmp_path):
    blocks = [BELT, (40, "mint", 1, 0, bits(13)), BELT]
    found, _, sources = judged(folder_of(tmp_path, blocks))
    assert found["mint"] == (0, 1, 0)
    assert "the coded lines showed 13 for 40 ms at 0.040 s, the number of no channel" in sources[0]["notes"]


def test_stated_numbers_the_reflected_code_packed_bits_and_inverted_lines(tmp_path):
    """12 in the reflected code is 1010, 3 is 0010; both packed in one integer, the strobe inverted."""
    packed = ", ".join(f"{{column: P, bit: {k}}}" for k in range(4))
    how = (f"coded: {{lines: [{packed}], code: gray, none: 1, strobe: {{column: P, bit: 7, inverted: yes}}, "
           "channels: {7: 12, 8: 3}}")  # fmt: skip
    belt = (40, "", "", 90, [0b0001])
    blocks = [belt, (40, "mint", 1, 0, [0b1010]), belt, (40, "hibiscus", 2, 40, [0b0010]), belt]
    found, _, _ = judged(folder_of(tmp_path, blocks, how, ("P",)))
    assert found == {"mint": (1, 0, 0), "hibiscus": (1, 0, 0)}


def test_a_column_of_numbers(tmp_path):
    def blocks(mint):
        return [(40, "", "", 90, [0]), (40, "mint", 1, 0, [mint]), (40, "", "", 90, [0]), (40, "hibiscus", 2, 40, [8]),
                (40, "", "", 90, [0])]  # fmt: skip

    found, case, _ = judged(folder_of(tmp_path / "a", blocks(7), "match: {column: M}", ("M",)))
    assert found == {"mint": (1, 0, 0), "hibiscus": (1, 0, 0)} and case["basis"] == "recorded"
    found, _, _ = judged(folder_of(tmp_path / "b", blocks(0), "match: {column: M}", ("M",)))
    assert found["mint"] == (0, 1, 0)
    refused(folder_of(tmp_path / "c", blocks(9), "match: {column: M}", ("M",)),
            "r.csv:42: match.channels: column M holds 9, the number of no channel; declared are 0 for none, 7 for 7 and 8 for 8 "
            "[bad-value]")  # fmt: skip
    refused(folder_of(tmp_path / "d", blocks(""), "match: {column: M}", ("M",)), "r.csv:42: match.column: the cell of column M is empty")
    refused(folder_of(tmp_path / "e", blocks(7), "match: {column: N}", ("M",)), "match.column: ")


def refused(path, message):
    with pytest.raises(StationtestError) as error:
        running.run(loaded(path), plugins.load())
    assert any(message in str(problem) for problem in error.value.problems), [str(p) for p in error.value.problems]


def test_numbers_noted_by_hand(tmp_path):
    """A table of trials: conforming, nonconforming, and one in which nothing was noted."""
    cases = CASES.replace("recordings/r.csv", "hand/h.csv").replace("basis: recorded", "basis: by hand")
    path = folder_of(tmp_path, [BELT], cases=cases)
    (path / "hand" / "h.csv").write_text("part,no,M\nmint,1,7\nmint,2,8\nmint,3,\nhibiscus,4,8\n")
    found, case, _ = judged(path)
    assert found == {"mint": (1, 1, 1), "hibiscus": (1, 0, 0)} and case["basis"] == "by hand"


LOGGED = """
tables:
  eye: {file: eye.csv, time: t, unit: ms, gap: 3 ms, target: part, specimen: no}
  plc: {file: plc.csv, layout: long, time: t, unit: ms, name: tag, value: v, rows_are: changes, HOW}
clocks: {plc: {to: eye, offset: 0 ms, within: 0 ms}}
"""


def logged(path, rows, how):
    """Mint from 40 to 80 ms and hibiscus from 120 to 160 ms; the log holds changes only, as (ms, tag, value)."""
    folder_of(path, [BELT], cases=CASES.replace("recordings/r.csv", "recordings/day.recording.yaml"))
    readings = [("", "", 90)] * 40 + [("mint", 1, 0)] * 40 + [("", "", 90)] * 40 + [("hibiscus", 2, 40)] * 40 + [("", "", 90)] * 40
    rows = [*rows, (200, "watchdog", 1)]  # the log goes on as long as the readings
    lines = [f"{t},50,{a},0,{part},{no}" for t, (part, no, a) in enumerate(readings)]
    (path / "recordings" / "eye.csv").write_text("\n".join(["t,L,a,b,part,no", *lines]) + "\n")
    (path / "recordings" / "plc.csv").write_text("\n".join(["t,tag,v", *(",".join(map(str, row)) for row in rows)]) + "\n")
    (path / "recordings" / "day.recording.yaml").write_text(LOGGED.replace("HOW", how))
    return path


def test_a_log_of_changes_holds_the_lines_or_the_number(tmp_path):
    start = [(0, f"Q{k}", 0) for k in range(4)]
    seven = [(42, "Q0", 1), (42, "Q1", 1), (43, "Q2", 1), (78, "Q0", 0), (78, "Q1", 0), (78, "Q2", 0)]
    eight = [(122, "Q3", 1), (158, "Q3", 0)]
    how = "coded: {lines: [Q0, Q1, Q2, {from: Q3}]}, window: {after_end: 5 ms}"
    found, case, _ = judged(logged(tmp_path / "a", start + seven + eight, how))
    assert found == {"mint": (1, 0, 0), "hibiscus": (1, 0, 0)} and case["basis"] == "recorded"
    found, _, _ = judged(logged(tmp_path / "b", start + seven[:2] + seven[3:5] + eight, how))  # 3 instead of 7
    assert found == {"mint": (0, 1, 0), "hibiscus": (1, 0, 0)}
    found, _, _ = judged(logged(tmp_path / "c", start[:3] + seven + eight, how))  # Q3 is not known before its change at 122 ms
    assert found == {"mint": (0, 0, 1), "hibiscus": (0, 0, 1)}
    numbers = [(0, "M", 0), (42, "M", 7), (78, "M", 0), (122, "M", 8), (158, "M", 0)]
    how = "match: {from: M}, window: {after_end: 5 ms}"
    found, case, _ = judged(logged(tmp_path / "d", numbers, how))
    assert found == {"mint": (1, 0, 0), "hibiscus": (1, 0, 0)} and case["basis"] == "recorded"
    found, _, _ = judged(logged(tmp_path / "e", [(0, "M", 0), (42, "M", 8), *numbers[2:]], how))
    assert found["mint"] == (0, 1, 0)
    refused(logged(tmp_path / "f", [(0, "M", 0), (42, "M", 9), *numbers[2:]], how),
            "plc.csv:3: tables.plc.values: M is 9, which is not declared; no channel has that number; declared are 0, 7, 8")  # fmt: skip


def test_a_strobe_in_a_log_of_changes(tmp_path):
    start = [(0, f"Q{k}", 0) for k in range(4)] + [(0, "valid", 0), (1, "valid", 1), (3, "valid", 0)]
    seven = [(42, "Q0", 1), (42, "Q1", 1), (43, "Q2", 1), (44, "valid", 1), (46, "valid", 0)]
    none = [(78, "Q0", 0), (78, "Q1", 0), (78, "Q2", 0), (78, "valid", 1), (80, "valid", 0)]
    eight = [(122, "Q3", 1), (122, "valid", 1), (124, "valid", 0), (158, "Q3", 0), (158, "valid", 1)]
    how = "coded: {lines: [Q0, Q1, Q2, Q3], strobe: valid}, window: {after_end: 5 ms}"
    found, _, _ = judged(logged(tmp_path / "a", start + seven + none + eight, how))
    assert found == {"mint": (0, 0, 1), "hibiscus": (1, 0, 0)}  # from 42 to 44 ms the lines changed and nothing said so
    at_once = [(44, tag, value) for _, tag, value in seven]
    found, _, _ = judged(logged(tmp_path / "b", start + at_once[:4] + seven[4:] + none + eight, how))
    assert found == {"mint": (1, 0, 0), "hibiscus": (1, 0, 0)}


LOG_PROBLEMS = [
    ("coded: {lines: [Q0, Q1]}", "coded: 2 lines carry numbers up to 3; found 7 for channel 7 [wrong-value]"),
    ("coded: {lines: [Q0, Q0, Q2, Q3]}", "coded.lines: `line 1` is read from `Q0` too [contradiction]"),
    ("signals: {7: Q9}, coded: {lines: [Q0, Q1, Q2, Q3]}", "coded: channel 7 is read from `signals` already [contradiction]"),
    ("match: {column: M}", "match.column: there is no key `column` here"),
    ("layout: long", "signals: this key is missing"),
]


@pytest.mark.parametrize(("how", "message"), LOG_PROBLEMS, ids=[how for how, _ in LOG_PROBLEMS])
def test_what_cannot_be_in_a_log(tmp_path, how, message):
    path = logged(tmp_path, [(0, "M", 0)], how)
    if how == "layout: long":
        text = (path / "recordings" / "day.recording.yaml").read_text()
        (path / "recordings" / "day.recording.yaml").write_text(text.replace(", layout: long}", ", kind: signals}"))
    refused(path, message)


PROBLEMS = [
    ("coded: {lines: [b0, b1]}", "recordings.recordings/*.csv.coded: 2 lines carry numbers up to 3; found 7 for channel 7 [wrong-value]"),
    ("coded: {lines: [b0, b0, b2, b3]}", "coded.lines: `line 1` is read from the same column b0 [contradiction]"),
    ("coded: {lines: [b0, b1, b2, b3], strobe: b3}", "coded.strobe: `line 4` is read from the same column b3 [contradiction]"),
    ("coded: {lines: [b0, b1, b2, b3], channels: {7: 3, 8: 3}}", "coded.channels.8: 3 is the number of channel 7 already; found it for channel 8 [contradiction]"),
    ("coded: {lines: [b0, b1, b2, b3], none: 7}", "coded: 7 is the number of `none` already; found it for channel 7 [contradiction]"),
    ("coded: {lines: [b0, b1, b2, b3], channels: {9: 3}}", "coded.channels.9: there is no channel of this name"),
    ("coded: {lines: [b0, b1, b2, b3], code: bcd}", "coded.code: this word is not known here"),
    ("coded: {lines: []}", "coded.lines: this has the wrong number of entries"),
    ("coded: {lines: [b0, b1, b2, b3]}, channels: {8: b4}", "coded: channel 8 is read from a column of its own already [contradiction]"),
    ("coded: {lines: [b0, b1, b2, b3]}, match: {column: M, channels: {7: 1}}", "match.channels.7: channel 7 is read from `coded` already [contradiction]"),
    ("rows: trials, coded: {lines: [b0, b1, b2, b3]}", "coded: lines in a code are decoded from their times, and a table of trials has none [contradiction]"),
]  # fmt: skip


@pytest.mark.parametrize(("how", "message"), PROBLEMS, ids=[how for how, _ in PROBLEMS])
def test_what_cannot_be(tmp_path, how, message):
    with pytest.raises(StationtestError) as error:
        loaded(folder_of(tmp_path, [BELT], how))
    assert any(message in str(problem) for problem in error.value.problems), [str(p) for p in error.value.problems]


def test_channels_without_numbers_must_be_given_some(tmp_path):
    path = folder_of(tmp_path, [BELT])
    text = (path / "station.yaml").read_text().replace("  7: {ref", "  seven: {ref").replace("  8: {ref", "  eight: {ref")
    (path / "station.yaml").write_text(text)
    with pytest.raises(StationtestError) as error:
        loaded(path)
    assert "it says which number stands for which channel" in str(error.value.problems[0])
