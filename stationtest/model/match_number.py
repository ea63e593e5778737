"""Matches that a station gives as a number: on several lines in a code, or in one column of its log."""

from __future__ import annotations

from dataclasses import dataclass

from stationtest.model.digital import Digital

Numbers = tuple[tuple[str, int], ...]
"""The channels that the numbers stand for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Coded:
    """Lines that carry the number of the match, the lowest bit first, in `code` ('binary' or 'gray'); `none` says that nothing
    matches. While `strobe` is on they are valid; without one they always are, and a number that changes soon is a perhaps."""

    lines: tuple[Digital, ...]
    channels: Numbers
    code: str = "binary"
    none: int = 0
    strobe: Digital | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """A column that holds the number of the match; `none` says that nothing matches."""

    column: str
    channels: Numbers
    none: int = 0
