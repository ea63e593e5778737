"""Spectra in files: a table with a header, wavelengths in nm in the first column and one curve in each further one.

Separated by commas or semicolons, whichever the header has; decimal points. Lines that begin with `#` are left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from stationtest.errors import Problem
from stationtest.files.words import shown
from stationtest.model.spectrum import Spectrum
from stationtest.place import Place

LOWEST_NM, HIGHEST_NM = 380.0, 780.0
MOST_ROWS = 20_000


@dataclass(frozen=True, slots=True)
class Curves:
    """The curves of a file with their names, and the line of each row, for messages."""

    path: str
    names: tuple[str, ...]
    curves: tuple[Spectrum, ...]
    lines: tuple[int, ...]

    def above(self, most: float) -> tuple[int, float, float] | None:
        """Line, wavelength and value of the first value above `most`."""
        for curve in self.curves:
            for line, nm, value in zip(self.lines, curve.nm, curve.values, strict=True):
                if value > most:
                    return line, nm, value
        return None


def read_curves(data: bytes, path: str, shown_path: str) -> Curves | Problem:
    """The curves of a file, or the first thing that is wrong with it, at its line. `shown_path` is for messages."""

    def refused(line: int, message: str) -> Problem:
        return Problem(Place(shown_path, line, 0), "", message, "wrong-value")

    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        return Problem(Place(shown_path, line, 0), "", "the file is not UTF-8 text; save it as UTF-8", "unreadable")
    rows = [(number, line.strip()) for number, line in enumerate(text.splitlines(), 1)]
    rows = [(number, line) for number, line in rows if line and not line.startswith("#")]
    if len(rows) < 3 or len(rows) > MOST_ROWS:
        return refused(1, f"a spectrum has a header and 2 to {MOST_ROWS} rows of a wavelength in nm and its values")
    separator = ";" if ";" in rows[0][1] else ","
    names = [cell.strip() for cell in rows[0][1].split(separator)]
    if len(names) < 2 or _number(names[0]) is not None:
        return refused(rows[0][0], "the first line is a header: a name for the wavelengths in nm, then one for each curve")
    table: list[list[float]] = []
    for line, row in rows[1:]:
        cells = [cell.strip() for cell in row.split(separator)]
        if len(cells) != len(names):
            return refused(line, f"this row has {len(cells)} cells where the header has {len(names)}")
        values = [_number(cell) for cell in cells]
        if None in values:
            bad = cells[values.index(None)]
            return refused(line, f"this is not a number; found {shown(bad) or 'nothing'}; allowed a number such as 0.31")
        numbers = [value for value in values if value is not None]
        if table and numbers[0] <= table[-1][0]:
            return refused(line, f"wavelengths must rise; {numbers[0]:g} nm comes after {table[-1][0]:g} nm")
        if min(numbers[1:]) < 0:
            return refused(line, f"a spectrum is not below 0; found {min(numbers[1:]):g} at {numbers[0]:g} nm")
        table.append(numbers)
    first, last = table[0][0], table[-1][0]
    if first > LOWEST_NM or last < HIGHEST_NM:
        hint = "; are the wavelengths in micrometres?" if last < 10 else ""
        return refused(rows[1][0], f"the spectrum covers {first:g} to {last:g} nm; it must cover 380 to 780 nm{hint}")
    columns = list(zip(*table, strict=True))
    curves = tuple(Spectrum(path=path, nm=columns[0], values=values) for values in columns[1:])
    return Curves(path, tuple(names[1:]), curves, tuple(line for line, _ in rows[1:]))


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None
