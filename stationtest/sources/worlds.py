"""Doubt of time: the ways in which the instants of a recording may lie otherwise than they are logged.

Every instant of a log may be earlier or later by the log's `resolution`, every start and end in a table of truth by its `within`,
each by itself; all instants of a clock together by the doubt of its relation to the recording's own clock. A world is one such
way. The worlds of a recording are those in which instants lie as far apart, and as near together, as they can: for every two of
them (the readings, the truth, a rise and a fall of every signal, and those of the on-times beside it) there is a world in which
the first is as early and the second as late as they may be, and one the other way round.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

MODES = ((-1, -1), (1, 1), (-1, 1), (1, -1))  # starts and ends early, late, farther apart, nearer together


@dataclass(frozen=True, slots=True)
class World:
    """Shifts in ns: of all instants of each clock, and on top of that of the starts and ends of presentations, and of the rises
    and falls of each signal by kind and name, for its on-times in turn. `apart_ns` is by how much two instants lie farther from
    each other, or nearer, than they are logged; `off_ns` how far one may lie from where it is logged,
    and `late_ns` by how much a signal lies later or earlier against what was presented."""

    clocks: Mapping[str, int]
    truth: tuple[int, int]
    signals: Mapping[tuple[str, str], tuple[tuple[int, int], ...]]
    apart_ns: int
    off_ns: int
    late_ns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubts:
    """What is in doubt: the clock and own doubt of the truth (None if it stands in the readings' own rows), the clock and own
    doubt of each signal, and the doubt of each clock."""

    truth: tuple[str, int] | None
    signals: Mapping[tuple[str, str], tuple[str, int]]
    clocks: Mapping[str, int]

    def worlds(self) -> tuple[World, ...]:
        """All of them, each once, without the one as logged; none where nothing is in doubt."""
        found: dict[object, World] = {}
        for world in self._all():
            key = (tuple(world.clocks.values()), world.truth, tuple(world.signals.values()))
            found.setdefault(key, world)
        return tuple(world for world in found.values() if world.apart_ns)

    def _all(self) -> Iterator[World]:
        unsure = [key for key, (_, own_ns) in self.signals.items() if own_ns]
        own = [*([None] if self.truth and self.truth[1] else []), *((key, turn) for key in unsure for turn in (0, 1))]
        moving = [clock for clock, ns in self.clocks.items() if ns]
        for pattern in range(max(_bits(len(own)), _bits(len(moving)))):
            for sign in (-1, 1) if moving else (0,):
                clocks = {clock: _turned(sign, moving, clock, pattern) * ns for clock, ns in self.clocks.items()}
                for mode in MODES if own else ((0, 0),):
                    yield self._world(clocks, own, mode, pattern)

    def _world(self, clocks: Mapping[str, int], own: Sequence[object], mode: tuple[int, int], pattern: int) -> World:
        def shifts(unit: object, own_ns: int) -> tuple[int, int]:
            turned = _turned(1, own, unit, pattern) * own_ns
            return turned * mode[0], turned * mode[1]

        truth = shifts(None, self.truth[1]) if self.truth else (0, 0)
        signals = {key: tuple(shifts((key, turn), own_ns) for turn in (0, 1)) for key, (_, own_ns) in self.signals.items()}
        borders = [ns + (clocks[self.truth[0]] if self.truth else 0) for ns in truth]
        edges = [clocks[self.signals[key][0]] + ns for key, pairs in signals.items() for pair in pairs for ns in pair]
        total = [0, *borders, *edges]
        late_ns = max((abs(edge - border) for edge in edges for border in borders), default=0)
        return World(clocks, truth, signals, max(total) - min(total), max(map(abs, total)), late_ns)


def _bits(count: int) -> int:
    """So many yes-or-no patterns tell every two of `count` things apart; at least one."""
    return max(1, (count - 1).bit_length())


def _turned(sign: int, things: Sequence[object], thing: object, pattern: int) -> int:
    """The sign of one thing in a pattern: turned round for every other, every other pair, every other four …"""
    return -sign if thing in things and things.index(thing) >> pattern & 1 else sign
