"""Words that figures share: of which recordings a pooled figure is."""

from __future__ import annotations

from collections.abc import Iterable

from stationtest.files.words import listed

MOST_NAMED = 4
"""Recordings that a figure names; of more it says how many there are."""


def of_recordings(keys: Iterable[str]) -> str:
    """`Of recordings/a.parquet and recordings/b.csv.`; each once, in the order given."""
    names = list(dict.fromkeys(keys))
    rest = len(names) - MOST_NAMED
    if rest > 1:
        return f"Of {', '.join(names[:MOST_NAMED])} and {rest} more recordings."
    return f"Of {listed(names)}."
