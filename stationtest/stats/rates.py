"""Exact upper bounds on how often something happens, from a count in a stated duration.

Events are taken to come at a constant mean rate and independently (Poisson). Bound after Garwood (Biometrika 28, 1936,
437-442): a quantile of the gamma distribution. For no event at 95 % it is 3.0 divided by the duration.
"""

from __future__ import annotations

import math
from functools import lru_cache


@lru_cache(maxsize=65536)
def upper_count(events: int, confidence: float) -> float:
    """One-sided upper bound on the expected number of events in the duration in which `events` were seen."""
    if events < 0 or not 0 < confidence < 1:
        raise ValueError(f"{events} events at a confidence of {confidence}")
    if events == 0:
        return -math.log(1 - confidence)
    from scipy.special import gammaincinv

    return float(gammaincinv(events + 1, confidence))


def upper_rate(events: int, duration_ns: int, confidence: float) -> float | None:
    """One-sided upper bound on events a second; None if nothing was watched."""
    return upper_count(events, confidence) / (duration_ns / 1e9) if duration_ns > 0 else None
