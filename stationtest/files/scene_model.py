"""Typed fields of a scene to the model: defaults taken from the station, spectra in place of their files."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationtest.files import scene_fields as written
from stationtest.files.station_model import colour_of
from stationtest.files.tree import Map, Tree
from stationtest.model import scene as model
from stationtest.model.events import Event
from stationtest.model.spectrum import Spectrum
from stationtest.model.station import Sensor, Station
from stationtest.place import Place

if TYPE_CHECKING:
    from stationtest.files.scene_spectra import Spectra



def scene(
    fields: written.SceneFields, root: Map, tree: Tree, file: str, station: Station, spectra: Spectra
) -> model.Scene:
    """The model of a scene whose fields have been checked."""

    def place(section: str, name: str) -> Place:
        return tree.place(next(key for key in root[section] if key == name))

    return model.Scene(
        path=file,
        title=fields.title,
        seed=fields.seed,
        every_ns=fields.every,
        background=fields.background or station.between or "",
        sensors=tuple(
            _sensor(name, given, station.sensor(name), spectra, place("sensors", name)) for name, given in fields.sensors.items()
        ),
        surfaces=tuple(_surface(name, given, spectra, place("surfaces", name)) for name, given in fields.surfaces.items()),
        targets=tuple(_target(name, given, place("targets", name)) for name, given in fields.targets.items()),
        belt=_belt(fields.belt, station, tree.place(next(key for key in root if key == "belt"))),
        sets=tuple(
            model.SceneSet(
                name=name,
                members=station.set_kind(name).members,
                shuffled=given.order == "shuffled",
                gap_mm=given.gap,
                defects=tuple(_defect(defect) for defect in given.defects),
                place=place("sets", name),
            )
            for name, given in fields.sets.items()
        ),
        conditions=tuple(fields.conditions.items()),
        events=tuple(
            Event(name=name, at_ns=at)
            for at, name in sorted((at, name) for name, instants in fields.events.items() for at in instants)
        ),
        inputs=tuple(_input(name, given, place("inputs", name)) for name, given in fields.inputs.items()),
        files=spectra.files,
        place=tree.place(root),
    )


def _sensor(
    name: str, given: written.SceneSensorFields, sensor: Sensor, spectra: Spectra, place: Place
) -> model.SceneSensor:
    head, bands, ambient = given.head, given.bands, given.ambient
    return model.SceneSensor(
        name=name,
        light=_light(given.light, spectra, place),
        head=model.Head(
            standoff_mm=head.standoff,
            spot_mm=head.spot if head.spot is not None else sensor.spot_mm,
            light_deg=head.light,
            view_deg=head.view,
            light_half_deg=head.light_cone / 2,
            view_half_deg=head.view_cone / 2,
            depth_of_focus_mm=head.depth_of_focus,
            place=place,
        ),
        bands=model.Bands(
            peaks_nm=tuple(bands.peaks or ()),
            widths_nm=tuple(bands.widths or ()),
            responses=spectra.several(bands.responses) if bands.responses else (),
            peak_sd_nm=bands.spread.peaks,
            gain_sd=bands.spread.gains,
            unit=bands.unit or sensor.serial or name,
            place=place,
        ),
        bits=given.bits or round(math.log2((sensor.full_scale or 1) + 1)),
        electrons=given.electrons,
        read_noise=given.read_noise,
        samples=given.samples,
        averages=given.averages,
        exposure_ns=given.exposure,
        white_level=given.white,
        balanced=given.balanced,
        dark=tuple(given.dark) if given.dark is not None else None,
        ambient=None
        if ambient is None
        else model.Ambient(
            light=_light(ambient.light, spectra, place),
            share=ambient.share,
            flicker_hz=ambient.flicker or 0.0,
            depth=ambient.depth,
            rejection=ambient.rejection,
            place=place,
        ),
        place=place,
    )


def _light(light: written.LightFields, spectra: Spectra, place: Place) -> model.Light:
    return model.Light(
        illuminant=light.illuminant,
        spectrum=spectra.one(light.spectrum) if light.spectrum else None,
        leds=tuple(
            model.Led(
                peak_nm=led.peak,
                width_nm=led.width,
                level=led.level,
                shift_nm_per_k=led.shift,
                output_per_k=led.output,
                life_h=led.life,
            )
            for led in light.leds or ()
        ),
        level=light.level,
        hours=light.used,
        kelvin=light.warmer,
        place=place,
    )


def _surface(name: str, given: written.SurfaceFields, spectra: Spectra, place: Place) -> model.SurfaceOf:
    def curve(value: float | str) -> Spectrum | float:
        return spectra.one(value) if isinstance(value, str) else value

    return model.SurfaceOf(
        name=name,
        colour=colour_of(given.colour),
        spectrum=spectra.one(given.spectrum) if given.spectrum else None,
        grey=given.grey,
        mirror=curve(given.mirror.reflectance) if given.mirror else None,
        mirror_roughness=given.mirror.roughness if given.mirror else None,
        gloss=model.Gloss(index=given.gloss.index, roughness=given.gloss.roughness) if given.gloss else None,
        layer=model.Layer(
            over=given.film.over,
            transmittance=curve(given.film.transmittance),
            in_air=given.film.measured == "in air",
            index=given.film.index,
            roughness=given.film.roughness,
            contact=given.film.lies == "in contact",
            thickness=given.film.thickness,
            place=place,
        )
        if given.film
        else None,
        texture=model.Texture(patch_mm=given.texture.patch, amount=given.texture.amount) if given.texture else None,
        dirt=model.Dirt(share=given.dirt.share, reflectance=given.dirt.reflectance) if given.dirt else None,
        fluorescent=given.fluorescent,
        place=place,
    )


def _target(name: str, given: written.SceneTargetFields, place: Place) -> model.SceneTarget:
    specimens = given.specimens if given.specimens is not None else 1
    many = len(str(specimens)) if isinstance(specimens, int) else 0
    return model.SceneTarget(
        name=name,
        surface=given.surface or name,
        length_mm=given.length,
        specimens=tuple(f"{name} {number:0{many}d}" for number in range(1, specimens + 1))
        if isinstance(specimens, int)
        else tuple(specimens),
        spread=model.Spread(L=given.spread.L, a=given.spread.a, b=given.spread.b, gloss=given.spread.gloss),
        cylinder=model.Round(radius_mm=given.cylinder.radius, along=given.cylinder.axis == "along") if given.cylinder else None,
        rib=model.Rib(
            at_mm=given.rib.at,
            width_mm=given.rib.width,
            height_mm=given.rib.height,
            flank_deg=given.rib.flanks,
            lean_deg=given.rib.lean,
        )
        if given.rib
        else None,
        raised_mm=given.raised,
        sideways_mm=given.sideways,
        tilt_along_deg=given.tilt.along,
        tilt_across_deg=given.tilt.across,
        place=place,
    )


def _belt(given: written.BeltFields, station: Station, place: Place) -> model.Belt:
    gap, order = given.gap, given.order
    weights: tuple[float, ...] = ()
    if isinstance(order, written.OrderFields):
        weights = tuple(order.weighted.values()) if order.weighted else (1.0,) * len(order.random or ())
        order = list(order.weighted or order.random or ())
    return model.Belt(
        speed_mm_s=given.speed or station.belt_speed_mm_s or 0.0,
        gap_mm=(gap.from_, gap.to) if isinstance(gap, written.GapFields) else (gap, gap),
        order=tuple(order),
        weights=weights,
        count=given.count,
        lasts_ns=given.lasts,
        lead_mm=given.lead,
        jitter=model.Jitter(
            height_mm=given.jitter.height, tilt_deg=given.jitter.tilt, sideways_mm=given.jitter.sideways
        ),
        place=place,
    )


def _defect(given: written.DefectFields) -> model.Defect:
    what = next(key for key in ("missing", "wrong", "doubled") if getattr(given, key) is not None)
    return model.Defect(what=what, member=getattr(given, what), by=given.by, share=given.share, sets=given.sets or ())


def _input(name: str, given: written.SceneInputFields, place: Place) -> model.SceneInput:
    return model.SceneInput(
        name=name,
        at=given.at or ("times" if given.times else "during"),
        of=given.of or given.during or (),
        times_ns=given.times or (),
        offset_ns=given.offset,
        lasts_ns=given.lasts or 0,
        place=place,
    )
