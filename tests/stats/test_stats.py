"""Bounds and sample sizes against printed tables and against statsmodels. Each row of binomial_bounds.csv names its source."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest
from scipy import special
from statsmodels.stats.proportion import proportion_confint

from stationtest.stats.known import known_answers
from stationtest.stats.proportions import interval, lower_bound, upper_bound
from stationtest.stats.rates import upper_count, upper_rate
from stationtest.stats.sample_size import chance_to_pass, clean_trials_show, shows, smallest

ROWS = list(
    csv.DictReader((Path(__file__).parents[1] / "values" / "binomial_bounds.csv").read_text(encoding="utf-8").splitlines())
)
BOUNDS = [row for row in ROWS if row["kind"] == "clopper_pearson"]
SIZES = [row for row in ROWS if row["kind"] == "sample_size"]
RULE_OF_THREE = [row for row in ROWS if row["kind"] == "rule_of_three"]


@pytest.mark.parametrize("row", BOUNDS, ids=lambda row: f"{row['n']}-{row['failures']}-{row['confidence']}-{row['side']}")
def test_published_bounds(row: dict[str, str]) -> None:
    """Source: column `source` of each row (NIST, Newcombe 1998, R, AICPA 2017, Touw and Hoogduin 2011)."""
    x, n, confidence = int(row["failures"]), int(row["n"]), float(row["confidence"])
    if row["side"] == "two-sided":
        lower, upper = interval(x, n, confidence)
    else:
        lower, upper = lower_bound(x, n, confidence), upper_bound(x, n, confidence)
    for printed, ours in ((row["lower"], lower), (row["upper"], upper)):
        if printed:
            assert ours == pytest.approx(float(printed), abs=float(row["tol"]) * 1.0001)
            if row["rounding"] == "up":
                assert ours <= float(printed) + 1e-9


@pytest.mark.parametrize("row", SIZES, ids=lambda row: f"{row['reliability']}-{row['confidence']}-{row['failures']}")
def test_published_sample_sizes(row: dict[str, str]) -> None:
    """Source: column `source` of each row (Touw and Hoogduin 2011, AICPA 2017, CMH-17-1G; some from memory, as the row
    says)."""
    reliability, confidence, accepted = float(row["reliability"]), float(row["confidence"]), int(row["failures"])
    n = smallest(reliability, confidence, accepted)
    assert n == int(row["n_required"])
    assert lower_bound(n - accepted, n, confidence) >= reliability - 1e-12
    assert lower_bound(n - 1 - accepted, n - 1, confidence) < reliability


@pytest.mark.parametrize("row", RULE_OF_THREE, ids=lambda row: row["n"])
def test_rule_of_three_is_just_above_the_exact_bound(row: dict[str, str]) -> None:
    """Source: Hanley and Lippman-Hand, JAMA 249 (1983) 1743-1745, from memory: 3/n is a little more than the exact bound."""
    ours = upper_bound(0, int(row["n"]), 0.95)
    assert ours < float(row["upper"])
    assert float(row["upper"]) - ours == pytest.approx(float(row["tol"]), abs=1.1e-6)


@pytest.mark.parametrize(("x", "n"), [(0, 1), (1, 1), (3, 7), (59, 60), (60, 60), (199, 200), (1, 1000)])
@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95, 0.999])
def test_bounds_against_statsmodels(x: int, n: int, confidence: float) -> None:
    """Second opinion: proportion_confint(method='beta') of statsmodels."""
    assert interval(x, n, confidence) == pytest.approx(proportion_confint(x, n, alpha=1 - confidence, method="beta"), abs=1e-12)
    low, high = proportion_confint(x, n, alpha=2 * (1 - confidence), method="beta")
    assert lower_bound(x, n, confidence) == pytest.approx(low, abs=1e-12)
    assert upper_bound(x, n, confidence) == pytest.approx(high, abs=1e-12)


def test_the_share_at_the_bound_has_just_the_remaining_risk() -> None:
    """The definition of Clopper and Pearson (1934), by summing binomial terms one by one."""
    for x, n, confidence in ((58, 60, 0.95), (17, 20, 0.9), (1, 3, 0.99)):
        low, high = lower_bound(x, n, confidence), upper_bound(x, n, confidence)
        at_least = sum(math.comb(n, i) * low**i * (1 - low) ** (n - i) for i in range(x, n + 1))
        at_most = sum(math.comb(n, i) * high**i * (1 - high) ** (n - i) for i in range(x + 1))
        assert at_least == pytest.approx(1 - confidence, abs=1e-12)
        assert at_most == pytest.approx(1 - confidence, abs=1e-12)


def test_both_risks_of_59_clean_trials() -> None:
    """Counter-example A13 and part C: 59 clean trials pass a station that is 99 % right with 55 %, one that is 99.9 % right
    with 94 %."""
    assert smallest(0.95, 0.95) == 59
    assert round(chance_to_pass(59, 0, 0.99), 2) == 0.55
    assert round(chance_to_pass(59, 0, 0.999), 2) == 0.94
    assert chance_to_pass(59, 0, 0.95) < 0.05 < chance_to_pass(58, 0, 0.95)


def test_chance_to_pass_is_the_binomial_sum() -> None:
    for n, k, p in ((93, 1, 0.95), (124, 2, 0.97), (10, 9, 0.1)):
        by_hand = sum(math.comb(n, i) * (1 - p) ** i * p ** (n - i) for i in range(k + 1))
        assert chance_to_pass(n, k, p) == pytest.approx(by_hand, rel=1e-12)
        assert chance_to_pass(n, k, p) == pytest.approx(float(special.bdtr(k, n, 1 - p)), rel=1e-9)
    for n, k, p in ((3000, 40, 0.98), (100_000, 700, 0.99), (20_000, 3, 0.95)):
        assert chance_to_pass(n, k, p) == pytest.approx(float(special.bdtr(k, n, 1 - p)), rel=1e-8)
    assert chance_to_pass(3, 3, 0.1) == 1.0
    assert chance_to_pass(3, 0, 1.0) == 1.0
    assert chance_to_pass(3, 0, 0.0) == 0.0


def test_a_bound_that_is_just_reached_counts() -> None:
    """0.9 squared is 0.81: two clean trials show 90 % at a confidence of 19 %, whatever the rounding of floats says."""
    assert shows(2, 0, 0.9, 0.19)
    assert smallest(0.9, 0.19) == 2
    assert not shows(1, 0, 0.9, 0.19)


def test_what_clean_trials_show() -> None:
    """Counter-examples A28 and A20: 30 clean trials show 90.5 %, 15 show 81.9 %, 20 show 86.1 %, each at 95 %."""
    assert [round(100 * clean_trials_show(n, 0.95), 1) for n in (30, 15, 20)] == [90.5, 81.9, 86.1]
    assert clean_trials_show(59, 0.95) == pytest.approx(lower_bound(59, 59, 0.95), rel=1e-12)
    assert clean_trials_show(0, 0.95) == 0.0


def test_pooling_two_targets_hides_one_that_always_fails() -> None:
    """Counter-example A2: one nonconforming of 94 has the bound 0.95053 (computed there by the beta quantile)."""
    assert lower_bound(93, 94, 0.95) == pytest.approx(0.95053, abs=5e-6)
    assert lower_bound(0, 1, 0.95) == 0.0


def test_one_of_sixty() -> None:
    """Counter-example A28: 1 nonconforming of 60 has the bounds 92.3 and 99.9 %."""
    assert lower_bound(59, 60, 0.95) == pytest.approx(0.9234, abs=5e-5)
    assert upper_bound(59, 60, 0.95) == pytest.approx(0.9991, abs=5e-5)


def test_rates() -> None:
    """3.0 events for none seen at 95 % (practice note L9). One and three events: E. S. Pearson and H. O. Hartley,
    Biometrika Tables for Statisticians, Table 40 (Poisson limits, 95 %: 4.74 and 7.75), from memory."""
    assert upper_count(0, 0.95) == pytest.approx(float(special.gammaincinv(1, 0.95)), rel=1e-12)
    assert upper_count(0, 0.95) == pytest.approx(-math.log(0.05), rel=1e-12)
    assert round(upper_count(1, 0.95), 2) == 4.74
    assert round(upper_count(3, 0.95), 2) == 7.75
    bound = upper_count(3, 0.9)
    assert sum(math.exp(-bound) * bound**i / math.factorial(i) for i in range(4)) == pytest.approx(0.1, rel=1e-10)
    assert upper_rate(0, 1_800_000_000_000, 0.95) == pytest.approx(2.9957 / 1800, rel=1e-4)
    assert upper_rate(0, 0, 0.95) is None


@pytest.mark.parametrize("reliability", [1e-6, 0.5, 0.999999])
@pytest.mark.parametrize("confidence", [1e-6, 0.95, 0.999999])
@pytest.mark.parametrize("accepted", [0, 1, 10_000])
def test_a_plan_for_whatever_a_file_may_ask(reliability: float, confidence: float, accepted: int) -> None:
    """The least n whose binomial sum leaves the stated risk, by scipy's own sum (bdtr); for none accepted by logarithms; of
    milliards of trials by the limit of Poisson (Siméon-Denis Poisson 1837), since bdtr counts to 2**31."""
    n = smallest(reliability, confidence, accepted)
    if n >= 2**31:
        assert n == pytest.approx(special.gammaincinv(accepted + 1, confidence) / (1 - reliability), rel=1e-5)
        return
    assert special.bdtr(accepted, n, 1 - reliability) <= (1 - confidence) * (1 + 1e-6)
    if n - 1 > accepted:
        assert special.bdtr(accepted, n - 1, 1 - reliability) > (1 - confidence) * (1 - 1e-6)
    if not accepted:
        assert n == max(1, math.ceil(math.log1p(-confidence) / math.log(reliability)))


def test_refusals() -> None:
    for call in (
        lambda: lower_bound(3, 2, 0.95),
        lambda: upper_bound(1, 2, 1.0),
        lambda: smallest(1.0, 0.95),
        lambda: smallest(0.5, 0.0),
        lambda: smallest(1 - 1e-14, 0.95),
        lambda: upper_count(-1, 0.95),
    ):
        with pytest.raises(ValueError, match=r"\w"):
            call()


def test_known_answers_hold_and_are_not_all_the_same() -> None:
    answers = list(known_answers())
    assert len(answers) > 10
    for name, computed, published, tolerance, source in answers:
        assert abs(computed - published) <= tolerance, name
        assert source
