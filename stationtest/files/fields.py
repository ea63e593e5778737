"""The base of all field classes: what a mapping of the files may hold. See scalars.py for the types of the values."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Generic, TypeVar, Union

from pydantic import BaseModel, ConfigDict, Discriminator, Field, GetCoreSchemaHandler, RootModel, Tag
from pydantic_core import CoreSchema

T = TypeVar("T")


def _key(attribute: str) -> str:
    return attribute.rstrip("_")


class Fields(BaseModel):
    """A mapping with declared keys and no others. An attribute `from_` is written `from:`; defaults are the text a user
    would write.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, validate_default=True, alias_generator=_key)


class Single(RootModel[T], Generic[T]):
    """A value that is not a mapping (`own_channel_only: yes`): read it as `.root`."""

    model_config = ConfigDict(frozen=True)


def said(text: str | None) -> Any:
    """A default, as the text that a user would write: it is converted like any other."""
    return Field(default=text)


def kind_of(value: Any) -> str:
    """`<text>`, `<mapping>` or `<list>`: the tag by which a value that may have several shapes is told apart."""
    if isinstance(value, Mapping | Fields):
        return "<mapping>"
    return "<list>" if isinstance(value, list | tuple) else "<text>"


class ByKind:
    """Marks a type (`Annotated[Any, ByKind(...)]`) that is read by the kind of node that stands there; only that one's
    errors are told.
    """

    def __init__(self, *, text: Any = None, mapping: Any = None, items: Any = None) -> None:
        shapes = {"<text>": text, "<mapping>": mapping, "<list>": items}
        self.shapes = {tag: shape for tag, shape in shapes.items() if shape is not None}

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        tagged = tuple(Annotated[shape, Tag(tag)] for tag, shape in self.shapes.items())
        return handler.generate_schema(Annotated[Union[tagged], Discriminator(kind_of)])  # noqa: UP007


def by_kind(*, text: Any = None, mapping: Any = None, items: Any = None) -> Any:
    """The type of a value that is read by the kind of node that stands there."""
    return Annotated[Any, ByKind(text=text, mapping=mapping, items=items)]
