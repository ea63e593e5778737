"""A small writer for figures: SVG text with a title and a description, classes instead of styles, every text escaped.

A figure is `role="img"` and named by its title and description, so that one who cannot see it knows what it is of; the numbers
behind it stand in a table beside it. No style, script, link or font is written, so that a page may forbid all of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from markupsafe import Markup, escape

Point = tuple[float, float]


def num(value: float) -> str:
    """A coordinate to a tenth of a unit, as short as it goes."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


class Drawing:
    """One figure under construction, `width` × `height` user units (about a CSS pixel when shown at full width)."""

    def __init__(self, key: str, title: str, description: str, width: float, height: float) -> None:
        self.key, self.title, self.description = key, title, description
        self.width, self.height = width, height
        self._parts: list[str] = []

    def line(self, x1: float, y1: float, x2: float, y2: float, kind: str) -> None:
        self._parts.append(f'<path class="{kind}" d="M{num(x1)} {num(y1)}L{num(x2)} {num(y2)}"/>')

    def rect(self, x: float, y: float, width: float, height: float, kind: str) -> None:
        self._parts.append(
            f'<path class="{kind}" d="M{num(x)} {num(y)}h{num(max(width, 0))}v{num(max(height, 0))}h{num(-max(width, 0))}z"/>'
        )

    def bars(self, boxes: Iterable[tuple[float, float, float, float]], kind: str) -> None:
        """Many rectangles (x, y, width, height) as one path."""
        path = "".join(f"M{num(x)} {num(y)}h{num(w)}v{num(h)}h{num(-w)}z" for x, y, w, h in boxes)
        if path:
            self._parts.append(f'<path class="{kind}" d="{path}"/>')

    def polyline(self, points: Sequence[Point], kind: str, *, close: bool = False) -> None:
        """A line through points; those that fall on the one before at this precision are left out."""
        path, before = [], ""
        for x, y in points:
            here = f"{num(x)} {num(y)}"
            if here != before:
                path.append(here)
                before = here
        if path:
            self._parts.append(f'<path class="{kind}" d="M{"L".join(path)}{"z" if close else ""}"/>')

    def marks(self, points: Iterable[Point], shape: int, kind: str, radius: float = 3.0) -> None:
        """Many marks of one shape (0 to 7) as one path: what tells series apart when colour does not."""
        path = "".join(_mark(x, y, shape % SHAPES, radius) for x, y in points)
        if path:
            self._parts.append(f'<path class="mk {"open" if shape % SHAPES in OPEN else "solid"} {kind}" d="{path}"/>')

    def text(self, x: float, y: float, words: str, kind: str = "t", *, anchor: str = "start", longest: int = 0) -> None:
        """Text with its baseline at y. Text longer than `longest` characters is cut with an ellipsis (0: never)."""
        if longest and len(words) > longest:
            words = words[: longest - 1] + "…"
        where = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self._parts.append(f'<text class="{kind}" x="{num(x)}" y="{num(y)}"{where}>{escape(words)}</text>')

    def markup(self) -> Markup:
        key = escape(self.key)
        head = (
            f'<svg class="figure" role="img" aria-labelledby="{key}-t {key}-d" '
            f'viewBox="0 0 {num(self.width)} {num(self.height)}" width="{num(self.width)}" height="{num(self.height)}">'
            f'<title id="{key}-t">{escape(self.title)}</title><desc id="{key}-d">{escape(self.description)}</desc>'
        )
        return Markup(head + "".join(self._parts) + "</svg>")


SHAPES = 8
OPEN = {4, 5, 6, 7}


def _mark(x: float, y: float, shape: int, r: float) -> str:
    """Solid: square, triangle, diamond, triangle down. Open: cross, plus, square, diamond."""
    a, b, d = num(r), num(2 * r), num(1.3 * r)
    if shape in (0, 6):
        return f"M{num(x - r)} {num(y - r)}h{b}v{b}h-{b}z"
    if shape == 1:
        return f"M{num(x)} {num(y - r)}l{d} {b}h-{num(2.6 * r)}z"
    if shape in (2, 7):
        return f"M{num(x)} {num(y - 1.3 * r)}l{d} {d}l-{d} {d}l-{d}-{d}z"
    if shape == 3:
        return f"M{num(x)} {num(y + r)}l{d}-{b}h-{num(2.6 * r)}z"
    if shape == 4:
        return f"M{num(x - r)} {num(y - r)}l{b} {b}m-{b} 0l{b}-{b}"
    return f"M{num(x - r)} {num(y)}h{b}m-{a}-{a}v{b}"


class Axis:
    """A linear scale from values to user units, with round ticks (1, 2 or 5 times a power of ten apart)."""

    def __init__(self, low: float, high: float, start: float, end: float, ticks: int = 6) -> None:
        if high <= low:
            low, high = low - 0.5, high + 0.5
        self.low, self.high, self.start, self.end = low, high, start, end
        self.step = _step((high - low) / ticks)

    def at(self, value: float) -> float:
        return self.start + (value - self.low) * (self.end - self.start) / (self.high - self.low)

    def inside(self, value: float) -> float:
        """As `at`, values beyond the ends drawn at the ends."""
        return self.at(min(max(value, self.low), self.high))

    def ticks(self) -> list[tuple[float, str]]:
        """(position, text) of each round value."""
        first = -int(-self.low // self.step)
        places = max(0, -_exponent(self.step))
        found = []
        for k in range(first, first + 40):
            value = k * self.step
            if value > self.high + self.step * 1e-6:
                break
            text = f"{value:.{places}f}".replace("-", "\u2212")
            found.append((self.at(value), "0" if value == 0 else text))
        return found


def _exponent(step: float) -> int:
    exponent = 0
    while step < 0.999999 * 10.0**exponent:
        exponent -= 1
    return exponent


def _step(rough: float) -> float:
    power = 10.0 ** len(str(int(rough))) if rough >= 1 else 1.0
    while power > rough:
        power /= 10
    for factor in (1, 2, 5, 10):
        if factor * power >= rough * 0.999:
            return factor * power
    return 10 * power
