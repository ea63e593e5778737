"""corrections.csv: what was presented in truth, where it was written down wrongly, with who found it, when and why."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from decimal import Decimal, InvalidOperation

from stationtest.errors import Problem
from stationtest.files import tables
from stationtest.files.names import Names
from stationtest.files.suggest import allowed_words, nearest
from stationtest.files.words import shown
from stationtest.model.correction import Correction
from stationtest.place import Place

FILE = "corrections.csv"
COLUMNS = ("recording", "row", "time", "sensor", "what", "was", "is", "by", "when", "why")
NEEDED = ("recording", "is", "by", "when", "why")
UNKNOWN = "?"

Told = tuple[str, str, str]


def read(
    data: bytes, path: str, names: Names, between: str | None, recordings: Collection[str]
) -> tuple[tuple[Correction, ...], list[Problem]]:
    """The corrections in the order of the file. `time` is in seconds on the recording's clock, as the report prints it."""
    table = tables.read(data, path, COLUMNS, NEEDED)
    problems = list(table.problems)
    found: list[Correction] = []
    for place, row in table.rows:
        cells = {name: value or "" for name, value in row.items()}
        told = list(_wrong(cells, names, between, recordings))
        problems += [Problem(place, key, message, code) for key, message, code in told]
        if not told:
            found.append(_correction(cells, place))
    return tuple(found), problems


def _correction(cells: Mapping[str, str], place: Place) -> Correction:
    return Correction(
        recording=cells["recording"],
        row=int(cells["row"]) if cells["row"] else None,
        at_ns=int(Decimal(cells["time"]) * 10**9) if cells["time"] else None,
        sensor=cells["sensor"],
        what=cells["what"] or "target",
        was=cells["was"],
        is_=cells["is"],
        by=cells["by"],
        when=cells["when"],
        why=cells["why"],
        place=place,
    )


def _wrong(cells: Mapping[str, str], names: Names, between: str | None, recordings: Collection[str]) -> Iterator[Told]:
    if cells["recording"] and cells["recording"] not in recordings:
        yield "recording", _unknown("no case reads a recording of this name", cells["recording"], recordings), "unknown-name"
    if bool(cells["row"]) == bool(cells["time"]):
        message = "a correction says where by exactly one of `row` and `time`"
        yield "row", message, "contradiction" if cells["row"] else "missing-key"
    elif cells["row"] and not (cells["row"].isdecimal() and 0 < int(cells["row"]) < 2**53):
        yield "row", f"the number of a row is due here, the first row of data is 1; found {shown(cells['row'])}", "wrong-value"
    elif cells["time"] and not _is_time(cells["time"]):
        yield "time", f"a time in seconds is due here, such as 83.412; found {shown(cells['time'])}", "wrong-value"
    if cells["sensor"] and cells["sensor"] not in names.sensor:
        yield "sensor", _unknown("there is no sensor of this name", cells["sensor"], names.sensor), "unknown-name"
    what = cells["what"] or "target"
    allowed: Collection[str] | None = None
    if what == "target":
        allowed = (*(name for name in names.target if name != between), UNKNOWN)
    elif what in names.conditions:
        allowed = names.conditions[what]
    elif what != "specimen":
        whats = ("target", "specimen", *names.conditions)
        yield "what", _unknown("this cannot be corrected", what, whats), "unknown-name"
    if allowed is not None and cells["is"] and cells["is"] not in allowed:
        yield "is", _unknown(f"this is no value of {what}", cells["is"], allowed), "unknown-name"
    if cells["was"] == cells["is"]:
        yield "is", f"this corrects nothing; found {shown(cells['is'])} in both", "contradiction"


def _is_time(text: str) -> bool:
    try:
        return bool(Decimal(text).is_finite()) and abs(Decimal(text)) < 2**53 // 10**9
    except InvalidOperation:
        return False


def _unknown(what: str, given: str, allowed: Collection[str]) -> str:
    near = nearest(given, allowed)
    return f"{what}{f'; did you mean `{near}`?' if near else ''}; found {shown(given)}; allowed {allowed_words(allowed)}"
