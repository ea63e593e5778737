"""Which form and which format a file of recordings has, and a reader for it.

A folder of files of one format (`*.parquet` or `*.csv`, in order of their names) is one recording, written in parts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any, Protocol

import pyarrow as pa

from stationtest.errors import readings_error
from stationtest.files.paths import NOT_A_FILE
from stationtest.files.words import listed as in_words
from stationtest.files.words import shown
from stationtest.model.parts import ReadingFormatPart, resolve
from stationtest.model.recording_form import RecordingForm
from stationtest.model.station import Station


class Reader(Protocol):
    """What a reading format gives: `open_file(path, shown, form)` returns one. Rows of data are counted from 0."""

    columns: list[str]
    rows_hint: int | None
    facts: dict[str, Any]
    units: Mapping[str, str]
    """What the line of units says by column; empty where the file has none."""

    def line(self, row: int) -> int:
        """The number under which the user finds a row."""

    def tables(self, wanted: Mapping[str, str], from_row: int = 0) -> Iterator[tuple[int, pa.RecordBatch]]:
        """First row and columns of consecutive stretches of any length, the first of which holds `from_row`."""


def reader_of(
    place: Path, path: str, form: RecordingForm, formats: Mapping[str, ReadingFormatPart]
) -> tuple[ReadingFormatPart, list[tuple[str, Reader]]]:
    """The format of a file or folder, and a reader of each of its parts under the name that messages give it."""
    parts = _parts(place, path, formats)
    suffix = parts[0][0].suffix.lower()
    part = next((part for part in formats.values() if suffix in part.suffixes), None)
    if part is None:
        known = in_words(sorted(suffix for part in formats.values() for suffix in part.suffixes))
        said = f"no reading format takes files that end in {shown(suffix) or 'nothing'}; known: {known}"
        raise readings_error(path, 0, "", said, "no-form")
    opener = resolve(part.reader)
    readers: list[tuple[str, Reader]] = []
    for file, name in parts:
        try:
            readers.append((name, opener(file, name, form)))
        except OSError as error:
            raise readings_error(name, 0, "", f"the file cannot be opened: {error.strerror or error}", "unreadable") from error
    return part, readers


def form_of(station: Station, path: str) -> RecordingForm:
    """The first entry under `recordings:` whose pattern fits; in a pattern `*` also stands for several folders."""
    for form in station.recordings:
        if fnmatchcase(path, form.pattern):
            return form
    patterns = in_words(f'"{shown(form.pattern)}"' for form in station.recordings) or "none"
    said = f"no entry under `recordings:` says how this file is written; there is {patterns}"
    raise readings_error(path, 0, "recordings", said, "no-form")


def _parts(place: Path, path: str, formats: Mapping[str, ReadingFormatPart]) -> list[tuple[Path, str]]:
    """Files of a recording with their names for messages."""
    if place.is_file():
        return [(place, path)]
    if not place.is_dir() and place.exists():
        raise readings_error(path, 0, "readings", NOT_A_FILE, "unreadable")
    if not place.is_dir():
        raise readings_error(path, 0, "readings", f"there is no file {shown(path)}", "no-file")
    suffixes = {suffix for part in formats.values() for suffix in part.suffixes}
    files = sorted(file for file in place.iterdir() if file.is_file() and file.suffix.lower() in suffixes)
    if not files:
        raise readings_error(path, 0, "readings", "the folder holds no recording", "no-file")
    if len({file.suffix.lower() for file in files}) > 1:
        raise readings_error(path, 0, "readings", "the parts of one recording must be of one format", "bad-dialect")
    return [(file, f"{path.rstrip('/')}/{file.name}") for file in files]
