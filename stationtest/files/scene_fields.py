"""What is written in *.scene.yaml: the light, head and bands of each sensor, surfaces, targets, the belt, sets and inputs."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from stationtest.files.fields import ByKind, Fields, said
from stationtest.files.recording_fields import ConditionName
from stationtest.files.scalars import (
    AnyDuration,
    AnyShare,
    Count,
    Duration,
    EventName,
    Frequency,
    InputName,
    Length,
    Name,
    Number,
    OneOrMore,
    OneUp,
    Positive,
    PositiveDuration,
    SensorName,
    SetName,
    Share,
    Speed,
    TargetName,
    Text,
    YesNo,
)
from stationtest.files.scene_scalars import (
    AnyLength,
    Bits,
    ChangePerKelvin,
    Hours,
    Index,
    Kelvin,
    LengthOrNone,
    NotBelow0,
    Rejection,
    Roughness,
    ShareOrFile,
    ShiftPerKelvin,
    SmallAngle,
    Wavelength,
    WavelengthSpread,
)
from stationtest.files.station_fields import ColourFields, Language


class LedFields(Fields):
    """One LED. What temperature and age do to it must be stated where a light is warmer or used."""

    peak: Wavelength
    width: Wavelength
    level: AnyShare = said("100 %")
    shift: ShiftPerKelvin | None = None
    output: ChangePerKelvin | None = None
    life: Hours | None = None


class LightFields(Fields):
    """Exactly one of illuminant, leds and spectrum; and what has become of it since the sensor was set up."""

    illuminant: Text | None = None
    leds: list[LedFields] | None = Field(default=None, min_length=1)
    spectrum: Text | None = None
    level: AnyShare = said("100 %")
    used: Hours = said("0 h")
    warmer: Kelvin = said("0 K")


class AmbientFields(Fields):
    """Light from elsewhere that falls on the target."""

    light: LightFields
    share: AnyShare
    flicker: Frequency | None = None
    depth: Share = said("0 %")
    rejection: Rejection = said("1")


class HeadFields(Fields):
    """How the head stands to the belt."""

    standoff: Length
    spot: Length | None = None
    light: SmallAngle = said("0 deg")
    view: SmallAngle = said("0 deg")
    light_cone: SmallAngle = said("10 deg")
    view_cone: SmallAngle = said("10 deg")
    depth_of_focus: Length | None = None


class BandSpreadFields(Fields):
    """How units of this type differ: standard deviations."""

    peaks: WavelengthSpread = said("0 nm")
    gains: AnyShare = said("0 %")


class BandsFields(Fields):
    """Either peaks and widths, or a file of responses."""

    peaks: list[Wavelength] | None = Field(default=None, min_length=1)
    widths: list[Wavelength] | None = Field(default=None, min_length=1)
    responses: Text | None = None
    spread: BandSpreadFields = Field(default_factory=BandSpreadFields)
    unit: Text | None = None


class SceneSensorFields(Fields):
    """A sensor of the station: what station.yaml does not say of it, since it is not the user's to set."""

    light: LightFields
    head: HeadFields
    bands: BandsFields
    white: Share | None = None
    balanced: YesNo = said("yes")
    dark: list[Number] | None = None
    bits: Bits | None = None
    electrons: Positive
    read_noise: NotBelow0 = said("0")
    samples: OneUp = said("1")
    averages: OneUp = said("1")
    exposure: Duration = said("0 ms")
    ambient: AmbientFields | None = None


class GlossFields(Fields):
    """A clear boundary."""

    index: Index
    roughness: Roughness


class MirrorFields(Fields):
    """A metal."""

    reflectance: ShareOrFile
    roughness: Roughness


class FilmFields(Fields):
    """A film or liquid over another surface."""

    over: Text
    transmittance: ShareOrFile
    measured: Literal["alone", "in air"] = said("alone")
    index: Index
    roughness: Roughness
    lies: Literal["loose", "in contact"]
    thickness: Positive = said("1")


class TextureFields(Fields):
    """Patches of one brightness."""

    patch: Length
    amount: AnyShare


class DirtFields(Fields):
    """Matt dust on a share of the area."""

    share: Share
    reflectance: Share


class SurfaceFields(Fields):
    """What a surface is made of."""

    colour: ColourFields | None = None
    spectrum: Text | None = None
    grey: Share | None = None
    mirror: MirrorFields | None = None
    film: FilmFields | None = None
    gloss: GlossFields | None = None
    texture: TextureFields | None = None
    dirt: DirtFields | None = None
    fluorescent: YesNo = said("no")


class SpreadFields(Fields):
    """Standard deviations from specimen to specimen."""

    L: NotBelow0 = said("0")
    a: NotBelow0 = said("0")
    b: NotBelow0 = said("0")
    gloss: AnyShare = said("0 %")


class CylinderFields(Fields):
    """A round part."""

    radius: Length
    axis: Literal["along", "across"]


class RibFields(Fields):
    """A raised rib or seam across the travel."""

    at: Length
    width: Length
    height: Length
    flanks: SmallAngle
    lean: SmallAngle = said("0 deg")


class TiltFields(Fields):
    """How a target lies."""

    along: SmallAngle = said("0 deg")
    across: SmallAngle = said("0 deg")


class SceneTargetFields(Fields):
    """A target of the station, as it lies on the belt."""

    length: Length
    surface: Text | None = None
    specimens: Annotated[Any, ByKind(text=OneUp, items=Annotated[list[Name], Field(min_length=1)])] | None = None
    spread: SpreadFields = Field(default_factory=SpreadFields)
    cylinder: CylinderFields | None = None
    rib: RibFields | None = None
    raised: AnyLength = said("0 mm")
    sideways: AnyLength = said("0 mm")
    tilt: TiltFields = Field(default_factory=TiltFields)


class GapFields(Fields):
    """An even spread of gaps."""

    from_: LengthOrNone
    to: LengthOrNone


class OrderFields(Fields):
    """Exactly one of random (each as likely) and weighted."""

    random: list[Text] | None = Field(default=None, min_length=1)
    weighted: dict[Text, Positive] | None = Field(default=None, min_length=1)


class JitterFields(Fields):
    """Standard deviations from presentation to presentation."""

    height: LengthOrNone = said("0 mm")
    tilt: SmallAngle = said("0 deg")
    sideways: LengthOrNone = said("0 mm")


class BeltFields(Fields):
    """What comes past the sensor."""

    speed: Speed | None = None
    gap: Annotated[Any, ByKind(text=LengthOrNone, mapping=GapFields)]
    order: Annotated[Any, ByKind(items=Annotated[list[Text], Field(min_length=1)], mapping=OrderFields)]
    count: OneUp | None = None
    lasts: PositiveDuration | None = None
    lead: LengthOrNone = said("200 mm")
    jitter: JitterFields = Field(default_factory=JitterFields)


class DefectFields(Fields):
    """Exactly one of missing, wrong (with by) and doubled; in a share of the sets or in those numbered."""

    missing: Text | None = None
    wrong: Text | None = None
    doubled: Text | None = None
    by: TargetName | None = None
    share: Share | None = None
    sets: OneOrMore[OneUp] | None = None


class SceneSetFields(Fields):
    """How the members of a set lie on the belt."""

    order: Literal["in turn", "shuffled"] = said("in turn")
    gap: LengthOrNone | None = None
    defects: list[DefectFields] = Field(default_factory=list)


class SceneInputFields(Fields):
    """When an input is on: at the start or end of something, at times, or during something."""

    at: Literal["start", "end"] | None = None
    of: OneOrMore[Text] | None = None
    times: OneOrMore[Duration] | None = None
    during: OneOrMore[Text] | None = None
    offset: AnyDuration = said("0 ms")
    lasts: PositiveDuration | None = None


class SceneFields(Fields):
    """*.scene.yaml: a description from which readings are simulated."""

    language: Language = said("1")
    title: Text | None = None
    seed: Count = said("0")
    every: PositiveDuration
    background: Text | None = None
    sensors: dict[SensorName, SceneSensorFields] = Field(min_length=1)
    surfaces: dict[Name, SurfaceFields] = Field(min_length=1)
    targets: dict[TargetName, SceneTargetFields] = Field(min_length=1)
    belt: BeltFields
    sets: dict[SetName, SceneSetFields] = Field(default_factory=dict)
    conditions: dict[ConditionName, Text] = Field(default_factory=dict)
    events: dict[EventName, OneOrMore[AnyDuration]] = Field(default_factory=dict)
    inputs: dict[InputName, SceneInputFields] = Field(default_factory=dict)
