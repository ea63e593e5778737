"""A scene with the face of a recording: the same batches on the same grid, and any part of it again."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from stationtest.errors import FileProblems, Problem, readings_error
from stationtest.model.case import Suite
from stationtest.model.recording_form import RecordingForm
from stationtest.model.scene import Scene
from stationtest.model.travel import NM, Travel
from stationtest.signals.batch import GRID, Batch, Listed
from stationtest.sources.scenes.optical import optics_of
from stationtest.sources.scenes.sensed import Sensed
from stationtest.sources.scenes.timeline import Timeline, driven, names_of_specimens, timeline

if TYPE_CHECKING:
    from stationtest.sources.logged import Key, Logged
    from stationtest.sources.worlds import World

VERSION = 1
GAP = 2  # readings: a scene has no gaps, and what it is written out as says so in the same way


class OpenedScene:
    """One scene. It has what `sources.recorded.Recording` has of a stream, and `kind` says what it is."""

    kind: str = "scene"
    simulated: bool = True

    def __init__(self, suite: Suite, scene: Scene) -> None:
        (given,) = scene.sensors
        self.suite, self.scene, self.path = suite, scene, scene.path
        self.form = RecordingForm(
            pattern=scene.path, every_ns=scene.every_ns, gap_ns=GAP * scene.every_ns,
            conditions=tuple((name, name) for name, _ in scene.conditions),
        )  # fmt: skip
        self.reader: dict[str, Any] = {"name": "scene", "version": VERSION, "seed": scene.seed}
        self.sensors: tuple[str, ...] = (given.name,)
        self.origin_ns = 0
        self.travel: Travel | None = Travel(speed_nm_s=scene.belt.speed_mm_s * NM)
        self.origin: str | None = None
        self.optics = optics_of(scene, given, suite.station.sensor(given.name))
        self.line: Timeline = timeline(scene, self.optics.head.spot_mm)
        self._tell_apart()
        self.rows_hint: int | None = self.line.rows
        self._sensed = Sensed(scene, self.optics, self.line)
        self._driven = driven(scene, self.line)
        specimens, self._first_specimen = names_of_specimens(scene)
        sets = [str(number + 1) for number in range(len(self.line.set_kind))]
        self.tables = {"target": [target.name for target in scene.targets], "specimen": specimens}
        if scene.sets:
            self.tables["set"] = sets
        self.tables |= {name: [value] for name, value in scene.conditions}
        self.events = scene.events

    def _tell_apart(self) -> None:
        """Neighbours that touch must differ in something, or truth would take them for one presentation (A23)."""
        line = self.line
        same = (line.target[1:] == line.target[:-1]) & (line.specimen[1:] == line.specimen[:-1]) & (line.set[1:] == line.set[:-1])
        merged = np.flatnonzero(same & (line.start_ns[1:] - line.end_ns[:-1] < self.scene.every_ns))
        if len(merged):
            target = self.scene.targets[int(line.target[merged[0]])]
            said = (
                f"one specimen of {target.name} follows itself without a reading between them (presentations {merged[0] + 1} and "
                f"{merged[0] + 2}); give it more specimens, or the belt a wider gap"
            )
            raise FileProblems(Problem(target.place, "specimens", said, "contradiction"))

    def batches(self) -> Iterator[Batch]:
        """The whole stream in grid cells."""
        for cell in range(-(-self.line.rows // GRID)):
            yield self.cell(cell)

    def seek(self, start_ns: int, end_ns: int) -> Iterator[Batch]:
        """The grid cells that hold rows of [start, end), made again."""
        every = self.scene.every_ns * GRID
        cells = -(-self.line.rows // GRID)
        for cell in range(max(start_ns // every, 0), min(-(-end_ns // every), cells)):
            yield self.cell(cell)

    def cell(self, cell: int) -> Batch:
        """The rows of one grid cell, alone."""
        first, last = cell * GRID, min((cell + 1) * GRID, self.line.rows)
        t_ns = np.arange(first, last, dtype=np.int64) * self.scene.every_ns
        digital = {}
        for name, on in self._driven.items():
            which = np.searchsorted(on[:, 0], t_ns, "right") - 1
            digital["input", name] = (which >= 0) & (t_ns < on[np.maximum(which, 0), 1]) if len(on) else np.zeros(len(t_ns), bool)
        return Batch(
            first,
            t_ns,
            {self.sensors[0]: tuple(self._sensed.counts(cell))},  # type: ignore[dict-item]
            digital,  # type: ignore[arg-type]
            self._codes(t_ns),
            self.tables,
            len(t_ns),
        )

    def _codes(self, t_ns: np.ndarray) -> dict[str, np.ndarray]:
        line = self.line
        which = np.searchsorted(line.start_ns, t_ns, "right") - 1
        there = (which >= 0) & (t_ns < line.end_ns[np.maximum(which, 0)])
        which = np.maximum(which, 0)
        specimen = np.array(self._first_specimen, np.int64)[line.target] + line.specimen
        columns = {"target": line.target, "specimen": specimen}
        if "set" in self.tables:
            columns["set"] = line.set
        constant = {name: np.zeros(len(t_ns), np.int32) for name, _ in self.scene.conditions}
        return constant | {name: np.where(there, column[which], -1).astype(np.int32) for name, column in columns.items()}

    worlds: Sequence[World] = ()
    truth_within_ns = 0
    composed_of: dict[str, Any] | None = None

    def listed(self, world: World | None = None) -> Listed | None:
        """Presentations stand in the rows."""
        return None

    def logged(self, world: World | None = None) -> Mapping[Key, Logged]:
        """Signals stand in the rows."""
        return {}

    @property
    def notes(self) -> list[str]:
        """Nothing is known of a scene but what it says."""
        return []

    def trials(self) -> Batch:
        """A scene has times."""
        raise readings_error(self.path, 0, "", "a scene is no table of trials by hand", "no-form")


def open_scene(suite: Suite, path: str) -> OpenedScene:
    """The scene at a path relative to the station folder. Raises `ReadingsError` ('no-file') if the suite did not read it."""
    scene = next((scene for scene in suite.scenes if scene.path == path), None)
    if scene is None:
        raise readings_error(path, 0, "readings", "this scene was not read with the station", "no-file")
    return OpenedScene(suite, scene)
