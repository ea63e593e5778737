"""Expectations about which channels fire, how often, how soon and for how long. Worked by hand from the design's rules; the
numbers A1, A4 … are the counter-examples from practice that each test holds. Seen for sure is 11 + 3 = 14 ms everywhere
here."""

from __future__ import annotations

from typing import Any

import pytest
from factory import MS, Did, Table, case, channel, of, run_case, sensor, station

from stationtest.model.case import Evidence, Present
from stationtest.model.station import Logic, Output, Settings, WhenDark

ONE = Evidence(trials=1)


def judge_one(table: Table, present: Present | None = None, **expect: Any) -> dict[str, Any]:
    return run_case(table, case(present or of("mint"), ONE, **expect))


def outcome(result: dict[str, Any]) -> str:
    for word in ("conforming", "nonconforming", "not_judged"):
        if result[word]:
            return word
    return "none"


def why(result: dict[str, Any]) -> str:
    return result["nonconforming_trials"][0]["text"] if result["nonconforming"] else result["reason"]


def shown(did: dict[str, Did], target: str = "mint", **more: Any) -> Table:
    table = Table(station())
    table.add("chamomile", 83300, 83400)
    table.add(target, 83412, 83492, did=did, specimen="14", **more)
    return table


# --- own channel, only, named, silent, none ------------------------------------------------------------------------------------


def test_own_channel_only_conforms() -> None:
    result = judge_one(shown({"1": Did(on=60)}), own_channel_only="yes")
    assert (outcome(result), result["verdict"], result["basis"]) == ("conforming", "pass", "computed")


def test_held_over_counts_against_silence_and_is_named() -> None:
    """The example of the design: channel 3 on for 22 ms, held over from chamomile."""
    result = judge_one(shown({"1": Did(on=60), "3": Did(held=22, held_from=0)}), own_channel_only="yes")
    assert outcome(result) == "nonconforming"
    assert why(result) == "mint, specimen 14, at 83.412 s: channel 3 was on for 22 ms, held over from chamomile"
    assert result["nonconforming_trials"][0]["channel"] == "3"


def test_a4a_held_over_never_counts_for_firing() -> None:
    """A4 (a): a faded mint after a mint: channel 1 is on for 15 ms of it, by the off-delay. Nobody recognised it."""
    table = Table(station())
    table.add("mint", 0, 80, did={"1": Did(on=60)}, specimen="1")
    table.add("mint", 105, 185, did={"1": Did(held=15, held_from=0, closeness=-0.35)}, specimen="2")
    result = run_case(table, case(of("mint"), Evidence(trials=2), own_channel_only="yes"))
    assert (result["conforming"], result["nonconforming"], result["verdict"]) == (1, 1, "fail")
    assert "channel 1 did not fire; the 15 ms for which it was on were held over from mint" in why(result)
    assert "greatest closeness -0.35" in why(result)


def test_a4b_overlapping_windows_are_not_guessed() -> None:
    """A4 (b): channel 2 comes on 3 ms before the window of mint ends, which may be chamomile's: not judged, neither way."""
    table = Table(station(), basis="recorded", channel_basis="recorded")
    table.add("mint", 0, 80, did={"1": Did(on=60), "2": Did(on=3, known=False)})
    result = run_case(table, case(of("mint"), ONE, own_channel_only="yes"))
    assert outcome(result) == "not_judged"
    assert result["verdict"] == "not judged"
    assert "channel 2 could belong to a neighbour as well: the windows overlap" in result["reason"]
    assert result["basis"] == "recorded"


def test_a9_what_was_seen_to_be_wrong_stays_so_in_a_gap() -> None:
    """A9: one sample lost, but channel 3 was plainly on for 40 ms; a firing channel whose state is open all the same."""
    result = judge_one(shown({"1": Did(on=60), "3": Did(on=40, known=False)}, status=1), own_channel_only="yes")
    assert outcome(result) == "nonconforming"
    brief = judge_one(shown({"1": Did(on=60), "3": Did(on=3, known=False)}, status=1), own_channel_only="yes")
    assert outcome(brief) == "nonconforming", "it was on, if only for 3 ms"
    clean = judge_one(shown({"1": Did(on=60)}, status=1), own_channel_only="yes")
    assert outcome(clean) == "not_judged"
    assert "there is a gap in its readings" in clean["reason"]


def test_a25_unknown_states_are_not_judged() -> None:
    result = judge_one(shown({"1": Did(known=False)}), own_channel_only="yes")
    assert outcome(result) == "not_judged"
    assert "the state of channel 1 was not known" in result["reason"]
    assert "the recording begins in it" in judge_one(shown({"1": Did(on=60)}, status=2), own_channel_only="yes")["reason"]


def test_a10_perhaps_is_enough_to_break_silence_and_too_little_to_fire() -> None:
    crossed = judge_one(shown({"1": Did(on=60), "2": Did(on=3)}), own_channel_only="yes")
    assert "channel 2 was on for 3 ms, which may have been seen (14 ms are seen for sure)" in why(crossed)
    missed = judge_one(shown({"1": Did(on=9)}), own_channel_only="yes")
    assert "channel 1 was on for 9 ms only, perhaps missed (14 ms are seen for sure)" in why(missed)


def test_a10b_worst_scan_and_filter_both_count() -> None:
    """A10 (b): on for 9 ms falls between two scans of 11 ms, and 13 ms do not last both scan and filter; 14 ms do."""
    results = [outcome(judge_one(shown({"1": Did(on=on)}), channels="1")) for on in (9, 13, 14)]
    assert results == ["nonconforming", "nonconforming", "conforming"]


def test_a10c_a_signal_logged_by_the_controller_was_seen() -> None:
    """A10 (c): on for 7.9 ms in the controller's own log."""
    table = Table(station(), basis="recorded", channel_basis="recorded")
    table.add("mint", 0, 80, did={"1": Did(on=7.9)})
    assert outcome(judge_one(table, own_channel_only="yes")) == "conforming"


def test_a15_a_trial_that_rested_on_a_clipped_reading_says_so() -> None:
    result = judge_one(shown({"1": Did(on=60), "3": Did(on=30, clipped=True)}), own_channel_only="yes")
    assert why(result).endswith("channel 3 was on for 30 ms (rested on a clipped reading)")


def test_a15_a_dark_reading_decides_nothing_unless_the_station_says_what_the_sensor_does() -> None:
    result = judge_one(shown({"1": Did(on=60), "3": Did(on=30, dark=True)}), own_channel_only="yes")
    assert outcome(result) == "not_judged"
    assert "a dark reading decided channel 3" in result["reason"]
    said = Table(station(sensors=(sensor("sachet", when_dark=WhenDark(below=0.02, channels="compare")),)))
    said.add("mint", 0, 80, did={"1": Did(on=60), "3": Did(on=30, dark=True)})
    assert outcome(judge_one(said, own_channel_only="yes")) == "nonconforming"


def test_a19_no_channel_for_the_target_is_no_free_pass() -> None:
    result = judge_one(shown({}, target="bare belt"), of("bare belt"), own_channel_only="yes")
    assert outcome(result) == "not_judged"
    assert "`no_channel`" in result["reason"]


def test_a22_polarity_turns_the_question_round() -> None:
    """A22: learned from the bare sleeve, `off match`: it must be on for a label, and off for the bare sleeve."""
    absent = channel("label present", "bare sleeve", switches="off match")
    table = Table(station(settings=(Settings(channels=(absent,)),)))
    table.add("label", 0, 80, did={"label present": Did(on=60)})
    table.add("bare sleeve", 100, 180)
    labels = run_case(table, case(of("label"), ONE, own_channel_only="yes"))
    assert outcome(labels) == "conforming"
    assert "no channel should be on" in judge_one(table, of("bare sleeve"), own_channel_only="yes")["reason"]
    assert outcome(judge_one(table, of("bare sleeve"), no_channel="yes")) == "conforming"


def test_s10_no_other_channel_means_those_of_that_sensor() -> None:
    both = station(
        sensors=(sensor("sachet"), sensor("sleeve")),
        settings=(Settings(channels=(channel("1", "mint"), channel("L", "label", sensor="sleeve"))),),
    )
    table = Table(both)
    table.add("mint", 0, 80, did={"1": Did(on=60), "L": Did(on=60)}, sensor="sachet")
    assert outcome(judge_one(table, own_channel_only="yes")) == "conforming"
    foreign = judge_one(table, channels="L")
    assert outcome(foreign) == "not_judged"
    assert "belongs to another sensor" in foreign["reason"]


def test_only_channels() -> None:
    table = shown({"1": Did(on=60), "2": Did(on=40)})
    assert outcome(judge_one(table, only_channels=["1", "2"])) == "conforming"
    assert "channel 2 was on for 40 ms" in why(judge_one(table, only_channels="1"))
    assert outcome(judge_one(shown({"1": Did(on=60), "2": Did(known=False)}), only_channels="1")) == "not_judged"


def test_channels_says_nothing_of_the_others() -> None:
    table = shown({"1": Did(on=60), "2": Did(on=40)})
    assert outcome(judge_one(table, channels="1")) == "conforming"
    assert "channel 3 did not fire" in why(judge_one(table, channels=["1", "3"]))
    assert outcome(judge_one(shown({"1": Did(on=60, known=False)}), channels="1")) == "not_judged"


def test_silent() -> None:
    table = shown({"1": Did(on=60), "3": Did(held=15, held_from=0)})
    assert outcome(judge_one(table, silent="2")) == "conforming"
    assert "channel 3 was on for 15 ms, held over from chamomile" in why(judge_one(table, silent=["2", "3"]))
    assert outcome(judge_one(shown({"3": Did(known=False)}), silent="3")) == "not_judged"


def test_a8_the_time_between_is_judged_too() -> None:
    """A8: channel 2 fires for 30 ms on the belt splice at 12.4 s. An off-delay that runs out after a target is no event of
    the belt."""
    table = Table(station())
    table.add("bare belt", 12100, 13000, between=True, did={"2": Did(on=30, at=300)})
    table.add("bare belt", 13100, 14000, between=True, did={"2": Did(held=25, held_from=0)})
    result = run_case(table, case(Present(kind="between", targets=("bare belt",)), Evidence(trials=2), no_channel="yes"))
    assert (result["conforming"], result["nonconforming"]) == (1, 1)
    assert why(result) == "bare belt, at 12.400 s: channel 2 was on for 30 ms"
    assert outcome(run_case(shown({"2": Did(known=False)}), case(of("mint"), ONE, no_channel="yes"))) == "not_judged"


def test_a5_a_log_slower_than_the_sensor_cannot_show_silence() -> None:
    """A5: the sensor decides at 10 kHz and is logged at 100 Hz: silence is at most not shown, firing is shown, a misfire
    stays one."""
    fast = station(sensors=(sensor("sachet", decides_every_ns=MS // 10),))
    table = Table(fast, period=10)
    table.add("mint", 0, 80, did={"1": Did(on=60)})
    quiet = judge_one(table, own_channel_only="yes")
    assert quiet["verdict"] == "not shown"
    assert (
        "sensor sachet decides every 0.1 ms and was logged every 10 ms, so computed outputs cannot show silence"
        in quiet["reason"]
    )
    assert judge_one(table, channels="1")["verdict"] == "pass"
    assert judge_one(table, response={"at_most": "30 ms", "from": "start"})["verdict"] == "not shown"
    assert judge_one(table, pulses={"channels": "own", "exactly": "1"})["verdict"] == "not shown"
    recorded = Table(fast, period=10, basis="recorded", channel_basis="recorded", rows=table.rows)
    assert judge_one(recorded, own_channel_only="yes")["verdict"] == "pass"
    table.rows[0]["did"]["2"] = Did(on=20)
    assert judge_one(table, own_channel_only="yes")["verdict"] == "fail"


# --- pulses --------------------------------------------------------------------------------------------------------------------


def test_a10d_fewest_and_most_must_both_be_right() -> None:
    """A10 (d): on 50 ms, off 2 ms, on 50 ms: a controller counts 1 or 2, by the phase of its scan."""
    table = shown({"1": Did(on=100, longest=50, pulses=(1, 2))})
    result = judge_one(table, pulses={"channels": "own", "exactly": "1"})
    assert "channel 1 gave 1 to 2 pulses" in why(result)
    assert outcome(judge_one(table, pulses={"channels": "1", "at_least": "1", "at_most": "2"})) == "conforming"
    assert outcome(judge_one(table, pulses={"channels": ["1"], "at_least": "2"})) == "nonconforming"
    assert outcome(judge_one(shown({"1": Did(on=60, known=False)}), pulses={"channels": "own", "exactly": "1"})) == "not_judged"


def test_pulses_of_an_output_up_to_the_next_presentation() -> None:
    table = Table(station())
    table.add("mint", 100, 180)
    table.add("mint", 300, 380)
    table.signal(
        "output", "counter", must=[(110, 130), (290, 295), (310, 330)], can=[(110, 130), (200, 203), (290, 295), (310, 350)]
    )
    result = run_case(table, case(of("mint"), Evidence(trials=2), pulses={"output": "counter", "exactly": "1"}))
    assert (result["conforming"], result["nonconforming"]) == (1, 1)
    assert why(result) == "mint, at 0.100 s: counter gave 2 to 3 pulses"
    nothing = judge_one(table, pulses={"output": "flap", "exactly": "0"})
    assert "this recording has no output flap" in nothing["reason"]


def test_no_own_channel_gives_no_pulses_to_count() -> None:
    result = judge_one(shown({}, target="bare belt"), of("bare belt"), pulses={"channels": "own", "exactly": "0"})
    assert "no channel should be on for this target" in result["reason"]


# --- response and held ---------------------------------------------------------------------------------------------------------


def test_a24_a_flicker_is_no_response() -> None:
    """A24: on for 2 ms at 5 ms, then on from 35 ms: a controller sees 35 ms."""
    table = shown({"1": Did(on=42, longest=40, at=35, pulses=(1, 2))})
    result = judge_one(table, response={"at_most": "20 ms", "from": "start"})
    assert "channel 1 fired 35 ms after its start, in several on-times" in why(result)
    worst = result["expectations"][0]["worst"]
    assert (worst["value"], worst["unit"], worst["at_ns"]) == (35.0, "ms", 83447 * MS)
    assert outcome(judge_one(table, response={"at_most": "40 ms", "from": "start"})) == "conforming"


def test_a24_covered_takes_off_the_time_to_fill_the_spot() -> None:
    """A24: a spot of 4 mm at 0.5 m/s is covered 8 ms after the first touch."""
    table = shown({"1": Did(on=60, at=17)}, covered=83420)
    assert outcome(judge_one(table, response={"at_most": "10 ms", "from": "covered"})) == "conforming"
    assert outcome(judge_one(table, response={"at_most": "10 ms", "from": "start"})) == "nonconforming"
    unknown = judge_one(shown({"1": Did(on=60, at=17)}), response={"at_most": "10 ms", "from": "covered"})
    assert outcome(unknown) == "not_judged"


def test_response_from_an_edge() -> None:
    table = shown({"1": Did(on=60, at=17)})
    table.signal("input", "box in", must=[(83415, 83450)], basis="recorded")
    assert outcome(judge_one(table, response={"at_most": "16 ms", "from": "box in"})) == "conforming"
    assert "box out did not come in it" in judge_one(table, response={"at_most": "16 ms", "from": "box out"})["reason"]


def test_c17_an_edge_is_known_to_one_reading_period() -> None:
    """C17: readings every 4 ms; 18 ms may be 22, so a limit of 20 ms is not certain; a limit of 3 ms cannot be judged at
    all."""
    table = shown({"1": Did(on=60, at=18)})
    table.period = 4
    result = judge_one(table, response={"at_most": "20 ms", "from": "start"})
    assert why(result).endswith("channel 1 fired 18 ms after its start, known to 4 ms")
    assert outcome(judge_one(table, response={"at_most": "22 ms", "from": "start"})) == "conforming"
    fine = judge_one(table, response={"at_most": "3 ms", "from": "start"})
    assert "could not be judged: readings come every 4 ms" in fine["reason"]


def test_a_channel_that_never_fires_has_no_response() -> None:
    result = judge_one(shown({"1": Did(on=3)}), response={"at_most": "20 ms", "from": "start"})
    assert "channel 1 was on for 3 ms only" in why(result)


def test_held() -> None:
    """On 30 ms, off 5 ms, on 20 ms: 30 ms without a break."""
    table = shown({"1": Did(on=50, longest=30, pulses=(1, 2))})
    assert "channel 1 was on for 30 ms without a break" in why(judge_one(table, held="at least 40 ms"))
    assert outcome(judge_one(table, held="at least 25 ms")) == "conforming"
    assert outcome(judge_one(shown({"1": Did(on=30, known=False)}), held="at least 25 ms")) == "not_judged"
    assert "readings come every 1 ms" in judge_one(table, held="at least 0.5 ms")["reason"]


# --- margin and level ----------------------------------------------------------------------------------------------------------


def test_a1_margin_is_positive_where_good_for_both_kinds() -> None:
    """A1: tolerance 0.012. Own channel seen for sure down to 0.006: 0.5; a silent one on at all from 0.018: 0.5; `off
    match` swaps."""
    table = shown({"1": Did(on=60, sure=0.006, any=0.004), "2": Did(sure=0.03, any=0.018), "3": Did(sure=0.05, any=0.05)})
    assert outcome(judge_one(table, margin={"must_fire": "at least 0.5", "must_be_silent": "at least 0.5"})) == "conforming"
    tight = judge_one(table, margin={"must_fire": "at least 0.25", "must_be_silent": "at least 0.6"})
    assert why(tight).endswith("margin of channel 2, which must be silent, is 0.500")
    worst = tight["expectations"][0]["worst"]
    assert worst["value"] == pytest.approx(0.5)
    turned = Table(station(settings=(Settings(channels=(channel("1", "sleeve", switches="off match"),)),)))
    turned.add("label", 0, 80, did={"1": Did(on=60, sure=0.05, any=0.05)})
    assert outcome(judge_one(turned, of("label"), margin={"must_fire": "at least 3"})) == "conforming"


def test_margin_at_zero_and_never() -> None:
    """At exactly 0 a channel that must fire conforms; one that never could, has no figure and does not."""
    assert outcome(judge_one(shown({"1": Did(on=60, sure=0.012, any=0.01)}), margin={"must_fire": "at least 0"})) == "conforming"
    never = judge_one(shown({"1": Did(sure=float("inf"), any=0.01)}), margin={"must_fire": "at least 0"})
    assert "is beyond measure" in why(never)
    assert never["nonconforming_trials"][0]["value"] is None


def test_a15_clipped_readings_are_never_margin_evidence() -> None:
    result = judge_one(shown({"1": Did(on=60, sure=0.006, clipped=True)}), margin={"must_fire": "at least 0.25"})
    assert outcome(result) == "not_judged"
    assert "rested on a clipped reading, which is no evidence of margin" in result["reason"]


def test_a5_a_margin_beside_a_recorded_channel_that_never_fired_is_no_evidence() -> None:
    table = Table(station(), basis="recorded", channel_basis="recorded")
    table.add("mint", 0, 80, did={"1": Did(on=0, sure=0.007, any=0.007)})
    result = judge_one(table, margin={"must_fire": "at least 0.25"})
    assert outcome(result) == "not_judged"
    assert "did otherwise than its readings say" in result["reason"]
    assert outcome(judge_one(shown({"1": Did(on=60)}), margin={"must_fire": "at least 0.25"})) == "not_judged"


def test_level() -> None:
    """Raw 2000 and 3900 of 4095 at dark 12 are 48.7 % and 95.2 %, by hand."""
    low, high = (2000 - 12) / (4095 - 12), (3900 - 12) / (4095 - 12)
    table = shown({}, level_min=low, level_max=high)
    assert outcome(judge_one(table, level={"at_least": "30 %", "at_most": "96 %"})) == "conforming"
    assert why(judge_one(table, level={"at_least": "30 %", "at_most": "95 %"})).endswith("its greatest level is 95.2 %")
    assert why(judge_one(table, level={"at_least": "50 %"})).endswith("its least level is 48.7 %")
    assert "no plateau" in judge_one(shown({}), level={"at_least": "30 %"})["reason"]


# --- agrees --------------------------------------------------------------------------------------------------------------------


def recorded_and_computed(recorded: list[tuple[float, float]], computed: list[tuple[float, float]], **more: Any) -> Table:
    table = Table(station(), basis="recorded", channel_basis="recorded")
    table.add("mint", 95, 175, did={"1": Did(on=40)})
    table.add("mint", 295, 375, did={"1": Did(on=40)})
    table.signal("channel", "1", must=recorded, basis="recorded")
    table.signal("computed channel", "1", must=computed, **more)
    return table


def test_a33_edges_are_paired_in_order_with_the_latency_taken_off() -> None:
    """A33: computed 100 to 140 ms, recorded 106 to 145 ms, latency 4 ms: apart by 2 and 1 ms."""
    table = recorded_and_computed([(106, 145), (304, 345)], [(100, 140), (300, 340)])
    two = Evidence(trials=2)
    result = run_case(table, case(of("mint"), two, agrees={"edges_within": "2 ms", "latency": "4 ms"}))
    assert (result["verdict"], result["basis"]) == ("pass", "recorded")
    assert result["expectations"][0]["worst"]["value"] == 2.0
    strict = run_case(table, case(of("mint"), two, agrees={"edges_within": "1 ms", "latency": "4 ms"}))
    assert (strict["conforming"], strict["nonconforming"]) == (1, 1)
    text = "channel 1: the computed rise at 0.100 s has no partner within 1 ms; the nearest recorded one is 2 ms later,"
    assert text in why(strict)


def test_a_recorded_channel_that_never_fired_has_no_partner() -> None:
    result = run_case(recorded_and_computed([(104, 145)], [(100, 140), (300, 340)]),
                      case(of("mint"), Evidence(trials=2), agrees={"edges_within": "10 ms"}))  # fmt: skip
    assert result["nonconforming_trials"][0]["at_ns"] == 300 * MS
    assert result["nonconforming"] == 1


def test_agrees_is_not_judged_without_both_or_too_fine() -> None:
    assert "nothing to compare" in judge_one(shown({"1": Did(on=60)}), agrees={"edges_within": "10 ms"})["reason"]
    table = recorded_and_computed([(104, 145)], [(100, 140)], can=[(100, 160)])
    assert "the computed state of a channel was not known" in judge_one(table, agrees={"edges_within": "10 ms"})["reason"]
    assert "readings come every 1 ms" in judge_one(table, agrees={"edges_within": "500 us"})["reason"]


def test_edges_of_an_input_that_is_on_in_the_first_row_are_none() -> None:
    """A25: an input that is on in the first row has had no edge."""
    table = Table(station(outputs=(Output(name="flap", logic=Logic(op="any_of", of=("1",))),)))
    table.add("mint", 0, 80)
    table.signal("input", "box in", must=[(0, 50)], basis="recorded")
    table.signal("output", "flap", must=[(5, 30)])
    asked = {"flap": {"is": "on", "from": "box in", "within": "60 ms"}}
    assert "there was no edge box in" in judge_one(table, outputs=asked)["reason"]
    asked["flap"]["from"] = "box in falls"
    assert outcome(judge_one(table, outputs=asked)) == "nonconforming"
