"""A run on disk: record, observations and report in one new folder, which is there whole or not at all."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
from collections.abc import Callable, Mapping
from typing import Any

from stationtest.engine import records
from stationtest.engine.running import Run
from stationtest.errors import usage
from stationtest.files import canonical, safe_write
from stationtest.model.case import Suite
from stationtest.model.record import Record


def run_folder(suite: Suite, record: Record) -> str:
    """STATION/runs/<start, UTC>-<first 8 of result_sha256>, with a number behind it if that is taken."""
    base = os.path.join(suite.folder, "runs", record["run"]["id"])
    number = 1
    while os.path.exists(base if number == 1 else f"{base}-{number}"):
        number += 1
    return base if number == 1 else f"{base}-{number}"


def must_be_new(folder: str) -> None:
    """Raise `UsageError` (exists) unless `folder` is missing or an empty folder."""
    if os.path.lexists(folder) and not (os.path.isdir(folder) and not os.listdir(folder)):
        raise usage(
            f"{folder} is already there and is not empty; nothing is ever written over it: name a new folder", "exists"
        )


def save(run: Run, folder: str, render: Callable[[dict[str, Any]], str]) -> str:
    """Record, observations and the page that `render` makes, into a new folder; returns it.

    Raises `UsageError`: exists, cannot-write.
    """
    must_be_new(folder)
    record = canonical.dumps(run.record)
    page = render(json.loads(record)).encode()  # as it will be read back, so that the page can be made again to the byte
    return write_folder(folder, {records.NAME: record, **run.tables, "report.html": page})


def write_folder(folder: str, files: Mapping[str, bytes]) -> str:
    """A new folder with these files, by their paths in it; returns it. Raises `UsageError`: exists, cannot-write.

    Everything is written to a folder beside, which is renamed when it is complete: it is there whole or not at all.
    """
    must_be_new(folder)
    folder = folder.rstrip("/\\") or folder
    parent, name = os.path.split(os.path.abspath(folder))
    staging = os.path.join(parent, f".{name}.{os.getpid()}.part")
    had_parent = os.path.isdir(parent)
    try:
        os.makedirs(staging)
        for path, data in files.items():
            os.makedirs(os.path.dirname(os.path.join(staging, path)), exist_ok=True)
            safe_write.write(os.path.join(staging, path), data)
        if os.path.isdir(folder):
            os.rmdir(folder)  # empty; on Windows a folder cannot be renamed over it
        os.rename(staging, folder)
    except OSError as error:
        raise usage(f"{folder} cannot be written: {error.strerror or error}; nothing was left behind", "cannot-write") from error
    finally:
        shutil.rmtree(staging, ignore_errors=True)
        if not had_parent:
            with contextlib.suppress(OSError):
                os.rmdir(parent)  # only if it is empty
    return folder
