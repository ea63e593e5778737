"""Delays that a controller counts step with its scan (A33): 120 ms is 120 to 131 with a worst scan of 11 ms.

Instants in ms, by addition; TON, TOF and TP as in IEC 61131-3.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from stationtest.model.station import Edge, Logic, Output, Scan, Station
from stationtest.signals import ternary
from stationtest.signals.logic import evaluate

MS = 1_000_000
SPAN = (0, 10_000 * MS)


def ms(pairs: list[tuple[float, float]]) -> np.ndarray:
    return np.array(pairs, dtype=np.int64).reshape(-1, 2) * MS


def outcome(where: str, **keys: Any) -> tuple[list[list[int]], list[list[int]]]:
    """What is on for sure, and perhaps, of an output over a signal that is on from 1000 to 2000 ms."""
    output = Output(name="out", logic=Logic(op="any_of", of=("eye",)), delays_in=where, **keys)
    station = Station(name="s", scan=Scan(worst_ns=11 * MS), inputs=("eye", "gate"), outputs=(output,))
    signals = {"eye": ternary.known(ms([(1000, 2000)])), "gate": ternary.known(ms([(1500, 1510)]))}
    state = evaluate(station, signals, {}, SPAN)["out"].state
    later = state.can[state.can[:, 0] > 0]  # before the first row everything is unknown, which is perhaps (A25)
    return (state.must // MS).tolist(), (later // MS).tolist()


@pytest.mark.parametrize(
    ("keys", "must", "can"),
    [
        ({"on_delay_": 120}, [[1131, 2000]], [[1120, 2000]]),
        ({"off_delay_": 120}, [[1000, 2120]], [[1000, 2131]]),
        ({"pulse_": 120}, [[1000, 1120]], [[1000, 1131]]),
        ({"on_delay_": 120, "off_delay_": 50}, [[1131, 2050]], [[1120, 2061]]),
        ({"decided_at": Edge(input="gate"), "pulse_": 120}, [[1500, 1620]], [[1500, 1631]]),
        ({"decided_at": Edge(input="gate"), "on_delay_": 200, "pulse_": 120}, [[1711, 1820]], [[1700, 1842]]),
        ({}, [[1000, 2000]], [[1000, 2000]]),
    ],
)
def test_a33_a_controllers_delay_is_up_to_one_scan_longer(keys: dict[str, Any], must: list[Any], can: list[Any]) -> None:
    given = {name.removesuffix("_"): value * MS if name.endswith("_") else value for name, value in keys.items()}
    assert outcome("controller", **given) == (must, can)


def test_a_sensors_delay_is_what_it_is() -> None:
    assert outcome("sensor", on_delay=120 * MS) == ([[1120, 2000]], [[1120, 2000]])
    assert outcome("sensor", pulse=120 * MS) == ([[1000, 1120]], [[1000, 1120]])
