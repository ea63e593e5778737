"""Writing so that a file is there whole or not at all: beside, flushed to the disk, then renamed."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from typing import BinaryIO

from stationtest.errors import UsageError, usage
from stationtest.files.words import shown


def write(path: str, data: bytes) -> None:
    """Replaces or makes the file. UsageError 'cannot-write' if the disk is full or the folder may not be written; nothing is
    left then.
    """
    with streamed(path) as file:
        file.write(data)


@contextlib.contextmanager
def streamed(path: str) -> Iterator[BinaryIO]:
    """As `write`, for what is made piece by piece: the file that is being written, which takes its name when the block ends."""
    folder = os.path.dirname(path) or "."
    beside = ""
    try:
        descriptor, beside = tempfile.mkstemp(prefix=f".{os.path.basename(path)}.", suffix=".part", dir=folder)
        with os.fdopen(descriptor, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.chmod(beside, 0o666 & ~_umask())
        os.replace(beside, path)
        _sync_folder(folder)
    except BaseException as error:
        if beside:
            with contextlib.suppress(OSError):
                os.unlink(beside)
        if isinstance(error, OSError):
            raise _refused(path, error) from error
        raise


def new_folder(path: str) -> None:
    """Makes a folder, with those above it. UsageError 'exists' if there is something in it already."""
    try:
        if os.path.exists(path) and (not os.path.isdir(path) or os.listdir(path)):
            raise usage(f"{shown(path)} is there already and is not written over; name a new folder", "exists")
        os.makedirs(path, exist_ok=True)
    except OSError as error:
        raise _refused(path, error) from error


def _refused(path: str, error: OSError) -> UsageError:
    return usage(f"{shown(path, 200)} cannot be written: {(error.strerror or str(error)).lower()}", "cannot-write")


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _sync_folder(folder: str) -> None:
    """The rename itself reaches the disk; where a system cannot open folders there is nothing to do."""
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
