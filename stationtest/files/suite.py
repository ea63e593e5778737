"""A station folder to a `Suite`: all files read and typed, or one list of every problem of every file."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from stationtest import collector
from stationtest.errors import FileProblems, Problem, UsageError, usage
from stationtest.files import digest
from stationtest.files.names import Names
from stationtest.files.paths import Folder, beside_recording, matches, open_file
from stationtest.files.scene_files import read_scenes, scene_files
from stationtest.files.station_file import FILE, StationFile, read_station
from stationtest.files.suggest import allowed_words
from stationtest.files.tree import MAX_BYTES, Tree, parse
from stationtest.files.words import shown
from stationtest.model.case import Case, InputFile, RunFacts, Suite
from stationtest.model.correction import Correction
from stationtest.model.endings import has_tables, is_scene
from stationtest.model.parts import ExpectationPart, resolve
from stationtest.model.station import GRADES, Requirement, Specimen, Station
from stationtest.place import NOWHERE, Place

if TYPE_CHECKING:
    from stationtest.model.scene import Scene
    from stationtest.model.settings_found import SettingsFound

CASES, SUFFIX = "cases", ".case.yaml"


def find_station(path: str) -> str:
    """The folder of the nearest station.yaml at or above a file or folder. UsageError 'no-station' if there is none."""
    at = os.path.abspath(path)
    while True:
        if os.path.isfile(os.path.join(at, FILE)):
            return at
        above = os.path.dirname(at)
        if above == at:
            raise usage(
                f"there is no {FILE} in {shown(path, 200)} or above it; `stationtest new FOLDER` makes a station folder",
                "no-station",
            )
        at = above


def no_station(folder: str) -> UsageError:
    """The error of a folder that is no station folder."""
    where = shown(str(folder), 200)
    if not os.path.exists(folder):
        return usage(f"there is no folder {where}", "no-station")
    if not os.path.isdir(folder):
        return usage(f"{where} is a file; the folder that holds {FILE} is due here", "no-station")
    below = _stations_below(folder)
    if below:
        return usage(f"there is no {FILE} in {where}; below it are the stations {allowed_words(below)}: name one", "no-station")
    return usage(f"there is no {FILE} in {where}; `stationtest new FOLDER` makes a station folder", "no-station")


def _stations_below(folder: str) -> list[str]:
    """The station folders in a folder and in its folders."""
    found: list[str] = []
    for at, folders, files in os.walk(folder):
        deep = os.path.relpath(at, folder).count(os.sep) + 1
        folders[:] = sorted(name for name in folders if not name.startswith(".")) if deep < 3 and FILE not in files else []
        if FILE in files:
            found.append(os.path.join(folder, os.path.relpath(at, folder)))
    return found


def case_files(folder: str) -> list[str]:
    """The case files of a station, relative to its folder, in order of their names."""
    try:
        names = os.listdir(os.path.join(folder, CASES))
    except OSError:
        return []
    return [f"{CASES}/{name}" for name in sorted(names) if name.endswith(SUFFIX) and not name.startswith(".")]


def load(
    folder: str,
    *,
    allow_outside: bool = False,
    expectations: Mapping[str, ExpectationPart],
    readings: Sequence[str] = (),
) -> Suite:
    """The suite of a station folder. FileProblems holds all problems of all files; places name files as the user would type
    them. `readings` (paths relative to the folder) are put under every case in place of its own.
    """
    return _loaded(folder, allow_outside, lambda loader: loader.suite(expectations, readings))


def load_station(folder: str, *, allow_outside: bool = False, readings: Sequence[str] = ()) -> Suite:
    """The station alone, without cases: all that observing needs, since it must not know what is expected. Raises as `load`.

    `readings` are what will be observed: the scenes among them are read too.
    """
    return _loaded(folder, allow_outside, lambda loader: loader.station_alone(readings))


def _loaded(folder: str, allow_outside: bool, what: Callable[[_Loader], Suite]) -> Suite:
    if not os.path.isfile(os.path.join(folder, FILE)):
        raise no_station(folder)
    with collector.at_rest():
        return what(_Loader(Folder(os.fspath(folder), allow_outside)))


class _Loader:
    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self.problems: list[Problem] = []
        self.files: dict[str, InputFile] = {}

    def station_alone(self, readings: Sequence[str]) -> Suite:
        read = self._station()
        named = [path for path in readings if is_scene(path)]
        missing = ((path, self.folder.problem(path)) for path in named)
        self.problems += [Problem(NOWHERE, path, *problem) for path, problem in missing if problem]
        scenes = self._scenes(read, named, ())
        if self.problems or read.station is None:
            raise FileProblems(_once(self.problems))
        return Suite(
            folder=self.folder.path, station=read.station, cases=(), station_written=read.written, scenes=scenes,
            allow_outside=self.folder.allow_outside,
        )  # fmt: skip

    def suite(self, expectations: Mapping[str, ExpectationPart], readings: Sequence[str]) -> Suite:
        from stationtest.files.case_file import Known, read_cases

        read = self._station()
        requirements, listed = self._requirements(read)
        specimens, registered = self._specimens(read)
        members = {name: tuple(kind.members) for name, kind in read.fields.sets.items()} if read.fields else {}
        known = Known(
            self.folder,
            read.names if read.readable else None,
            read.patterns,
            members,
            read.sound_evidence(),
            expectations,
            {name: resolve(part.fields) for name, part in expectations.items()},
            dict.fromkeys(r.id for r in requirements) if listed else None,
            _occurring(specimens) if registered else None,
        )
        cases: list[Case] = []
        for file in case_files(self.folder.path):
            found, problems = read_cases(self._tree(file, "cases"), file, known)
            cases += found
            self.problems += problems
        self._unique(cases)
        cases = self._under(cases, readings, read)
        named = [path for case in cases for path in case.readings if is_scene(path)]
        scenes = self._scenes(read, named, scene_files(self.folder.path))
        facts = self._run(tuple(read.fields.required_in_run) if read.fields else ())
        tables = self._tables(cases, read.station, read.names)
        settings_found = self._settings(read, facts)
        corrections = self._corrections(read, cases)
        if self.problems or read.station is None:
            raise FileProblems(_once(self.problems))
        suite = Suite(
            folder=self.folder.path,
            station=read.station,
            cases=tuple(cases),
            requirements=requirements,
            specimens=specimens,
            run_facts=facts,
            settings_found=settings_found,
            corrections=corrections,
            station_written=read.written,
            scenes=scenes,
            other_readings=tuple(readings),
            allow_outside=self.folder.allow_outside,
        )
        self._readings(suite, read.station)
        for path in tables:
            self._input(path, "recording")
        self._same_bytes(cases)
        return Suite(
            **{name: getattr(suite, name) for name in suite.__slots__ if name != "files"}, files=tuple(self.files.values())
        )

    def _station(self) -> StationFile:
        read = read_station(self._tree(FILE, "station"), self.folder)
        self.problems += read.problems
        if read.station is not None and any(sensor.spectral for sensor in read.station.sensors):
            from stationtest.files.sensor_spectra import with_spectra

            read.station, problems = with_spectra(read.station, self.folder, self._bytes)
            self.problems += problems
        return read

    def _bytes(self, file: str, role: str) -> bytes | None:
        """The bytes of a file; a problem, and None, where it cannot be opened. It is one of the inputs from then on."""
        path = self.folder.join(file)
        try:
            with open_file(path) as source:
                data = source.read(MAX_BYTES + 1)
        except OSError as error:
            said = f"the file cannot be opened: {(error.strerror or '').lower()}"
            self.problems.append(Problem(Place(path, 0, 0), "", said, "unreadable"))
            return None
        self.files[file] = InputFile(path=file, role=role, sha256=digest.sha256_bytes(data), bytes=len(data))
        return data

    def _tree(self, file: str, role: str) -> Tree:
        data = self._bytes(file, role)
        return Tree(self.folder.join(file), None) if data is None else parse(data, self.folder.join(file))

    def _table(self, given: str | None, default: str, role: str) -> bytes | None:
        if given is None and not os.path.lexists(self.folder.join(default)):
            return None
        file = default if given is None else self.folder.relative(given, "")
        problem = self.folder.problem(file)
        if problem and given is None:  # else it is told where it is named
            self.problems.append(Problem(Place(self.folder.join(file), 0, 0), "", *problem))
        return None if problem else self._bytes(file, role)

    def _requirements(self, read: StationFile) -> tuple[tuple[Requirement, ...], bool]:
        data = self._table(read.requirements, "requirements.csv", "requirements")
        if data is None:
            return (), False
        from stationtest.files import tables

        found, problems = tables.requirements(data, self.folder.join(read.requirements or "requirements.csv"))
        self.problems += problems
        return found, not problems

    def _specimens(self, read: StationFile) -> tuple[tuple[Specimen, ...], bool]:
        data = self._table(read.specimens, "specimens.csv", "specimens")
        if data is None:
            return (), False
        from stationtest.files import tables

        path = self.folder.join(read.specimens or "specimens.csv")
        found, problems = tables.specimens(data, path, read.names.target, read.names.conditions)
        self.problems += problems
        listed = {name for specimen in found for name, _ in specimen.conditions}
        for pattern, form in (read.fields.recordings if read.fields else {}).items():
            for name in form.conditions:
                if name in listed:
                    message = f"`{name}` is a column here and in the recordings {pattern}; it stands in one of them"
                    self.problems.append(Problem(Place(path, 1, 0), name, message, "contradiction"))
        return found, not problems

    def _run(self, required: tuple[str, ...]) -> RunFacts:
        from stationtest.files import run_file

        if not os.path.lexists(self.folder.join("run.yaml")):
            return run_file.no_facts(required)
        facts, problems = run_file.read_run(self._tree("run.yaml", "run"), required)
        self.problems += problems
        return facts

    def _corrections(self, read: StationFile, cases: list[Case]) -> tuple[Correction, ...]:
        data = self._table(None, "corrections.csv", "corrections")
        if data is None or not read.readable:
            return ()
        from stationtest.files import corrections

        between = read.fields.between if read.fields else None
        readings = dict.fromkeys(path for case in cases for path in case.readings)
        found, problems = corrections.read(data, self.folder.join(corrections.FILE), read.names, between, readings)
        self.problems += problems
        return found

    def _settings(self, read: StationFile, facts: RunFacts) -> SettingsFound | None:
        """The settings as they were found, compared with those of the station; None where nobody read them back."""
        if not facts.exports or read.station is None:
            return None
        from stationtest.files import settings_export

        exports = []
        for export in facts.exports:
            file = self.folder.relative(export.path, "")
            problem = self.folder.problem(file)
            data = None if problem else self._bytes(file, "settings")
            if problem:
                self.problems.append(Problem(export.place, "settings_as_found.file", *problem))
            elif data is not None:
                values, problems = settings_export.read(data, self.folder.join(file))
                self.problems += problems
                exports.append((replace(export, path=file), values))
        found, problems = settings_export.compare(read.written, read.station.settings_keys, exports)
        self.problems += problems if len(exports) == len(facts.exports) else []
        return found

    def _unique(self, cases: list[Case]) -> None:
        seen: dict[str, Place] = {}
        for case in cases:
            first = seen.setdefault(case.id, case.place)
            if first != case.place:
                message = f"the id `{case.id}` is given already, in {first}; ids are unique over the station folder"
                self.problems.append(Problem(case.place, f"cases.{case.id}", message, "duplicate-name"))

    def _under(self, cases: list[Case], readings: Sequence[str], read: StationFile) -> list[Case]:
        """The cases with these readings in place of their own."""
        for path in readings:
            problem = self.folder.problem(path)
            formless = is_scene(path) or has_tables(path)
            if problem is None and not formless and not any(matches(path, pattern) for pattern in read.patterns):
                problem = f"no entry under `recordings:` says how {shown(path)} is written", "no-form"
            if problem is None and readings.count(path) > 1:
                problem = f"this recording is named twice; found {shown(path)}", "duplicate-name"
            if problem:
                self.problems.append(Problem(NOWHERE, "--readings", *problem))
        return [replace(case, readings=tuple(readings)) for case in cases] if readings else cases

    def _scenes(self, read: StationFile, named: Iterable[str], others: Iterable[str]) -> tuple[Scene, ...]:
        found, problems = read_scenes(read, self.folder, named, others, self._tree, self._bytes, self.files)
        self.problems += problems
        return found

    def _readings(self, suite: Suite, station: Station) -> None:
        """Every further file that the result depends on: recordings, second tables, lists, and what references are learned
        from.
        """
        learned = [one.recording for channel in station.channels for one in channel.learned]
        problems: list[Problem] = []
        judged = suite.readings()
        for recording in dict.fromkeys([*learned, *judged]):
            self._input(recording, "recording")
            form = next((form for form in station.recordings if matches(recording, form.pattern)), None)
            if form is None:
                continue
            for path, role in (
                (form.presentations_path, "presentations"),
                (form.gate.list_path if form.gate else None, "list"),
                (form.events_path, "events"),
            ):
                if path is None or (role == "events" and recording not in judged):
                    continue
                beside = beside_recording(path, recording)
                problem = self.folder.problem(beside)
                if problem:
                    problems.append(Problem(form.place, f"recordings.{form.pattern}.{role}", *problem))
                else:
                    self._input(beside, role)
        if problems:
            raise FileProblems(_once(problems))

    def _tables(self, cases: list[Case], station: Station | None, names: Names) -> list[str]:
        """The files that declare several tables are typed; returns the paths of their tables."""
        from stationtest.files import recording_file

        learned = [one.recording for channel in (station.channels if station else ()) for one in channel.learned]
        found: list[str] = []
        for path in dict.fromkeys([*learned, *(path for case in cases for path in case.readings)]):
            if has_tables(path):
                tables, problems = recording_file.read(self._tree(path, "recording"), path, self.folder, names)
                self.problems += problems
                found += [table.path for table in tables.tables] if tables else []
                if tables and tables.events_path:
                    self._input(tables.events_path, "events")
        return found

    def _same_bytes(self, cases: list[Case]) -> None:
        """Refuse one file under two names in one case: its trials would count twice."""
        problems = []
        for case in cases:
            seen: dict[str, str] = {}
            for path in case.readings if len(case.readings) > 1 else ():
                file = self.files.get(path)
                first = seen.setdefault(file.sha256, path) if file is not None and file.bytes else path
                if first != path:
                    message = f"{shown(path)} holds the same bytes as {shown(first)}; its trials would count twice"
                    problems.append(Problem(case.place, f"cases.{case.id}.readings", message, "overlap"))
        if problems:
            raise FileProblems(_once(problems))

    def _input(self, file: str, role: str) -> None:
        if file in self.files or os.path.isdir(self.folder.join(file)):
            return
        sha256, size = digest.sha256_file(self.folder.join(file))
        self.files[file] = InputFile(path=file, role=role, sha256=sha256, bytes=size)


def _occurring(specimens: tuple[Specimen, ...]) -> dict[str, Collection[str]]:
    """What occurs in the register, by the words that `where:` has for its columns."""
    found = {"specimen": dict.fromkeys(one.id for one in specimens), "grade": dict.fromkeys(GRADES)}
    for column in ("lot", "made_by", "confirmed_by"):
        found[column] = dict.fromkeys(value for one in specimens if (value := getattr(one, column)))
    return dict(found)


def _once(problems: list[Problem]) -> list[Problem]:
    """Each mistake once: a mistake in a case with rows turns up in every row, at the same place."""
    found: dict[Any, Problem] = {}
    for problem in problems:
        found.setdefault((problem.place, problem.message, problem.code), problem)
    return list(found.values())
