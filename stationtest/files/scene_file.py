"""*.scene.yaml to `model.Scene`: every problem it has, the spectra it names read and checked."""

from __future__ import annotations

from stationtest.errors import Problem
from stationtest.files import scene_fields as written
from stationtest.files.field_problems import locate, typed
from stationtest.files.paths import Folder
from stationtest.files.scalars import Names
from stationtest.files.scene_checks import Checks
from stationtest.files.scene_model import scene
from stationtest.files.scene_spectra import Read, Spectra
from stationtest.files.tree import Map, Tree
from stationtest.model import scene as model
from stationtest.model.station import Station
from stationtest.place import Place


def read_scene(
    tree: Tree, file: str, names: Names | None, station: Station | None, folder: Folder, read: Read
) -> tuple[model.Scene | None, list[Problem]]:
    """The scene in `file` (relative to the folder), and every problem in it. `read` gives the bytes of a file of the folder.

    Without a sound station only the fields are checked, and there is no scene.
    """
    problems = list(tree.problems)
    root = tree.root
    if not isinstance(root, Map):
        if root is not None:
            said = "a scene file is a mapping with `every`, `sensors`, `surfaces`, `targets` and `belt`"
            problems.append(Problem(tree.place(root), "", said, "wrong-value"))
        return None, problems
    fields, found = typed(written.SceneFields, root, tree.path, context=names)
    problems += found
    if fields is None or station is None:
        return None, problems
    for loc, message, code in Checks(fields, station).run():
        _, at, path = locate(root, loc)
        problems.append(Problem(Place(tree.path, at.line, at.column), ".".join(path), message, code))
    spectra = Spectra(tree, root, file, folder, read)
    spectra.read_all(fields, station)
    problems += spectra.problems
    if problems:
        return None, problems
    return scene(fields, root, tree, file, station, spectra), []
