"""Numbers and quantities of the files: text to builtins, or the error that says what is wrong with it."""

from __future__ import annotations

import functools
import math
import re
import unicodedata
from collections.abc import Mapping
from decimal import Decimal

from pydantic_core import PydanticCustomError

from stationtest.files import words
from stationtest.files.suggest import nearest

_MOST_NS = 2**53
_MOST_OFFSET_NS = 2**62
_MOST_NUMBER = 1e15  # so that no distance between numbers of a file overflows
_MOST_SHOWN = 0.999999  # beyond it no number of trials that anybody presents shows a share


def wrong(what: str, found: object = None, allowed: str = "", code: str = "wrong-value") -> PydanticCustomError:
    """The error of a field: `what is wrong; found X; allowed Y`. `code` is one of errors.CODES."""
    message = what
    if found is not None:
        message += f"; found {words.shown(describe(found))}"
    if allowed:
        message += f"; allowed {allowed}"
    return PydanticCustomError("stationtest", "{message}", {"message": message, "code": code})


def describe(value: object) -> str:
    """What stands there, for a message."""
    if isinstance(value, Mapping):
        return "a mapping"
    if isinstance(value, list | tuple):
        return "a list"
    return str(value)


def text_of(value: object, what: str, allowed: str) -> str:
    if isinstance(value, str):
        return value
    raise wrong(f"{what} is due here", value, allowed)


def bare(value: object, what: str, allowed: str) -> str:
    """The text of an unquoted scalar in plain characters: units, signs and blanks as one would type them."""
    text = text_of(value, what, allowed)
    if getattr(value, "quoted", False):
        raise wrong(f"{what} is due here, and what is quoted is text: write it without quotes", f'"{text}"', allowed)
    return _typed(str(text))


@functools.lru_cache(maxsize=1024)
def _typed(text: str) -> str:
    return unicodedata.normalize("NFKC", text).replace("\u2212", "-").replace("\u03bc", "u").strip()


# --- numbers and quantities ---------------------------------------------------------------------------------------------------

_DIGITS = r"[+-]?(?:0|[1-9][0-9]{0,17})(?:\.[0-9]{1,17})?"
_NUMBER = re.compile(_DIGITS + r"(?:[eE][+-]?[0-9]{1,3})?")
_QUANTITY = re.compile(rf"({_DIGITS})\s*([^\s\d.,+-].*)?")
_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+(\D.*)?")
_KINDS: dict[str, tuple[Mapping[str, Decimal | int], str]] = {  # units by kind, and an example
    "a duration": ({"ns": 1, "us": 1_000, "ms": 1_000_000, "s": 10**9, "min": 60 * 10**9, "h": 3600 * 10**9}, "40 ms"),
    "a length": ({"um": Decimal("0.001"), "mm": 1, "cm": 10, "m": 1000}, "4 mm"),
    "a speed": ({"mm/s": 1, "m/s": 1000, "mm/min": Decimal(1) / 60, "m/min": Decimal(1000) / 60}, "500 mm/s"),
    "a frequency": ({"Hz": 1, "kHz": 1000, "MHz": 10**6}, "1 kHz"),
    "an angle": ({"deg": 1}, "12 deg"),
    "a share": ({"%": 1}, "95 %"),
    "a drift": ({"ppm": 10**6}, "20 ppm"),
    "a wavelength": ({"nm": 1}, "540 nm"),
    "a difference of temperature": ({"K": 1}, "15 K"),
    "a time of use": ({"h": 1}, "8000 h"),
    "a shift with temperature": ({"nm/K": 1}, "0.05 nm/K"),
    "a change with temperature": ({"%/K": 1}, "-0.3 %/K"),
}


def _check_comma(text: str, allowed: str) -> None:
    if _COMMA.fullmatch(text):
        raise wrong("numbers are written with a decimal point, not a comma", text, f"{text.replace(',', '.', 1)} or {allowed}")


def _quantity(value: object, what: str) -> Decimal:
    """A number with its unit, in the smallest unit of its kind (`what`)."""
    return _measured(bare(value, what, _allowed(what)), what)


@functools.lru_cache(maxsize=16)
def _allowed(what: str) -> str:
    units, example = _KINDS[what]
    return f"a number with its unit ({', '.join(units)}), such as {example}"


@functools.lru_cache(maxsize=1024)
def _measured(text: str, what: str) -> Decimal:
    units, example = _KINDS[what]
    _check_comma(text, _allowed(what))
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise wrong(f"this is not {what}", text, _allowed(what))
    number, unit = match.groups()
    if unit is None:
        raise wrong(f"a bare number needs a unit: {_with_unit(number, example.split()[1])}", text, _allowed(what))
    if unit not in units:
        other = next((kind for kind, (others, _) in _KINDS.items() if unit in others), None)
        if other is not None:  # no misspelling, and the number would not mean the same
            raise wrong(f"`{unit}` is a unit of {other.split(' ', 1)[1]}, and {what} is due here", text, _allowed(what))
        near = nearest(unit, units)
        hint = f"; did you mean {number} {near}?" if near else ""
        raise wrong(f"`{words.shown(unit, 20)}` is no unit of {what}{hint}", text, _allowed(what))
    return Decimal(number) * units[unit]


def _with_unit(number: str, unit: str) -> str:
    """What was probably meant by a bare number: 0.95 is a share of the whole, and 0.95 % would ask for next to nothing."""
    if unit == "%" and abs(Decimal(number)) <= 1:
        return f"{words.share_text(float(number))}, if {number} of the whole is meant"
    return f"{number} {unit}"


def amount(text: str) -> tuple[Decimal, str] | None:
    """A number in the smallest unit of its kind, and the kind ('' for a bare number); None for what is no amount."""
    if bare_number := _NUMBER.fullmatch(_typed(text)):
        return Decimal(bare_number[0]), ""
    match = _QUANTITY.fullmatch(_typed(text))
    if match is None:
        return None
    number, unit = match.groups()
    return next(((Decimal(number) * units[unit], kind) for kind, (units, _) in _KINDS.items() if unit in units), None)


def duration(value: object) -> int:
    """Nanoseconds, exact; not negative; below 2**53 (104 days)."""
    ns = _quantity(value, "a duration")
    if ns != ns.to_integral_value():
        raise wrong("a duration finer than 1 ns cannot be kept", value, "whole nanoseconds")
    if ns < 0 or ns >= _MOST_NS:
        raise wrong("a duration is out of range", value, "0 ms up to 104 days")
    return int(ns)


def longer_than_nothing(value: object) -> int:
    ns = duration(value)
    if not ns:
        raise wrong("this duration must be longer than nothing", value, "such as 1 ms")
    return ns


def any_duration(value: object) -> int:
    """Nanoseconds; may be negative (an offset)."""
    ns = _quantity(value, "a duration")
    if ns != ns.to_integral_value() or abs(ns) >= _MOST_NS:
        raise wrong("a duration is out of range", value, "whole nanoseconds, up to 104 days")
    return int(ns)


def clock_offset(value: object) -> int:
    """Nanoseconds, either way, between two clocks of which one may have dates and the other count from its start (146 years)."""
    ns = _quantity(value, "a duration")
    if ns != ns.to_integral_value() or abs(ns) > _MOST_OFFSET_NS:
        raise wrong("an offset between two clocks is out of range", value, "whole nanoseconds, up to 146 years")
    return int(ns)


def _positive(value: object, what: str) -> float:
    amount = _quantity(value, what)
    if amount <= 0:
        raise wrong(f"{what} must be more than nothing", value, f"such as {_KINDS[what][1]}")
    return float(amount)


def length(value: object) -> float:
    """Millimetres, more than 0."""
    return _positive(value, "a length")


def lengths_nm(value: object) -> int:
    """Nanometres of belt, exact; of either sign; below 2**53 (9000 km)."""
    nm = _quantity(value, "a length") * 1_000_000
    if nm != nm.to_integral_value() or abs(nm) >= _MOST_NS:
        raise wrong("a length is out of range", value, "whole nanometres, up to 9000 km")
    return int(nm)


def speed(value: object) -> float:
    """Millimetres a second, more than 0."""
    return _positive(value, "a speed")


def frequency(value: object) -> float:
    """Hertz, more than 0."""
    return _positive(value, "a frequency")


def any_length(value: object) -> float:
    """Millimetres, either way."""
    return float(_quantity(value, "a length"))


def length_or_none(value: object) -> float:
    """Millimetres, 0 or more."""
    return _not_negative(value, "a length")


def wavelength(value: object) -> float:
    """Nanometres, more than 0."""
    return _positive(value, "a wavelength")


def wavelength_spread(value: object) -> float:
    """Nanometres, 0 or more."""
    return _not_negative(value, "a wavelength")


def kelvin(value: object) -> float:
    """Kelvin, either way."""
    return float(_quantity(value, "a difference of temperature"))


def hours(value: object) -> float:
    """Hours, 0 or more."""
    return _not_negative(value, "a time of use")


def shift_per_kelvin(value: object) -> float:
    """Nanometres a kelvin, either way."""
    return float(_quantity(value, "a shift with temperature"))


def change_per_kelvin(value: object) -> float:
    """`-0.3 %/K` → -0.003, either way."""
    return float(_quantity(value, "a change with temperature") / 100)


def _not_negative(value: object, what: str) -> float:
    amount = _quantity(value, what)
    if amount < 0:
        raise wrong(f"{what} is out of range", value, f"0 or more, such as {_KINDS[what][1]}")
    return float(amount)


def angle(value: object) -> float:
    """Degrees."""
    return float(_quantity(value, "an angle"))


def small_angle(value: object) -> float:
    """Degrees within 85 of the axis, either way: beyond it nothing would be lit or seen."""
    amount = angle(value)
    if abs(amount) > 85:
        raise wrong("this angle is too steep to be lit or seen", value, "-85 deg to 85 deg")
    return amount


def any_share(value: object) -> float:
    """`95 %` → 0.95, not negative."""
    amount = _quantity(value, "a share") / 100
    if amount < 0:
        raise wrong("a share is out of range", value, "0 % or more")
    return float(amount)


def share(value: object) -> float:
    """`95 %` → 0.95; from 0 to 1."""
    amount = any_share(value)
    if amount > 1:
        raise wrong("a share is out of range", value, "0 % to 100 %")
    return amount


def open_share(value: object) -> float:
    """A share above 0 % and at most 99.9999 %: a reliability or a confidence."""
    amount = share(value)
    if not 0 < amount <= _MOST_SHOWN:
        raise wrong("no number of trials can show this", value, "more than 0 % and at most 99.9999 %")
    return amount


def drift(value: object) -> int:
    """How fast a clock runs against another, in parts of 10**12: `20 ppm` is 20,000,000. Below 1000 ppm, to 0.000001 ppm."""
    parts = _quantity(value, "a drift")
    if parts != parts.to_integral_value() or abs(parts) >= 10**9:
        raise wrong("a drift is out of range", value, "more than -1000 ppm and less than 1000 ppm, with at most 6 decimals")
    return int(parts)


def longer_than(value: object) -> int:
    """`longer than 3 ms`, or `3 ms`: the longest step between two rows that is no gap, in nanoseconds."""
    words_, given = "longer than ", bare(value, "a gap", "such as longer than 3 ms")
    return longer_than_nothing(given.removeprefix(words_))


def number(value: object) -> float:
    """A finite number without a unit. A digit must follow the point; no 1_000, no 0x1F, no leading zero."""
    allowed = "a number such as 0.012"
    text = bare(value, "a number", allowed)
    _check_comma(text, allowed)
    if _NUMBER.fullmatch(text) is None or not math.isfinite(float(text)):
        raise wrong("this is not a number", text, allowed)
    if abs(float(text)) > _MOST_NUMBER:
        raise wrong("a number is out of range", text, "-1e15 to 1e15")
    return float(text) + 0.0


def positive(value: object) -> float:
    amount = number(value)
    if amount <= 0:
        raise wrong("this number must be more than 0", value, "a number such as 0.012")
    return amount


def count(value: object) -> int:
    """A whole number, 0 or more."""
    text = bare(value, "a whole number", "a whole number such as 3")
    if re.fullmatch(r"0|[1-9][0-9]{0,8}", text) is None:
        raise wrong("this is not a whole number of 0 or more", text, "a whole number such as 3")
    return int(text)


def one_or_more(value: object) -> int:
    amount = count(value)
    if not amount:
        raise wrong("this number must be at least 1", value, "a whole number such as 3")
    return amount
