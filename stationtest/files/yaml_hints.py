"""What YAML's own complaints mean, in words that help; the same for the C and the pure parser, which word them differently."""

from __future__ import annotations

from typing import Any

_INDENT = "lines that belong together start in the same column"


def never_closed(a_list: bool) -> str:
    what, marks = ("list", "[]") if a_list else ("mapping", "{}")
    parts = "items" if a_list else "entries"
    opened = f"a {what} is opened here with `{marks[0]}`"
    return f"{opened}, and its {parts} are not separated by `,` or it is never closed with `{marks[1]}`"


# (part of the complaint, place at its beginning instead of where the parser stopped, sentence)
_HINTS: tuple[tuple[str, bool, str], ...] = (
    (
        "scanning a block scalar",
        False,
        "a value that begins with `>` or `|` opens folded text; write a limit in words, such as `at least 30 %`, or quote it",
    ),
    ("quoted scalar: found unexpected end of stream", True, "a quote is opened here and never closed"),
    ("quoted scalar: found unexpected document separator", True, "a quote is opened here and never closed"),
    ("escape character", True, "a backslash in double quotes begins an escape; put the text in single quotes"),
    ("quoted scalar", True, "this quoted text cannot be read; put it in single quotes, on one line"),
    (
        "flow sequence",
        True,
        never_closed(True),
    ),
    (
        "flow mapping",
        True,
        never_closed(False),
    ),
    (
        "mapping values are not allowed",
        False,
        "a colon with a blank behind it stands inside a value; put the value in quotes, or mend the indentation",
    ),
    ("mapping keys are not allowed", False, "a value cannot begin with `?`; put it in quotes"),
    (
        "sequence entries are not allowed",
        False,
        "a list item `- ` cannot stand here; put it on a line of its own, or write a list as [a, b]",
    ),
    ("expected ':'", True, f"this line has no `: `; a mapping needs `key: value` on each line, and {_INDENT}"),
    ("block collection", False, f"this line is no item `- ` of the list above it; {_INDENT}"),
    ("block mapping", False, f"this line does not fit the mapping above it; {_INDENT}"),
    ("scanning an alias", True, "a value cannot begin with `*`; put it in quotes"),
    ("scanning an anchor", True, "a value cannot begin with `&`; put it in quotes"),
    ("tag", True, "a value cannot begin with `!`; put it in quotes"),
    ("directive", True, "a line cannot begin with `%`"),
)

_FIRST = {
    "%": "a value cannot begin with `%`; write the number first (`95 %`), or put it in quotes",
    ",": "a value cannot begin with `,`; write comma, semicolon, tab or bar in words, or put it in quotes",
    "|": "a value cannot begin with `|`; write comma, semicolon, tab or bar in words, or put it in quotes",
}


class TooDeepForC(Exception):
    """The C parser has a limit of its own on nesting."""


def syntax_error(error: Any, text: str) -> tuple[int, int, str, int]:
    """Line and column (from 1), the sentence for what the parser refuses, and the last line (from 0) that it has understood."""
    begun: Any = getattr(error, "context_mark", None)
    stopped: Any = getattr(error, "problem_mark", None)
    context, problem = getattr(error, "context", None) or "", getattr(error, "problem", None) or ""
    complaint = f"{context}: {problem}"
    if "maximum" in problem:
        raise TooDeepForC
    for part, at_beginning, sentence in _HINTS:
        if part in complaint:
            mark: Any = begun if at_beginning and begun else stopped
            return mark.line + 1, mark.column + 1, sentence, mark.line - 1 if "quote" in sentence else stopped.line
    if stopped is None:
        return 1, 0, "this file cannot be read as YAML", -1
    line = text.split("\n")[stopped.line] if stopped.line <= text.count("\n") else ""
    first = line[stopped.column : stopped.column + 1]
    sentence = _FIRST.get(
        first, f"a value cannot begin with `{first}`; put it in quotes" if first.strip() else "this line cannot be read as YAML"
    )
    return stopped.line + 1, stopped.column + 1, sentence, stopped.line - 1


def empty_value(key: str | None, in_braces: bool, before: str | None) -> tuple[str, bool]:
    """What a missing value probably comes from, and whether it is half of a number with a decimal comma.

    `key` is None for a list item; `before` is the text of the value before it, if there is one.
    """
    if key is None:
        return "a list item has no value; found nothing; allowed text, a list or a mapping", False
    if in_braces and key[:1].isdigit() and before and before.lstrip("+-").replace(".", "", 1).isdigit():
        found = f"{before},{key}"
        return f"numbers are written with a decimal point, not a comma; found {found}; allowed {before}.{key}", True
    if in_braces and ":" in key.strip(":"):
        left, right = key.split(":", 1)
        return f"a blank is missing after the colon; found {key}; allowed {left}: {right}", False
    if in_braces:
        return "this key has no value; did you mean a list [ ] instead of { }?; found nothing; allowed `key: value`", False
    return "this key has no value; found nothing; allowed a value, or no such line", False
