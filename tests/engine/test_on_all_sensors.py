"""'And no other' on all sensors (counter-example A27): no channel of another sensor is on while a presentation lasts.

Seen for sure is 8 ms. Channels of the other sensor are worked out ms by ms in these tests, from the readings that were written.
"""

from __future__ import annotations

import re

import numpy as np
import pytest
from tin_line import CASES, MS, OWN, STATION, A, counts, folder_of, judged, parts_of, record_of, rows_of, two_and_two

from stationtest import plugins
from stationtest.engine import judging, observing
from stationtest.errors import StationtestError
from stationtest.files import suite as suites
from stationtest.report import time_drawings

CONFORMING, NONCONFORMING, NOT_JUDGED = 0, 1, 2
WIDE = """
readings: ../recordings/r.csv
evidence: {trials: 1}
cases:
  PLAIN: {title: t, present: [green, blue], expect: {own_channel_only: yes}}
  WIDE: {title: t, present: [green, blue], expect: {own_channel_only: {on: all sensors}}}
  ONLY: {title: t, present: green, where: {sensor: tin}, expect: {only_channels: {channels: tin green, on: all sensors}}}
  NONE: {title: t, present: grey, where: {sensor: tin}, expect: {no_channel: {on: all sensors}}}
"""
GREY = STATION.replace("  bare belt:", "  grey: {}\n  bare belt:")


def wide(path, rows, **keys):
    path = folder_of(path, rows, station=keys.pop("station", GREY), **keys)
    (path / "cases" / "a.case.yaml").write_text(WIDE)
    return path


def outcomes(path):
    """For each case (start ms, sensor) -> outcome and words of each trial."""
    parts = plugins.load()
    suite = suites.load(str(path), expectations=parts.expectations)
    view = judging.view_of(suite.station, observing.observe(suite, "recordings/r.csv", parts))
    shown, found = view.obs.presentations, {}
    for case in suite.cases:
        found[case.id] = {}
        for _, present in case.strata:
            batch = judging._batch(suite, case, parts, case.unit, "recordings/r.csv", view, present)
            for i, row in enumerate(batch.trials.index.tolist()):
                key = shown.sensors[shown.sensor[row]], int(shown.start_ns[row]) // MS
                found[case.id][key] = int(batch.outcome[i]), batch.why(i), int(shown.end_ns[row]) // MS
    return found


def on_by_ms(rows, reads, place, colour, on_delay=0, off_delay=0):
    """Whether a channel is on in each ms: the match, on after `on_delay` ms of it, and for `off_delay` ms longer."""
    match = [abs(reads.get((place, t), A[part]) - A[colour]) <= 5 for t, (part, _) in enumerate(rows[place])]
    raised = [all(match[max(t - on_delay, 0) : t + 1]) and t >= on_delay for t in range(len(match))]
    return [any(raised[max(t - off_delay, 0) : t + 1]) for t in range(len(raised))]


@pytest.mark.parametrize("seed", range(6))
def test_against_a_state_machine_by_ms(tmp_path, seed):
    """A presentation is nonconforming on all sensors if it is so on its own, or if in some ms of it a channel of the other
    sensor was on; else nothing changes. Some parts read as another colour for a while, so that either happens."""
    rng = np.random.default_rng(seed)
    rows = rows_of(parts_of(seed))
    for place in ("tin", "lid"):  # half of the parts of each are taken away, so that some meet none of the other sensor
        rows[place] = [("", 0) if number % 2 == (place == "lid") else (part, number) for part, number in rows[place]]
    reads = {}
    for place in ("tin", "lid"):
        for _ in range(4):
            begin, length = int(rng.integers(60, len(rows[place]) - 60)), int(rng.integers(1, 30))
            reads |= {(place, t): int(rng.choice([0, 12, 30])) for t in range(begin, begin + length)}
    delays = {"on_delay": int(rng.integers(0, 4)), "off_delay": int(rng.integers(0, 30))}
    written = ", ".join(f"{name}: {value} ms" for name, value in delays.items())
    path = wide(tmp_path / "s", rows, reads=reads, station=GREY.replace("tolerance: 5}", f"tolerance: 5, {written}}}"))
    found = outcomes(path)
    assert found["PLAIN"].keys() == found["WIDE"].keys()
    met = set()
    for (place, start), (outcome, _, end) in found["PLAIN"].items():
        other = "lid" if place == "tin" else "tin"
        on = {colour: sum(on_by_ms(rows, reads, other, colour, **delays)[start:end]) for colour in ("green", "blue")}
        wrong = outcome == NONCONFORMING or any(on.values())
        seen, why, _ = found["WIDE"][place, start]
        assert seen == (NONCONFORMING if wrong else outcome), (place, start, on, why)
        for colour, ms in on.items():
            assert (f"channel {other} {colour} of sensor {other} was on for {ms} ms" in why) == (ms > 0), why
        met.add((outcome, any(on.values())))
    assert {(CONFORMING, True), (CONFORMING, False)} <= met


def test_conforming_and_nonconforming_by_hand(tmp_path):
    """The first tin, 100 to 160 ms, has a lid of the other sensor beside it from 130 ms on; the same lids 200 ms later have
    nothing beside them, nor have the tins."""
    cases = judged(wide(tmp_path / "a", two_and_two()))
    assert counts(cases["PLAIN"]) == [(2, 0, 0), (2, 0, 0)] and counts(cases["WIDE"]) == [(0, 2, 0), (0, 2, 0)]
    first = cases["WIDE"]["nonconforming_trials"][0]
    assert first["text"] == "green, specimen T1, sensor tin, at 0.130 s: channel lid blue of sensor lid was on for 30 ms"
    assert (first["channel"], first["at_ns"] // MS, cases["WIDE"]["basis"]) == ("lid blue", 130, "computed")
    assert "every other channel of all sensors stays silent" in cases["WIDE"]["statement"]
    assert counts(cases["ONLY"]) == [(0, 1, 0)]
    lids = [("", 0)] * 300 + two_and_two()["lid"]
    apart = two_and_two() | {"lid": lids, "tin": two_and_two()["tin"] + [("", 0)] * 300}
    cases = judged(wide(tmp_path / "b", apart))
    assert counts(cases["WIDE"]) == [(2, 0, 0), (2, 0, 0)] and counts(cases["ONLY"]) == [(1, 0, 0)]


def test_what_is_held_on_at_another_sensor_counts_while_it_lasts(tmp_path):
    """A lid from 30 to 90 ms, held by an off-delay of 40 ms to 130 ms: 30 ms of the tin from 100 ms on. Whoever caused it."""
    rows = {"tin": [("", 0)] * 100 + [("green", 1)] * 60 + [("", 0)] * 200, "lid": [("", 0)] * 30 + [("blue", 1)] * 60}
    rows["lid"] += [("", 0)] * 270
    path = wide(tmp_path / "s", rows, station=GREY.replace("tolerance: 5}", "tolerance: 5, off_delay: 40 ms}"))
    outcome, why, _ = outcomes(path)["WIDE"]["tin", 100]
    assert (outcome, why) == (NONCONFORMING, "channel lid blue of sensor lid was on for 30 ms")


def test_no_channel_of_any_sensor(tmp_path, monkeypatch):
    """A grey tin, which no channel knows, with a lid beside it for its last 30 ms, and one alone."""
    monkeypatch.setitem(A, "grey", 60)
    rows = two_and_two()
    rows["tin"] = [("grey", n) if part else (part, n) for part, n in rows["tin"]]
    rows["lid"] = [(part, n) if n < 2 else ("", 0) for part, n in rows["lid"]]
    found = outcomes(wide(tmp_path / "s", rows))["NONE"]
    assert [found[key][0] for key in (("tin", 100), ("tin", 200))] == [NONCONFORMING, CONFORMING]
    assert found["tin", 100][1] == "channel lid blue of sensor lid was on for 30 ms"


def without_lids(path):
    """The same recording of a day on which the lid sensor was not logged."""
    lines = [line.split(",") for line in (path / "recordings" / "r.csv").read_text().splitlines()]
    (path / "recordings" / "r.csv").write_text("\n".join(",".join(line[:4] + line[7:]) for line in lines) + "\n")
    return path


def test_what_is_not_known_is_not_judged(tmp_path):
    """Without readings of the lid sensor, and where readings are lost: then only what was seen is nonconforming."""
    cases = judged(without_lids(wide(tmp_path / "a", two_and_two())))
    assert counts(cases["PLAIN"]) == [(1, 0, 0), (1, 0, 0)] and counts(cases["WIDE"]) == [(0, 0, 1), (0, 0, 1)]
    assert "the state of channel lid green of sensor lid was not known for some of the time" in cases["WIDE"]["reason"]
    lost = outcomes(wide(tmp_path / "b", two_and_two(), lost=range(110, 120)))["WIDE"]
    assert lost["tin", 100][:2] == (NONCONFORMING, "channel lid blue of sensor lid was on for 30 ms")
    rows = two_and_two() | {"lid": [("", 0)] * 400}
    lost = outcomes(wide(tmp_path / "c", rows, lost=range(110, 120)))["WIDE"]
    assert [lost[key][0] for key in (("tin", 100), ("tin", 200))] == [NOT_JUDGED, CONFORMING]


def test_recorded_outputs_of_another_sensor(tmp_path):
    """The lid's channels were recorded: Q1 on from 150 to 155 ms, 5 ms of the first tin, which no reading explains."""
    path = wide(tmp_path / "s", two_and_two() | {"lid": [("", 0)] * 400}, form=OWN + ", channels: {lid green: Q1}")
    lines = (path / "recordings" / "r.csv").read_text().splitlines()
    lines = [lines[0] + ",Q1", *(f"{line},{int(150 <= t < 155)}" for t, line in enumerate(lines[1:]))]
    (path / "recordings" / "r.csv").write_text("\n".join(lines) + "\n")
    found = outcomes(path)["WIDE"]
    assert found["tin", 100][:2] == (NONCONFORMING, "channel lid green of sensor lid was on for 5 ms")
    assert found["tin", 200][0] == CONFORMING


TRIALS = "rows: trials, target: part, sensor: at, channels: {tin green: Q1, tin blue: Q2, lid green: Q3, lid blue: Q4}"


def test_trials_by_hand_say_what_was_noted(tmp_path):
    path = wide(tmp_path / "s", two_and_two())
    form = "{time: {column: t, in: ms}, every: 1 ms, gap: 3 ms, " + OWN + "}"
    (path / "station.yaml").write_text((path / "station.yaml").read_text().replace(form, "{" + TRIALS + "}"))
    rows = ["green,tin,1,0,0,0", "green,tin,1,0,0,1", "green,tin,1,0,0,"]
    (path / "recordings" / "r.csv").write_text("\n".join(["part,at,Q1,Q2,Q3,Q4", *rows]) + "\n")
    cases = judged(path)
    assert counts(cases["PLAIN"])[0] == (3, 0, 0) and counts(cases["WIDE"])[0] == (1, 1, 1)
    assert "channel lid blue of sensor lid was on" in cases["WIDE"]["nonconforming_trials"][0]["text"]
    assert "what channel lid blue of sensor lid did was not noted" in str(cases["WIDE"])


def test_the_figure_shows_the_other_sensor_and_shades_the_trial(tmp_path):
    record = record_of(wide(tmp_path / "s", two_and_two()))
    traces = [one for one in record["result"]["figures"] if one["kind"] == "trace" and one["data"]["sensor"] == "lid"]
    (subject,) = [part for part in traces[0]["data"]["presented"] if part["subject"]]
    assert (subject["label"], subject["start_ns"] // MS) == ("green, sensor tin", 100)


BELT = CASES.replace("expect: {no_channel: yes}", "expect: {no_channel: {on: all sensors}}")


@pytest.mark.parametrize(("cases", "answer"), [
    (BELT, "cases.BELT-1.expect.no_channel.on: a stretch between is that of one sensor while another may have a "
           "target; each is asked in its own stretches [contradiction]"),
    (WIDE.replace("{on: all sensors}", "{on: all sensor}", 1), "cases.WIDE.expect.own_channel_only.on: "),
    (WIDE.replace("{channels: tin green, on: all sensors}", "{on: all sensors}"), "cases.ONLY.expect.only_channels.channels: "),
    (WIDE.replace("{channels: tin green, on: all sensors}", "{channels: tin green}"), "cases.ONLY.expect.only_channels.on: "),
    (WIDE.replace("only_channels:", "silent:"), "cases.ONLY.expect.silent"),
    (WIDE.replace("channels: tin green,", "channels: tin gren,"), "there is no channel of this name; did you mean `tin green`?"),
], ids=range(6))  # fmt: skip
def test_what_is_refused(tmp_path, cases, answer):
    path = wide(tmp_path / "s", two_and_two())
    (path / "cases" / "a.case.yaml").write_text(cases)
    with pytest.raises(StationtestError) as caught:
        suites.load(str(path), expectations=plugins.load().expectations)
    assert any(answer in str(problem) for problem in caught.value.problems), caught.value.problems


def test_a_station_with_one_sensor_has_no_other_to_ask(tmp_path):
    path = wide(tmp_path / "s", two_and_two(), form="target: tin part")
    lines = (path / "station.yaml").read_text().splitlines()
    kept = [line for line in lines if not line.startswith(("  lid:", "  lid "))]
    (path / "station.yaml").write_text("\n".join(kept) + "\n")
    with pytest.raises(StationtestError) as caught:
        suites.load(str(path), expectations=plugins.load().expectations)
    answer = "expect.own_channel_only.on: this station has one sensor, so there is no other to ask [contradiction]"
    assert any(answer in str(problem) for problem in caught.value.problems)


def test_the_shading_of_the_trial_is_not_hidden(tmp_path):
    """The tin from 100 to 160 ms is shaded whole, over the lid that began 30 ms later: it is drawn after it."""
    figures = record_of(wide(tmp_path / "s", two_and_two()))["result"]["figures"]
    figure = next(one for one in figures if one["kind"] == "trace" and one["data"]["sensor"] == "lid")
    shaded = re.findall(r'<path class="(subject|neighbour)"', str(time_drawings.trace(figure)))
    assert shaded.count("subject") == 1 and shaded[-1] == "subject" and "neighbour" in shaded
