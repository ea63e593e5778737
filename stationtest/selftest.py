"""Known answers, computed on this computer: distances, timers, bounds and sample sizes against what was published.

Part of every record, since a number is only as good as the computer that made it. Each module that has known answers offers
`known_answers()`, which yields for each its name, what is computed here, what is published, how far they may differ, and where it
is published.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterable, Iterator
from math import isfinite

from stationtest.model.record import Selftest, SelftestCheck

Answer = tuple[str, float, float, float, str]

MODULES = (
    ("distances", "stationtest.signals.distances"),
    ("timers, latches and counting", "stationtest.signals.timing_known"),
    ("bounds and sample sizes", "stationtest.stats.known"),
)

MUST_BE_REAL = ("numpy", "scipy", "scipy.special", "matplotlib")
"""Modules in whose place a stand-in has been seen, with which a bound silently became 1.0."""


def run(modules: Iterable[tuple[str, str]] = MODULES) -> Selftest:
    """Every known answer, one entry for each subject and source."""
    checks = [check for subject, module in modules for check in _of_module(subject, module)]
    checks.append(_no_stand_ins())
    return {"passed": all(check["passed"] for check in checks), "checks": checks}


def _of_module(subject: str, module: str) -> Iterator[SelftestCheck]:
    answers: Iterable[Answer] = importlib.import_module(module).known_answers()
    by_source: dict[str, list[bool]] = {}
    for _, computed, published, tolerance, source in answers:
        good = isfinite(computed) and abs(computed - published) <= tolerance
        by_source.setdefault(source, []).append(bool(good))
    for source, outcomes in by_source.items():
        yield {"name": subject, "passed": all(outcomes), "checks": len(outcomes), "source": source}


def _no_stand_ins() -> SelftestCheck:
    loaded = [sys.modules[name] for name in MUST_BE_REAL if name in sys.modules]
    real = [type(module).__module__ != "unittest.mock" for module in loaded]
    return {
        "name": "no stand-in modules",
        "passed": all(real),
        "checks": len(real),
        "source": "the modules loaded in this process",
    }
