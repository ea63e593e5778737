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


def seconds(ns: int, *beside: int) -> str:
    """An instant on the recording's clock, to the millisecond: `83.412 s`. As exact as it is where one of those that stand
    `beside` it in a sentence is another instant and would read the same."""
    text = _exact(_rounded(int(ns), 1_000_000), 1_000_000_000, 3)
    if any(other != ns and _rounded(int(other), 1_000_000) == _rounded(int(ns), 1_000_000) for other in beside):
        text = _exact(int(ns), 1_000_000_000, 3)
    return f"{text} s"


def milliseconds(ns: int, period_ns: int = 0, limit_ns: int = 0) -> str:
    """A measured time in ms: `22 ms`, `3.2 ms`. Readings `period_ns` apart tell no more than a tenth of that, so that no more is
    written, and never less than a microsecond; but finer where it would read as the limit, or lie on its other side."""
    ns = int(ns)
    tenth = 10 ** (len(str(int(period_ns) // 10)) - 1)
    for step in (max(1000, tenth), 1000, 1):
        near = _rounded(ns, step)
        if near == ns or ((near < limit_ns) == (ns < limit_ns) and near not in (limit_ns, 0)):
            break
    return f"{_exact(near, 1_000_000)} ms"


def _rounded(ns: int, step: int) -> int:
    return (ns + step // 2) // step * step


def _exact(ns: int, unit: int, places: int = 0) -> str:
    """ns in a unit (a power of ten), with at least so many decimals and no more than it needs."""
    whole, rest = divmod(abs(ns), unit)
    digits = str(rest).zfill(len(str(unit)) - 1)
    decimals = digits[:places] + digits[places:].rstrip("0")
    return f"{'-' if ns < 0 else ''}{whole}{'.' if decimals else ''}{decimals}"
