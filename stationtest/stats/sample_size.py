"""How many trials a claim needs, and both risks of a plan: exact binomial sums.

A plan is a number of trials n and of nonconforming ones accepted, both fixed beforehand. `reliability` is the share of
trials that conform, `confidence` the chance that a station that is only just not so reliable fails the plan. All from 0 to
1. Formula: the number of nonconforming trials is binomial; see for example NIST/SEMATECH e-Handbook of Statistical Methods,
7.2.4.1.
"""

from __future__ import annotations

import math
from functools import lru_cache

MOST = 10**11  # more than any plan that a file may ask for
FEW, SMALL = 500, 1e-290  # up to here the binomial terms are summed one by one, which saves loading scipy
_ROUNDING = 1e-12  # relative: 0.9 ** 2 is not more than 0.81


@lru_cache(maxsize=65536)
def chance_to_pass(n: int, nonconforming: int, true_share: float) -> float:
    """The chance that a station with this true share of conforming trials gives at most `nonconforming` others in `n`."""
    if n <= nonconforming or true_share >= 1:
        return 1.0
    if true_share <= 0:
        return 0.0
    if nonconforming > FEW or n * -math.log(true_share) > -math.log(SMALL):
        from scipy.special import betainc

        return float(betainc(n - nonconforming, nonconforming + 1, true_share))
    term = math.exp(n * math.log(true_share))
    terms, odds = [term], (1 - true_share) / true_share
    for i in range(nonconforming):
        term *= (n - i) / (i + 1) * odds
        terms.append(term)
    return math.fsum(terms)


def shows(n: int, nonconforming: int, reliability: float, confidence: float) -> bool:
    """Whether the exact one-sided lower bound of `nonconforming` in `n` trials is at least `reliability`."""
    return n > nonconforming and chance_to_pass(n, nonconforming, reliability) <= (1 - confidence) * (1 + _ROUNDING)


@lru_cache(maxsize=4096)
def smallest(reliability: float, confidence: float, nonconforming: int = 0) -> int:
    """The least number of trials of which `nonconforming` may fail to conform and the claim still holds.

    Raises ValueError for shares that are not between 0 and 1, and where more than `MOST` trials would be needed.
    """
    if not (0 < reliability < 1 and 0 < confidence < 1 and nonconforming >= 0):
        raise ValueError(f"no plan for {reliability} at {confidence} with {nonconforming} nonconforming")
    low, high = nonconforming, nonconforming + 1  # `low` does not show it
    while not shows(high, nonconforming, reliability, confidence):
        low, high = high, 2 * high
        if high > MOST:
            raise ValueError(f"more than {MOST} trials")
    while high - low > 1:
        middle = (low + high) // 2
        if shows(middle, nonconforming, reliability, confidence):
            high = middle
        else:
            low = middle
    return high


def clean_trials_show(n: int, confidence: float) -> float:
    """The reliability that `n` trials, all conforming, show: the share whose n-th power is 1 - confidence."""
    return float((1 - confidence) ** (1 / n)) if n else 0.0
