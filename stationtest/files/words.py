"""Numbers in the words of the files: `40 ms`, `95 %`, `0.012`. The inverse of scalars.py, shared by the record and the
messages.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from stationtest.model.travel import NM, Length, Reach

_DURATIONS = (
    ("h", 3_600_000_000_000),
    ("min", 60_000_000_000),
    ("s", 1_000_000_000),
    ("ms", 1_000_000),
    ("us", 1_000),
    ("ns", 1),
)


def duration_text(ns: int) -> str:
    """Nanoseconds in the unit that a person would write: the largest of ms and up that leaves a whole number, else exact
    digits.
    """
    if ns == 0:
        return "0 ms"
    for unit, size in _DURATIONS:
        if ns % size == 0 and (abs(ns) // size < 1000 or unit in ("h", "min")):
            return f"{ns // size} {unit}"
    for unit, size in (("s", 1_000_000_000), ("ms", 1_000_000), ("us", 1_000)):
        if abs(ns) >= size:
            return f"{_digits(Decimal(ns) / size)} {unit}"
    return f"{ns} ns"


def share_text(share: float) -> str:
    """0.95 → `95 %`, without the noise of the binary fraction."""
    return f"{_digits(Decimal(repr(share)) * 100)} %"


def number_text(number: float) -> str:
    """The shortest decimal that reads back as the same float; whole numbers without a point."""
    if isinstance(number, int) or (number == int(number) and abs(number) < 1e15):
        return str(int(number))
    return repr(number)


def length_text(mm: float) -> str:
    return f"{number_text(mm)} mm"


def reach_text(reach: Reach) -> str:
    """A time or a length of belt: `40 ms`, `620 mm`."""
    return f"{_digits(Decimal(reach.nm) / NM)} mm" if isinstance(reach, Length) else duration_text(reach)


def angle_text(deg: float) -> str:
    return f"{number_text(deg)} deg"


def speed_text(mm_s: float) -> str:
    return f"{number_text(mm_s)} mm/s"


def drift_text(parts: int) -> str:
    """Parts of 10**12 in ppm."""
    return f"{_digits(Decimal(parts) / 10**6)} ppm"


def frequency_text(hertz: float) -> str:
    return f"{number_text(hertz)} Hz"


def size_text(number: int) -> str:
    """Bytes as a person would say them: `57.2 kB`."""
    for unit, step in (("GB", 10**9), ("MB", 10**6), ("kB", 10**3)):
        if number >= step:
            return f"{number / step:.1f} {unit}"
    return f"{number} bytes"


def listed(words: Iterable[str], last: str = "and") -> str:
    """`a`, `a and b`, `a, b and c`."""
    items = list(words)
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def shown(text: str, most: int = 60) -> str:
    """Text of a user inside a message: on one line, cut where it is long, so that the message stays one sentence."""
    flat = " ".join("".join(char if char.isprintable() else " " for char in text).split())
    return flat if len(flat) <= most else f"{flat[: most - 1]}…"


def _digits(number: Decimal) -> str:
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
