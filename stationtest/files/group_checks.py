"""What must hold of a group of channels (one sensor, one group for each, a nearest that can be told), and of a kind of items."""

from __future__ import annotations

from collections.abc import Iterator

from stationtest.files.station_fields import ChannelFields, ItemFields, ReferenceFields, StationFields

Told = tuple[tuple[str | int, ...], str, str]


def group_problems(name: str, fields: StationFields) -> Iterator[Told]:
    """The path of a key inside the group, what is wrong, the code."""
    members = fields.groups[name].channels
    before = {channel: other for other in _before(name, fields) for channel in fields.groups[other].channels}
    sensors: dict[str | None, str] = {}
    stands_for: dict[str, str] = {}
    for number, member in enumerate(members):
        at = ("channels", number)
        if member in members[:number]:
            yield at, f"channel {member} stands twice in this group", "duplicate-name"
            continue
        if member in before:
            yield at, f"channel {member} is in the group `{before[member]}` already; a channel has at most one", "contradiction"
        channel = fields.channels.get(member)
        if channel is None:
            continue  # it has problems of its own
        sensors.setdefault(channel.sensor, member)
        if len(sensors) > 1:
            first, other = list(sensors.values())[:2]
            yield at, f"channels {first} and {other} are of two sensors; a group compares readings of one", "contradiction"
            return
        if channel.switches == "off match":
            yield at, f"channel {member} switches off match; the channels of a group switch on match", "contradiction"
        for target in _targets(channel):
            first = stands_for.setdefault(target, member)
            if first != member:
                yield (
                    at,
                    f"channels {first} and {member} both stand for {target}, and only one of a group can match it; give one "
                    "channel both `references:`, or say with `for:` what each stands for",
                    "contradiction",
                )


def item_problems(fields: ItemFields) -> Iterator[Told]:
    """The path of a key inside the kind of items, what is wrong, the code."""
    for number, sensor in enumerate(fields.at):
        if sensor in fields.at[:number]:
            yield ("at", number), f"sensor {sensor} stands twice; an item is presented once at each place", "duplicate-name"
    for number, targets in enumerate(fields.matching):
        if len(targets) != len(fields.at):
            yield (
                ("matching", number),
                f"each of these lists names one target for each place; found {len(targets)} for {', '.join(fields.at)}",
                "contradiction",
            )
        elif targets in fields.matching[:number]:
            yield ("matching", number), "these targets stand here already", "duplicate-name"


def _before(name: str, fields: StationFields) -> list[str]:
    names = list(fields.groups)
    return names[: names.index(name)]


def _targets(channel: ChannelFields) -> tuple[str, ...]:
    """What a channel stands for, each once, as far as its entry says."""
    if channel.for_:
        return tuple(dict.fromkeys(channel.for_))
    given = channel.references if channel.references is not None else [channel.reference]
    named = (reference.target if isinstance(reference, ReferenceFields) else reference for reference in given)
    return tuple(dict.fromkeys(str(target) for target in named if target is not None))
