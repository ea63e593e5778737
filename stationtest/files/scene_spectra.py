"""The spectra that a scene names: read from its folder, each once, and checked."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from stationtest.errors import Problem
from stationtest.files import scene_fields as written
from stationtest.files.field_problems import locate
from stationtest.files.paths import Folder
from stationtest.files.spectrum_file import Curves, read_curves
from stationtest.files.tree import Map, Tree
from stationtest.model.spectrum import Spectrum
from stationtest.model.station import Station
from stationtest.place import Place

Read = Callable[[str], bytes | None]
"""The bytes of a file of the folder."""


class Spectra:
    """The spectra that a scene names, each file read once."""

    def __init__(self, tree: Tree, root: Map, file: str, folder: Folder, read: Read) -> None:
        self.tree, self.root, self.file, self.folder, self.read = tree, root, file, folder, read
        self.problems: list[Problem] = []
        self.curves: dict[str, Curves] = {}

    @property
    def files(self) -> tuple[str, ...]:
        return tuple(self.curves)

    def one(self, named: str) -> Spectrum:
        """The curve of a file that has one."""
        return self.curves[self.folder.relative(named, self.file)].curves[0]

    def several(self, named: str) -> tuple[Spectrum, ...]:
        return self.curves[self.folder.relative(named, self.file)].curves

    def read_all(self, fields: written.SceneFields, station: Station) -> None:
        for name, sensor in fields.sensors.items():
            self._take(("sensors", name, "light", "spectrum"), sensor.light.spectrum)
            if sensor.ambient:
                self._take(("sensors", name, "ambient", "light", "spectrum"), sensor.ambient.light.spectrum)
            self._take(("sensors", name, "bands", "responses"), sensor.bands.responses, curves=len(station.sensor(name).columns))
        for name, surface in fields.surfaces.items():
            most = None if surface.fluorescent else 1.0
            self._take(("surfaces", name, "spectrum"), surface.spectrum, most=most)
            if surface.mirror:
                self._take(("surfaces", name, "mirror", "reflectance"), surface.mirror.reflectance, most=1.0)
            if surface.film:
                self._take(("surfaces", name, "film", "transmittance"), surface.film.transmittance, most=1.0)

    def _take(self, loc: tuple[str, ...], named: Any, *, most: float | None = None, curves: int = 1) -> None:
        if not isinstance(named, str):
            return
        relative = self.folder.relative(named, self.file)
        if relative not in self.curves:
            problem = self.folder.problem(relative)
            data = None if problem else self.read(relative)
            if problem or data is None:
                if problem:
                    self._refuse(loc, *problem)
                return
            found = read_curves(data, relative, self.folder.join(relative))
            if isinstance(found, Problem):
                self.problems.append(found)
                return
            self.curves[relative] = found
        held = self.curves[relative]
        if len(held.curves) != curves:
            due = "one curve is" if curves == 1 else f"{curves} curves, one for each band, are"
            self._refuse(loc, f"{due} due here; found {', '.join(held.names)} in {named}", "wrong-value")
        above = held.above(most) if most is not None else None
        if above:
            line, nm, value = above
            hint = "is it in per cent?" if value > 2 else "only a fluorescent surface can be, and must say so (fluorescent: yes)"
            place = Place(self.folder.join(relative), line, 0)
            self.problems.append(Problem(place, "", f"{value:g} at {nm:g} nm is above 1; {hint}", "wrong-value"))

    def _refuse(self, loc: tuple[str, ...], message: str, code: str) -> None:
        _, at, path = locate(self.root, loc)
        self.problems.append(Problem(Place(self.tree.path, at.line, at.column), ".".join(path), message, code))
