"""`stationtest simulate`: the readings of a scene as a recording, and the form by which the station reads it."""

from __future__ import annotations

import argparse
import os
from typing import TYPE_CHECKING

from stationtest.commands.terminal import progress
from stationtest.errors import EXIT_PASS, usage
from stationtest.model.endings import SCENE, is_scene

if TYPE_CHECKING:
    from stationtest.sources.scenes.opened import OpenedScene


def body(args: argparse.Namespace) -> int:
    from stationtest.files import suite
    from stationtest.files.words import shown
    from stationtest.sources.scenes import written
    from stationtest.sources.scenes.opened import open_scene

    if not is_scene(args.scene) or not os.path.isfile(args.scene):
        given = shown(args.scene, 200)
        said = f"there is no file {given}" if is_scene(args.scene) else f"a scene is a file NAME{SCENE}; found {given}"
        raise usage(said, "no-file")
    if args.output and not args.output.endswith(".parquet"):
        raise usage(f"readings are written as Parquet, to a file NAME.parquet; found {shown(args.output, 200)}")
    folder = suite.find_station(os.path.dirname(os.path.abspath(args.scene)))
    if not os.path.isabs(args.scene):
        folder = os.path.relpath(folder)  # so that messages name files as they were typed
    key = os.path.relpath(os.path.abspath(args.scene), folder).replace(os.sep, "/")
    output = args.output or args.scene.removesuffix(SCENE) + ".parquet"
    loaded = suite.load_station(folder, allow_outside=args.allow_outside, readings=[key])
    opened = open_scene(loaded, key)
    if args.picture and args.output is None:
        _draw(opened, args.picture)
        return EXIT_PASS
    with progress() as show:
        columns = written.write(opened, output, show and (lambda done, of: show(f"simulating {key}", done, of)))
    line = opened.line
    print(f"{output}: {line.rows} readings, {len(line.target)} presentations; simulated from {key}, seed {opened.scene.seed}")
    pattern = os.path.relpath(os.path.abspath(output), folder).replace(os.sep, "/")
    where = ""
    if pattern.startswith("../"):
        pattern = f"recordings/{os.path.basename(output)}"
        where = f"move it to {pattern} in the station's folder; "
    print(f"{where}to judge it, station.yaml needs this (in its `recordings:`, above patterns that fit it too):\n")
    print(columns.form(opened, pattern), end="")
    if args.picture:
        _draw(opened, args.picture)
    return EXIT_PASS


def _draw(opened: OpenedScene, path: str) -> None:
    from stationtest.engine.picturing import picture
    from stationtest.files import safe_write
    from stationtest.report.scene_page import render

    if os.path.lexists(path):
        raise usage(f"{path} is there already and is not written over; name a new file", "exists")
    safe_write.write(path, render(picture(opened)).encode("utf-8"))
    print(f"picture: {path}")
