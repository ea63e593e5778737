"""Times in sentences: no more digits than the readings tell, and never so few that a verdict looks wrong. Plain arithmetic."""

from __future__ import annotations

import pytest

from stationtest.expectations.wording import milliseconds, seconds

MS, US = 1_000_000, 1_000


@pytest.mark.parametrize(
    ("ns", "words"),
    [
        (419_991_600, "0.420 s"),
        (83_412_000_000, "83.412 s"),
        (0, "0.000 s"),
        (-1_500_000, "-0.001 s"),
        (59_999_600_000, "60.000 s"),
    ],
)
def test_an_instant_stands_to_the_millisecond(ns: int, words: str) -> None:
    assert seconds(ns) == words


def test_two_instants_that_would_read_the_same_stand_as_exact_as_they_are() -> None:
    assert seconds(10_000_200_000, 10_000_050_000) == "10.0002 s"
    assert seconds(10_000_050_000, 10_000_200_000) == "10.00005 s"
    assert seconds(10_000_200_000, 10_000_200_000) == "10.000 s"
    assert seconds(10_000_200_000, 10_020_000_000) == "10.000 s"


@pytest.mark.parametrize(
    ("ns", "period", "limit", "words"),
    [
        (22 * MS, MS, 0, "22 ms"),
        (39_999_200, MS, 0, "40 ms"),  # readings every 1 ms tell a tenth of it
        (39_999_200, MS, 40 * MS, "39.999 ms"),  # just below what was asked: it must not read as 40 ms
        (39_999_950, MS, 40 * MS, "39.99995 ms"),
        (40 * MS, MS, 40 * MS, "40 ms"),
        (13_960 * US, MS, 14 * MS, "13.96 ms"),
        (3_270 * US, 50 * US, 0, "3.27 ms"),  # readings every 50 µs: a tenth is 5 µs, written to 1 µs
        (33_333_333, 5 * MS, 0, "33.3 ms"),
        (33_333_333, 20 * MS, 0, "33 ms"),
        (4_880, MS, 0, "0.005 ms"),  # not 0 ms: something was there
        (480, MS, 0, "0.00048 ms"),
        (0, MS, 0, "0 ms"),
        (-2_500 * US, MS, 0, "-2.5 ms"),
        (33_333_333, 0, 0, "33.333 ms"),  # without readings: to the microsecond
    ],
)
def test_a_time_has_the_digits_that_the_readings_tell(ns: int, period: int, limit: int, words: str) -> None:
    assert milliseconds(ns, period, limit) == words
