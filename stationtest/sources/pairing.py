"""Which edges of two logs are of one event: all that fit, and the unit of time with which they do where that was a guess."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from stationtest.sources import syncing
from stationtest.sources.common_edges import rises
from stationtest.sources.looking import Ints, Looked, TimeColumn
from stationtest.sources.syncing import Sync
from stationtest.sources.times import UNIT_NS

FITS = "with which the edges fit; a guess"


@dataclass(frozen=True, slots=True)
class Pair:
    """Edges of `mine` in the one log and of `theirs` in the other, and how its clock then lies to that of the one."""

    mine: str
    theirs: str
    sync: Sync


def pairs(found: Looked, path: Path, other: Looked, beside: Path) -> list[Pair]:
    """All that fit, the best first. Where the unit of the other's times was a guess, they are in that of the best from then on.

    Raises `ReadingsError` where a file is further on not as its beginning is.
    """
    mine, theirs = rises(found, path), rises(other, beside)
    if found.time is None or other.time is None:
        return []
    by_unit = {
        unit: _fitting(mine, {name: _scaled(edges, other.time.unit, unit) for name, edges in theirs.items()}, found, other)
        for unit in (other.time.possible if other.time.guessed else (other.time.unit,))
    }
    best = min((unit for unit in by_unit if by_unit[unit]), key=lambda unit: by_unit[unit][0].sync.doubt, default=None)
    if best is None:
        return []
    if best != other.time.unit:
        old, unit = other.time, other.time.unit
        other.time = TimeColumn(
            old.column,
            best,
            FITS,
            _scaled(old.t_ns, unit, best),
            *(_scaled(np.array([old.every_ns, old.gap_ns]), unit, best).tolist()),
        )
    return by_unit[best]


def _fitting(mine: dict[str, Ints], theirs: dict[str, Ints], found: Looked, other: Looked) -> list[Pair]:
    """The pairs that fit, the best first. No edge is known better than to a step of samples; a change is logged when it comes."""
    assert found.time is not None
    steps = [log.time.every_ns for log in (found, other) if log.time is not None and log.sampled]
    fit = []
    for name, a in mine.items():
        for their, b in theirs.items():
            sync = syncing.common(a, b, int(found.time.t_ns[0]))
            if sync is not None:
                fit.append(Pair(name, their, replace(sync, within_ns=max(sync.within_ns, *steps) if steps else sync.within_ns)))
    return sorted(fit, key=lambda pair: (pair.sync.doubt, pair.mine, pair.theirs))


def _scaled(t_ns: Ints, read_in: str, unit: str) -> Ints:
    """Times that were read in one unit, in another."""
    if unit == read_in:
        return t_ns
    size, old = UNIT_NS[unit], UNIT_NS[read_in]
    return t_ns * (size // old) if size >= old else t_ns // (old // size)
