"""What is wrong beside the readings of a recording, found without observing it: tables, lists, events, corrections, register.

Of the stream only the first rows are read; where corrections or a register speak of what it presents, its columns of truth too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np

from stationtest.engine import correcting, register
from stationtest.engine.facts import facts_of, way_is_there
from stationtest.engine.hand_trials import presented_trials
from stationtest.engine.presented import presented
from stationtest.errors import Problem, StationtestError, told_in
from stationtest.files.paths import beside_recording, matches
from stationtest.model.case import Suite
from stationtest.model.endings import has_tables
from stationtest.model.observations import Presentations
from stationtest.model.parts import Parts
from stationtest.model.recording_form import RecordingForm
from stationtest.signals.batch import Listed
from stationtest.signals.presentations import builder_for
from stationtest.sources.events import read_events
from stationtest.sources.opening import open_recording
from stationtest.sources.recorded import Recording

FOLDER = "recordings"
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Truth:
    """What a recording presents, without its readings."""

    key: str
    kind: str
    presentations: Presentations


def not_named(suite: Suite) -> list[str]:
    """The files in recordings/ that an entry fits, or that declare tables, and that no case names; without those that lie beside
    another recording, as its table, its list or its events."""
    folder = Path(suite.folder) / FOLDER
    files = sorted(file for file in folder.rglob("*") if file.is_file()) if folder.is_dir() else []
    found = [file.relative_to(suite.folder).as_posix() for file in files if not file.name.startswith(".")]
    named = dict.fromkeys([*suite.readings(), *found])
    beside = {path for recording in named for path in _beside(suite, recording)}
    beside |= {one.path for one in suite.files}
    return [
        path for path in found
        if path not in beside and path not in suite.readings() and (has_tables(path) or form_of(suite, path) is not None)
    ]  # fmt: skip


def form_of(suite: Suite, path: str) -> RecordingForm | None:
    """The entry under `recordings:` that fits a path."""
    return next((form for form in suite.station.recordings if matches(path, form.pattern)), None)


def _beside(suite: Suite, recording: str) -> Iterator[str]:
    """The files that the form of a recording, or the file that declares its tables, names."""
    if has_tables(recording):
        from stationtest.files.paths import Folder
        from stationtest.files.recording_file import opened

        try:
            tables = opened(Folder(suite.folder, suite.allow_outside), recording, suite.station)
        except StationtestError:
            return  # told where that file itself is looked over
        yield from (table.path for table in tables.tables)
        if tables.events_path:
            yield tables.events_path
    elif (form := form_of(suite, recording)) is not None:
        lists = form.presentations_path, form.gate.list_path if form.gate else None, form.events_path
        yield from (beside_recording(path, recording) for path in lists if path)


def all_there(suite: Suite, key: str) -> bool:
    """Whether every file that belongs beside a recording is there."""
    return all((Path(suite.folder) / path).is_file() for path in _beside(suite, key))


def problems(suite: Suite, key: str, parts: Parts, *, named: bool = True) -> list[Problem]:
    """Everything that is wrong with what lies beside a recording. Of one that no case names, files that are not there may come
    later."""
    try:
        recording = open_recording(suite, key, parts.formats)
    except StationtestError as error:
        return list(told_in(suite.folder, error))
    if not named and not all_there(suite, key):
        return []
    found: list[Problem] = []
    listed = _tried(suite.folder, recording.listed, found)
    _tried(suite.folder, lambda: read_events(recording), found)
    _tried(suite.folder, lambda: way_is_there(recording), found)
    spoken_of = any(one.recording == key for one in suite.corrections) or bool(suite.specimens)
    if found or not spoken_of or not isinstance(recording, Recording):
        return found
    truth = _tried(suite.folder, lambda: _truth(suite, recording, listed), found)
    if truth is not None:
        found += correcting.problems(suite, truth)
        found += [] if found else register.contradictions(suite, key, correcting.presented(suite, truth))
    return found


def _tried(folder: str, what: Callable[[], T], found: list[Problem]) -> T | None:
    try:
        return what()
    except StationtestError as error:
        found += told_in(folder, error)
        return None


def _truth(suite: Suite, recording: Recording, listed: Listed | None) -> Truth:
    if recording.form.rows == "trials":
        return Truth(recording.path, "trials", presented_trials(suite, recording, recording.trials()))
    builder = builder_for(facts_of(suite.station, recording), listed)
    for _ in builder.walk(recording.truth_pass()):
        pass
    table = builder.finish()
    sensor = np.array([suite.station.sensor_number(name) for name in table.sensors])[table.sensor]
    return Truth(recording.path, "stream", presented(suite.station, table, sensor, table.status, table.set, {}, {}))
