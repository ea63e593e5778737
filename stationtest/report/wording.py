"""Numbers of a record as text: one decimal sign, the unit always beside the number, the same text for the same number."""

from __future__ import annotations

import math
from collections.abc import Iterable

NOT_RECORDED = "not recorded"

VERDICT_WORDS = {
    "pass": "Pass",
    "fail": "Fail",
    "not shown": "Not shown",
    "not judged": "Not judged",
    "not run": "Not run",
}
"""A case that was not run has no verdict; 'not run' is its state."""


def slug(verdict: str | None) -> str:
    """The verdict as a class name or fragment: 'not shown' -> 'not-shown'; None is a case that was not run."""
    return (verdict or "not run").replace(" ", "-")


def plural(number: int, one: str, many: str | None = None) -> str:
    """'1 case', '2 cases'."""
    return f"{count(number)} {one if number == 1 else many or one + 's'}"


def count(number: int | None) -> str:
    """A whole number with a thin gap between thousands ('12 408'), as ISO 80000-1 writes it; '–' for none."""
    return "–" if number is None else f"{number:,}".replace(",", "\u202f")


def decimal(value: float | None, digits: int = 3) -> str:
    """A number with `digits` significant digits, never in exponents for everyday sizes; '–' for none."""
    if value is None:
        return "–"
    if value == 0:
        return "0"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    if places > 9:
        return f"{value:.{digits - 1}e}".replace("-", "\u2212")
    return f"{value:.{places}f}".replace("-", "\u2212")


def percent(share: float | None, places: int = 2) -> str:
    """A share as a percentage. A lower bound must not be rounded up past what was asked: the text is cut, not rounded."""
    if share is None:
        return "–"
    scaled = math.floor(share * 100 * 10**places + 1e-9) / 10**places
    text = f"{scaled:.{places}f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text) + " %"


def percent_up(share: float | None, places: int = 2) -> str:
    """As `percent`, for an upper bound: cut upwards, so that it never claims more than it should."""
    if share is None:
        return "–"
    scaled = math.ceil(share * 100 * 10**places - 1e-9) / 10**places
    text = f"{scaled:.{places}f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text) + " %"


def duration(nanoseconds: int | None) -> str:
    """'40 ms', '1.25 s', '10 min 2.5 s', '1 h 0 min 0 s'; '–' for none."""
    if nanoseconds is None:
        return "–"
    if nanoseconds < 0:
        return "\u2212" + duration(-nanoseconds)
    if nanoseconds < 1_000_000:
        return f"{_short(nanoseconds / 1e3)} µs"
    if nanoseconds < 1_000_000_000:
        return f"{_short(nanoseconds / 1e6)} ms"
    seconds = nanoseconds / 1e9
    if seconds < 120:
        return f"{_short(seconds)} s"
    minutes, rest = divmod(seconds, 60)
    if minutes < 60:
        return f"{int(minutes)} min {_short(rest, 1)} s"
    hours, minutes = divmod(int(minutes), 60)
    return f"{hours} h {minutes} min {_short(rest, 0)} s"


def seconds(nanoseconds: int | None) -> str:
    """An instant in a recording, to the millisecond: '83.412 s'; '–' for none."""
    return "–" if nanoseconds is None else f"{nanoseconds / 1e9:.3f} s"


def size(number: int) -> str:
    """A file size in bytes with its unit."""
    for unit, step in (("MB", 1_000_000), ("kB", 1_000)):
        if number >= step:
            return f"{number / step:.1f} {unit}"
    return f"{number} B"


def listed(parts: Iterable[str], last: str = "and") -> str:
    """'a, b and c'."""
    items = list(parts)
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def _short(value: float, places: int = 3) -> str:
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


FIRST = ". First: "
"""Before the first nonconforming trial in the reason of a case: the cause stands behind it."""


def shortened(text: str, longest: int = 200) -> str:
    """A reason cut with an ellipsis, for where the whole of it stands elsewhere; the first nonconforming trial stays whole."""
    counted, first, trial = text.partition(FIRST)
    return (counted if len(counted) <= longest else counted[: longest - 1].rstrip() + "…") + first + trial


def in_short(text: str) -> str:
    """A reason for page one: how many were nonconforming and the first of them whole; what that shows stands with the case."""
    counted, first, trial = text.partition(FIRST)
    return counted.partition("; ")[0] + first + trial if first else shortened(text)


def figures(text: str) -> bool:
    """Whether a cell begins as a number (or says 'none'), so that it is set to the right of its column."""
    return text[:1].isdigit() or (text[:1] == "\u2212" and text[1:2].isdigit()) or text == "–"
