"""On what a record was made: the tool, its packages, its plugins, the computer. No host name and no user name: nobody asked for
them."""

from __future__ import annotations

import importlib.metadata
import os
import platform
import sys

from stationtest.model.observations import OBSERVING
from stationtest.model.parts import Parts
from stationtest.model.record import Tool
from stationtest.version import VERSION

PACKAGES = ("colour-science", "jinja2", "numpy", "pluggy", "pyarrow", "pydantic", "pytest", "pyyaml", "rich", "scipy")


def tool(language: int) -> Tool:
    """stationtest and the packages it stands on, with their versions; `missing` for one that is not installed."""
    return {
        "name": "stationtest",
        "version": VERSION,
        "python": platform.python_version(),
        "platform": platform.platform(),
        "packages": [{"name": name, "version": _version(name)} for name in PACKAGES],
        "observing": OBSERVING,
        "language": language,
    }


def plugins(parts: Parts) -> list[dict[str, str]]:
    """Every package that brings parts, with its version and what it provides."""
    return [{"package": fact.package, "version": fact.version, "provides": ", ".join(fact.provides)} for fact in parts.plugins]


def computer() -> dict[str, str]:
    """The computer, as far as it can matter to a number."""
    return {
        "byte order": sys.byteorder,
        "machine": platform.machine(),
        "operating system": f"{platform.system()} {platform.release()}",
        "processors": str(os.cpu_count() or "not known"),
        "python build": " ".join((platform.python_implementation(), *platform.python_build())),
    }


def _version(name: str) -> str:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return "missing"
