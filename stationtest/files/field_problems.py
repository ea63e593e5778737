"""A node to a field class, and pydantic's errors to problems with places, in our words.

One mistake is told once: an error whose path is the beginning of another's is dropped, a misspelt key and the missing key that
was meant are folded into one sentence, and what the tree already refused is not told again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, TypeAdapter, ValidationError

from stationtest.errors import Problem
from stationtest.files.fields import ByKind
from stationtest.files.quantities import describe
from stationtest.files.suggest import allowed_words, nearest
from stationtest.files.tree import Hole, Map, Word
from stationtest.files.words import shown
from stationtest.place import Place

T = TypeVar("T", bound=BaseModel)

_KINDS = {"'<text>'": "text", "'<mapping>'": "a mapping", "'<list>'": "a list"}
_WHOLE = {
    "dict_type": "a mapping",
    "model_type": "a mapping",
    "model_attributes_type": "a mapping",
    "list_type": "a list",
    "tuple_type": "a list",
}


def typed(cls: type[T], node: Any, path: str, *, key: str = "", context: object = None) -> tuple[T | None, list[Problem]]:
    """The node as `cls`, or None and every problem in it. `key` is the dotted path of the node in its file; paths are as
    typed.
    """
    try:
        return cls.model_validate(node, context=context), []
    except ValidationError as error:
        return None, _problems(error, cls, node, path, key)


def _problems(error: ValidationError, cls: type[BaseModel], root: Any, path: str, key: str) -> list[Problem]:
    found = [_Found(details, root, key) for details in error.errors(include_url=False)]
    told: list[Problem] = []
    missing = {(f.path[:-1], f.path[-1]): f for f in found if f.kind == "missing"}
    folded: set[tuple[str, ...]] = set()
    unknown = [f for f in found if f.kind == "extra_forbidden"]
    for f in unknown:
        keys = _keys_of(cls, f.loc[:-1])
        wanted = [name for parent, name in missing if parent == f.path[:-1] and (*parent, name) not in folded]
        near = nearest(f.path[-1], wanted) or nearest(f.path[-1], keys)
        message = f"there is no key `{shown(f.path[-1], 40)}` here"
        if near:
            message += f"; did you mean `{near}`?"
        if near in wanted:
            folded.add((*f.path[:-1], near))
        if keys:
            message += f"; allowed {allowed_words(keys)}"
        if not isinstance(f.node, Hole):
            told.append(f.problem(path, message, "unknown-key"))
    for f in found:
        if f.kind == "extra_forbidden" or f.path in folded or f.covered_by(found):
            continue
        if not isinstance(f.node, Hole):
            told.append(f.problem(path, *f.sentence()))
    return told


class _Found:
    """One of pydantic's errors, with the node it is about."""

    def __init__(self, details: Any, root: Any, key: str) -> None:
        self.kind: str = details["type"]
        self.loc: tuple[int | str, ...] = details["loc"]
        self.input = details.get("input")
        self.context: dict[str, Any] = details.get("ctx", {})
        self.node, self.at, self.path = locate(root, self.loc, key)
        self.of_key = self.loc[-1:] == ("[key]",) or self.kind == "extra_forbidden"
        if self.of_key:
            self.at = locate(root, [*self.loc, "[key]"], key)[1]  # the key's own place, not its value's

    def problem(self, path: str, message: str, code: str) -> Problem:
        place = Place(path, getattr(self.at, "line", 0), getattr(self.at, "column", 0))
        return Problem(place, ".".join(self.path), message, code)

    def covered_by(self, others: Iterable[_Found]) -> bool:
        if self.of_key:
            return False
        return any(len(o.path) > len(self.path) and o.path[: len(self.path)] == self.path for o in others)

    def sentence(self) -> tuple[str, str]:
        given = f"; found {shown(describe(self.input))}"
        if self.kind == "stationtest":
            return self.context["message"], self.context["code"]
        if self.kind == "missing":
            return "this key is missing", "missing-key"
        if self.kind == "literal_error":
            allowed = [word[1:-1] for word in self.context["expected"].replace(" or ", ", ").split(", ")]
            near = nearest(str(self.input), allowed) if isinstance(self.input, str) else None
            return (
                "this word is not known here"
                + (f"; did you mean `{near}`?" if near else "")
                + given
                + f"; allowed {allowed_words(allowed)}"
            ), "wrong-value"
        if self.kind == "union_tag_invalid":
            allowed = [_KINDS[tag] for tag in self.context["expected_tags"].split(", ")]
            return f"this is of the wrong kind{given}; allowed {' or '.join(allowed)}", "wrong-value"
        if self.kind in _WHOLE:
            return f"{_WHOLE[self.kind]} is due here{given}", "wrong-value"
        if self.kind in ("too_short", "too_long"):
            bounds = self.context.get("min_length", self.context.get("max_length"))
            word = "at least" if self.kind == "too_short" else "at most"
            return (
                f"this has the wrong number of entries; found {self.context['actual_length']}; allowed {word} {bounds}",
                "wrong-value",
            )
        return f"this value does not fit ({self.kind.replace('_', ' ')}){given}", "wrong-value"


def locate(root: Any, loc: Iterable[int | str], key: str = "") -> tuple[Any, Any, tuple[str, ...]]:
    """The node at a path, what has the place to be told (a key, for its absence the mapping's own), and the path in words.

    Parts of the path that are no keys of the file are skipped: the tags of values with several shapes, `[key]`.
    """
    node: Any = root
    at: Any = root
    parent_key: Any = root
    path = [key] if key else []
    for part in loc:
        if isinstance(node, Mapping) and part in node:
            parent_key = at = next(given for given in node if given == part) if isinstance(node, Map) else part
            node = node[part]
            path.append(str(part))
            if isinstance(node, Word):
                at = node
        elif isinstance(part, int) and isinstance(node, list) and part < len(node):
            node = at = node[part]
            path.append(str(part + 1))
        elif isinstance(part, str) and not part.startswith(("<", "[")) and isinstance(node, Mapping):
            node, at = None, parent_key  # a key that is not there: the place of the key that holds the mapping
            path.append(part)
        elif part == "[key]":
            at = parent_key
    return node, at, tuple(path)


def _keys_of(cls: Any, loc: Iterable[int | str]) -> list[str]:
    """The keys that the field class at `loc` allows, found by walking the annotations along the path."""
    shapes: list[Any] = [cls]
    for part in loc:
        shapes = [inner for shape in shapes for inner in _inside(shape, part)]
    for shape in _flat(shapes):
        if isinstance(shape, type) and issubclass(shape, BaseModel):
            return [info.alias or name for name, info in shape.model_fields.items()]
    return []


def _flat(shapes: Iterable[Any]) -> Iterable[Any]:
    for shape in shapes:
        yield shape
        yield from _flat(shape.shapes.values() if isinstance(shape, ByKind) else getattr(shape, "__args__", ()))
        yield from (mark for mark in getattr(shape, "__metadata__", ()) if isinstance(mark, ByKind))


def _inside(shape: Any, part: int | str) -> Iterable[Any]:
    """What stands under one part of a path: the shape with that tag, the field of that key, or the values of a mapping or
    list.
    """
    for candidate in _flat([shape]):
        if isinstance(candidate, ByKind):
            if part in candidate.shapes:
                yield candidate.shapes[str(part)]
        elif isinstance(candidate, type) and issubclass(candidate, BaseModel):
            for name, info in candidate.model_fields.items():
                if part in (name, info.alias) or (name == "root" and not isinstance(part, int)):
                    yield info.annotation
                    yield from (mark for mark in info.metadata if isinstance(mark, ByKind))
        elif getattr(candidate, "__origin__", None) in (dict, list, tuple):
            yield candidate.__args__[-1] if candidate.__args__[-1] is not ... else candidate.__args__[0]


def check_field(adapter: TypeAdapter[Any], node: Any, path: str, key: str, context: object = None) -> tuple[Any, list[Problem]]:
    """As `typed`, for a type that is no class."""
    try:
        return adapter.validate_python(node, context=context), []
    except ValidationError as error:
        return None, _problems(error, BaseModel, node, path, key)
