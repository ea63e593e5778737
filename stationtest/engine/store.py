"""Observations of one recording to disk and back, without pickle: one file of numpy arrays with a JSON text that says what they
are.

Used between processes within one run, never kept. Reading such a file can run no code: arrays are loaded with
`allow_pickle=False`, and the JSON names only the classes of `CLASSES`.
"""

from __future__ import annotations

import dataclasses
import io
import json
from collections.abc import Mapping
from typing import Any

from stationtest.files import safe_write
from stationtest.model import observations as model
from stationtest.model import station
from stationtest.model.events import Event
from stationtest.model.observations import SourceObservations
from stationtest.model.travel import Belt
from stationtest.place import Place

CLASSES: dict[str, type] = {
    kind.__name__: kind
    for kind in (
        model.Clock, model.Placement, model.Presentations, model.Responses, model.Sets, model.Signal, model.SourceObservations,
        Event, Belt,
        station.Settings, station.Channel, station.Reference, station.Learned, station.LearnedAt, station.Colour, station.Edge,
        Place,
    )
}
ABOUT = "about"


def save(observations: SourceObservations, path: str) -> None:
    """Write one recording's observations: beside first, then renamed, so that a reader finds all of it or nothing."""
    import numpy as np

    arrays: dict[str, Any] = {}
    about = json.dumps(_written(observations, arrays)).encode()
    buffer = io.BytesIO()
    arrays[ABOUT] = np.frombuffer(about, dtype=np.uint8)
    np.savez(buffer, **arrays)
    safe_write.write(path, buffer.getvalue())


def load(path: str) -> SourceObservations:
    """Read what `save` wrote."""
    import numpy as np

    with np.load(path, allow_pickle=False) as arrays:
        return _read(json.loads(arrays[ABOUT].tobytes()), arrays)  # type: ignore[no-any-return]


def _written(value: Any, arrays: dict[str, Any]) -> Any:
    """Plain JSON for a value; arrays go into `arrays`. Every container is tagged, since JSON has fewer kinds than Python."""
    import numpy as np

    if value is None or type(value) in (bool, int, float, str):
        return value
    if type(value) is np.ndarray and value.dtype != object:
        name = f"a{len(arrays)}"
        arrays[name] = value
        return {"array": name}
    if type(value).__name__ in CLASSES and dataclasses.is_dataclass(value):
        fields = {field.name: _written(getattr(value, field.name), arrays) for field in dataclasses.fields(value)}
        return {"class": type(value).__name__, "fields": fields}
    if isinstance(value, tuple):
        return {"tuple": [_written(part, arrays) for part in value]}
    if isinstance(value, list):
        return {"list": [_written(part, arrays) for part in value]}
    if isinstance(value, Mapping):
        return {"mapping": [[_written(key, arrays), _written(part, arrays)] for key, part in value.items()]}
    raise TypeError(f"observations hold a {type(value).__name__}, which has no plain form: {value!r}")


def _read(written: Any, arrays: Any) -> Any:
    if not isinstance(written, dict):
        return written
    if "array" in written:
        return arrays[written["array"]]
    if "class" in written:
        return CLASSES[written["class"]](**{name: _read(part, arrays) for name, part in written["fields"].items()})
    if "tuple" in written:
        return tuple(_read(part, arrays) for part in written["tuple"])
    if "list" in written:
        return [_read(part, arrays) for part in written["list"]]
    return {_read(key, arrays): _read(part, arrays) for key, part in written["mapping"]}
