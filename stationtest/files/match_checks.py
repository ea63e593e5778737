"""What must hold of numbers that stand for matches: one for each channel, none twice, as many as the lines can carry."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from stationtest.files.recording_model import numbers

Told = tuple[tuple[str, ...], str, str]


def numbered_problems(coded: Any, match: Any, channels: Collection[str], taken: Mapping[str, str]) -> Iterator[Told]:
    """`coded` and `match` are field classes or None; `taken` says where channels are read from already (A18)."""
    read_from = dict(taken)
    for key, given in (("coded", coded), ("match", match)):
        if given is None:
            continue
        stated = numbers(given, channels)
        if not stated:
            yield (
                (key, "channels"),
                "this key is missing; it says which number stands for which channel, such as channels: {mint: 1}",
                "missing-key",
            )
        of: dict[int, str] = {given.none: "`none`"}
        for name, number in stated:
            at = (key, "channels", name) if given.channels else (key,)
            if number in of:
                yield at, f"{number} is the number of {of[number]} already; found it for channel {name}", "contradiction"
            elif key == "coded" and number >= 2 ** len(given.lines):
                most = f"{len(given.lines)} lines carry numbers up to {2 ** len(given.lines) - 1}"
                yield at, f"{most}; found {number} for channel {name}", "wrong-value"
            if name in read_from:
                yield at, f"channel {name} is read from {read_from[name]} already", "contradiction"
            of.setdefault(number, f"channel {name}")
            read_from[name] = f"`{key}`"
