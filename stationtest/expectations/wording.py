"""Words that the expectations share, and the one type of field that only they have. Loads no numpy: `check` reads this."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated

from pydantic import BeforeValidator, WithJsonSchema

from stationtest.files.fields import by_kind
from stationtest.files.scalars import ChannelName
from stationtest.files.words import duration_text, listed, number_text, reach_text, share_text
from stationtest.model.station import Edge

OWN = ("own",)
"""Stands for the channels that should be on for the target, by reference and polarity."""


def _own_or_listed(value: object) -> object:
    return [value] if isinstance(value, str) and value != "own" else value


def _own(value: object) -> tuple[str, ...]:
    return OWN


if TYPE_CHECKING:
    ChannelsOrOwn = tuple[str, ...]
else:
    # an editor's view of the word: `own`, or the name of one channel
    _OwnOrOne = Annotated[tuple[str, ...], BeforeValidator(_own), WithJsonSchema({"type": ["string", "integer"]})]
    ChannelsOrOwn = Annotated[
        by_kind(text=_OwnOrOne, items=tuple[ChannelName, ...]),
        BeforeValidator(_own_or_listed),
    ]
    """`own`, a channel, or a list of channels; `OWN` or a tuple of names."""

__all__ = [
    "OWN", "ChannelsOrOwn", "channels_text", "duration_text", "instant_text", "listed", "milliseconds", "number_text",
    "reach_text", "seconds", "share_text",
]  # fmt: skip


def channels_text(names: Iterable[str]) -> str:
    """`channel 1`, `channels 1 and 2`, `its own channels`."""
    names = tuple(names)
    if names == OWN:
        return "its own channels"
    return f"{'channel' if len(names) == 1 else 'channels'} {listed(names)}"


def instant_text(instant: str | Edge) -> str:
    """`its start`, `its end`, `the instant at which it covers the spot`, `the edge box out`."""
    known = {"start": "its start", "end": "its end", "covered": "the instant at which it covers the spot", "event": "the event"}
    return known[instant] if isinstance(instant, str) else f"the edge {instant}"


def seconds(ns: int) -> str:
    """An instant on the recording's clock, to the millisecond, finer where the instant is: `83.412 s`."""
    whole, rest = divmod(int(ns), 1_000_000_000)
    digits = f"{rest:09d}"
    return f"{whole}.{digits[:3]}{digits[3:].rstrip('0')} s"


def milliseconds(ns: int) -> str:
    """A measured time in ms: `22 ms`, `3.2 ms`."""
    return f"{float(f'{ns / 1e6:.6g}'):.12g} ms"
