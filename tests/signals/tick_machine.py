"""A second opinion: signals as plain lists of on/off at each tick, blocks as small state machines that step tick by tick.

Written from the timing diagrams and bodies of IEC 61131-3 and shares no code with the package. A tick stands for 1 ns.
"""

from __future__ import annotations

from itertools import product


def runs(bits, first=0):
    """The stretches of ticks that are on, as [start, end) pairs."""
    found = []
    for tick, bit in enumerate(bits, first):
        if bit and found and found[-1][1] == tick:
            found[-1][1] = tick + 1
        elif bit:
            found.append([tick, tick + 1])
    return found


def bits(pairs, ticks):
    return [any(start <= tick < end for start, end in pairs) for tick in ticks]


def ton(inputs, pt):
    out, elapsed = [], 0
    for now in inputs:
        out.append(now and elapsed >= pt)
        elapsed = elapsed + 1 if now else 0
    return out


def tof(inputs, pt):
    out, left = [], 0
    for now in inputs:
        if now:
            left = pt
            out.append(True)
        else:
            out.append(left > 0)
            left = max(left - 1, 0)
    return out


def tp(inputs, pt):
    out, left, memory = [], 0, False
    for now in inputs:
        if now and not memory and left == 0:
            left = pt
        memory = now
        out.append(left > 0)
        left = max(left - 1, 0)
    return out


def r_trig(inputs, memory=True):
    """True where the input rises. `memory` True: an input that is on at the first tick has had no edge."""
    out = []
    for now in inputs:
        out.append(now and not memory)
        memory = now
    return out


def rs(sets, resets, q=False):
    """Q1 := NOT R1 AND (S OR Q1), with R1 a level."""
    out = []
    for s, r in zip(sets, resets, strict=True):
        q = (not r) and (s or q)
        out.append(q)
    return out


def cleared_latch(sets, clears, q=False):
    """A latch that an edge clears for an instant, before it is set: reset first, then set by the level."""
    out = []
    for s, clear in zip(sets, clears, strict=True):
        if clear:
            q = False
        q = q or s
        out.append(q)
    return out


def decision(logic, at, value=False):
    """Holds what the logic was at the tick before each decision."""
    out, memory = [], False
    for now, decide in zip(logic, at, strict=True):
        if decide:
            value = memory
        memory = now
        out.append(value)
    return out


def decision_pulse(logic, at, pt, delay=0):
    triggers, memory = [], False
    for now, decide in zip(logic, at, strict=True):
        triggers.append(decide and memory)
        memory = now
    triggers = ([False] * delay + triggers)[: len(triggers)]
    out, left = [], 0
    for trigger in triggers:
        if trigger and left == 0:
            left = pt
        out.append(left > 0)
        left = max(left - 1, 0)
    return out


def count_rises(samples, memory=False):
    """CTU without a preset: rising edges of what is sampled."""
    return sum(r_trig(samples, memory))


def resolutions(perhaps):
    """Every plain signal that a list of True, False and None (perhaps) can turn out to be."""
    open_ticks = [tick for tick, value in enumerate(perhaps) if value is None]
    for choice in product((False, True), repeat=len(open_ticks)):
        resolved = list(perhaps)
        for tick, value in zip(open_ticks, choice, strict=True):
            resolved[tick] = value
        yield resolved


def bounds(outcomes):
    """(on in all, on in some) at each tick."""
    columns = list(zip(*outcomes, strict=True))
    return [all(column) for column in columns], [any(column) for column in columns]
