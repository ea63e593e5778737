"""Kinds of items: one thing that is presented at several sensors."""

from __future__ import annotations

from dataclasses import dataclass

from stationtest.place import NOWHERE, Place


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemKind:
    """`at` are the sensors at which its parts are presented, once each. `matching` lists the targets that belong together,
    parallel to `at`; empty: the same target at every place."""

    name: str
    at: tuple[str, ...]
    matching: tuple[tuple[str, ...], ...] = ()
    place: Place = NOWHERE

    def matches(self, targets: tuple[str, ...]) -> bool:
        """Whether these targets, parallel to `at`, belong together."""
        return targets in self.matching if self.matching else len(set(targets)) == 1
