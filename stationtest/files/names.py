"""Text and names of the files: what may be a name, and whether somebody declared it."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from pydantic import ValidationInfo
from pydantic_core import PydanticCustomError

from stationtest.files.quantities import text_of, wrong
from stationtest.files.suggest import allowed_words, nearest
from stationtest.model.station import Edge as ModelEdge

AS_THE_SET = "as the set is"
"""What an output must do that answers to a set: on for an incomplete one, off for a complete one."""

RESERVED_NAMES = ("any", "all", "none", "each", "set", "rows", "start", "end", "covered", "event", "next decision", "?")


@dataclass(frozen=True, slots=True)
class Names:
    """What the station declares, for checking names while typing: pass it as the validation context."""

    target: tuple[str, ...] = ()
    channel: tuple[str, ...] = ()
    sensor: tuple[str, ...] = ()
    input: tuple[str, ...] = ()
    output: tuple[str, ...] = ()
    set: tuple[str, ...] = ()
    item: tuple[str, ...] = ()
    evidence: tuple[str, ...] = ()
    event: tuple[str, ...] = ()
    lasting: tuple[str, ...] = ()  # events that have an end
    decided: tuple[str, ...] = ()  # outputs that are decided at an edge
    conditions: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    travel: bool = False  # whether the station, or the form of a recording, says how its belt moves

    @property
    def signal(self) -> tuple[str, ...]:
        return self.channel + self.input + self.output


def text(value: object) -> str:
    """Free text, on one or several lines, kept as written."""
    given = text_of(value, "text", "text")
    if not given.strip():
        raise wrong("text is due here, and this is blank", f'"{given}"')
    if "\x00" in given or len(given) > 10_000:
        raise wrong("this text cannot be kept", given, "at most 10000 characters, none of them NUL")
    return str(given)


def _one_line(value: object, what: str) -> str:
    given = text(value)
    if given != given.strip() or any(unicodedata.category(char) in ("Cc", "Cf", "Zl", "Zp") for char in given):
        raise wrong(f"{what} has no blanks at its ends and no control characters", repr(given))
    if len(given) > 200:
        raise wrong(f"{what} has at most 200 characters", given)
    return given


def name(value: object) -> str:
    """The name of something that is declared: one line of any text, but for the words that the language keeps."""
    given = _one_line(value, "a name")
    if given.casefold() in RESERVED_NAMES:
        raise wrong("this word has a meaning of its own and cannot be a name", given, "any other word", "reserved-word")
    if given.endswith((" falls", " rises")):
        raise wrong("a name cannot end in `falls` or `rises`: that is how an edge is written", given, code="reserved-word")
    return given


def case_id(value: object) -> str:
    """A stable id. `::`, `[` and `]` would break how test runners name their items."""
    given = _one_line(value, "an id")
    if any(part in given for part in ("::", "[", "]")):
        raise wrong("an id cannot hold `::`, `[` or `]`", given, "such as REC-01")
    return given


def known(value: object, info: ValidationInfo, kind: str) -> str:
    given = str(text_of(value, f"the name of {_article(kind)}", "a name"))
    if isinstance(info.context, Names):
        declared: tuple[str, ...] = getattr(info.context, kind)
        if given not in declared:
            raise unknown(kind, given, declared)
    return given


def _article(kind: str) -> str:
    articles = {
        "input": "an input",
        "output": "an output",
        "event": "an event",
        "evidence": "a demand for evidence",
        "signal": "a channel, input or output",
    }
    return articles.get(kind, f"a {kind}")


def unknown(kind: str, given: str, declared: tuple[str, ...]) -> PydanticCustomError:
    """The error of a name that nobody declared, with the nearest one."""
    near = nearest(given, declared)
    hint = f"; did you mean `{near}`?" if near else ""
    return wrong(
        f"there is no {kind.replace('signal', 'channel, input or output')} of this name{hint}",
        given,
        allowed_words(declared),
        "unknown-name",
    )


def known_as(kind: str) -> Callable[[object, ValidationInfo], str]:
    def check(value: object, info: ValidationInfo) -> str:
        return known(value, info, kind)

    return check


def edge(value: object, info: ValidationInfo, words: tuple[str, ...] = ()) -> ModelEdge:
    """`box out` or `box out rises` is the rising edge of an input, `box out falls` the falling one.

    `words` are what the field allows beside edges, for the message.
    """
    given = text_of(value, "an edge of an input", "such as box out, or box out falls")
    falls = given.endswith(" falls")
    name_ = given.removesuffix(" falls").removesuffix(" rises")
    if isinstance(info.context, Names) and name_ not in info.context.input:
        raise _no_edge(str(given), name_, words, info.context.input)
    return ModelEdge(input=str(name_), falls=falls)


def _no_edge(given: str, name_: str, words: tuple[str, ...], inputs: tuple[str, ...]) -> PydanticCustomError:
    """The error of an edge that there is not; a misspelt edge is answered with the edge that was meant, in its direction."""
    if given != name_:  # it ends in `falls` or `rises`, so the name is what is wrong
        return unknown("input", name_, (*words, *inputs))
    edges = [f"{one} {direction}" for one in inputs for direction in ("falls", "rises")]
    near = nearest(given, (*words, *inputs, *edges))
    hint = f"; did you mean `{near}`?" if near else ""
    return wrong(f"there is no input of this name{hint}", given, allowed_words((*words, *inputs)), "unknown-name")


_INSTANTS = ("start", "end", "covered", "event")
_NEXT = "next decision"


def instant(value: object, info: ValidationInfo) -> str | ModelEdge:
    """`start`, `end`, `covered`, `event`, or an edge of an input."""
    return str(value) if value in _INSTANTS else edge(value, info, _INSTANTS)


def until(value: object, info: ValidationInfo) -> str | ModelEdge:
    """`next decision`, or an edge of an input."""
    return str(value) if value == _NEXT else edge(value, info, (_NEXT,))
