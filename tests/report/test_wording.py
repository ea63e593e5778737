"""Numbers as text."""

from __future__ import annotations

import pytest

from stationtest.report import wording


@pytest.mark.parametrize(
    ("ns", "text"),
    [
        (0, "0 µs"), (1500, "1.5 µs"), (40_000_000, "40 ms"), (22_500_000, "22.5 ms"), (1_250_000_000, "1.25 s"),
        (602_500_000_000, "10 min 2.5 s"), (3_600_000_000_000, "1 h 0 min 0 s"), (-5_000_000, "\u22125 ms"), (None, "–"),
    ],
)  # fmt: skip
def test_duration(ns: int | None, text: str) -> None:
    assert wording.duration(ns) == text


def test_bounds_are_cut_to_the_safe_side() -> None:
    assert wording.percent(0.94999) == "94.99 %"
    assert wording.percent(0.95) == "95 %"
    assert wording.percent_up(0.98961) == "98.97 %"
    assert wording.percent_up(1.0) == "100 %"
    assert wording.percent(0.29) == "29 %"  # 0.29 * 100 is 28.999999999999996


def test_counts_and_lists() -> None:
    assert wording.count(12408) == "12\u202f408"
    assert wording.plural(1, "case") == "1 case"
    assert wording.plural(2, "table of trials", "tables of trials") == "2 tables of trials"
    assert wording.listed(["a", "b", "c"]) == "a, b and c"


@pytest.mark.parametrize(
    ("value", "text"), [(0.0123456, "0.0123"), (123.456, "123"), (-0.15, "\u22120.150"), (0.0, "0"), (None, "–")]
)
def test_decimal(value: float | None, text: str) -> None:
    assert wording.decimal(value) == text
