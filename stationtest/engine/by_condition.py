"""Trials and their outcomes counted by condition: at which height, of which lot, on which mark they came (A30)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from stationtest.engine import register
from stationtest.engine.judged_trials import Batch
from stationtest.expectations.items import belongs
from stationtest.expectations.view import View
from stationtest.model.case import Suite
from stationtest.model.record import ConditionCount

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]

SEVERAL, NOT_STATED = "several", "not stated"


def counted(suite: Suite, unit: str, batches: Sequence[Batch]) -> list[ConditionCount]:
    """Counts by value of every condition that the recordings or the register know, in order of first appearance.

    All conditions of a batch are counted in one go: ten thousand cases come here.
    """
    if unit == "run":
        return []
    total: dict[str, dict[str, list[int]]] = {}
    for batch in batches:
        slots, codes = _slots(batch.trials.view, suite, unit)
        if not slots or not len(batch.outcome):
            continue
        found = np.bincount((codes[:, batch.trials.index] * 3 + batch.outcome).ravel(), minlength=3 * len(slots)).tolist()
        for k, (name, value) in enumerate(slots):
            counts = found[3 * k : 3 * k + 3]
            if any(counts):
                by = total.setdefault(name, {})
                by[value] = [a + b for a, b in zip(by[value], counts, strict=True)] if value in by else counts
    return [
        {
            "condition": name, "value": value, "trials": sum(three),
            "conforming": three[0], "nonconforming": three[1], "not_judged": three[2],
        }
        for name, by in total.items() if by.keys() != {NOT_STATED} for value, three in by.items()
    ]  # fmt: skip


def _slots(view: View, suite: Suite, unit: str) -> tuple[list[tuple[str, str]], Ints]:
    """Every condition and value in a row (K), and for each of C conditions the number in that row of each presentation, set or
    item (C, n)."""
    return view.once(("counted", unit), lambda: _made_slots(view, suite, unit))


def _made_slots(view: View, suite: Suite, unit: str) -> tuple[list[tuple[str, str]], Ints]:
    slots: list[tuple[str, str]] = []
    columns = []
    for name in register.conditions(view, suite):
        values, codes = _codes(view, suite, unit, name)
        columns.append(codes + len(slots))
        slots += [(name, value) for value in values]
    return slots, np.array(columns, dtype=np.int64)


def _codes(view: View, suite: Suite, unit: str, name: str) -> tuple[tuple[str, ...], Ints]:
    """Values and codes of presentations (P,), or of sets and items by what their presentations agree in."""
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
