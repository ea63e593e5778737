"""What must hold within one sensor of a station file: its bands and their columns, its counts, and what calibrates it."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

from stationtest.files.paths import Folder
from stationtest.files.station_fields import BANDS, SensorFields, SpectralFields
from stationtest.files.suggest import allowed_words, nearest
from stationtest.files.words import listed
from stationtest.model.spectrum import CIE_ILLUMINANTS

Told = tuple[tuple[str | int, ...], str, str]

LAST_FIRST_NM, FIRST_LAST_NM = 480.0, 600.0
"""Where the first centre must lie at most, and the last at least, as `optics.band_sensors` demands."""

ILLUMINANTS = ("A", "B", "C", "D50", "D55", "D60", "D65", "D75", "E", "FL2", "FL7", "FL11")


def bands_of(sensor: SensorFields) -> tuple[str, ...]:
    """The names of a sensor's bands, in order: those of what it reads, or the user's own."""
    return BANDS.get(sensor.reads) or tuple(sensor.columns)


def number_of_each(values: Any, bands: tuple[str, ...]) -> tuple[float, ...]:
    """Numbers in the order of the bands, of a list or a mapping by band that has been checked."""
    return tuple(values) if isinstance(values, list) else tuple(values[band] for band in bands)


def sensor_problems(sensor: SensorFields, folder: Folder) -> Iterator[Told]:
    """The key, what is wrong, and the code."""
    bands, given = bands_of(sensor), tuple(sensor.columns)
    if set(given) != set(bands):
        yield (
            ("columns",),
            f"a sensor that reads {sensor.reads} has one column for each of its bands; found {listed(given) or 'none'}; "
            f"allowed {listed(bands)}",
            "wrong-value",
        )
    elif len(bands) < 3:
        yield (
            ("columns",),
            f"a sensor that reads bands has at least three, each with its column; found {listed(given) or 'none'}",
            "wrong-value",
        )
    if len(set(sensor.columns.values())) < len(given):
        yield ("columns",), "two bands are read from one column; each band has a column of its own", "contradiction"
    if sensor.reads in ("XYZ", "CIELAB"):
        yield from _colours(sensor)
    else:
        wrong = list(_one_each(sensor, bands))
        yield from wrong or _counts(sensor, bands)
    if sensor.bands:
        yield from _spectral(sensor, sensor.bands, bands, folder)
    elif sensor.illuminant and not sensor.white_point and sensor.illuminant not in ILLUMINANTS:
        yield (
            ("illuminant",),
            f"this illuminant is not known, so its white point must be stated; found {sensor.illuminant}; "
            f"allowed {', '.join(ILLUMINANTS)}, or any name with `white_point: [X, Y, Z]`",
            "wrong-value",
        )
    if sensor.white_point and min(sensor.white_point) <= 0:
        yield ("white_point",), "a white point has three values above 0", "wrong-value"


def _colours(sensor: SensorFields) -> Iterator[Told]:
    for key in ("dark", "white", "to_xyz", "full_scale", "clips_at", "level", "when_dark"):
        if getattr(sensor, key) is not None:
            yield (key,), f"this belongs to counts, and the sensor reads {sensor.reads}; leave the line out", "contradiction"
    for key in ("illuminant", "observer"):
        if getattr(sensor, key) is None:
            yield (
                (key,),
                f"this key is missing; {sensor.reads} readings are made under some illuminant and observer",
                "missing-key",
            )


def _one_each(sensor: SensorFields, bands: tuple[str, ...]) -> Iterator[Told]:
    """What should have one number a band has another number of them, or other names."""
    for key in ("dark", "white"):
        values = getattr(sensor, key)
        if isinstance(values, dict) and set(values) != set(bands):
            yield (key,), f"counts have one number for each band; found {listed(values)}; allowed {listed(bands)}", "wrong-value"
        elif isinstance(values, list) and len(values) != len(bands):
            yield (
                (key,),
                f"counts have one number for each band, in the order {listed(bands)}; found {len(values)}; allowed {len(bands)}",
                "wrong-value",
            )
    for number, row in enumerate(sensor.to_xyz or ()):
        if len(row) != len(bands):
            yield (
                ("to_xyz", number),
                f"each row has one number for each band, in the order {listed(bands)}; found {len(row)}; allowed {len(bands)}",
                "wrong-value",
            )


def _counts(sensor: SensorFields, bands: tuple[str, ...]) -> Iterator[Told]:
    dark, white = (
        number_of_each(counts, bands) if counts is not None else None for counts in (sensor.dark, sensor.white)
    )
    if white and any(light <= black for light, black in zip(white, dark or (0,) * len(white), strict=True)):
        yield ("white",), "white must be above dark in every band", "contradiction"
    if sensor.full_scale is None:
        for key in ("clips_at", "level", "when_dark"):
            if getattr(sensor, key) is not None:
                yield (key,), "levels are shares of the full scale; `full_scale:` is missing", "missing-key"
    elif sensor.clips_at and sensor.clips_at > sensor.full_scale:
        yield ("clips_at",), f"readings cannot clip above the full scale of {sensor.full_scale:g}", "contradiction"
    elif dark and max(dark) >= sensor.full_scale:
        yield ("dark",), f"dark must be below the full scale of {sensor.full_scale:g}", "contradiction"
    if sensor.to_xyz is not None or sensor.bands is not None:
        for key, why in (
            ("white", "XYZ is made of counts relative to the white reference"),
            ("illuminant", "XYZ is made for some illuminant"),
            ("observer", "XYZ is made for some observer"),
        ):
            if getattr(sensor, key) is None:
                yield (key,), f"this key is missing; {why}", "missing-key"
    level = sensor.level
    if level and level.at_least is not None and level.at_most is not None and level.at_least >= level.at_most:
        yield ("level",), "at_least must be below at_most", "contradiction"


def _spectral(sensor: SensorFields, given: SpectralFields, bands: tuple[str, ...], folder: Folder) -> Iterator[Told]:
    """`bands:`, from which the matrix to XYZ is worked out."""
    if sensor.reads != "bands":
        yield ("bands",), f"this belongs to a sensor that reads bands, and this one reads {sensor.reads}", "contradiction"
        return
    if sensor.to_xyz is not None:
        yield ("to_xyz",), "what the bands see gives the matrix; state either `bands` or `to_xyz`", "contradiction"
    if (given.centres is None) == (given.responses is None):
        said = "bands are given either by their centres or by a file of responses"
        yield ("bands",), said, "missing-key" if given.centres is None else "contradiction"
    elif given.centres is not None:
        yield from _centres(given, given.centres, bands)
    else:
        yield from _responses(given, folder)
    if sensor.illuminant and sensor.illuminant not in CIE_ILLUMINANTS:
        yield ("illuminant",), _no_illuminant(sensor.illuminant), "unknown-name"


def _centres(given: SpectralFields, centres: list[float], bands: tuple[str, ...]) -> Iterator[Told]:
    at = ("bands", "centres")
    if len(centres) != len(bands):
        yield at, f"there is one centre for each band; found {len(centres)}; allowed {len(bands)}", "wrong-value"
    elif any(after <= before for before, after in pairwise(centres)):
        yield at, f"centres rise from band to band, and columns with them; found {_nm(centres)}", "wrong-value"
    elif centres[0] > LAST_FIRST_NM or centres[-1] < FIRST_LAST_NM:
        yield (
            at,
            f"these do not cover what the observer sees; found {centres[0]:g} to {centres[-1]:g} nm; allowed a first centre of "
            f"at most {LAST_FIRST_NM:g} nm and a last of at least {FIRST_LAST_NM:g} nm",
            "wrong-value",
        )
    for key in ("light", "alike_over"):
        if getattr(given, key) is not None:
            yield ("bands", key), "this belongs to `responses`; leave the line out", "contradiction"


def _responses(given: SpectralFields, folder: Folder) -> Iterator[Told]:
    for key, why in (
        ("light", "what a band sees is its response times the sensor's own light"),
        ("alike_over", "it says how far along the spectrum the reflectances of these targets keep alike; usual are 50 to 150 nm"),
    ):
        if getattr(given, key) is None:
            yield ("bands", key), f"this key is missing; {why}", "missing-key"
    if given.responses and (problem := folder.problem(folder.relative(given.responses, ""))):
        yield ("bands", "responses"), *problem
    if given.light and given.light not in CIE_ILLUMINANTS:
        problem = folder.problem(folder.relative(given.light, ""))
        if problem and problem[1] == "no-file":
            yield ("bands", "light"), f"{_no_illuminant(given.light)}, or the path of a spectrum", "unknown-name"
        elif problem:
            yield ("bands", "light"), *problem


def _no_illuminant(found: str) -> str:
    near = nearest(found, CIE_ILLUMINANTS)
    hint = f"; did you mean `{near}`?" if near else ""
    return f"no CIE illuminant has this name{hint}; found {found}; allowed {allowed_words(CIE_ILLUMINANTS)}"


def _nm(values: list[float]) -> str:
    return ", ".join(f"{value:g}" for value in values) + " nm"
