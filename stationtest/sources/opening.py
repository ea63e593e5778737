"""What a path leads to: a recorded file or folder, a recording of several tables, or a scene."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from stationtest.model.case import Suite
from stationtest.model.endings import has_tables, is_scene
from stationtest.model.parts import ReadingFormatPart
from stationtest.sources.formats import form_of, reader_of
from stationtest.sources.readings import Readings
from stationtest.sources.recorded import Recording
from stationtest.sources.units_line import agrees


def open_recording(suite: Suite, path: str, formats: Mapping[str, ReadingFormatPart]) -> Readings:
    """The recording, or the scene, at a path relative to the station folder.

    Raises `ReadingsError`: no form fits ('no-form'), no such file ('no-file'), a mapped column is not there ('missing-column'),
    or the file is not as its form says ('bad-dialect', 'empty-recording').
    """
    if has_tables(path):
        from stationtest.sources.several_tables import open_tables

        return open_tables(suite, path, formats)
    if is_scene(path):
        from stationtest.sources.scenes.opened import open_scene

        return open_scene(suite, path)
    form = form_of(suite.station, path)
    part, readers = reader_of(Path(suite.folder) / path, path, form, formats)
    for name, reader in readers:
        agrees(reader, name, form, "time.in")
    return Recording(suite, path, form, part, readers, formats)
