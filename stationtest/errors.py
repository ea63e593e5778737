"""What can go wrong, in words: every message a user can cause, with a stable code and, where there is one, a place.

Codes are words, not numbers, so that a message can be understood without a manual. `CODES` is the whole list; DEVELOPERS.md
explains each, and a test holds the two together.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace

from stationtest.place import Place

EXIT_PASS = 0
EXIT_NOT_PASS = 1
EXIT_USAGE = 2
EXIT_INTERNAL = 3

CODES: dict[str, str] = {
    # the text of a file
    "unreadable": "the file cannot be opened, is not UTF-8 text, or is not YAML",
    "too-large": "the file is larger, deeper or has more parts than a person would write",
    "not-allowed": "YAML that could mean something else than it seems: anchors, aliases, tags, merge keys, several documents",
    "duplicate-key": "one key stands twice in one mapping",
    "no-value": "a key has no value",
    "comment-eats-value": "a `#` directly followed by a character; YAML reads it as a comment",
    # the fields of a file
    "unknown-key": "a key that this mapping does not have",
    "missing-key": "a key that must be there is missing",
    "wrong-value": "a value of the wrong kind, out of range, or without its unit",
    "reserved-word": "a name that the language keeps for itself",
    # names that must exist
    "unknown-name": "a target, channel, sensor, input, output, set, condition or expectation that is not declared",
    "duplicate-name": "one name given twice where names must be unique",
    "loop": "logic that depends on itself",
    "contradiction": "two statements that cannot both hold",
    "no-evidence": "a case that does not say how much evidence it needs",
    "mixed-units": "expectations in one case that speak of different units of trial",
    # paths and folders
    "no-station": "no station.yaml in this folder or above it",
    "no-file": "a file that is named does not exist",
    "outside-folder": "a path that leaves the station folder",
    "exists": "something is already there and is not written over",
    "cannot-write": "the disk is full, or the folder or what is printed may not be written",
    # readings
    "no-form": "no entry under `recordings:` says how this file is written",
    "missing-column": "a column that the form names is not in the file",
    "bad-value": "a cell that is empty, not a number, not a declared on/off word, or not finite",
    "unsorted-time": "a time that is not later than the one before",
    "empty-recording": "a recording without rows",
    "bad-dialect": "the file is not written as its form says: separator, header, encoding, line length",
    "overlap": "two presentations on one sensor at one time, or recordings of one case that hold the same time twice",
    "bad-presentation": "a presentation, set or gate that does not fit the rest of the recording",
    "cannot-learn": "a reference cannot be learned from this stretch of readings",
    "colour-mismatch": "colours of different illuminant or observer, or a distance that these readings cannot give",
    # running
    "nothing-selected": "no case was selected",
    "settings-differ": "the settings found in the sensor or controller are not those of station.yaml",
    "clashing-plugins": "two plugins bring something of the same name",
    "broken-plugin": "a plugin could not be loaded",
    "selftest-failed": "a known answer came out wrong on this computer",
    "bad-record": "a file is not a record, or was written by a later version",
    "usage": "a command line that does not fit",
}


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One thing that is wrong, in one sentence. `key` is the dotted path in the file, '' where there is none."""

    place: Place
    key: str
    message: str
    code: str

    def __str__(self) -> str:
        where = f"{self.place}: " if self.place.path else ""
        what = f"{self.key}: " if self.key else ""
        return f"{where}{what}{self.message} [{self.code}]"


class StationtestError(Exception):
    """Base of all errors that are the user's to mend; printed as one line each, never with a traceback."""

    def __init__(self, problems: Problem | list[Problem] | tuple[Problem, ...]) -> None:
        listed = (problems,) if isinstance(problems, Problem) else tuple(sorted(set(problems)))
        super().__init__("\n".join(str(problem) for problem in listed))
        self.problems = listed

    def __reduce__(self) -> tuple[type, tuple[tuple[Problem, ...]]]:
        return type(self), (self.problems,)


class FileProblems(StationtestError):
    """Every problem of every file that was read, sorted by place."""


class ReadingsError(StationtestError):
    """A recording that is refused: the row, and the key of the form that would mend it."""


def told_in(folder: str, error: StationtestError) -> tuple[Problem, ...]:
    """The problems of an error, for a person: what readings lack is told by the recording's path in the station's folder, and a
    person stands elsewhere."""
    if not isinstance(error, ReadingsError):
        return error.problems
    return tuple(
        replace(problem, place=replace(problem.place, path=os.path.join(folder, problem.place.path)))
        if problem.place.path
        else problem
        for problem in error.problems
    )


class UsageError(StationtestError):
    """A command, path or option that does not fit."""


def usage(message: str, code: str = "usage") -> UsageError:
    """A `UsageError` without a place in a file."""
    return UsageError(Problem(Place("", 0, 0), "", message, code))


def readings_error(path: str, row: int, key: str, message: str, code: str) -> ReadingsError:
    """A `ReadingsError` at a row (1 is the first line of the file, header included; 0 where no row can be named)."""
    return ReadingsError(Problem(Place(path, row, 0), key, message, code))
