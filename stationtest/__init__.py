"""Acceptance tests for point colour sensor stations: what a station must do, checked against its readings, with a record.

The public names are found on first use, so that `import stationtest` costs nothing. Everything else is private, except what
plugins need: `stationtest.hookspecs` and `stationtest.model.parts`.
"""

from __future__ import annotations

from typing import Any

from stationtest.version import VERSION as __version__

_PUBLIC = {
    "load": "stationtest.public",
    "observe": "stationtest.public",
    "run": "stationtest.public",
    "read_record": "stationtest.public",
    "write_report": "stationtest.public",
    "Suite": "stationtest.model.case",
    "Case": "stationtest.model.case",
    "Station": "stationtest.model.station",
    "SourceObservations": "stationtest.model.observations",
    "Record": "stationtest.model.record",
    "CaseResult": "stationtest.model.record",
    "Verdict": "stationtest.model.judged",
    "Place": "stationtest.place",
    "Problem": "stationtest.errors",
    "StationtestError": "stationtest.errors",
    "FileProblems": "stationtest.errors",
    "ReadingsError": "stationtest.errors",
    "UsageError": "stationtest.errors",
}

__all__ = ["__version__", *_PUBLIC]


def __getattr__(name: str) -> Any:
    if name not in _PUBLIC:
        raise AttributeError(f"module 'stationtest' has no attribute {name!r}")
    import importlib

    return getattr(importlib.import_module(_PUBLIC[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
