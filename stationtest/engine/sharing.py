"""Observations shared by several processes of one session through a folder: each recording is observed once, by whoever needs it
first.

The first takes a lock (a file that only one process can create), observes, and leaves the observations by renaming a finished
file; the others wait and read it. A lock holds the process id and start time of its owner, so that a lock whose owner is gone is
taken over.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
from collections.abc import Callable
from pathlib import Path

from stationtest.engine import store
from stationtest.errors import Problem, ReadingsError, StationtestError, usage
from stationtest.files import safe_write
from stationtest.model.observations import SourceObservations
from stationtest.place import Place

WAIT_S = 0.05
GIVEN_UP_AFTER_S = 3600.0


def observed_once(folder: str, name: str, observe: Callable[[], SourceObservations]) -> SourceObservations:
    """The observations called `name`: from `folder` if some process left them there, else by calling `observe` and leaving them.

    Raises what `observe` raised, in every process that asks.
    """
    if not os.path.isdir(folder):
        raise usage(
            f"the folder {folder} is not there: workers on other computers cannot share observations; use local ones (-n 2)"
        )
    base = os.path.join(folder, hashlib.sha256(name.encode()).hexdigest()[:24])
    while True:
        found = left(folder, name)
        if found is not None:
            return found
        if _take(base + ".lock"):
            try:
                if left(folder, name) is None:
                    _observe(base, observe)
            finally:
                os.unlink(base + ".lock")
        else:
            time.sleep(WAIT_S)


def left(folder: str, name: str) -> SourceObservations | None:
    """What some process left under `name`, or None. Raises what it met instead of observations."""
    base = os.path.join(folder, hashlib.sha256(name.encode()).hexdigest()[:24])
    if os.path.exists(base + ".problems.json"):
        problems = json.loads(Path(base + ".problems.json").read_text("utf-8"))
        raise ReadingsError([Problem(Place(*place), key, message, code) for place, key, message, code in problems])
    return store.load(base + ".npz") if os.path.exists(base + ".npz") else None


def _observe(base: str, observe: Callable[[], SourceObservations]) -> None:
    try:
        store.save(observe(), base + ".npz")
    except StationtestError as error:
        problems = [
            [[problem.place.path, problem.place.line, problem.place.column], problem.key, problem.message, problem.code]
            for problem in error.problems
        ]
        safe_write.write(base + ".problems.json", json.dumps(problems).encode())


def _take(lock: str) -> bool:
    try:
        handle = os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY)
    except FileExistsError:
        if _owner_is_gone(lock):
            # two processes may both find it gone; then both observe, and leave the same bytes
            Path(lock).unlink(missing_ok=True)
        return False
    with os.fdopen(handle, "w") as file:
        file.write(f"{os.getpid()} {_started(os.getpid())}")
    return True


def _owner_is_gone(lock: str) -> bool:
    try:
        pid, _, started = Path(lock).read_text("utf-8").partition(" ")
        age_s = time.time() - os.stat(lock).st_mtime
    except OSError:
        return False  # released meanwhile
    if not pid:
        return age_s > GIVEN_UP_AFTER_S  # between creating and writing
    if os.name != "posix":
        return age_s > GIVEN_UP_AFTER_S  # there, signal 0 would end the process instead of asking for it
    try:
        os.kill(int(pid), 0)
    except ProcessLookupError:
        return True
    except PermissionError:
        return False
    return started != _started(int(pid))


def _started(pid: int) -> str:
    """When a process started, in the words of the system; '' where it does not say (then the process id alone must do)."""
    try:
        # after the last `)`, since a command may hold blanks and brackets; field 22 of the line is the start time
        return Path(f"/proc/{pid}/stat").read_text("utf-8").rpartition(")")[2].split()[19]
    except (OSError, IndexError):
        return ""
