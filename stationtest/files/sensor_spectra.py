"""The spectra that sensors name in station.yaml, read into the model: responses of their bands, and their own light."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from stationtest.errors import Problem
from stationtest.files.paths import Folder
from stationtest.files.spectrum_file import read_curves
from stationtest.files.words import listed
from stationtest.model.spectrum import SpectralBands, Spectrum
from stationtest.model.station import Sensor, Station
from stationtest.place import Place

Read = Callable[[str, str], bytes | None]
"""The bytes of a file, by its path in the folder and its role; None, and a problem told, where it cannot be opened."""


def with_spectra(station: Station, folder: Folder, read: Read) -> tuple[Station, list[Problem]]:
    """The station with the curves of every file that its sensors name, and what is wrong with those files."""
    problems: list[Problem] = []
    sensors = tuple(
        replace(sensor, spectral=_filled(sensor, sensor.spectral, folder, read, problems)) if sensor.spectral else sensor
        for sensor in station.sensors
    )
    return replace(station, sensors=sensors), problems


def _filled(sensor: Sensor, bands: SpectralBands, folder: Folder, read: Read, problems: list[Problem]) -> SpectralBands:
    if bands.responses_file:
        due = f"a column for each band of sensor {sensor.name}"
        curves = _curves(bands.responses_file, sensor.bands, due, folder, read, problems)
        bands = replace(bands, responses=tuple(curves[band] for band in sensor.bands) if curves else ())
    if bands.light_file:
        curves = _curves(bands.light_file, (), f"one curve, the light of sensor {sensor.name},", folder, read, problems)
        bands = replace(bands, light_spectrum=next(iter(curves.values()), None))
    return bands


def _curves(
    file: str, names: tuple[str, ...], due: str, folder: Folder, read: Read, problems: list[Problem]
) -> dict[str, Spectrum]:
    """The curves of a file by name: those of `names`, or one of any name. {} where something is wrong, which is told."""
    data = read(file, "spectrum")
    if data is None:
        return {}
    found = read_curves(data, file, folder.join(file))
    if isinstance(found, Problem):
        problems.append(found)
        return {}
    if sorted(found.names) != sorted(names) if names else len(found.names) != 1:
        said = f"{due} is due here; found {listed(found.names)}" + (f"; allowed {listed(names)}" if names else "")
        problems.append(Problem(Place(folder.join(file), 1, 0), "", said, "wrong-value"))
        return {}
    return dict(zip(found.names, found.curves, strict=True))
