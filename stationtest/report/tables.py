"""A small table of texts: what stands behind a figure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Table:
    """`rows` hold texts, as many as `head`; the first cell of each row is its heading. `note` says what was left out, or ''."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


LONGEST = 40
"""Rows shown behind a figure; the observations file has all."""


def cut(caption: str, head: tuple[str, ...], rows: Sequence[tuple[str, ...]], note: str = "", most: int = LONGEST) -> Table:
    """A table of at most `most` rows that says how many there are."""
    if len(rows) > most:
        rest = f"The first {most} of {len(rows)} rows; the observations file beside the record has all."
        return Table(caption, head, tuple(rows[:most]), f"{note} {rest}".strip())
    return Table(caption, head, tuple(rows), note)
