"""A scene: the light, head, surfaces, belt and inputs from which readings are simulated. What is meant, not how it is computed.

Lengths in mm, angles in degrees, wavelengths in nm, durations in integer nanoseconds, shares from 0 to 1. `slopes` of tilts go
along and across the travel. Order is kept in tuples.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from stationtest.model.events import Event
from stationtest.model.spectrum import Spectrum
from stationtest.model.station import Colour
from stationtest.place import NOWHERE, Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Led:
    """One LED of a light; see `optics.light.Led`. `life_h`: hours after which 70 % of its light is left."""

    peak_nm: float
    width_nm: float
    level: float = 1.0
    shift_nm_per_k: float | None = None
    output_per_k: float | None = None
    life_h: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """Exactly one of `illuminant`, `spectrum` and `leds`. `level`, `hours` and `kelvin` say what has become of it since the
    sensor was set up."""

    illuminant: str | None = None
    spectrum: Spectrum | None = None
    leds: tuple[Led, ...] = ()
    level: float = 1.0
    hours: float = 0.0
    kelvin: float = 0.0
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Ambient:
    """Light from elsewhere: its spectrum, its power on the target as a share of the sensor's own light, and its flicker."""

    light: Light
    share: float
    flicker_hz: float = 0.0
    depth: float = 0.0
    rejection: float = 1.0
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """The geometry of a head; see `optics.geometry.Head`. `spot_mm` None: that of the station."""

    standoff_mm: float
    spot_mm: float | None = None
    light_deg: float = 0.0
    view_deg: float = 0.0
    light_half_deg: float = 5.0
    view_half_deg: float = 5.0
    depth_of_focus_mm: float | None = None
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Bands:
    """Either peaks and full widths at half height, or a response file's columns."""

    peaks_nm: tuple[float, ...] = ()
    widths_nm: tuple[float, ...] = ()
    responses: tuple[Spectrum, ...] = ()
    peak_sd_nm: float = 0.0
    gain_sd: float = 0.0
    unit: str = ""
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneSensor:
    """One sensor of the station as the scene has it. `white_level` None: white reads what the station says. `dark` None: that of
    the station. `averages`: readings in the moving mean (1: none)."""

    name: str
    light: Light
    head: Head
    bands: Bands
    bits: int
    electrons: float
    read_noise: float = 0.0
    samples: int = 1
    averages: int = 1
    exposure_ns: int = 0
    white_level: float | None = None
    balanced: bool = True
    dark: tuple[float, ...] | None = None
    ambient: Ambient | None = None
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Gloss:
    """A clear boundary: refractive index and roughness (0 polished, 0.3 and above dull)."""

    index: float
    roughness: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """A film or liquid over another surface: the transmittance of its material, or `in_air` that through the film itself with its
    two boundaries, and how it lies."""

    over: str
    transmittance: Spectrum | float
    in_air: bool = False
    index: float
    roughness: float
    contact: bool
    thickness: float = 1.0
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Texture:
    """Patches of one brightness: their size, and the standard deviation of brightness under a very small spot."""

    patch_mm: float
    amount: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Dirt:
    """Matt dust of a grey reflectance on a share of the area."""

    share: float
    reflectance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceOf:
    """What a surface is made of: exactly one of `colour`, `spectrum`, `grey` and `layer`, or `mirror` alone or beside one."""

    name: str
    colour: Colour | None = None
    spectrum: Spectrum | None = None
    grey: float | None = None
    mirror: Spectrum | float | None = None
    mirror_roughness: float | None = None
    gloss: Gloss | None = None
    layer: Layer | None = None
    texture: Texture | None = None
    dirt: Dirt | None = None
    fluorescent: bool = False
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Rib:
    """A raised rib or seam across the travel, its middle `at_mm` behind the leading edge."""

    at_mm: float
    width_mm: float
    height_mm: float
    flank_deg: float
    lean_deg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """A cylinder; `along`: its axis lies along the travel, else across."""

    radius_mm: float
    along: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Standard deviations from specimen to specimen: of L*, a*, b*, and of the gloss (a share)."""

    L: float = 0.0
    a: float = 0.0
    b: float = 0.0
    gloss: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneTarget:
    """A target of the station as the scene has it. `specimens` are the names of its parts, presented in turn."""

    name: str
    surface: str
    length_mm: float
    specimens: tuple[str, ...] = ()
    spread: Spread = field(default_factory=Spread)
    cylinder: Round | None = None
    rib: Rib | None = None
    raised_mm: float = 0.0
    sideways_mm: float = 0.0
    tilt_along_deg: float = 0.0
    tilt_across_deg: float = 0.0
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Defect:
    """What is wrong with some sets. `what` is missing, wrong or doubled; `member` may be 'any'. Either a `share` of the sets or
    their numbers, counted from 1."""

    what: str
    member: str
    by: str | None = None
    share: float | None = None
    sets: tuple[int, ...] = ()
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneSet:
    """How the members of a set of the station lie on the belt. `gap_mm`: empty belt after the set."""

    name: str
    members: tuple[tuple[str, int], ...]
    shuffled: bool = False
    gap_mm: float | None = None
    defects: tuple[Defect, ...] = ()
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Jitter:
    """Standard deviations from presentation to presentation."""

    height_mm: float = 0.0
    tilt_deg: float = 0.0
    sideways_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Belt:
    """What comes past: `order` holds names of targets or sets, in turn, or drawn by `weights` where there are any; exactly one
    of `count` (of entries) and `lasts_ns`. The gap is even between `gap_mm[0]` and `gap_mm[1]`."""

    speed_mm_s: float
    gap_mm: tuple[float, float]
    order: tuple[str, ...]
    weights: tuple[float, ...] = ()
    count: int | None = None
    lasts_ns: int | None = None
    lead_mm: float = 200.0
    jitter: Jitter = field(default_factory=Jitter)
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneInput:
    """When an input of the station is on. `at` is 'start' or 'end' of what `of` names, 'times', or 'during' what `of` names."""

    name: str
    at: str
    of: tuple[str, ...] = ()
    times_ns: tuple[int, ...] = ()
    offset_ns: int = 0
    lasts_ns: int = 0
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A whole scene. `path` is relative to the station folder; `background` names the surface that the spot sees between."""

    path: str
    title: str | None = None
    seed: int = 0
    every_ns: int
    background: str
    sensors: tuple[SceneSensor, ...]
    surfaces: tuple[SurfaceOf, ...]
    targets: tuple[SceneTarget, ...]
    belt: Belt
    sets: tuple[SceneSet, ...] = ()
    inputs: tuple[SceneInput, ...] = ()
    conditions: tuple[tuple[str, str], ...] = ()  # the same for the whole scene
    events: tuple[Event, ...] = ()  # in order of time
    files: tuple[str, ...] = ()  # the spectra that it names, relative to the station folder
    place: Place = NOWHERE

    def surface(self, name: str) -> SurfaceOf:
        return next(surface for surface in self.surfaces if surface.name == name)

    def target(self, name: str) -> SceneTarget:
        return next(target for target in self.targets if target.name == name)
