"""A signal that is on or off, as a log writes it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Digital:
    """A digital column of a recording: which column, which bit of a packed integer, inverted or not. `equals`: on where the
    column holds this number, of those `among` which it may hold (logs only)."""

    name: str
    column: str
    bit: int | None = None
    inverted: bool = False
    equals: int | None = None
    among: tuple[int, ...] = ()
