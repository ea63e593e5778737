"""The functions of the package for Python programs. Imported by `stationtest` on first use."""

from __future__ import annotations

import datetime
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any, cast

from stationtest import plugins
from stationtest.engine import records, running
from stationtest.errors import usage
from stationtest.files import safe_write, suite
from stationtest.model.case import Suite
from stationtest.model.observations import SourceObservations
from stationtest.model.record import Record
from stationtest.report.page import render


def load(folder: str | os.PathLike[str], *, allow_outside: bool = False) -> Suite:
    """A station folder, read and typed. Raises `FileProblems` with every problem of every file."""
    return suite.load(os.fspath(folder), allow_outside=allow_outside, expectations=plugins.load().expectations)


def observe(of: Suite, recording: str) -> SourceObservations:
    """Everything that can be seen in one recording, named relative to the station's folder. Raises `ReadingsError`."""
    return running.observe_all(of, plugins.load(), [recording])[recording]


def run(of: Suite, *, only: Sequence[str] | None = None, workers: int = 0, now: datetime.datetime | None = None) -> Record:
    """Judge the cases of a station, all or those named by `only`, and return the record, unsaved.

    `now` stands for start and end in the record, so that two runs can be the same bytes.
    """
    return running.run(of, plugins.load(), only=only, workers=workers, now=now, door="python").record


def read_record(path: str | os.PathLike[str]) -> Record:
    """A record that was saved, by this version or an earlier one. Raises `UsageError` (bad-record). The file is left alone."""
    return records.read(os.fspath(path))


def write_report(record: Record, path: str | os.PathLike[str]) -> None:
    """The page of a record, as one HTML file. Never over something else."""
    html = render(cast("dict[str, Any]", record)).encode()
    path = Path(path)
    if path.exists() and not (path.is_file() and path.read_bytes() == html):
        raise usage(f"{path} exists and holds something else; name another file", "exists")
    safe_write.write(str(path), html)
