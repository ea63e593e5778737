"""The known answers that go into every record come out right, and would not if a timer were wrong."""

from __future__ import annotations

import time

import pytest

from stationtest.signals import ternary, timers, timing_known


def wrong():
    answers = timing_known.known_answers()
    return [name for name, computed, expected, tolerance, _ in answers if not abs(computed - expected) <= tolerance]


def test_every_known_answer_comes_out():
    assert wrong() == []
    assert all(source for *_, source in timing_known.known_answers())


def test_they_cost_nearly_nothing():
    best = min(_seconds() for _ in range(5))
    assert best < 0.02


def _seconds():
    start = time.perf_counter()
    list(timing_known.known_answers())
    return time.perf_counter() - start


@pytest.mark.parametrize("timer", ["on_delay", "off_delay", "pulse"])
def test_a_wrong_timer_is_noticed(monkeypatch, timer):
    right = getattr(timers, timer)
    monkeypatch.setattr(timers, timer, lambda iv, ns: right(iv, ns + 1))
    assert wrong()


def test_a_set_dominant_latch_is_noticed(monkeypatch):
    right = ternary.latch
    monkeypatch.setattr(ternary, "latch", lambda s, r, e: (ternary.any_of(s, right(s, r, e)[0]), None))
    assert wrong()
