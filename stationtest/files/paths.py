"""Paths in the files: relative to the file that names them, links followed, inside the station folder unless that is waived."""

from __future__ import annotations

import errno
import fnmatch
import os
import re
from dataclasses import dataclass
from io import BufferedReader

from stationtest.files.suggest import nearest
from stationtest.files.words import shown

NO_NAME = re.compile("[\0\ud800-\udfff]")  # what is not UTF-8 in the name of a file arrives as surrogates (PEP 383)
NOT_TEXT = "a record cannot name a file whose name is not UTF-8 text"
NOT_A_FILE = "it is a pipe, a socket or a device, and only files are read, since a record must hold what was in them"


@dataclass(frozen=True, slots=True)
class Folder:
    """A station folder. `path` is as the user typed it."""

    path: str
    allow_outside: bool = False

    def join(self, relative: str) -> str:
        return os.path.join(self.path, relative)

    def relative(self, named: str, by_file: str) -> str:
        """Where a file named in `by_file` (relative to the folder) is, relative to the folder, posix."""
        at = os.path.normpath(os.path.join(self.path, os.path.dirname(by_file), named))
        return os.path.relpath(at, self.path).replace(os.sep, "/")

    def from_above(self, named: str, by_file: str) -> str | None:
        """How a file that was named from the station folder is named from `by_file`; None if there is none."""
        here = os.path.normpath(named)
        if os.path.isabs(here) or here.startswith("..") or not os.path.exists(self.join(here)):
            return None
        return os.path.relpath(here, os.path.dirname(by_file) or ".").replace(os.sep, "/")

    def inside(self, relative: str) -> bool:
        """Whether the file, links followed, lies in the folder."""
        real, home = os.path.realpath(self.join(relative)), os.path.realpath(self.path)
        return real == home or real.startswith(home.rstrip(os.sep) + os.sep)

    def problem(self, relative: str) -> tuple[str, str] | None:
        """Message and code if the file may not be used or is not there."""
        if NO_NAME.search(relative):
            return f"{NOT_TEXT}; found {shown(relative)}", "no-file"
        if not self.allow_outside and not self.inside(relative):
            return (
                f"this path leaves the station folder; found {shown(relative)}; allowed files inside it, or --allow-outside",
                "outside-folder",
            )
        if os.path.exists(self.join(relative)):
            return (f"{NOT_A_FILE}; found {shown(relative)}", "unreadable") if is_endless(self.join(relative)) else None
        folder = os.path.dirname(self.join(relative))
        try:
            beside = [os.path.join(os.path.dirname(relative), name).replace(os.sep, "/") for name in sorted(os.listdir(folder))]
        except (OSError, ValueError):
            beside = []
        near = nearest(relative, beside)
        return f"there is no file {shown(relative)}" + (f"; did you mean {shown(near)}?" if near else ""), "no-file"


def open_file(path: str) -> BufferedReader:
    """A file to read. OSError, in words of ours, also for what is no file: opening a pipe would wait for ever."""
    if NO_NAME.search(os.path.basename(path)):
        raise OSError(errno.EINVAL, NOT_TEXT)
    if is_endless(path):
        raise OSError(errno.EINVAL, NOT_A_FILE)
    return open(path, "rb")


def is_endless(path: str) -> bool:
    """Whether there is something that is neither a file nor a folder, links followed."""
    return os.path.exists(path) and not os.path.isfile(path) and not os.path.isdir(path)


def typed(station: str, path: str) -> str:
    """A path from the command line, relative to the station folder, posix: it may be relative to the working folder, if it is
    there and lies in the station folder, else it is relative to the station folder.
    """
    if os.path.exists(path):
        for whole in (os.path.abspath, os.path.realpath):
            home, there = whole(station), whole(path)
            if there.startswith(home.rstrip(os.sep) + os.sep):
                return os.path.relpath(there, home).replace(os.sep, "/")
    return os.path.normpath(path).replace(os.sep, "/")


def matches(relative: str, pattern: str) -> bool:
    """Whether a recording is one of a pattern under `recordings:`."""
    return fnmatch.fnmatchcase(relative, pattern.removeprefix("./"))


def beside_recording(pattern: str, recording: str) -> str:
    """A `*` in the path of a second table stands for the name of the recording, without its folder and suffix."""
    return pattern.replace("*", os.path.splitext(os.path.basename(recording))[0])
