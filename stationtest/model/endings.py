"""What a path under `readings` names, told by how it ends. A path that ends otherwise is a recording of one table."""

from __future__ import annotations

SCENE = ".scene.yaml"
TABLES = ".recording.yaml"


def is_scene(path: str) -> bool:
    """Whether it names a scene, from which readings are simulated."""
    return path.endswith(SCENE)


def has_tables(path: str) -> bool:
    """Whether it names a file that declares a recording of several tables."""
    return path.endswith(TABLES)
