"""JSON Schemas of the files and of the record, for completion in editors and for readers of records.

Draft 2020-12, but only what draft-07 knows as well, since older editors stop there. They are written for the YAML 1.2 core view
of a file, in which `1` and `0.012` are numbers; stationtest itself reads text. The record's schema is made from model/record.py.
"""

from __future__ import annotations

import json
import os
import types
import typing
from collections.abc import Mapping
from typing import Any

from pydantic import create_model
from pydantic.json_schema import GenerateJsonSchema

from stationtest.files import safe_write
from stationtest.files.case_fields import CaseFileFields, RowFields, WrittenCase
from stationtest.files.fields import Fields
from stationtest.files.paths import Folder, open_file
from stationtest.files.run_file import RunFields
from stationtest.files.scalars import CaseId, Names
from stationtest.files.scene_fields import SceneFields
from stationtest.files.scene_files import SCENES, scene_files
from stationtest.files.station_fields import StationFields
from stationtest.files.station_file import FILE, names_of
from stationtest.files.suite import CASES, case_files, no_station
from stationtest.files.tables_fields import RecordingFileFields
from stationtest.files.tree import MAX_BYTES, Map, parse
from stationtest.model.endings import has_tables
from stationtest.model.parts import ExpectationPart, resolve
from stationtest.model.record import RECORD_VERSION, Record
from stationtest.model.station import LANGUAGE

DIALECT = "https://json-schema.org/draft/2020-12/schema"
RECORDINGS = "recordings"
EDITOR_LINE = "# yaml-language-server: $schema="
TITLES = {
    "station": "stationtest station file",
    "case": "stationtest case file",
    "recording": "stationtest recording of several tables",
    "run": "stationtest run file",
    "scene": "stationtest scene file",
    "record": "stationtest record",
}


def schemas(expectations: Mapping[str, ExpectationPart] | None = None) -> dict[str, dict[str, Any]]:
    """The schemas 'station', 'case', 'recording', 'run', 'scene' and 'record'. With `expectations`, `expect:` knows their
    fields; else it is any mapping.
    """
    found = _all(expectations or {})
    return {name: _named(schema, Names()) for name, schema in found.items()}


def write(folder: str, expectations: Mapping[str, ExpectationPart] | None = None) -> list[str]:
    """Puts the schemas beside the files of a station, with its own names filled in, and the editor's line on top of each file.

    Returns what was written, relative to the folder.
    """
    place = Folder(folder)
    try:
        with open_file(place.join(FILE)) as file:
            root = parse(file.read(MAX_BYTES + 1), FILE).root
    except OSError as error:
        raise no_station(folder) from error
    names = names_of(root) if isinstance(root, Map) else Names()
    written: list[str] = []
    found = _all(expectations or {})
    targets = {
        "station": (FILE,), "case": tuple(case_files(folder)), "recording": _recordings(folder), "run": ("run.yaml",),
        "scene": tuple(scene_files(folder)),
    }  # fmt: skip
    folders = {"case": CASES, "recording": RECORDINGS, "scene": SCENES}
    for name, files in targets.items():
        files = tuple(file for file in files if os.path.isfile(place.join(file)))
        if not files:
            continue
        beside = f"{folders[name]}/{name}.schema.json" if name in folders else f"{name}.schema.json"
        text = json.dumps(_named(found[name], names), indent=1, ensure_ascii=False) + "\n"
        safe_write.write(place.join(beside), text.encode("utf-8"))
        written.append(beside)
        written += [file for file in files if _editor_line(place.join(file), f"{name}.schema.json")]
    return written


def _recordings(folder: str) -> tuple[str, ...]:
    """The files of a station that declare several tables."""
    try:
        names = os.listdir(os.path.join(folder, RECORDINGS))
    except OSError:
        return ()
    return tuple(f"{RECORDINGS}/{name}" for name in sorted(names) if has_tables(name))


def _editor_line(path: str, schema: str) -> bool:
    """Puts the line that tells editors where the schema is on top of a file, in place of an older one. True if the file was
    changed.
    """
    with open_file(path) as file:
        data = file.read()
    mark, body = (data[:3], data[3:]) if data.startswith(b"\xef\xbb\xbf") else (b"", data)
    end = b"\r\n" if b"\r\n" in body else b"\n"
    line = f"{EDITOR_LINE}{schema}".encode() + end
    first, _, rest = body.partition(b"\n")
    new = mark + line + (rest if first.startswith(EDITOR_LINE.encode()) else body)
    if new == data:
        return False
    safe_write.write(path, new)
    return True


class _Generator(GenerateJsonSchema):
    """Keys that may be left out are not nullable (there is no null in the files), and defaults are what a user would write."""

    def nullable_schema(self, schema: Any) -> dict[str, Any]:
        return self.generate_inner(schema["schema"])

    def default_schema(self, schema: Any) -> dict[str, Any]:
        inner = dict(self.generate_inner(schema["schema"]))
        default = schema.get("default")
        if isinstance(default, str) and "$ref" not in inner and "default" not in inner:
            inner["default"] = json.loads(default) if inner.get("type") in ("integer", "number") else default
        return inner


def _all(expectations: Mapping[str, ExpectationPart]) -> dict[str, dict[str, Any]]:
    found = {
        "station": StationFields.model_json_schema(schema_generator=_Generator),
        "case": _case_file(expectations).model_json_schema(schema_generator=_Generator),
        "recording": RecordingFileFields.model_json_schema(schema_generator=_Generator),
        "run": RunFields.model_json_schema(schema_generator=_Generator),
        "scene": SceneFields.model_json_schema(schema_generator=_Generator),
        "record": _record(),
    }
    for name, schema in found.items():
        version = RECORD_VERSION if name == "record" else LANGUAGE
        found[name] = {"$schema": DIALECT, "$id": f"urn:stationtest:schema:{name}:{version}", **schema, "title": TITLES[name]}
    return found


def _case_file(expectations: Mapping[str, ExpectationPart]) -> type[Fields]:
    """The case file with the field classes of the expectations that are present."""
    if not expectations:
        return CaseFileFields
    each: dict[str, Any] = {name: (resolve(part.fields) | None, None) for name, part in sorted(expectations.items())}
    expected: Any = create_model(
        "Expectations", __base__=Fields, __doc__="What each trial must do; several must all hold.", **each
    )
    row: Any = create_model("Row", __base__=RowFields, expect=(expected | None, None))
    case: Any = create_model("Case", __base__=WrittenCase, expect=(expected | None, None), rows=(list[row] | None, None))
    made: type[Fields] = create_model("CaseFile", __base__=CaseFileFields, cases=(dict[CaseId, case], ...))
    return made


def _named(schema: Any, names: Names) -> Any:
    """The schema with the marker `names` replaced by what the station declares."""
    if isinstance(schema, list):
        return [_named(item, names) for item in schema]
    if not isinstance(schema, dict):
        return schema
    if isinstance(schema.get("names"), str) and "type" in schema:
        kept = {key: value for key, value in schema.items() if key != "names"}
        allowed = _allowed(schema["names"], names)
        return {**{key: value for key, value in kept.items() if key != "type"}, "enum": allowed} if allowed else kept
    return {key: _named(value, names) for key, value in schema.items()}


def _allowed(kind: str, names: Names) -> list[str | int]:
    edges = [*names.input, *(f"{name} falls" for name in names.input)]
    if kind in ("edge", "instant", "until"):
        words = (
            [*{"edge": (), "instant": ("start", "end", "covered"), "until": ("next decision",)}[kind], *edges] if edges else []
        )
    else:
        words = list(names.conditions if kind == "condition" else getattr(names, kind))
    # an editor sees the name 1 as a number
    numbers = [int(word) for word in words if word.isascii() and word.isdecimal() and str(int(word)) == word]
    return [*words, *numbers]


# --- the record: typed dictionaries of built-in types -------------------------------------------------------------------------

_PLAIN: dict[Any, dict[str, Any]] = {
    str: {"type": "string"},
    int: {"type": "integer"},
    float: {"type": "number"},
    bool: {"type": "boolean"},
    type(None): {"type": "null"},
    Any: {},
}


def _record() -> dict[str, Any]:
    definitions: dict[str, Any] = {}
    root = _of(Record, definitions)
    return {**definitions.pop(root["$ref"].rsplit("/", 1)[1]), "$defs": definitions}


def _of(hint: Any, definitions: dict[str, Any]) -> dict[str, Any]:
    """The schema of one annotation of model/record.py. Keys that a later minor version adds are allowed."""
    if hint in _PLAIN:
        return dict(_PLAIN[hint])
    if typing.is_typeddict(hint):
        name = hint.__name__
        if name not in definitions:
            definitions[name] = {}
            properties = {key: _of(value, definitions) for key, value in typing.get_type_hints(hint).items()}
            definitions[name] = {"type": "object", "properties": properties, "required": sorted(_required(hint))}
            if hint.__doc__ and not hint.__doc__.startswith("dict("):
                definitions[name]["description"] = " ".join(hint.__doc__.split())
        return {"$ref": f"#/$defs/{name}"}
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin is list:
        return {"type": "array", "items": _of(arguments[0], definitions)}
    if origin is dict:
        return {"type": "object", "additionalProperties": _of(arguments[1], definitions)}
    if origin is typing.Literal:
        return {"enum": list(arguments)}
    if origin in (typing.Union, types.UnionType):
        return {"anyOf": [_of(argument, definitions) for argument in arguments]}
    raise TypeError(f"{hint!r} has no place in a record")


def _required(hint: Any) -> set[str]:
    """The keys of a typed dictionary that must be there. Its own `__required_keys__` are of the annotations as they stand in the
    module, which are text there, and in text Python sees no NotRequired.
    """
    hints = typing.get_type_hints(hint, include_extras=True)
    return {key for key, value in hints.items() if typing.get_origin(value) is not typing.NotRequired}
