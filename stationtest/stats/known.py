"""Known answers of the statistics, for the selftest: printed tables, recomputed on this computer."""

from __future__ import annotations

from collections.abc import Iterator

from stationtest.stats.proportions import interval, lower_bound, upper_bound
from stationtest.stats.rates import upper_count
from stationtest.stats.sample_size import smallest

NIST = "NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1"
R = "R binom.test, as stored in the tests of statsmodels 0.15.0"
TABLE = "Touw and Hoogduin, Statistiek voor audit en controlling (2011), p. 126, as stored in the tests of the R package jfa"
GARWOOD = "definition: exp(-m) = 1 - confidence for no event"


def known_answers() -> Iterator[tuple[str, float, float, float, str]]:
    """For each check: its name, what is computed here, what is published, how far they may differ, and where it is
    published."""
    low, high = interval(4, 20, 0.90)
    yield "bound: 4 of 20, two-sided 90 %, lower", low, 0.071354, 1e-6, NIST
    yield "bound: 4 of 20, two-sided 90 %, upper", high, 0.401029, 1e-6, NIST
    low, high = interval(51, 235, 0.95)
    yield "bound: 51 of 235, two-sided 95 %, lower", low, 0.1660633298, 1e-9, R
    yield "bound: 51 of 235, two-sided 95 %, upper", high, 0.2752683640, 1e-9, R
    yield "bound: 51 of 235, one-sided 95 %, upper", upper_bound(51, 235, 0.95), 0.2659460863, 1e-9, R
    yield "bound: 59 of 59, one-sided 95 %, lower", lower_bound(59, 59, 0.95), 0.05 ** (1 / 59), 1e-12, "definition: p^n = 0.05"
    for reliability, confidence, accepted, n in (
        (0.99, 0.95, 0, 299), (0.99, 0.95, 2, 628), (0.95, 0.95, 1, 93), (0.95, 0.95, 2, 124), (0.90, 0.95, 0, 29),
        (0.99, 0.90, 1, 388), (0.95, 0.90, 3, 132),
    ):  # fmt: skip
        name = f"sample size: {reliability:.0%} at {confidence:.0%}, {accepted} nonconforming"
        yield name, smallest(reliability, confidence, accepted), n, 0, TABLE
    yield "rate: no event, 95 %", upper_count(0, 0.95), 2.995732273554, 1e-11, GARWOOD
