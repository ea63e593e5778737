"""What must hold between the entries of a station file: names that clash, logic that loops, colours that cannot be compared."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from typing import Any

from stationtest.errors import Problem
from stationtest.files.form_checks import form_problems
from stationtest.files.paths import Folder, matches
from stationtest.files.scalars import Names
from stationtest.files.station_fields import (
    BANDS,
    ChannelFields,
    ColourFields,
    LogicFields,
    OutputFields,
    ReferenceFields,
    SensorFields,
    SetFields,
    StationFields,
    TargetFields,
)
from stationtest.files.tree import Map, Tree, Word
from stationtest.files.words import listed

Told = tuple[tuple[str, ...], str, str]

ILLUMINANTS = ("A", "B", "C", "D50", "D55", "D60", "D65", "D75", "E", "FL2", "FL7", "FL11")
SPACES = {"CIE 1976 u'v'": "uv", "sensor chromaticity": "shares"}  # every other distance compares CIELAB
LATER = "held_until", "held_from", "held_while"


def near_names(tree: Tree, root: Map) -> Iterator[Problem]:
    """Names that are one, or differ only in leading zeros, case or blanks, within what shares a name space."""
    for sections in (("sensors",), ("targets",), ("channels", "inputs", "outputs"), ("sets",), ("conditions",)):
        seen: dict[str, tuple[str, Word]] = {}
        for section in sections:
            for name in root.get(section, ()) if isinstance(root.get(section), Map | list) else ():
                if not isinstance(name, Word):
                    continue
                form = "".join(unicodedata.normalize("NFKC", name).casefold().split()).lstrip("0") or "0"
                other, first = seen.setdefault(form, (section, name))
                if first is name or (first == name and other == section and section != "inputs"):
                    continue  # a key that stands twice is told by the tree
                where = f"of {other} in line {first.line}"
                message = (
                    f"this name is given already, to one {where}"
                    if first == name
                    else f"this name differs from `{first}` {where} only in leading zeros, case or blanks"
                )
                yield Problem(tree.place(name), f"{section}.{name}", message, "duplicate-name")


class Checks:
    """The second pass over a typed station. `run` yields the path of a key, what is wrong with it, and the code."""

    def __init__(self, fields: StationFields, names: Names, folder: Folder) -> None:
        self.fields = fields
        self.names = names
        self.folder = folder
        self.targets: dict[str, TargetFields] = fields.targets if isinstance(fields.targets, dict) else {}

    def run(self) -> Iterator[Told]:
        for name, sensor in self.fields.sensors.items():
            for loc, message, code in self._sensor(sensor):
                yield ("sensors", name, *loc), message, code
        for name, target in self.targets.items():
            if target.colour:
                for loc, message, code in self._colour(target.colour):
                    yield ("targets", name, "colour", *loc), message, code
        for name, channel in self.fields.channels.items():
            for loc, message, code in self._channel(channel):
                yield ("channels", name, *loc), message, code
        for name, output in self.fields.outputs.items():
            for loc, message, code in self._output(output):
                yield ("outputs", name, *loc), message, code
        yield from self._loops()
        for name, kind in self.fields.sets.items():
            for loc, message, code in self._set(kind):
                yield ("sets", name, *loc), message, code
        for pattern, form in self.fields.recordings.items():
            for loc, message, code in form_problems(form, self.folder):
                yield ("recordings", pattern, *loc), message, code
        for key in ("requirements", "specimens"):
            if path := getattr(self.fields, key):
                problem = self.folder.problem(self.folder.relative(path, ""))
                if problem:
                    yield (key,), *problem

    def _sensor(self, sensor: SensorFields) -> Iterator[Told]:
        bands = BANDS[sensor.reads]
        given = tuple(band for band in type(sensor.columns).model_fields if getattr(sensor.columns, band) is not None)
        if set(given) != set(bands):
            yield (
                ("columns",),
                (
                    f"a sensor that reads {sensor.reads} has one column for each of its bands; found {listed(given) or 'none'}; "
                    f"allowed {listed(bands)}"
                ),
                "wrong-value",
            )
        columns = [getattr(sensor.columns, band) for band in given]
        if len(set(columns)) < len(columns):
            yield ("columns",), "two bands are read from one column; each band has a column of its own", "contradiction"
        if sensor.reads != "linear RGB":
            for key in ("dark", "white", "to_xyz", "full_scale", "clips_at", "level", "when_dark"):
                if getattr(sensor, key) is not None:
                    yield (
                        (key,),
                        f"this belongs to counts, and the sensor reads {sensor.reads}; leave the line out",
                        "contradiction",
                    )
            for key in ("illuminant", "observer"):
                if getattr(sensor, key) is None:
                    yield (
                        (key,),
                        f"this key is missing; {sensor.reads} readings are made under some illuminant and observer",
                        "missing-key",
                    )
        else:
            yield from self._counts(sensor)
        if sensor.illuminant and not sensor.white_point and sensor.illuminant not in ILLUMINANTS:
            yield (
                ("illuminant",),
                (
                    f"this illuminant is not known, so its white point must be stated; found {sensor.illuminant}; "
                    f"allowed {', '.join(ILLUMINANTS)}, or any name with `white_point: [X, Y, Z]`"
                ),
                "wrong-value",
            )
        if sensor.white_point and min(sensor.white_point) <= 0:
            yield ("white_point",), "a white point has three values above 0", "wrong-value"

    def _counts(self, sensor: SensorFields) -> Iterator[Told]:
        dark, white = (list(_values(counts)) if counts is not None else None for counts in (sensor.dark, sensor.white))
        if white and any(light <= black for light, black in zip(white, dark or (0, 0, 0), strict=True)):
            yield ("white",), "white must be above dark in every band", "contradiction"
        if sensor.full_scale is None:
            for key in ("clips_at", "level", "when_dark"):
                if getattr(sensor, key) is not None:
                    yield (key,), "levels are shares of the full scale; `full_scale:` is missing", "missing-key"
        elif sensor.clips_at and sensor.clips_at > sensor.full_scale:
            yield ("clips_at",), f"readings cannot clip above the full scale of {sensor.full_scale:g}", "contradiction"
        elif dark and max(dark) >= sensor.full_scale:
            yield ("dark",), f"dark must be below the full scale of {sensor.full_scale:g}", "contradiction"
        if sensor.to_xyz is not None:
            for key, why in (
                ("white", "`to_xyz` acts on counts relative to the white reference"),
                ("illuminant", "XYZ is made for some illuminant"),
                ("observer", "XYZ is made for some observer"),
            ):
                if getattr(sensor, key) is None:
                    yield (key,), f"this key is missing; {why}", "missing-key"
        level = sensor.level
        if level and level.at_least is not None and level.at_most is not None and level.at_least >= level.at_most:
            yield ("level",), "at_least must be below at_most", "contradiction"

    def _colour(self, colour: ColourFields) -> Iterator[Told]:
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

    def _channel(self, channel: ChannelFields) -> Iterator[Told]:
        sensors = self.names.sensor
        if channel.sensor is None and len(sensors) != 1:
            yield (
                ("sensor",),
                f"this key is missing; the station has {len(sensors)} sensors; allowed {', '.join(sensors) or 'none'}",
                "missing-key",
            )
            return
        sensor = self.fields.sensors.get(channel.sensor or sensors[0])
        reference = channel.reference
        colour: ColourFields | None = None
        at: tuple[str, ...] = ("reference",)
        if isinstance(reference, ReferenceFields):
            for loc, message, code in self._reference(reference, channel):
                yield ("reference", *loc), message, code
            colour = reference.colour
            at = ("reference", "colour") if colour else at
        elif reference in self.targets:
            colour = self.targets[reference].colour
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
            yield from self._comparable(channel, sensor, colour, at)

    def _reference(self, reference: ReferenceFields, channel: ChannelFields) -> Iterator[Told]:
        if (reference.learned is None) == (reference.colour is None):
            yield (
                (),
                "a reference is exactly one of a target's name, `learned:` and `colour:`",
                "contradiction" if reference.colour else "missing-key",
            )
        elif reference.colour is not None:
            for key in ("target", "samples"):
                if getattr(reference, key) is not None:
                    yield (key,), "this belongs to a learned reference", "contradiction"
            if channel.for_ is None:
                yield (
                    (),
                    "a reference given as a colour stands for no target by itself; say which with `for: [NAME]` in the channel",
                    "missing-key",
                )
            for loc, message, code in self._colour(reference.colour):
                yield ("colour", *loc), message, code
        else:
            assert reference.learned is not None
            if reference.target is None:
                yield ("target",), "this key is missing; it says which target of the recording is learned", "missing-key"
            recording = self.folder.relative(reference.learned, "")
            problem = self.folder.problem(recording)
            if problem:
                yield ("learned",), *problem
            elif not any(matches(recording, pattern) for pattern in self.fields.recordings):
                yield ("learned",), f"no entry under `recordings:` says how this file is written; found {recording}", "no-form"

    def _comparable(
        self, channel: ChannelFields, sensor: SensorFields, colour: ColourFields | None, at: tuple[str, ...]
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
            return
        if sensor.reads == "linear RGB" and sensor.to_xyz is None:
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

    def _output(self, output: OutputFields) -> Iterator[Told]:
        yield from _one_of(output, ())
        if output.held_until and output.held_while:
            yield (
                ("held_while",),
                "a latch is cleared either at an edge (held_until) or with an input (held_while)",
                "contradiction",
            )
        if output.held_from and not output.held_until:
            yield ("held_from",), "this key needs `held_until` beside it", "contradiction"
        for key in LATER:
            if output.decided_at and getattr(output, key) is not None:
                yield (
                    (key,),
                    "an output that is decided at an edge holds until the next decision; it has no latch",
                    "contradiction",
                )

    def _loops(self) -> Iterator[Told]:
        uses = {
            name: [part for part in _signals(output) if part in self.fields.outputs]
            for name, output in self.fields.outputs.items()
        }
        settled: set[str] = set()
        for start in uses:
            trail: list[tuple[str, Iterator[str]]] = [(start, iter(uses[start]))] if start not in settled else []
            while trail:
                _, rest = trail[-1]
                onward = next(rest, None)
                names = [name for name, _ in trail]
                if onward is None:
                    settled.add(trail.pop()[0])
                elif onward in names:
                    loop = [*names[names.index(onward) :], onward]
                    yield ("outputs", loop[-2]), f"this logic depends on itself: {' → '.join(loop)}", "loop"
                    settled.update(names)
                    break
                elif onward not in settled:
                    trail.append((onward, iter(uses[onward])))

    def _set(self, kind: SetFields) -> Iterator[Told]:
        if (kind.from_ is None) != (kind.to is None):
            missing = "to" if kind.to is None else "from"
            yield (
                (missing,),
                "this key is missing; a set has both `from` and `to`, or neither and a set column in its recordings",
                "missing-key",
            )


def _one_of(logic: LogicFields, loc: tuple[str, ...]) -> Iterator[Told]:
    given = [key for key in ("any_of", "all_of", "none_of", "at_least") if getattr(logic, key) is not None]
    if len(given) != 1:
        yield (
            loc,
            (f"logic is exactly one of any_of, all_of, none_of and at_least; found {listed(given) or 'none'}"),
            ("contradiction" if given else "missing-key"),
        )
    if logic.at_least and logic.at_least.n > len(logic.at_least.of):
        yield (*loc, "at_least"), f"{logic.at_least.n} of {len(logic.at_least.of)} can never be on", "contradiction"
    for part in _parts(logic):
        if isinstance(part, LogicFields):
            yield from _one_of(part, loc)


def _parts(logic: LogicFields) -> list[Any]:
    return [*(logic.any_of or ()), *(logic.all_of or ()), *(logic.none_of or ()), *(logic.at_least.of if logic.at_least else ())]


def _signals(logic: LogicFields) -> Iterator[str]:
    for part in _parts(logic):
        if isinstance(part, LogicFields):
            yield from _signals(part)
        else:
            yield part


def _values(counts: Any) -> tuple[float, float, float]:
    return tuple(counts) if isinstance(counts, list) else (counts.red, counts.green, counts.blue)  # type: ignore[return-value]
