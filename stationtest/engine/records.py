"""Saved records: read back and checked."""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path
from typing import cast

from stationtest.errors import UsageError, usage
from stationtest.files import canonical
from stationtest.model.record import FORMAT, RECORD_VERSION, Record

NAME = "record.json"


def read(path: str) -> Record:
    """The record in a file, or in the folder of a run.

    A minor version only adds keys, so a later one of the same major version is read; a later major version is refused. Raises
    `UsageError`: no-file, or bad-record, also if `result` is not what its digest says.
    """
    if os.path.isdir(path):
        path = os.path.join(path, NAME)
    try:
        text = Path(path).read_bytes()
    except FileNotFoundError:
        raise usage(f"there is no record {path}", "no-file") from None
    except OSError as error:
        raise usage(f"{path} cannot be read: {error.strerror}", "unreadable") from None
    try:
        record = json.loads(text)
    except (ValueError, RecursionError):
        raise _bad(path, "it is not JSON") from None
    if not isinstance(record, dict) or record.get("format") != FORMAT:
        raise _bad(path, f"it is not a `{FORMAT}`")
    version = str(record.get("version"))
    if version.partition(".")[0] != RECORD_VERSION.partition(".")[0]:
        raise _bad(
            path, f"it was written as version {version}; this stationtest reads version {RECORD_VERSION.partition('.')[0]}"
        )
    if not all(isinstance(record.get(part), dict) for part in ("run", "result")):
        raise _bad(path, "its parts `run` and `result` are not both there")
    try:
        digest_now = hashlib.sha256(canonical.dumps(record["result"])).hexdigest()
    except (TypeError, ValueError):
        digest_now = ""
    if digest_now != record.get("result_sha256"):
        raise _bad(path, "its result is not the one that its result_sha256 belongs to: it was changed after it was written")
    return cast(Record, record)


def _bad(path: str, why: str) -> UsageError:
    return usage(f"{path} is not a record that can be read: {why}", "bad-record")
