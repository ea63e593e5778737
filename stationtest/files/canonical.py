"""Canonical JSON after RFC 8785 (JSON Canonicalization Scheme): one sequence of bytes for one value.

Numbers are written as ECMAScript writes them (ECMA-262, Number::toString), object keys are sorted by their UTF-16 code units,
text is escaped as little as JSON allows. Only exact built-in types pass: an object of any other type has no canonical form here.
"""

from __future__ import annotations

import math
from json.encoder import encode_basestring as _quoted  # the accelerated encoder of text, non-ASCII kept
from typing import Any

MOST_INTEGER = 2**53


def dumps(value: Any) -> bytes:
    """The canonical bytes. TypeError for other types than str, bool, int, float, None, list and dict with str keys;
    ValueError for numbers that are not finite, whole numbers of 2**53 and more, and text with lone surrogates."""
    pieces: list[str] = []
    _write(value, pieces.append, {})
    return "".join(pieces).encode("utf-8")


def _write(value: Any, put: Any, keys: dict[str, tuple[bytes, str]]) -> None:
    kind = type(value)
    if kind is str:
        put(_quoted(value))
    elif kind is dict:
        _write_object(value, put, keys)
    elif kind is list:
        separator = "["
        for item in value:
            put(separator)
            _write(item, put, keys)
            separator = ","
        put("[]" if separator == "[" else "]")
    elif kind is int:
        if not -MOST_INTEGER < value < MOST_INTEGER:
            raise ValueError(f"{value} is too large for a JSON number that every reader keeps")
        put(str(value))
    elif kind is float:
        put(number(value))
    elif value is None:
        put("null")
    elif kind is bool:
        put("true" if value else "false")
    else:
        raise TypeError(f"{kind.__module__}.{kind.__qualname__} has no canonical form")


def _write_object(value: dict[str, Any], put: Any, keys: dict[str, tuple[bytes, str]]) -> None:
    for key in value:
        if key not in keys:
            if type(key) is not str:
                raise TypeError(f"a key of an object is text, not {type(key).__qualname__}")
            keys[key] = key.encode("utf-16-be"), _quoted(key) + ":"
    separator = "{"
    for key in sorted(value, key=lambda key: keys[key][0]):
        put(separator)
        put(keys[key][1])
        _write(value[key], put, keys)
        separator = ","
    put("{}" if separator == "{" else "}")


def number(value: float) -> str:
    """A float as ECMAScript writes it. Python's repr gives the same shortest digits; only their layout differs."""
    if not math.isfinite(value):
        raise ValueError(f"{value} is not a JSON number")
    if value == 0:
        return "0"
    sign, text = ("-", repr(-value)) if value < 0 else ("", repr(value))
    mantissa, _, exponent = text.partition("e")
    whole, _, fraction = mantissa.partition(".")
    fraction = "" if fraction == "0" else fraction
    digits = (whole + fraction).lstrip("0")
    point = len(whole) + int(exponent or 0) if whole != "0" else len(digits) - len(fraction)  # the value is 0.DIGITS * 10**point
    digits = digits.rstrip("0")
    if len(digits) <= point <= 21:
        return sign + digits + "0" * (point - len(digits))
    if 0 < point <= 21:
        return f"{sign}{digits[:point]}.{digits[point:]}"
    if -6 < point <= 0:
        return f"{sign}0.{'0' * -point}{digits}"
    tail = f".{digits[1:]}" if len(digits) > 1 else ""
    return f"{sign}{digits[0]}{tail}e{'+' if point > 0 else '-'}{abs(point - 1)}"
