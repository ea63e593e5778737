"""`on: all sensors`: 'and no other' speaks of the channels of every sensor, not only of those of the presentation's own."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from stationtest.files.fields import ByKind, Fields
from stationtest.files.scalars import ChannelName, OneOrMore, Yes


class EverywhereFields(Fields):
    """What is asked of the channels of other sensors too."""

    on: Literal["all sensors"]


class ChannelsEverywhereFields(EverywhereFields):
    """Named channels, and no other of any sensor."""

    channels: OneOrMore[ChannelName]


YesOrEverywhere = Annotated[Any, ByKind(text=Yes, mapping=EverywhereFields)]
ChannelsOrEverywhere = Annotated[
    Any, ByKind(text=OneOrMore[ChannelName], items=OneOrMore[ChannelName], mapping=ChannelsEverywhereFields)
]


def is_everywhere(root: object) -> bool:
    """Whether what is written asks it of all sensors."""
    return isinstance(root, EverywhereFields)


def others_text(root: object) -> str:
    """`every other channel of that sensor`, or `of all sensors`."""
    return f"every other channel of {'all sensors' if is_everywhere(root) else 'that sensor'}"
