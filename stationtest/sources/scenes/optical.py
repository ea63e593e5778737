"""What the physics makes of a scene before anything moves: one sensor's light, bands, gains and detector, and every surface
summed over its spectra.

The sensor was set up on the perfect white matt plate at its standoff, under its light as it was when new and with the unit
whose bands are stated; what has become of the light since then (level, use, temperature), and how another unit differs, is
in the readings.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from stationtest.errors import FileProblems, Problem, UsageError
from stationtest.model.scene import Light, Scene, SceneSensor, SurfaceOf
from stationtest.model.spectrum import Spectrum
from stationtest.model.station import Colour, Sensor
from stationtest.optics import film, geometry, light, recovery, spectra
from stationtest.optics.chain import BandSums, band_gains, band_weights, scaled_to, surface_sums
from stationtest.optics.detector import Detector, gaussian_bands, unit_of
from stationtest.optics.spectra import GRID, Floats, resampled
from stationtest.optics.surface import Surface, dusty, surface
from stationtest.place import Place
from stationtest.signals.colour_science import illuminant_spectrum, observer_curves

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Seen:
    """A surface before one sensor: its optics, its band sums, (3, B) what L*, a*, b* of a specimen add to the matt part (None
    where no specimen differs), and the band sums of its matt part under ambient light (B,) (None without)."""

    surface: Surface
    sums: BandSums
    directions: Floats | None
    ambient: Floats | None


@dataclass(frozen=True, slots=True)
class Optics:
    """One sensor of a scene. `spectrum` is that of its light now, (N,); `responses` (B, N); `surfaces` by name."""

    sensor: SceneSensor
    head: geometry.Head
    spectrum: Floats
    responses: Floats
    detector: Detector
    surfaces: dict[str, Seen]
    reflectances: dict[str, Floats]


def optics_of(scene: Scene, given: SceneSensor, sensor: Sensor) -> Optics:
    """The optics of one sensor. Raises `FileProblems` with the place of what cannot be."""
    head = _at(given.place, "head", lambda: _head(given))
    fresh = _at(given.place, "light", lambda: _light(replace(given.light, level=1.0, hours=0.0, kelvin=0.0)))
    now = _at(given.place, "light", lambda: _light(given.light))
    detector = _at(given.place, "", lambda: _detector(given, sensor))
    plate = float(geometry.factors(head, Surface(matt=np.ones(len(GRID)))).matt)
    if not plate > 0:
        raise _told(given.place, "head", "light and view do not reach a target that lies square on")
    nominal, responses, unit_gains = _at(given.place, "bands", lambda: _responses(scene, given))
    if given.white_level is not None:
        gains = _at(
            given.place, "bands",
            lambda: band_gains(fresh, nominal, white_level=given.white_level or 0.0, balanced=given.balanced),
        )  # fmt: skip
    else:
        gains = _at(given.place, "bands", lambda: band_gains(fresh, nominal, white_level=1.0, balanced=True))
        white = np.asarray(sensor.white, float)
        dark = np.asarray(sensor.dark, float)
        gains = gains * (white - dark) / (detector.full_scale - dark)
    gains = gains * unit_gains / plate
    weights = band_weights(now, responses, gains)
    ambient_weights = None
    if given.ambient is not None:
        ambient = given.ambient
        shone = _at(ambient.place, "ambient", lambda: scaled_to(_light(ambient.light), fresh, ambient.share))
        ambient_weights = band_weights(shone, responses, gains)
    made = _Surfaces(scene, head)
    differing = {target.surface for target in scene.targets if target.spread.L or target.spread.a or target.spread.b}
    used = {scene.background, *(target.surface for target in scene.targets)}
    seen = {}
    for one in scene.surfaces:
        if one.name in used:
            optics = made.of(one)
            directions = made.directions(one) if one.name in differing else None
            seen[one.name] = Seen(
                optics,
                surface_sums(optics, weights),
                None if directions is None else directions @ weights,
                None if ambient_weights is None else optics.matt @ ambient_weights,
            )
    return Optics(given, head, now, responses, detector, seen, {name: made.of(scene.surface(name)).matt for name in seen})


def _at(place: Place, key: str, make: Callable[[], T]) -> T:
    """What is made, or what is wrong with it at its place in the file."""
    try:
        return make()
    except UsageError as error:
        raise FileProblems([Problem(place, key, problem.message, problem.code) for problem in error.problems]) from error


def _of_the_colour(given: SurfaceOf, said: list[tuple[str, str]]) -> FileProblems:
    return FileProblems([Problem(given.place, f"surfaces.{given.name}.colour", message, code) for message, code in said])


def _told(place: Place, key: str, why: str) -> FileProblems:
    return FileProblems(Problem(place, key, why, "contradiction"))


def _head(given: SceneSensor) -> geometry.Head:
    head = given.head
    return geometry.Head(
        standoff_mm=head.standoff_mm,
        spot_mm=head.spot_mm or 0.0,
        light_deg=head.light_deg,
        view_deg=head.view_deg,
        light_half_deg=head.light_half_deg,
        view_half_deg=head.view_half_deg,
        depth_of_focus_mm=head.depth_of_focus_mm,
    )


def _on_grid(curve: Spectrum, what: str, at_most: float | None = None) -> Floats:
    return resampled(curve.nm, curve.values, f"{what} ({curve.path})", at_most=at_most)


def _light(given: Light) -> Floats:
    if given.leds:
        leds = [
            light.Led(
                peak_nm=led.peak_nm, width_nm=led.width_nm, level=led.level, shift_nm_per_k=led.shift_nm_per_k,
                output_per_k=led.output_per_k, decay_per_h=None if led.life_h is None else light.decay_from_life(led.life_h),
            )
            for led in given.leds
        ]  # fmt: skip
        power = light.light_of(leds, kelvin=given.kelvin, hours=given.hours)
    elif given.spectrum is not None:
        power = _on_grid(given.spectrum, "light")
    else:
        power = illuminant_spectrum(given.illuminant or "", GRID)
    return np.asarray(power * given.level)


def _detector(given: SceneSensor, sensor: Sensor) -> Detector:
    return Detector(
        bits=given.bits,
        electrons=given.electrons,
        dark=given.dark if given.dark is not None else tuple(sensor.dark),
        read_noise=given.read_noise,
        samples=given.samples,
    )


def _responses(scene: Scene, given: SceneSensor) -> tuple[Floats, Floats, Floats]:
    """Responses (B, N) of the unit that was set up, those of this unit, and its gains (B,) relative to the other's."""
    bands = given.bands
    if bands.responses:
        nominal = np.stack([_on_grid(curve, "response") for curve in bands.responses])
        peaks: Floats = GRID[nominal.argmax(axis=1)]
    else:
        peaks = np.asarray(bands.peaks_nm, float)
        nominal = gaussian_bands(peaks, bands.widths_nm)
    shifted, gains = unit_of(
        peaks, np.ones(len(peaks)), peak_sd_nm=bands.peak_sd_nm, gain_sd=bands.gain_sd, seed=scene.seed, unit=bands.unit
    )
    own = gaussian_bands(shifted, bands.widths_nm) if bands.peak_sd_nm else nominal
    return nominal, own, gains


class _Surfaces:
    """The surfaces of a scene, each made once; films are made over those below them."""

    def __init__(self, scene: Scene, head: geometry.Head) -> None:
        self.scene, self.made = scene, dict[str, Surface]()
        self.cos_in, self.cos_out = float(np.cos(np.radians(head.light_deg))), float(np.cos(np.radians(head.view_deg)))

    def of(self, given: SurfaceOf) -> Surface:
        if given.name not in self.made:
            self.made[given.name] = _at(given.place, "", lambda: self._make(given))
        return self.made[given.name]

    def directions(self, given: SurfaceOf) -> Floats:
        """(3, N) what a step of L*, a*, b* adds to the matt part: under the light in which its colour is stated, else D65."""
        stated, matt = given.colour, self.of(given).matt
        illuminant = illuminant_spectrum((stated and stated.illuminant) or "D65", GRID)
        observer = observer_curves((stated and stated.observer) or "2 deg", GRID)
        return _at(given.place, "", lambda: recovery.lab_directions(matt, illuminant, observer))

    def _make(self, given: SurfaceOf) -> Surface:
        if given.layer is not None:
            layer = given.layer
            inner = self._curve(layer.transmittance, f"transmittance of {given.name}")
            if layer.in_air:
                inner = film.inner_from_measured(inner, layer.index, given.name)
            sheet = film.film(
                film.of_thickness(inner, layer.thickness), given.name, index=layer.index, roughness=layer.roughness,
                contact=layer.contact,
            )  # fmt: skip
            made = film.covered(self.of(self.scene.surface(layer.over)), sheet, self.cos_in, self.cos_out)
        else:
            made = surface(
                self._body(given),
                given.name,
                index=given.gloss.index if given.gloss else None,
                roughness=given.gloss.roughness if given.gloss else given.mirror_roughness,
                mirror=None if given.mirror is None else self._curve(given.mirror, f"mirror of {given.name}"),
                fluorescent=given.fluorescent,
            )
        if given.dirt is not None:
            made = dusty(made, np.full(len(GRID), given.dirt.reflectance), given.dirt.share)
        return made

    def _body(self, given: SurfaceOf) -> Floats:
        if given.colour is not None:
            colour = given.colour
            listed = f"{colour.space}: [{', '.join(f'{value:g}' for value in colour.values)}]"
            if colour.space == "Lab" and not 0 <= colour.values[0] <= 100:
                raise _of_the_colour(given, [(f"L is 0 to 100; found {listed}", "wrong-value")])
            try:
                return reflectance(colour, listed)
            except UsageError as error:
                raise _of_the_colour(given, [(problem.message, problem.code) for problem in error.problems]) from error
        if given.spectrum is not None:
            return _on_grid(given.spectrum, given.name, None if given.fluorescent else 1.0)
        return np.full(len(GRID), given.grey or 0.0)

    def _curve(self, value: Spectrum | float, what: str) -> Floats:
        return np.full(len(GRID), value) if isinstance(value, float) else _on_grid(value, what, 1.0)


def reflectance(colour: Colour, what: str) -> Floats:
    """A smooth reflectance (N,) that has a colour under its illuminant, for its observer."""
    illuminant = illuminant_spectrum(colour.illuminant or "", GRID)
    observer = observer_curves(colour.observer or "", GRID)
    xyz = np.asarray(colour.values, float)
    if colour.space == "Lab":
        xyz = xyz_of_lab(xyz, spectra.white_of(illuminant, observer))
    return recovery.reflectance_of(xyz, illuminant, observer, what)


def xyz_of_lab(lab: Floats, white: Floats) -> Floats:
    """X, Y, Z (3,) of CIE 1976 L*a*b* (ISO/CIE 11664-4, the inverse of its equations), in the scale of `white`."""
    fy = (lab[0] + 16.0) / 116.0
    f = np.array([fy + lab[1] / 500.0, fy, fy - lab[2] / 200.0])
    return np.asarray(white * np.where(f > 6 / 29, f**3, (f - 4 / 29) * 108 / 841))
