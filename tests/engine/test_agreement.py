"""`agrees` in full (A33): fired or silent first, then edges; lone edges; differences over time show two clocks (A7)."""

from __future__ import annotations

from typing import Any

import pytest
from factory import Did, Table, case, of, run_case, station

from stationtest.engine import agreement
from stationtest.engine.judging import view_of
from stationtest.model.case import Case, Evidence, Suite
from stationtest.report import drawings

Intervals = list[tuple[float, float]]


def table(recorded: Intervals, computed: Intervals, every: float = 1000, **more: Any) -> Table:
    """A presentation of mint every second, 100 ms long; channel 1 as recorded and as computed."""
    made = Table(station(), basis="recorded", channel_basis="recorded", **more)
    for start, _ in computed or [(0, 0)]:
        made.add("mint", start // every * every, start // every * every + 100, did={"1": Did(on=40)})
    made.signal("channel", "1", must=recorded, basis="recorded")
    made.signal("computed channel", "1", must=computed)
    return made


def asked(n: int = 1, **fields: str) -> Case:
    return case(of("mint"), Evidence(trials=n), agrees={"edges_within": "15 ms", **fields})


def drawn(made: Table, one: Case) -> dict[str, Any]:
    obs = made.observations()
    suite = Suite(folder=".", station=made.station, cases=(one,))
    (figure,) = agreement.figures(suite, [view_of(made.station, obs)])
    return dict(figure)


# --- judged ---------------------------------------------------------------------------------------------------------------------


def test_a33_what_fired_or_not_is_told_before_edges() -> None:
    """The first lone edge in time is a late fall of the first on-time; but that there is a second one at all is told first."""
    made = table([(1010, 1080), (1090, 1095)], [(1010, 1050)])
    assert "channel 1: the computed fall at 1.050 s has no partner within 15 ms; the nearest recorded one is 30 ms later" in (
        run_case(made, asked())["reason"]
    )
    never = table([], [(1010, 1050)])
    assert "channel 1 came on as computed, at 1.010 s, and stayed off as recorded" in run_case(never, asked())["reason"]
    made = table([(2010, 2050)], [(1010, 1050), (2010, 2050), (3010, 3050)])
    two = run_case(made, asked(3))
    assert (two["conforming"], two["nonconforming"]) == (1, 2)


def test_a_pair_over_the_border_of_a_presentation_is_no_misfire() -> None:
    """Computed on at 1.998 s, in the first presentation; recorded 4 ms later, in the next one. One pair, of the first."""
    made = Table(station(), basis="recorded", channel_basis="recorded")
    for start in (1000, 2000):
        made.add("mint", start, start + 100, did={"1": Did(on=40)})
    made.signal("channel", "1", must=[(2002, 2042)], basis="recorded")
    made.signal("computed channel", "1", must=[(1998, 2038)])
    assert run_case(made, asked(2))["conforming"] == 2


def test_outputs_are_compared_as_well() -> None:
    made = table([(1010, 1050)], [(1010, 1050)])
    made.signal("output", "flap", [(1060, 1090)], basis="recorded")
    made.signal("computed output", "flap", [(1052, 1082)])
    assert run_case(made, asked(outputs="flap"))["verdict"] == "pass"
    made.signal("computed output", "flap", [(1040, 1082)])
    worse = run_case(made, asked(outputs="flap"))
    assert "flap: the computed rise at 1.040 s has no partner within 15 ms" in worse["reason"]
    assert "; the nearest recorded one is 20 ms later" in worse["reason"]
    assert run_case(made, asked())["verdict"] == "pass", "nobody asked for the flap"
    assert "output counter is not both recorded and computed" in run_case(made, asked(outputs="counter"))["reason"]


def test_outputs_alone_are_no_agreement_of_channels() -> None:
    """No channel was recorded; that a flap that never moved agrees with itself says nothing of them."""
    made = Table(station())
    made.add("mint", 1000, 1100, did={"1": Did(on=40)})
    made.signal("output", "flap", [], basis="recorded")
    made.signal("computed output", "flap", [])
    result = run_case(made, asked(outputs="flap"))
    assert result["not_judged"] == 1 and "no recorded channel is computed too" in result["reason"]


# --- drawn ----------------------------------------------------------------------------------------------------------------------


def test_a33_lone_edges_are_listed_with_what_they_are_of() -> None:
    figure = drawn(table([(1014, 1054), (2030, 2054)], [(1010, 1050), (2010, 2050)]), asked(2, latency="4 ms"))
    data = figure["data"]
    assert (data["n"], data["lone_count"]) == (3, 2)
    assert data["lone"] == [
        {"signal": "channel 1", "edge": "rises", "of": "computed", "at_ns": 2_010_000_000},
        {"signal": "channel 1", "edge": "rises", "of": "recorded", "at_ns": 2_030_000_000},
    ]
    assert data["groups"] == [
        {"name": "channel 1", "n": 3, "least": 0.0, "median": 0.0, "greatest": 0.0, "lone_recorded": 1, "lone_computed": 1}
    ]
    behind = drawings.behind(figure)
    assert behind is not None and ("channel 1", "rises", "recorded", "2.030 s") in behind.rows
    assert "<svg" in str(drawings.draw(figure))


def test_a7_two_clocks_show_as_a_line() -> None:
    """A7: 37 ms apart at the start, 20 ppm: after an hour 37 + 72 = 109 ms. A pair a minute, every difference exact."""
    computed = [(60_000 * k + 10, 60_000 * k + 50) for k in range(61)]
    recorded = [(a + 37 + 20e-6 * a, b + 37 + 20e-6 * b) for a, b in computed]
    made = table(recorded, computed, every=60_000, end=3_700_000)
    data = drawn(made, asked(1, edges_within="120 ms"))["data"]
    assert (data["n"], data["lone_count"]) == (122, 0)
    assert data["offset_ms"] == pytest.approx(37, abs=1e-4) and data["drift_ppm"] == pytest.approx(20, abs=1e-3)
    assert data["groups"][0]["greatest"] == pytest.approx(37 + 20e-6 * 3_600_050, abs=1e-5)
    assert sum(bar[2] for bar in data["bars"]) == 122
    taken_off = drawn(made, asked(1, edges_within="120 ms", latency="37 ms"))["data"]
    assert taken_off["offset_ms"] == pytest.approx(0, abs=1e-4), "a latency is taken off; a drift stays"


def test_the_line_needs_two_instants() -> None:
    data = drawn(table([(1010, 5000)], [(1010, 5100)]), asked())["data"]
    assert (data["n"], data["offset_ms"], data["drift_ppm"]) == (1, None, None)


def test_nothing_to_compare_draws_nothing() -> None:
    made = Table(station())
    made.add("mint", 0, 80)
    suite = Suite(folder=".", station=made.station, cases=(asked(),))
    assert list(agreement.figures(suite, [view_of(made.station, made.observations())])) == []
