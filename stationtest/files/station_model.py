"""Typed fields of a station file to the model: names resolved, defaults settled, places kept."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from stationtest.files import recording_model
from stationtest.files.paths import Folder
from stationtest.files.reaches import travel_model
from stationtest.files.sensor_checks import bands_of, number_of_each
from stationtest.files.station_fields import (
    ChannelFields,
    ColourFields,
    LogicFields,
    OutputFields,
    ReferenceFields,
    SensorFields,
    SpectralFields,
    StationFields,
)
from stationtest.files.tree import Map, Tree
from stationtest.model import station as model
from stationtest.model.events import EventKind
from stationtest.model.group import Group
from stationtest.model.item import ItemKind
from stationtest.model.settings_found import SettingKey
from stationtest.model.spectrum import CIE_ILLUMINANTS, SpectralBands
from stationtest.place import Place


def station(fields: StationFields, root: Map, tree: Tree, folder: Folder) -> model.Station:
    """The model of a station whose fields have been checked."""

    def place(section: str, name: str) -> Place:
        return tree.place(next(key for key in root[section] if key == name))

    names = fields.targets if isinstance(fields.targets, list) else list(fields.targets)
    described = fields.targets if isinstance(fields.targets, dict) else {}
    targets = tuple(
        model.Target(
            name=name,
            colour=colour_of(described[name].colour) if name in described else None,
            background=name in described and described[name].background,
            place=place("targets", name),
        )
        for name in names
    )
    colours = {target.name: target.colour for target in targets}
    return model.Station(
        name=fields.station,
        title=fields.title,
        drawing=fields.drawing,
        scan=model.Scan(worst_ns=fields.scan.worst, input_filter_ns=fields.scan.input_filter),
        between=fields.between,
        belt_speed_mm_s=fields.belt_speed,
        travel=travel_model(fields.travel),
        sensors=tuple(
            _sensor(name, sensor, folder, place("sensors", name)) for name, sensor in fields.sensors.items()
        ),
        targets=targets,
        settings=(
            model.Settings(
                channels=tuple(
                    _channel(name, channel, next(iter(fields.sensors), ""), colours, folder, place("channels", name))
                    for name, channel in fields.channels.items()
                )
            ),
        ),
        groups=tuple(
            Group(name=name, channels=tuple(group.channels), lead=group.lead, place=place("groups", name))
            for name, group in fields.groups.items()
        ),
        items=tuple(
            ItemKind(name=name, at=tuple(kind.at), matching=tuple(map(tuple, kind.matching)), place=place("items", name))
            for name, kind in fields.items.items()
        ),
        inputs=tuple(fields.inputs),
        outputs=tuple(_output(name, output, place("outputs", name)) for name, output in fields.outputs.items()),
        sets=tuple(
            model.SetKind(
                name=name,
                members=tuple(kind.members.items()),
                from_edge=kind.from_,
                to_edge=kind.to,
                output=kind.output,
                extras_allowed=kind.extras == "allowed",
                place=place("sets", name),
            )
            for name, kind in fields.sets.items()
        ),
        conditions=tuple((name, tuple(values)) for name, values in fields.conditions.items()),
        recordings=tuple(
            recording_model.form(pattern, form, folder, tuple(fields.channels), place("recordings", pattern))
            for pattern, form in fields.recordings.items()
        ),
        events=_events(fields),
        settings_keys=tuple(
            SettingKey(setting=setting, key=one, place=place("settings_keys", setting))
            if isinstance(one, str)
            else SettingKey(
                setting=setting, key=one.key, unit=one.in_, words=tuple(one.words.items()), decimal=one.decimal,
                place=place("settings_keys", setting),
            )
            for setting, one in fields.settings_keys.items()
        ),
        required_in_run=tuple(fields.required_in_run),
        language=int(fields.language),
        place=tree.place(root),
    )


def _events(fields: StationFields) -> tuple[EventKind, ...]:
    """Every declared event, those that only end another one too."""
    until = {name: kind.until for name, kind in fields.events.items()} if isinstance(fields.events, dict) else {}
    names = dict.fromkeys((*fields.events, *(end for end in until.values() if end)))
    return tuple(EventKind(name=name, until=until.get(name)) for name in names)


def _triple(values: Any) -> tuple[float, float, float] | None:
    if values is None:
        return None
    first, second, third = values
    return first, second, third


def colour_of(colour: ColourFields | None) -> model.Colour | None:
    """A colour as it is written, to the model."""
    if colour is None:
        return None
    space = next(key for key in ("Lab", "XYZ", "shares") if getattr(colour, key) is not None)
    return model.Colour(space=space, values=tuple(getattr(colour, space)), illuminant=colour.illuminant, observer=colour.observer)


def _sensor(name: str, sensor: SensorFields, folder: Folder, place: Place) -> model.Sensor:
    bands = bands_of(sensor)
    dark = sensor.when_dark
    return model.Sensor(
        name=name,
        reads=sensor.reads,
        bands=bands,
        columns=tuple(sensor.columns[band] for band in bands),
        serial=sensor.serial,
        full_scale=sensor.full_scale,
        clips_at=sensor.clips_at or sensor.full_scale,
        dark=(0.0,) * len(bands) if sensor.dark is None else number_of_each(sensor.dark, bands),
        white=None if sensor.white is None else number_of_each(sensor.white, bands),
        to_xyz=tuple(map(tuple, sensor.to_xyz)) if sensor.to_xyz else None,
        spectral=_spectral(sensor.bands, folder) if sensor.bands else None,
        illuminant=sensor.illuminant,
        observer=sensor.observer,
        white_point=_triple(sensor.white_point),
        level_at_least=sensor.level.at_least if sensor.level else None,
        level_at_most=sensor.level.at_most if sensor.level else None,
        when_dark=model.WhenDark(below=dark.below, channels=dark.channels) if dark else None,
        decides_every_ns=sensor.decides_every,
        spot_mm=sensor.spot,
        edge_ns=sensor.edge,
        place=place,
    )


def _spectral(bands: SpectralFields, folder: Folder) -> SpectralBands:
    """Paths relative to the folder; the curves are read later."""
    by_name = bands.light in CIE_ILLUMINANTS
    return SpectralBands(
        centres_nm=tuple(bands.centres or ()),
        responses_file=folder.relative(bands.responses, "") if bands.responses else None,
        light=bands.light if by_name else None,
        light_file=folder.relative(bands.light, "") if bands.light and not by_name else None,
        alike_over_nm=bands.alike_over,
    )


def _channel(
    name: str, channel: ChannelFields, only_sensor: str, colours: Mapping[str, model.Colour | None], folder: Folder, place: Place
) -> model.Channel:
    given = channel.references if channel.references is not None else [channel.reference]
    sensor = channel.sensor or only_sensor
    references = tuple(_reference(reference, channel, sensor, colours, folder) for reference in given)
    tolerance, hysteresis = channel.tolerance, channel.hysteresis
    if channel.switching is not None:
        tolerance, hysteresis = channel.switching.on_at, hysteresis_of(channel.switching.on_at, channel.switching.off_at)
    assert tolerance is not None
    return model.Channel(
        name=name,
        sensor=sensor,
        references=references,
        for_targets=channel.for_ or tuple(dict.fromkeys(name for reference in references for name in _names(reference))),
        distance=channel.distance,
        tolerance=tolerance,
        hysteresis=hysteresis,
        switches=channel.switches,
        on_delay_ns=channel.on_delay,
        off_delay_ns=channel.off_delay,
        pulse_ns=channel.pulse,
        enabled_while=channel.enabled_while,
        read_as=channel.read_as,
        held=model.HeldForItem(over=channel.over, until=channel.until) if channel.held_for else None,
        place=place,
    )


def _names(reference: model.Reference) -> tuple[str, ...]:
    """The targets that a reference stands for, at one time or another."""
    if reference.learned_at is None:
        return (reference.name,)
    before = reference.learned_at.before
    return (*(_names(before) if before else ()), *reference.learned_at.targets)


def _reference(
    given: Any, channel: ChannelFields, sensor: str, colours: Mapping[str, model.Colour | None], folder: Folder
) -> model.Reference:
    if not isinstance(given, ReferenceFields):
        return model.Reference(name=str(given), colour=colours[str(given)])
    if given.learned is not None and given.target is not None:
        recording = folder.relative(given.learned, "")
        learned = model.Learned(recording=recording, target=given.target, sensor=sensor, samples=given.samples)
        return model.Reference(name=given.target, learned=learned)
    if given.learned_at is not None and given.samples is not None and given.meanwhile is not None:
        targets = tuple(given.targets or [given.target or ""])
        before = None if given.before is None else _reference(given.before, channel, sensor, colours, folder)
        learned_at = model.LearnedAt(
            edge=given.learned_at, samples=given.samples, targets=targets, meanwhile=given.meanwhile, before=before
        )
        return model.Reference(name=targets[0], learned_at=learned_at)
    assert channel.for_
    return model.Reference(name=channel.for_[0], colour=colour_of(given.colour))


def hysteresis_of(on_at: float, off_at: float) -> float:
    """The share h with which a distance of exactly `off_at` still keeps the state: the least h with off_at / (1 + h) <= on_at."""
    found = off_at / on_at - 1
    while off_at / (1 + found) > on_at:
        found = math.nextafter(found, math.inf) if found > 1e-12 else found + 2**-52
    return found


def _logic(fields: LogicFields) -> model.Logic:
    if fields.at_least is not None:
        return model.Logic(op="at_least", of=_parts(fields.at_least.of), n=fields.at_least.n)
    op = next(key for key in ("any_of", "all_of", "none_of") if getattr(fields, key) is not None)
    return model.Logic(op=op, of=_parts(getattr(fields, op)))


def _parts(parts: list[Any]) -> tuple[str | model.Logic, ...]:
    return tuple(_logic(part) if isinstance(part, LogicFields) else str(part) for part in parts)


def _output(name: str, output: OutputFields, place: Place) -> model.Output:
    return model.Output(
        name=name,
        logic=_logic(output),
        held_until=output.held_until,
        held_from=output.held_from,
        held_while=output.held_while,
        decided_at=output.decided_at,
        acts_after=output.acts_after or 0,
        enabled_while=output.enabled_while,
        on_delay=output.on_delay,
        off_delay=output.off_delay,
        pulse=output.pulse,
        delays_in=output.delays_in or "sensor",
        good=None if output.good is None else output.good == "on",
        place=place,
    )
