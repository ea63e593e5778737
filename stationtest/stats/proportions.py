"""Exact bounds on a share, from counts: Clopper and Pearson (Biometrika 26, 1934, 404-413), by quantiles of the beta
distribution.

`conforming` of `n` trials conform. One-sided bounds hold by themselves with the stated confidence; the two-sided interval
gives half of the remaining risk to each side. Shares and confidences are from 0 to 1.
"""

from __future__ import annotations

from functools import lru_cache


@lru_cache(maxsize=65536)
def lower_bound(conforming: int, n: int, confidence: float) -> float:
    """One-sided lower bound: the share p for which `conforming` or more of `n` has a chance of 1 - confidence. 0 if n is 0."""
    _check(conforming, n, confidence)
    if conforming == 0:
        return 0.0
    if conforming == n:
        return (1 - confidence) ** (1 / n)  # the closed form: a run without a nonconforming trial loads no scipy
    from scipy.special import betaincinv

    return float(betaincinv(conforming, n - conforming + 1, 1 - confidence))


@lru_cache(maxsize=65536)
def upper_bound(conforming: int, n: int, confidence: float) -> float:
    """One-sided upper bound: the share p for which `conforming` or fewer of `n` has a chance of 1 - confidence. 1 if n is 0."""
    _check(conforming, n, confidence)
    if conforming == n:
        return 1.0
    from scipy.special import betaincinv

    return float(betaincinv(conforming + 1, n - conforming, confidence))


def interval(conforming: int, n: int, confidence: float) -> tuple[float, float]:
    """Two-sided interval."""
    one_sided = (1 + confidence) / 2
    return lower_bound(conforming, n, one_sided), upper_bound(conforming, n, one_sided)


def _check(conforming: int, n: int, confidence: float) -> None:
    if not 0 <= conforming <= n:
        raise ValueError(f"{conforming} of {n} trials")
    if not 0 < confidence < 1:
        raise ValueError(f"a confidence of {confidence}")
