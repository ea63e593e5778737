"""The scenes of a station folder: which there are, and all of them read."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from stationtest.errors import Problem
from stationtest.files.paths import Folder
from stationtest.files.station_file import StationFile
from stationtest.files.tree import Tree
from stationtest.model.case import InputFile
from stationtest.model.endings import is_scene

if TYPE_CHECKING:
    from stationtest.model.scene import Scene

SCENES = "scenes"


def scene_files(folder: str) -> list[str]:
    """The scenes in the scenes folder of a station, relative to its folder, in order of their names."""
    try:
        names = os.listdir(os.path.join(folder, SCENES))
    except OSError:
        return []
    return [f"{SCENES}/{name}" for name in sorted(names) if is_scene(name) and not name.startswith(".")]


def read_scenes(
    station: StationFile,
    folder: Folder,
    named: Iterable[str],
    others: Iterable[str],
    tree_of: Callable[[str, str], Tree],
    bytes_of: Callable[[str, str], bytes | None],
    inputs: dict[str, InputFile],
) -> tuple[tuple[Scene, ...], list[Problem]]:
    """The scenes that are named, or that references are learned from, and others; with every problem in them.

    `tree_of` and `bytes_of` read a file for a role and note it in `inputs`; what the others need is taken out of it again.
    """
    learned = [one.recording for channel in (station.station.channels if station.station else ()) for one in channel.learned]
    used = dict.fromkeys(path for path in (*learned, *named) if is_scene(path) and not folder.problem(path))
    found, problems = [], []
    for path in dict.fromkeys([*used, *others]):
        from stationtest.files.scene_file import read_scene

        before, names = dict(inputs), station.names if station.readable else None
        scene, wrong = read_scene(
            tree_of(path, "scene"), path, names, station.station, folder, lambda file: bytes_of(file, "spectrum")
        )
        problems += wrong
        if path not in used:
            inputs.clear()
            inputs.update(before)
        if scene is not None:
            found.append(scene)
    return tuple(found), problems
