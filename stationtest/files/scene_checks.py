"""What must hold within a scene: names, one of several keys, and geometry that can be built."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from stationtest.files import scene_fields as written
from stationtest.files.suggest import allowed_words, nearest
from stationtest.files.words import listed
from stationtest.model.spectrum import CIE_ILLUMINANTS
from stationtest.model.station import Sensor, Station

Told = tuple[tuple[str | int, ...], str, str]
MOST_PRESENTATIONS = 5_000_000
MOST_ROWS = 2**40
MOST_AVERAGED = 10_000


class Checks:
    """The checks of one scene against the station it is made for."""

    def __init__(self, fields: written.SceneFields, station: Station) -> None:
        self.fields, self.station = fields, station

    def run(self) -> Iterator[Told]:
        """Path of the key, what is wrong, and the code."""
        for name, sensor in self.fields.sensors.items():
            for loc, message, code in self._sensor(sensor, self.station.sensor(name)):
                yield ("sensors", name, *loc), message, code
        if len(self.fields.sensors) > 1:
            said = "a scene is what one sensor sees; make one scene for each sensor"
            yield ("sensors", list(self.fields.sensors)[1]), said, "contradiction"
        background = self.fields.background or self.station.between
        if background is None:
            yield ("background",), "this key is missing; it names the surface that the spot sees between targets", "missing-key"
        elif background not in self.fields.surfaces:
            yield ("background",), *self._unknown("surface", background, self.fields.surfaces)
        for name, surface in self.fields.surfaces.items():
            for loc, message, code in self._surface(name, surface):
                yield ("surfaces", name, *loc), message, code
        for name, target in self.fields.targets.items():
            for loc, message, code in self._target(name, target):
                yield ("targets", name, *loc), message, code
        yield from self._belt()
        for name, kind in self.fields.sets.items():
            for loc, message, code in self._set(name, kind):
                yield ("sets", name, *loc), message, code
        for name, given in self.fields.inputs.items():
            for loc, message, code in self._input(given):
                yield ("inputs", name, *loc), message, code
        declared = dict(self.station.conditions)
        for name, value in self.fields.conditions.items():
            if value not in declared.get(name, ()):
                near = nearest(value, declared.get(name, ()))
                hint = f"; did you mean `{near}`?" if near else ""
                said = f"{name} has no value of this name{hint}; found {value}; allowed {allowed_words(declared.get(name, ()))}"
                yield ("conditions", name), said, "unknown-name"

    def _unknown(self, what: str, name: str, known: Iterable[str]) -> tuple[str, str]:
        near = nearest(name, known)
        hint = f"; did you mean `{near}`?" if near else ""
        return f"there is no {what} of this name in the scene{hint}; found {name}; allowed {allowed_words(known)}", "unknown-name"

    # sensors -----------------------------------------------------------------------------------------------------------------

    def _sensor(self, given: written.SceneSensorFields, sensor: Sensor) -> Iterator[Told]:
        if not sensor.counts:
            yield (), f"a scene ends in counts, and this sensor reads {sensor.reads}", "contradiction"
            return
        bands = len(sensor.columns)
        for at, light in (("light", given.light), ("ambient", given.ambient.light if given.ambient else None)):
            if light is not None:
                where = ("light",) if at == "light" else ("ambient", "light")
                for loc, message, code in _light(light, ambient=at == "ambient"):
                    yield (*where, *loc), message, code
        yield from self._head(given.head, sensor)
        yield from _bands(given.bands, bands)
        if given.white is None and sensor.white is None:
            yield (), "`white` is missing; it says how bright the white reference reads, such as 88 %", "missing-key"
        if given.white is None and not given.balanced:
            said = "without `white` each band reads the white that station.yaml states"
            yield ("balanced",), said, "contradiction"
        if given.white is not None and given.white <= 0:
            yield ("white",), "the white reference must read above 0 %", "wrong-value"
        full = sensor.full_scale
        bits = given.bits or (round(math.log2(full + 1)) if full else None)
        if bits is None:
            yield (), "`bits` is missing, and the station states no `full_scale` to take it from", "missing-key"
        elif full is not None and full != 2**bits - 1:
            said = f"a converter of {bits} bits ends at {2**bits - 1}, and station.yaml says full_scale: {full:g}"
            yield (("bits",) if given.bits else ()), said, "contradiction"
        elif max(given.dark or sensor.dark) >= 2**bits - 1 or min(given.dark or sensor.dark) < 0:
            yield ("dark",), f"dark must lie from 0 to below {2**bits - 1}", "wrong-value"
        if given.dark is not None and len(given.dark) != bands:
            yield ("dark",), f"one number for each of the {bands} bands; found {len(given.dark)}", "wrong-value"
        if given.averages > MOST_AVERAGED:
            yield ("averages",), f"at most {MOST_AVERAGED} readings are averaged", "wrong-value"
        if given.exposure > self.fields.every:
            yield ("exposure",), "an exposure cannot be longer than from one reading to the next (every)", "contradiction"
        if given.ambient is not None and given.ambient.depth and given.ambient.flicker is None:
            yield ("ambient", "flicker"), "this key is missing; flicker has a frequency, such as 100 Hz", "missing-key"
        if given.ambient is not None and given.ambient.flicker and not given.ambient.depth:
            yield ("ambient", "depth"), "this key is missing; it says how deep the light flickers, such as 40 %", "missing-key"

    def _head(self, head: written.HeadFields, sensor: Sensor) -> Iterator[Told]:
        if head.spot is None and sensor.spot_mm is None:
            yield ("head", "spot"), "this key is missing, and the station does not state the spot of this sensor", "missing-key"
        for key in ("light_cone", "view_cone"):
            if getattr(head, key) <= 0:
                yield ("head", key), "a cone of light is wider than 0 deg", "wrong-value"
        if head.depth_of_focus is not None and head.depth_of_focus >= head.standoff:
            yield ("head", "depth_of_focus"), "the depth of focus must be less than the standoff", "contradiction"

    # surfaces and targets ----------------------------------------------------------------------------------------------------

    def _surface(self, name: str, surface: written.SurfaceFields) -> Iterator[Told]:
        bodies = [key for key in ("colour", "spectrum", "grey", "film") if getattr(surface, key) is not None]
        if len(bodies) > 1 or (not bodies and surface.mirror is None):
            said = f"a surface is exactly one of colour, spectrum, grey and film, or a mirror; found {listed(bodies) or 'none'}"
            yield (), said, "contradiction" if bodies else "missing-key"
        if surface.colour is not None:
            if surface.colour.shares is not None:
                yield ("colour", "shares"), "shares of bands are no colour of a surface; allowed Lab or XYZ", "wrong-value"
            elif (surface.colour.Lab is None) == (surface.colour.XYZ is None):
                yield ("colour",), "a colour is exactly one of Lab and XYZ", "contradiction"
            for key in ("illuminant", "observer"):
                if getattr(surface.colour, key) is None:
                    yield ("colour", key), "this key is missing; a colour has no meaning without it", "missing-key"
        if surface.gloss is not None and surface.mirror is not None:
            said = "a metal has no clear boundary of its own; lacquer on metal is a film in contact over a mirror"
            yield ("gloss",), said, "contradiction"
        if surface.film is not None:
            for key in ("gloss", "mirror"):
                if getattr(surface, key) is not None:
                    yield (key,), f"{key} belongs to the surface that lies under the film", "contradiction"
            if surface.film.over not in self.fields.surfaces:
                yield ("film", "over"), *self._unknown("surface", surface.film.over, self.fields.surfaces)
            elif name in self._below(surface.film.over):
                yield ("film", "over"), "this film lies over itself", "loop"
        if surface.fluorescent and surface.spectrum is None:
            yield ("fluorescent",), "fluorescence lets a measured `spectrum` go above 1; there is none here", "contradiction"

    def _below(self, name: str) -> set[str]:
        found: set[str] = set()
        while name in self.fields.surfaces and name not in found:
            found.add(name)
            film = self.fields.surfaces[name].film
            name = film.over if film else ""
        return found

    def _target(self, name: str, target: written.SceneTargetFields) -> Iterator[Told]:
        surface = target.surface or name
        if surface not in self.fields.surfaces:
            yield (("surface",) if target.surface else ()), *self._unknown("surface", surface, self.fields.surfaces)
        if target.cylinder and target.rib:
            yield ("rib",), "a target is either a cylinder or has a rib", "contradiction"
        if target.sideways and not (target.cylinder and target.cylinder.axis == "along"):
            yield ("sideways",), "only a cylinder along the travel looks different from beside it", "contradiction"
        if target.cylinder and target.cylinder.axis == "across" and abs(target.length - 2 * target.cylinder.radius) > 1e-9:
            said = f"a cylinder across the travel is as long as its diameter, {2 * target.cylinder.radius:g} mm"
            yield ("length",), said, "contradiction"
        standoff = min(sensor.head.standoff for sensor in self.fields.sensors.values())
        highest = target.raised + (target.rib.height if target.rib else 0.0)
        if highest >= standoff:
            said = f"a target {highest:g} mm higher would touch the head at a standoff of {standoff:g} mm"
            yield ("raised",) if target.raised else ("rib", "height"), said, "contradiction"
        if target.rib:
            yield from _rib(target.rib, target.length)
        if isinstance(target.specimens, list) and len(set(target.specimens)) < len(target.specimens):
            yield ("specimens",), "two specimens have one name", "duplicate-name"

    # belt, sets, inputs ------------------------------------------------------------------------------------------------------

    def _belt(self) -> Iterator[Told]:
        belt = self.fields.belt
        if belt.speed is None and self.station.belt_speed_mm_s is None:
            yield ("belt", "speed"), "this key is missing, and the station does not state its belt speed", "missing-key"
        if isinstance(belt.gap, written.GapFields) and belt.gap.from_ > belt.gap.to:
            yield ("belt", "gap"), "`from` must not be above `to`", "contradiction"
        if (belt.count is None) == (belt.lasts is None):
            said = "how much comes past is said by exactly one of `count` and `lasts`"
            yield ("belt",), said, "missing-key" if belt.count is None else "contradiction"
        entries = belt.order
        at: tuple[str, ...] = ("belt", "order")
        if isinstance(entries, written.OrderFields):
            if (entries.random is None) == (entries.weighted is None):
                yield at, "an order is a list, or exactly one of random and weighted", "contradiction"
            at = (*at, "random" if entries.random is not None else "weighted")
            entries = entries.random or list(entries.weighted or {})
        known = [*self.fields.targets, *self.fields.sets]
        for number, name in enumerate(entries):
            if name not in known:
                yield (*at, number if at[-1] != "weighted" else name), *self._unknown("target or set", name, known)
        for name in self.fields.sets:
            if name in self.fields.targets:
                yield ("sets", name), "a target and a set of one name cannot be told apart in `order`", "duplicate-name"
        if belt.jitter.sideways and not any(t.cylinder and t.cylinder.axis == "along" for t in self.fields.targets.values()):
            said = "no target of this scene looks different from beside it; only a cylinder along the travel does"
            yield ("belt", "jitter", "sideways"), said, "contradiction"
        if belt.jitter.tilt < 0:
            yield ("belt", "jitter", "tilt"), "a standard deviation must not be below 0", "wrong-value"
        yield from self._size()

    def _size(self) -> Iterator[Told]:
        """A scene that no computer holds is refused before it is begun."""
        belt = self.fields.belt
        speed = belt.speed or self.station.belt_speed_mm_s
        if speed is None:
            return
        most = max((sum(dict(kind.members).values()) for kind in self.station.sets if kind.name in self.fields.sets), default=1)
        shortest = min(target.length for target in self.fields.targets.values())
        gap = belt.gap.from_ if isinstance(belt.gap, written.GapFields) else belt.gap
        if belt.count is not None:
            number = belt.count * most
            longest = max(target.length for target in self.fields.targets.values())
            widest = belt.gap.to if isinstance(belt.gap, written.GapFields) else belt.gap
            rows = number * (longest + widest) / speed * 1e9 / self.fields.every
        else:
            number = int((belt.lasts or 0) * 1e-9 * speed / max(shortest + gap, 1e-9)) + 1
            rows = (belt.lasts or 0) / self.fields.every
        if number > MOST_PRESENTATIONS or rows > MOST_ROWS:
            said = f"a scene holds at most {MOST_PRESENTATIONS} presentations; this one would hold about {number}"
            yield ("belt", "count" if belt.count is not None else "lasts"), said, "too-large"

    def _set(self, name: str, kind: written.SceneSetFields) -> Iterator[Told]:
        members = dict(self.station.set_kind(name).members)
        for member in members:
            if member not in self.fields.targets:
                said = f"its member {member} is not among the targets of this scene; allowed {allowed_words(self.fields.targets)}"
                yield (), said, "unknown-name"
        for number, defect in enumerate(kind.defects):
            at: tuple[str | int, ...] = ("defects", number)
            given = [key for key in ("missing", "wrong", "doubled") if getattr(defect, key) is not None]
            if len(given) != 1:
                said = f"a defect is exactly one of missing, wrong and doubled; found {listed(given) or 'none'}"
                yield at, said, "contradiction" if given else "missing-key"
                continue
            member = getattr(defect, given[0])
            if member != "any" and member not in members:
                yield (*at, given[0]), *self._unknown("member", member, [*members, "any"])
            if (defect.by is not None) != (given[0] == "wrong"):
                said = "`by` says what lies in the place of a wrong member"
                yield (*at, "by"), said, "missing-key" if defect.by is None else "contradiction"
            elif defect.by is not None and defect.by not in self.fields.targets:
                yield (*at, "by"), *self._unknown("target", defect.by, self.fields.targets)
            if (defect.share is None) == (defect.sets is None):
                said = "which sets have the defect is said by exactly one of `share` and `sets`"
                yield at, said, "missing-key" if defect.share is None else "contradiction"

    def _input(self, given: written.SceneInputFields) -> Iterator[Told]:
        ways = [key for key in ("at", "times", "during") if getattr(given, key) is not None]
        if len(ways) != 1:
            said = f"when an input is on is said by exactly one of at (with of), times and during; found {listed(ways) or 'none'}"
            yield (), said, "contradiction" if ways else "missing-key"
            return
        needs = {"at": ("of", "lasts"), "times": ("lasts",), "during": ()}[ways[0]]
        for key in ("of", "lasts"):
            there = getattr(given, key) is not None
            if there != (key in needs):
                said = f"`{ways[0]}` {'needs' if key in needs else 'has no'} `{key}` beside it"
                yield (key,), said, "missing-key" if key in needs else "contradiction"
        if given.offset and ways[0] == "times":
            yield ("offset",), "times are given as they are, without an offset", "contradiction"
        known = [*self.fields.targets, *self.fields.sets]
        for name in given.of or given.during or ():
            if name not in known:
                yield ("of" if given.of else "during",), *self._unknown("target or set", name, known)


def _light(light: written.LightFields, *, ambient: bool) -> Iterator[Told]:
    given = [key for key in ("illuminant", "leds", "spectrum") if getattr(light, key) is not None]
    if len(given) != 1:
        said = f"a light is exactly one of illuminant, leds and spectrum; found {listed(given) or 'none'}"
        yield (), said, "contradiction" if given else "missing-key"
    if light.illuminant is not None and light.illuminant not in CIE_ILLUMINANTS:
        near = nearest(light.illuminant, CIE_ILLUMINANTS)
        hint = f"; did you mean `{near}`?" if near else f"; allowed {allowed_words(CIE_ILLUMINANTS)}"
        yield ("illuminant",), f"there is no CIE illuminant of this name{hint}; found {light.illuminant}", "unknown-name"
    if ambient and light.level != 1:
        yield ("level",), "how bright ambient light is, `share` says", "contradiction"
    for key in ("used", "warmer"):
        if getattr(light, key) and light.leds is None:
            yield (key,), f"what `{key}` does is stated for each of `leds`; this light has none", "contradiction"
    for number, led in enumerate(light.leds or ()):
        if light.used and not led.life:
            said = "this key is missing; it says after how many hours 70 % of the light is left, such as 30000 h"
            yield ("leds", number, "life"), said, "missing-key"
        for key, example in (("shift", "0.05 nm/K"), ("output", "-0.3 %/K")):
            if light.warmer and getattr(led, key) is None:
                yield ("leds", number, key), f"this key is missing; it says what a kelvin does, such as {example}", "missing-key"
        if light.warmer and led.output is not None and 1 + led.output * light.warmer < 0:
            yield ("warmer",), f"at {light.warmer:g} K above, the output of LED {number + 1} would be below 0", "contradiction"


def _bands(bands: written.BandsFields, number: int) -> Iterator[Told]:
    curves = bands.responses is not None
    peaks = bands.peaks is not None or bands.widths is not None
    if curves == peaks:
        said = "bands are either `peaks` and `widths`, or a file of `responses`"
        yield ("bands",), said, "contradiction" if curves else "missing-key"
    if peaks:
        for key in ("peaks", "widths"):
            values = getattr(bands, key)
            if values is None:
                yield ("bands", key), "this key is missing", "missing-key"
            elif len(values) != number:
                said = f"one for each of the {number} bands that the station reads; found {len(values)}"
                yield ("bands", key), said, "wrong-value"
    if curves and bands.spread.peaks:
        yield ("bands", "spread", "peaks"), "peaks can be shifted where they are given; these are curves", "contradiction"
    if bands.unit is not None and not (bands.spread.peaks or bands.spread.gains):
        yield ("bands", "unit"), "units are alike where no `spread` is given", "contradiction"


def _rib(rib: written.RibFields, length: float) -> Iterator[Told]:
    if rib.at - rib.width / 2 < 0 or rib.at + rib.width / 2 > length:
        yield ("rib", "at"), f"the rib does not lie on the target, which is {length:g} mm long", "contradiction"
    if not 0 < rib.flanks < 85:
        yield ("rib", "flanks"), "flanks stand between 0 and 85 deg", "wrong-value"
    elif 2 * rib.height / math.tan(math.radians(rib.flanks)) > rib.width * (1 + 1e-9):
        said = f"flanks of {rib.flanks:g} deg do not reach {rib.height:g} mm within {rib.width:g} mm"
        yield ("rib", "flanks"), said, "contradiction"
    if abs(rib.lean) >= 45:
        yield ("rib", "lean"), "a rib leans by less than 45 deg", "wrong-value"
