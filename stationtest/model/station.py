"""The station: sensors, targets, channels, inputs, outputs and their logic, and sets.

Durations are integers in nanoseconds, lengths in mm, shares from 0 to 1. Order is kept in tuples, never in mappings.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from stationtest.model.events import EventKind
from stationtest.model.group import Group
from stationtest.model.item import ItemKind
from stationtest.model.recording_form import RecordingForm
from stationtest.model.settings_found import SettingKey
from stationtest.model.spectrum import SpectralBands
from stationtest.model.travel import Reach, Travel
from stationtest.place import NOWHERE, Place

LANGUAGE = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """How the controller sees outputs: worst scan time and input filter."""

    worst_ns: int = 0
    input_filter_ns: int = 0

    @property
    def seen_ns(self) -> int:
        """An output is seen for sure if it lasts this long."""
        return self.worst_ns + self.input_filter_ns


@dataclass(frozen=True, slots=True, kw_only=True)
class Colour:
    """A colour as numbers. `space` is 'Lab' (CIE 1976 L*a*b*), 'XYZ' (Y = 100 for white) or 'shares' (one a band, sum 1)."""

    space: str
    values: tuple[float, ...]
    illuminant: str | None = None
    observer: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What is put before the sensor."""

    name: str
    colour: Colour | None = None
    background: bool = False
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """A reference learned from the plateau of a target in a recording at a sensor: the mean of the dark-corrected readings.

    `at_ns`: learned at an edge instead, from the `samples` readings from that instant on, whatever was before the sensor.
    """

    recording: str
    target: str
    sensor: str = ""
    samples: int | None = None
    at_ns: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedAt:
    """How a reference is learned again and again at an edge of an input, from the first `samples` readings from it on.

    `targets` are what is meant to be taught at the first edge, the second and so on; the last one stays. `meanwhile`: what the
    output does until the readings are in, 'hold' or 'off'. `before`: the reference until the first edge, None for none.
    """

    edge: Edge
    samples: int
    targets: tuple[str, ...]
    meanwhile: str
    before: Reference | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """The colour a channel looks for. `name` is the target it stands for; exactly one of `colour`, `learned` and `learned_at` is
    set. One that is learned at an edge is the only one of its channel."""

    name: str
    colour: Colour | None = None
    learned: Learned | None = None
    learned_at: LearnedAt | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WhenDark:
    """What the sensor does with a reading whose level is below `below`. `channels` is 'off', 'compare' or 'hold'."""

    below: float
    channels: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """A point colour sensor and how to make colours of its counts.

    `bands`, `columns`, `dark` and `white` are parallel: for 'linear RGB' the bands are red, green, blue; for 'XYZ' X, Y, Z; for
    'CIELAB' L, a, b; for 'bands' three or more with names of the user's. Counts become relative readings as
    (count - dark) / (white - dark); `to_xyz` (3 rows, one number a band) acts on those and gives XYZ with Y = 1 for white;
    where `spectral` says what the bands see, it follows from that.
    """

    name: str
    reads: str
    bands: tuple[str, ...]
    columns: tuple[str, ...]
    serial: str | None = None
    full_scale: float | None = None
    clips_at: float | None = None
    dark: tuple[float, ...] = (0.0, 0.0, 0.0)
    white: tuple[float, ...] | None = None
    to_xyz: tuple[tuple[float, ...], ...] | None = None
    spectral: SpectralBands | None = None
    illuminant: str | None = None
    observer: str | None = None
    white_point: tuple[float, float, float] | None = None
    level_at_least: float | None = None
    level_at_most: float | None = None
    when_dark: WhenDark | None = None
    decides_every_ns: int | None = None
    spot_mm: float | None = None
    edge_ns: int | None = None
    place: Place = NOWHERE

    @property
    def counts(self) -> bool:
        """Whether it reads counts of bands, and no colours."""
        return self.reads in ("linear RGB", "bands")

    @property
    def calibrated(self) -> bool:
        """Whether CIE colours can be made of its readings."""
        return not self.counts or self.to_xyz is not None or self.spectral is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldForItem:
    """How long the logic holds what was seen of an item: `over` a time or length after the channel fell, or until an edge. The
    next item ends it too: another channel of that sensor that is held for items and comes on."""

    over: Reach | None = None
    until: Edge | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """References with a comparison, tolerance, hysteresis, timers and one switching output.

    On where distance <= tolerance, off where distance > tolerance * (1 + hysteresis), between them as before.
    `for_targets` are the targets it stands for (the names of its references unless stated). `read_as` says how the controller
    reads its output: by its 'level', or by its rising 'edge'. With `held` it is held for an item, so that the logic still
    has it when the item has come to another place.
    """

    name: str
    sensor: str
    references: tuple[Reference, ...]
    for_targets: tuple[str, ...]
    distance: str
    tolerance: float
    hysteresis: float = 0.0
    switches: str = "on match"
    on_delay_ns: int = 0
    off_delay_ns: int = 0
    pulse_ns: int | None = None
    enabled_while: str | None = None  # an input; while it is off, what the channel reads switches nothing
    read_as: str = "level"
    held: HeldForItem | None = None
    place: Place = NOWHERE

    @property
    def learned(self) -> tuple[Learned, ...]:
        """Every reference of it that is learned from a stretch."""
        given = [reference.learned_at.before if reference.learned_at else reference for reference in self.references]
        return tuple(reference.learned for reference in given if reference is not None and reference.learned is not None)

    @property
    def learned_at(self) -> LearnedAt | None:
        """How its reference is learned at an edge; None where it is not."""
        return self.references[0].learned_at if self.references else None

    @property
    def by_edge(self) -> bool:
        return self.read_as == "edge"

    @property
    def on_match(self) -> bool:
        return self.switches == "on match"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """The channels as they are set from an instant on (`from_ns` None: from the start). The station has one; in a recording in
    which references are learned at edges there are later ones, and a channel that knows no reference yet has none."""

    from_ns: int | None = None
    channels: tuple[Channel, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """An instant at which an input rises, or falls."""

    input: str
    falls: bool = False

    def __str__(self) -> str:
        return f"{self.input} falls" if self.falls else self.input


@dataclass(frozen=True, slots=True, kw_only=True)
class Logic:
    """`op` is any_of, all_of, none_of or at_least (then `n`); `of` holds names of signals or further logic."""

    op: str
    of: tuple[str | Logic, ...]
    n: int | None = None

    def names(self) -> Iterator[str]:
        for part in self.of:
            if isinstance(part, str):
                yield part
            else:
                yield from part.names()


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """A digital signal out of the station's logic.

    `held_until`, `held_from` (edges) and `held_while` (an input) make a latch of each member of the logic (RS, reset dominant);
    with `decided_at` the logic is read just before that edge and holds until the next decision, or gives a pulse (TP). Each
    decision acts `acts_after` the edge, however many are under way: a shift register. While `enabled_while` (an input) is off,
    what the logic reads is ignored. `good` is the state that says that all is well, None if it is not stated.
    """

    name: str
    logic: Logic
    held_until: Edge | None = None
    held_from: Edge | None = None
    held_while: str | None = None
    decided_at: Edge | None = None
    acts_after: Reach = 0
    enabled_while: str | None = None
    on_delay: Reach = 0
    off_delay: Reach = 0
    pulse: Reach | None = None
    good: bool | None = None
    delays_in: str = "sensor"  # or "controller": its delays and pulses then step with the scan
    place: Place = NOWHERE

    @property
    def latched(self) -> bool:
        return self.held_until is not None or self.held_while is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class SetKind:
    """Presentations that belong together: how many of each target, and between which edges."""

    name: str
    members: tuple[tuple[str, int], ...]
    from_edge: Edge | None = None
    to_edge: Edge | None = None
    output: str | None = None
    extras_allowed: bool = False
    place: Place = NOWHERE


GRADES = ("normal", "light limit", "dark limit", "reject")
"""The grades of a specimen, unless the station declares others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Specimen:
    """One physical part of the register (specimens.csv)."""

    id: str
    target: str
    grade: str | None = None
    lot: str | None = None
    made_by: str | None = None
    confirmed_by: str | None = None
    valid_from: str | None = None  # dates, both included
    valid_until: str | None = None
    conditions: tuple[tuple[str, str], ...] = ()  # further columns that the station declares under `conditions:`
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """One line of requirements.csv. `verified_by` names another way than a case (inspection, document), or is None."""

    id: str
    text: str
    verified_by: str | None = None
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """What is accepted, as declared in station.yaml."""

    name: str
    title: str | None = None
    drawing: str | None = None
    scan: Scan = field(default_factory=Scan)
    between: str | None = None
    belt_speed_mm_s: float | None = None
    travel: Travel | None = None
    sensors: tuple[Sensor, ...] = ()
    targets: tuple[Target, ...] = ()
    settings: tuple[Settings, ...] = ()
    groups: tuple[Group, ...] = ()
    inputs: tuple[str, ...] = ()
    outputs: tuple[Output, ...] = ()
    sets: tuple[SetKind, ...] = ()
    items: tuple[ItemKind, ...] = ()
    conditions: tuple[tuple[str, tuple[str, ...]], ...] = ()
    recordings: tuple[RecordingForm, ...] = ()
    events: tuple[EventKind, ...] = ()
    settings_keys: tuple[SettingKey, ...] = ()
    required_in_run: tuple[str, ...] = ()  # facts of run.yaml that this station wants recorded
    language: int = LANGUAGE
    place: Place = NOWHERE

    @property
    def channels(self) -> tuple[Channel, ...]:
        """The channels as first set."""
        return self.settings[0].channels if self.settings else ()

    def sensor(self, name: str) -> Sensor:
        return _named(self.sensors, name)

    def sensor_number(self, name: str) -> int:
        """Which of the sensors, in the order of the file."""
        return [sensor.name for sensor in self.sensors].index(name)

    def channels_of(self, sensor: str) -> tuple[Channel, ...]:
        """The channels of one sensor."""
        return tuple(channel for channel in self.channels if channel.sensor == sensor)

    def groups_of(self, sensor: str) -> tuple[Group, ...]:
        """The groups of one sensor's channels."""
        return tuple(group for group in self.groups if self.channel(group.channels[0]).sensor == sensor)

    @property
    def most_bands(self) -> int:
        """How many bands the sensor with most of them has."""
        return max((len(sensor.bands) for sensor in self.sensors), default=3)

    def fill_ns(self, sensor: Sensor) -> int | None:
        """How long a target takes to fill a sensor's spot: its `edge`, or spot length / belt speed; None where neither is
        stated."""
        if sensor.edge_ns is not None:
            return sensor.edge_ns
        if sensor.spot_mm is None or not self.belt_speed_mm_s:
            return None
        return round(sensor.spot_mm / self.belt_speed_mm_s * 1e9)

    def channel(self, name: str) -> Channel:
        return _named(self.channels, name)

    def output(self, name: str) -> Output:
        return _named(self.outputs, name)

    def set_kind(self, name: str) -> SetKind:
        return _named(self.sets, name)

    def should_be_on(self, target: str, sensor: str, settings: Settings | None = None) -> tuple[str, ...]:
        """Channels of a sensor that a target should switch on, by reference and polarity (A22: `off match` turns it round).

        `settings` are those of the time, where they are not those of the start.
        """
        return tuple(
            channel.name
            for channel in (self.channels if settings is None else settings.channels)
            if channel.sensor == sensor and (target in channel.for_targets) == channel.on_match
        )


def _named(things, name):  # type: ignore[no-untyped-def]
    for thing in things:
        if thing.name == name:
            return thing
    raise KeyError(name)
