"""Trials and their outcomes counted by condition: at which height, of which lot, on which mark they came (A30)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from stationtest.engine import register
from stationtest.engine.judged_trials import Batch
from stationtest.expectations.items import belongs
from stationtest.expectations.trials import View
from stationtest.model.case import Suite
from stationtest.model.record import ConditionCount

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]

SEVERAL, NOT_STATED = "several", "not stated"


def counted(suite: Suite, unit: str, batches: Sequence[Batch]) -> list[ConditionCount]:
    """Counts by value of every condition that the recordings or the register know, in order of first appearance."""
    if unit == "run":
        return []
    total: dict[str, dict[str, Ints]] = {}
    for batch in batches:
        if not len(batch.outcome):
            continue
        view = batch.trials.view
        for name in register.conditions(view, suite):
            values, codes = _coded(view, suite, unit, name)
            found = np.bincount(codes[batch.trials.index] * 3 + batch.outcome, minlength=3 * len(values)).reshape(-1, 3)
            for code in np.flatnonzero(found.any(axis=1)).tolist():
                by = total.setdefault(name, {})
                by[values[code]] = by.get(values[code], np.zeros(3, dtype=np.int64)) + found[code]
    return [
        {
            "condition": name, "value": value, "trials": int(three.sum()),
            "conforming": int(three[0]), "nonconforming": int(three[1]), "not_judged": int(three[2]),
        }
        for name, by in total.items() if set(by) != {NOT_STATED} for value, three in by.items()
    ]  # fmt: skip


def _coded(view: View, suite: Suite, unit: str, name: str) -> tuple[tuple[str, ...], Ints]:
    """Values and codes of the trials' rows: presentations (P,), or sets and items by what their presentations agree in."""
    return view.once(("counted", unit, name), lambda: _codes(view, suite, unit, name))


def _codes(view: View, suite: Suite, unit: str, name: str) -> tuple[tuple[str, ...], Ints]:
    values, codes = register.conditions(view, suite)[name]
    none, many = len(values), len(values) + 1
    codes = np.where(codes < 0, none, codes)
    if unit in ("set", "item"):
        of, count = belongs(view, unit)
        low, high = np.full(count, many), np.full(count, -1)
        np.minimum.at(low, of[of >= 0], codes[of >= 0])
        np.maximum.at(high, of[of >= 0], codes[of >= 0])
        codes = np.where(high < 0, none, np.where(low == high, low, many))
    return (*values, NOT_STATED, SEVERAL), codes
