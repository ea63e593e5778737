"""32 references in one sensor (A18): judged, and figures that stay readable: nearest pairs, confusions, the full matrix.

The sensor reads CIELAB. Distances by CIE 1976 are arithmetic; one pair by CIEDE2000 is the first of Sharma, Wu and Dalal, 'The
CIEDE2000 color-difference formula', Color Research and Application 30 (2005), table 1: 2.0425 (tests/values has the table).
"""

from __future__ import annotations

import pytest

from stationtest import plugins
from stationtest.engine import nearest_pairs, running
from stationtest.files import suite as suites
from stationtest.report import drawings, page

N = 32
AT = [12 * k for k in range(N - 2)] + [7, 12 * (N - 3) + 1.5]  # 30 far apart, one 5 from its neighbours, one 1.5


def folder_of(path, n=N, wrong=True):
    for name in ("recordings", "cases"):
        (path / name).mkdir(parents=True, exist_ok=True)
    colour = "{{colour: {{Lab: [50, {0:g}, 0], illuminant: D65, observer: 2 deg}}}}"
    names = [f"sort {k}" for k in range(n)]
    targets = "".join(f"  {name}: {colour.format(a)}\n" for name, a in zip(names, AT, strict=False))
    channels = "".join(f"  {k}: {{reference: sort {k}, distance: CIE 1976 L*a*b*, tolerance: 2}}\n" for k in range(n))
    (path / "station.yaml").write_text(
        "station: many\nsensors:\n"
        "  eye: {reads: CIELAB, columns: {L: L, a: a, b: b}, illuminant: D65, observer: 2 deg}\n"
        f"targets:\n{targets}channels:\n{channels}"
        f"groups: {{sorts: {{channels: [{', '.join(map(str, range(n)))}], choose: nearest}}}}\n"
        "recordings:\n"
        '  "recordings/*.csv": {time: {column: t, in: ms}, every: 1 ms, gap: 5 ms, target: part}\n'
    )
    (path / "cases" / "a.case.yaml").write_text(
        "readings: ../recordings/r.csv\nevidence: {trials: 1}\n"
        f"cases:\n  OWN: {{title: Own, present: [{', '.join(names)}], expect: {{own_channel_only: yes}}}}\n"
    )
    lines = ["t,L,a,b,part"]
    for k, name in enumerate(names):
        reading = AT[k + 1] if wrong and k == 4 else AT[k] + 0.2  # sort 4 reads as sort 5
        for shown, a, length in (("", 600, 5), (name, reading, 10)):
            lines += [f"{len(lines) - 1 + ms},50,{a:g},0,{shown}" for ms in range(length)]
    (path / "recordings" / "r.csv").write_text("\n".join([*lines, f"{len(lines) - 1},50,600,0,"]) + "\n")
    return path


def run(path):
    return running.run(suites.load(path, expectations=plugins.load().expectations), plugins.load()).record


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    return run(folder_of(tmp_path_factory.mktemp("many") / "s"))


def of_kind(record, kind):
    return [figure for figure in record["result"]["figures"] if figure["kind"] == kind]


def test_thirty_two_are_told_apart_and_the_wrong_one_is_named(record):
    (case,) = record["result"]["cases"]
    assert case["verdict"] == "fail" and (case["conforming"], case["nonconforming"]) == (N - 1, 1)
    assert "sort 4" in case["nonconforming_trials"][0]["label"]


def test_the_nearest_pairs_are_those_of_arithmetic(record):
    (figure,) = of_kind(record, "nearest_pairs")
    pairs = figure["data"]["pairs"]
    assert len(pairs) == nearest_pairs.MOST_PAIRS and figure["data"]["compared"] == N * (N - 1) // 2
    assert (pairs[0]["from"], pairs[0]["to"], pairs[0]["distance"], pairs[0]["tolerances"]) == ("29", "31", 1.5, 0.75)
    assert {(pair["from"], pair["to"]) for pair in pairs[1:3]} == {("1", "30"), ("0", "30")}
    assert [pair["tolerances"] for pair in pairs[1:3]] == [2.5, 3.5]
    assert [(one["target"], one["channel"]) for one in figure["data"]["confusions"]] == [("sort 4", "4"), ("sort 4", "5")]
    table = drawings.behind(figure)
    assert ("confusion", "channel 5", "target sort 4", "was not silent", "–", "1 of 1") in table.rows


def test_the_full_matrix_is_a_table_that_scrolls(record):
    (figure,) = of_kind(record, "many_matrix")
    assert not of_kind(record, "matrix")
    table = drawings.behind(figure)
    assert len(table.rows) == N and all(len(row) == N + 1 for row in table.rows)
    assert table.rows[4][5] == "▸ 0/1 !" and table.rows[4][6] == "1/1 !" and table.rows[0][1] == "▸ 1/1"
    assert page.render(record).count("<svg") > 3


def test_distances_are_drawn_for_the_channels_nearest_to_others(record):
    drawn = [figure["data"]["channel"] for figure in of_kind(record, "distances")]
    assert len(drawn) == nearest_pairs.MANY and {"29", "31", "30", "1", "0"} <= set(drawn)
    assert "Of the 32 channels of this sensor the 8 nearest to others are drawn" in of_kind(record, "distances")[0]["description"]


def test_few_channels_are_drawn_as_ever(tmp_path):
    few = run(folder_of(tmp_path / "s", n=8, wrong=False))
    assert not of_kind(few, "nearest_pairs") and not of_kind(few, "many_matrix")
    assert len(of_kind(few, "matrix")) == 1 and len(of_kind(few, "distances")) == 8


def test_a_published_pair(tmp_path):
    path = folder_of(tmp_path / "s", n=9)
    text = (path / "station.yaml").read_text()
    text = text.replace("Lab: [50, 0, 0]", "Lab: [50, 2.6772, -79.7751]").replace("Lab: [50, 12, 0]", "Lab: [50, 0, -82.7485]")
    text = text.replace("CIE 1976 L*a*b*", "CIEDE2000")
    (path / "station.yaml").write_text(text)
    station = suites.load(path, expectations=plugins.load().expectations).station
    (pair,) = [p for p in nearest_pairs.nearest(station, station.sensors[0], {}) if {p["from"], p["to"]} == {"0", "1"}]
    assert pair["distance"] == pytest.approx(2.0425, abs=5e-5) and pair["tolerances"] == pytest.approx(1.02125, abs=5e-5)
