"""What must hold of a channel: its references, and that they can be compared with what its sensor reads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from stationtest.files.paths import Folder, matches
from stationtest.files.scalars import Names
from stationtest.files.station_fields import (
    ChannelFields,
    ColourFields,
    ReferenceFields,
    SensorFields,
    StationFields,
    TargetFields,
)
from stationtest.files.words import listed
from stationtest.model.endings import is_scene

Told = tuple[tuple[str | int, ...], str, str]

SPACES = {"CIE 1976 u'v'": "uv", "sensor chromaticity": "shares"}  # every other distance compares CIELAB


class ChannelChecks:
    """The checks of one station's channels: each yields the path of a key inside its entry, what is wrong, the code."""

    def __init__(self, fields: StationFields, names: Names, folder: Folder) -> None:
        self.fields, self.names, self.folder = fields, names, folder
        self.targets: Mapping[str, TargetFields] = fields.targets if isinstance(fields.targets, dict) else {}

    def channel(self, channel: ChannelFields) -> Iterator[Told]:
        yield from _comparison(channel)
        yield from _held(channel)
        sensors = self.names.sensor
        if channel.sensor is None and len(sensors) != 1:
            yield (
                ("sensor",),
                f"this key is missing; the station has {len(sensors)} sensors; allowed {', '.join(sensors) or 'none'}",
                "missing-key",
            )
            return
        sensor = self.fields.sensors.get(channel.sensor or sensors[0])
        if (channel.reference is None) == (channel.references is None):
            yield (
                ("reference",) if channel.reference is None else ("references",),
                "this key is missing; a channel looks for one colour (`reference:`) or any of several (`references:`)"
                if channel.reference is None
                else "a channel has either one `reference:` or several `references:`",
                "missing-key" if channel.reference is None else "contradiction",
            )
            return
        if channel.reference is not None:
            yield from self._one(channel, channel.reference, sensor, ("reference",))
        for number, reference in enumerate(channel.references or ()):
            yield from self._one(channel, reference, sensor, ("references", number))

    def _one(
        self, channel: ChannelFields, reference: object, sensor: SensorFields | None, key: tuple[str | int, ...]
    ) -> Iterator[Told]:
        """One reference, which stands at `key`."""
        colour: ColourFields | None = None
        at = key
        if isinstance(reference, ReferenceFields):
            for loc, message, code in self._reference(reference, channel):
                yield (*key, *loc), message, code
            colour = reference.colour
            at = (*key, "colour") if colour else at
        elif reference in self.targets:
            colour = self.targets[str(reference)].colour
        if (
            not isinstance(reference, ReferenceFields)
            and colour is None
            and (reference in self.targets or isinstance(self.fields.targets, list))
        ):
            yield (
                at,
                (
                    f"the target `{reference}` has no colour to compare with; give it `colour:`, or write "
                    "reference: {learned: RECORDING, target: NAME}"
                ),
                "colour-mismatch",
            )
        elif sensor is not None:
            yield from _comparable(channel, sensor, colour, at)

    def _reference(self, reference: ReferenceFields, channel: ChannelFields) -> Iterator[Told]:
        ways = [key for key in ("learned", "learned_at", "colour") if getattr(reference, key) is not None]
        if len(ways) != 1:
            yield (
                (),
                "a reference is exactly one of a target's name, `learned:`, `learned_at:` and `colour:`",
                "contradiction" if ways else "missing-key",
            )
            return
        allowed = {"learned": ("target", "samples"), "learned_at": tuple(_OF_LEARNING), "colour": ()}[ways[0]]
        for key, what in _OF_LEARNING.items():
            if key not in allowed and getattr(reference, key) is not None:
                yield (key,), f"this belongs to a {what} reference", "contradiction"
        if reference.colour is not None:
            if channel.for_ is None:
                yield (
                    (),
                    "a reference given as a colour stands for no target by itself; say which with `for: [NAME]` in the channel",
                    "missing-key",
                )
            for loc, message, code in colour_problems(reference.colour):
                yield ("colour", *loc), message, code
        elif reference.learned_at is not None:
            yield from self._learned_at(reference, channel)
        else:
            yield from self._learned(reference)

    def _learned(self, reference: ReferenceFields) -> Iterator[Told]:
        assert reference.learned is not None
        if reference.target is None:
            yield ("target",), "this key is missing; it says which target of the recording is learned", "missing-key"
        recording = self.folder.relative(reference.learned, "")
        problem = self.folder.problem(recording)
        if problem:
            yield ("learned",), *problem
        elif not is_scene(recording) and not any(matches(recording, pattern) for pattern in self.fields.recordings):
            yield ("learned",), f"no entry under `recordings:` says how this file is written; found {recording}", "no-form"

    def _learned_at(self, reference: ReferenceFields, channel: ChannelFields) -> Iterator[Told]:
        if channel.references is not None:
            yield ("learned_at",), "a channel that learns at an edge has one `reference:` and no others", "contradiction"
        if (reference.target is None) == (reference.targets is None):
            said = "what is taught is said by `target`, or by `targets` for one edge after the other"
            yield ("target",), said, "missing-key" if reference.target is None else "contradiction"
        if channel.for_ is not None:
            yield (), "what it stands for changes with what is taught; leave `for:` out of the channel", "contradiction"
        for key, why in (
            ("samples", "it says how many readings are averaged, such as 64"),
            ("meanwhile", "it says what the output does until they are in: hold or off"),
        ):
            if getattr(reference, key) is None:
                yield (key,), f"this key is missing; {why}", "missing-key"
        before = reference.before
        if isinstance(before, ReferenceFields) and (before.learned_at is not None or before.colour is not None):
            said = "before the first edge the reference is a target's name, or learned from a recording"
            yield ("before",), said, "contradiction"
        elif before is not None:
            sensor = self.fields.sensors.get(channel.sensor or self.names.sensor[0])
            yield from self._one(channel, before, sensor, ("before",))


_OF_LEARNING = {
    "target": "learned",
    "samples": "learned",
    "targets": "learned_at",
    "meanwhile": "learned_at",
    "before": "learned_at",
}


def _held(channel: ChannelFields) -> Iterator[Told]:
    """Held for an item: over a time or length, or until an edge (counter-example A27)."""
    given = [key for key in ("over", "until") if getattr(channel, key) is not None]
    if channel.held_for is None:
        for key in given:
            yield (key,), "this belongs to `held_for: item`", "contradiction"
    elif len(given) != 1:
        yield (
            ("held_for",),
            f"a channel is held for an item either `over:` a time or length or `until:` an edge; found {listed(given) or 'none'}",
            "contradiction" if given else "missing-key",
        )


def _comparison(channel: ChannelFields) -> Iterator[Told]:
    """Either a tolerance with its hysteresis, or both switching points as distances (counter-example A32)."""
    switching = channel.switching
    if switching is None:
        if channel.tolerance is None:
            yield ("tolerance",), "this key is missing; it is the largest distance that switches", "missing-key"
        return
    for key in ("tolerance", "hysteresis"):
        if key in channel.model_fields_set:
            yield (
                (key,),
                "the switching points stand under `switching:`; a channel has either those or a tolerance with its hysteresis",
                "contradiction",
            )
    if switching.off_at < switching.on_at:
        yield (
            ("switching", "off_at"),
            f"a channel switches off farther from its reference than on, or as far; found off_at {switching.off_at:g} below "
            f"on_at {switching.on_at:g}",
            "contradiction",
        )


def colour_problems(colour: ColourFields) -> Iterator[Told]:
    """What is wrong with a colour given as numbers."""
    given = [key for key in ("Lab", "XYZ", "shares") if getattr(colour, key) is not None]
    if len(given) != 1:
        yield (
            (),
            f"a colour is exactly one of Lab, XYZ and shares; found {listed(given) or 'none'}",
            "contradiction" if given else "missing-key",
        )
    elif given == ["shares"]:
        assert colour.shares is not None
        if min(colour.shares) < 0 or abs(sum(colour.shares) - 1) > 0.001:
            yield (
                ("shares",),
                f"shares of the bands are 0 or more and add up to 1; found a sum of {sum(colour.shares):g}",
                "wrong-value",
            )
        for key in ("illuminant", "observer"):
            if getattr(colour, key) is not None:
                yield (
                    (key,),
                    "shares of the bands are the sensor's own; they have no illuminant and no observer",
                    "contradiction",
                )
    else:
        for key in ("illuminant", "observer"):
            if getattr(colour, key) is None:
                yield (key,), f"this key is missing; {given[0]} values without {key} are not a colour", "missing-key"


def _comparable(
    channel: ChannelFields, sensor: SensorFields, colour: ColourFields | None, at: tuple[str | int, ...]
) -> Iterator[Told]:
    """Counter-example A17: values of another illuminant or observer are not comparable without spectra."""
    space = SPACES.get(channel.distance, "Lab")
    if space == "shares":
        if sensor.reads == "CIELAB":
            yield ("distance",), "sensor chromaticity needs shares of bands, and this sensor reads CIELAB", "colour-mismatch"
        elif colour is not None and colour.shares is None:
            yield (
                at,
                (
                    "sensor chromaticity compares with shares of this sensor's bands; allowed a learned reference, or "
                    "colour: {shares: [..]}"
                ),
                "colour-mismatch",
            )
        elif colour is not None and colour.shares is not None and len(colour.shares) != len(sensor.columns):
            yield (
                at,
                f"there is a share for each band of the sensor; found {len(colour.shares)}; allowed {len(sensor.columns)}",
                "colour-mismatch",
            )
        return
    if sensor.reads not in ("XYZ", "CIELAB") and sensor.to_xyz is None and sensor.bands is None:
        yield (
            ("distance",),
            (
                f"{channel.distance} needs calibrated readings; give the sensor `to_xyz`, `illuminant` and `observer`, or "
                "use sensor chromaticity"
            ),
            "colour-mismatch",
        )
        return
    if colour is None:
        return
    if colour.shares is not None:
        yield (
            at,
            f"{channel.distance} cannot compare with shares of the bands; allowed Lab or XYZ, or a learned reference",
            "colour-mismatch",
        )
        return
    for key in ("illuminant", "observer"):
        of_colour, of_sensor = getattr(colour, key), getattr(sensor, key)
        if of_colour and of_sensor and of_colour != of_sensor:
            yield (
                at,
                (
                    f"the reference is given for {key} {of_colour}, and the readings for {of_sensor}; without spectra "
                    "they cannot be compared"
                ),
                "colour-mismatch",
            )
