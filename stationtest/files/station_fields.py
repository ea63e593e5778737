"""What is written in station.yaml: sensors, targets, channels, logic, sets. How recordings are written is in
recording_fields.py.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, PlainSerializer, PlainValidator, WithJsonSchema

from stationtest.files.evidence_fields import EvidenceFields
from stationtest.files.fields import ByKind, Fields, said
from stationtest.files.reaches import PositiveReach, Reach, TravelFields
from stationtest.files.recording_fields import RecordingFields
from stationtest.files.scalars import (
    AnyShare,
    ChannelName,
    DistanceName,
    Duration,
    Edge,
    InputName,
    Length,
    Name,
    Number,
    OneOrMore,
    OneUp,
    OutputName,
    Positive,
    PositiveDuration,
    SensorName,
    Share,
    SignalName,
    Speed,
    TargetName,
    Text,
    Wavelength,
    YesNo,
    wrong,
)
from stationtest.files.suggest import nearest
from stationtest.model.station import LANGUAGE

BANDS = {"linear RGB": ("red", "green", "blue"), "XYZ": ("X", "Y", "Z"), "CIELAB": ("L", "a", "b")}
READS = (*BANDS, "bands")
Three = Annotated[list[Number], Field(min_length=3, max_length=3)]
Matrix = Annotated[list[list[Number]], Field(min_length=3, max_length=3)]
Observer = Literal["2 deg", "10 deg"]


def _language(value: object) -> str:
    if value != str(LANGUAGE):
        raise wrong("this version of stationtest does not read that language of files", value, str(LANGUAGE))
    return str(value)


def _reads(value: object) -> str:
    if not isinstance(value, str) or value not in READS:
        near = nearest(value, READS) if isinstance(value, str) else None
        raise wrong("what the sensor reads is not known" + (f"; did you mean {near}?" if near else ""), value, ", ".join(READS))
    return str(value)


Language = Annotated[str, PlainValidator(_language), PlainSerializer(str), WithJsonSchema({"enum": [LANGUAGE, str(LANGUAGE)]})]
Reads = Annotated[str, PlainValidator(_reads), WithJsonSchema({"enum": list(READS)})]


Columns = Annotated[
    dict[Name, Text],
    Field(json_schema_extra={"properties": {band: {"type": "string"} for bands in BANDS.values() for band in bands}}),
]
Counts = Annotated[Any, ByKind(items=list[Number], mapping=dict[Name, Number])]


class SpectralFields(Fields):
    """What the bands see, in the order of the columns: centre wavelengths, or responses under the sensor's own light."""

    centres: list[Wavelength] | None = Field(default=None, min_length=3)
    responses: Text | None = None
    light: Text | None = None
    alike_over: Wavelength | None = None


class LevelFields(Fields):
    """Between which levels the sensor is at its best."""

    at_least: Share | None = None
    at_most: AnyShare | None = None


class WhenDarkFields(Fields):
    """What the sensor does with a reading that is too dark."""

    below: Share
    channels: Literal["off", "compare", "hold"]


class SensorFields(Fields):
    """A point colour sensor, and how colours are made of its counts."""

    serial: Text | None = None
    reads: Reads
    columns: Columns
    full_scale: Positive | None = None
    clips_at: Positive | None = None
    dark: Counts | None = None
    white: Counts | None = None
    to_xyz: Matrix | None = None
    bands: SpectralFields | None = None
    illuminant: Text | None = None
    observer: Observer | None = None
    white_point: Three | None = None
    level: LevelFields | None = None
    when_dark: WhenDarkFields | None = None
    decides_every: PositiveDuration | None = None
    spot: Length | None = None
    edge: Duration | None = None


class ColourFields(Fields):
    """A colour as numbers: exactly one of Lab, XYZ and shares. Lab and XYZ say under which illuminant and observer."""

    Lab: Three | None = None
    XYZ: Three | None = None
    shares: Annotated[list[Number], Field(min_length=3)] | None = None
    illuminant: Text | None = None
    observer: Observer | None = None


class TargetFields(Fields):
    """What is put before the sensor."""

    title: Text | None = None
    colour: ColourFields | None = None
    background: YesNo = said("no")


class ReferenceFields(Fields):
    """A reference that is not simply a target's name: learned from a recording or at an edge, or a colour of its own."""

    learned: Text | None = None
    learned_at: Edge | None = None
    target: TargetName | None = None
    targets: list[TargetName] | None = Field(default=None, min_length=1)
    samples: OneUp | None = None
    meanwhile: Literal["hold", "off"] | None = None
    before: Reference | None = None
    colour: ColourFields | None = None


Reference = Annotated[Any, ByKind(text=TargetName, mapping=ReferenceFields)]
ReferenceFields.model_rebuild()


class SwitchingFields(Fields):
    """The distances at which a channel switches on and off, where the sensor states both."""

    on_at: Positive
    off_at: Positive


class ChannelFields(Fields):
    """A comparison with one or several references, its tolerance, timers and one switching output."""

    sensor: SensorName | None = None
    reference: Reference | None = None
    references: list[Reference] | None = Field(default=None, min_length=1)
    for_: OneOrMore[TargetName] | None = None
    distance: DistanceName
    tolerance: Positive | None = None
    switching: SwitchingFields | None = None
    hysteresis: AnyShare = said("0 %")
    switches: Literal["on match", "off match"] = said("on match")
    on_delay: Duration = said("0 ms")
    off_delay: Duration = said("0 ms")
    pulse: PositiveDuration | None = None
    read_as: Literal["level", "edge"] = said("level")
    held_for: Literal["item"] | None = None
    over: PositiveReach | None = None
    until: Edge | None = None
    enabled_while: InputName | None = None


class GroupFields(Fields):
    """Channels of one sensor, of which only the nearest to its reference matches."""

    channels: list[ChannelName] = Field(min_length=2)
    choose: Literal["nearest"]
    lead: AnyShare = said("0 %")


class AtLeastFields(Fields):
    """At least so many of these are on."""

    n: OneUp
    of: list[LogicPart] = Field(min_length=1)


class LogicFields(Fields):
    """Exactly one of these."""

    any_of: list[LogicPart] | None = Field(default=None, min_length=1)
    all_of: list[LogicPart] | None = Field(default=None, min_length=1)
    none_of: list[LogicPart] | None = Field(default=None, min_length=1)
    at_least: AtLeastFields | None = None


LogicPart = Annotated[Any, ByKind(text=SignalName, mapping=LogicFields)]


class OutputFields(LogicFields):
    """A digital signal out of the station's logic: exactly one of any_of, all_of, none_of, at_least, with latches and timers."""

    held_until: Edge | None = None
    held_from: Edge | None = None
    held_while: InputName | None = None
    decided_at: Edge | None = None
    acts_after: Reach | None = None
    enabled_while: InputName | None = None
    on_delay: Reach = said("0 ms")
    off_delay: Reach = said("0 ms")
    pulse: PositiveReach | None = None
    delays_in: Literal["sensor", "controller"] | None = None
    good: Literal["on", "off"] | None = None


AtLeastFields.model_rebuild()
LogicFields.model_rebuild()
OutputFields.model_rebuild()


class SetFields(Fields):
    """Presentations that belong together: how many of each target, and between which edges."""

    members: dict[TargetName, OneUp] = Field(min_length=1)
    from_: Edge | None = None
    to: Edge | None = None
    output: OutputName | None = None
    extras: Literal["allowed"] | None = None


class ItemFields(Fields):
    """One thing that is presented at several sensors, and what of it belongs together."""

    at: list[SensorName] = Field(min_length=2)
    matching: list[Annotated[list[TargetName], Field(min_length=2)]] = Field(default_factory=list)


class ScanFields(Fields):
    """How the controller sees outputs."""

    worst: Duration = said("0 ms")
    input_filter: Duration = said("0 ms")


class SettingKeyFields(Fields):
    """Under which key a device keeps a setting, in which unit its numbers are, and its words for ours."""

    key: Text
    in_: Text | None = None
    words: dict[Text, Text] = Field(default_factory=dict)
    decimal: Literal["point", "comma"] = said("point")


class EventFields(Fields):
    """A kind of event. With `until` it lasts until the next event of that kind."""

    until: Name | None = None


class StationFields(Fields):
    """station.yaml: what is accepted."""

    language: Language = said("1")
    station: Name
    title: Text | None = None
    drawing: Text | None = None
    scan: ScanFields = Field(default_factory=ScanFields)
    between: TargetName | None = None
    belt_speed: Speed | None = None
    sensors: dict[Name, SensorFields] = Field(default_factory=dict)
    targets: Annotated[Any, ByKind(mapping=dict[Name, TargetFields], items=list[Name])] = Field(default_factory=dict)
    channels: dict[Name, ChannelFields] = Field(default_factory=dict)
    inputs: list[Name] = Field(default_factory=list)
    outputs: dict[Name, OutputFields] = Field(default_factory=dict)
    sets: dict[Name, SetFields] = Field(default_factory=dict)
    groups: dict[Name, GroupFields] = Field(default_factory=dict)
    items: dict[Name, ItemFields] = Field(default_factory=dict)
    conditions: dict[Name, list[Text]] = Field(default_factory=dict)
    recordings: dict[Text, RecordingFields] = Field(default_factory=dict)
    evidence: dict[Name, EvidenceFields] = Field(default_factory=dict)
    events: Annotated[Any, ByKind(mapping=dict[Name, EventFields], items=list[Name])] = Field(default_factory=dict)
    requirements: Text | None = None
    specimens: Text | None = None
    settings_keys: dict[Text, Annotated[Any, ByKind(text=Text, mapping=SettingKeyFields)]] = Field(default_factory=dict)
    required_in_run: list[Text] = Field(default_factory=list)
    travel: TravelFields | None = None


RESERVED_KEYS = ("products", "revalidation", "capture", "tags")
MAPPED = ("sensors", "targets", "channels", "groups", "items", "outputs", "sets", "conditions", "recordings")
