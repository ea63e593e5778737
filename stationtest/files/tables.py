"""requirements.csv, specimens.csv and lists like them. The separator (`,` `;` or tab) is the one that its header uses."""

from __future__ import annotations

import csv
import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from stationtest.errors import Problem
from stationtest.files.suggest import allowed_words, nearest
from stationtest.files.tree import MAX_BYTES, TOO_LARGE
from stationtest.files.words import listed, shown
from stationtest.model.station import GRADES, Requirement, Specimen
from stationtest.place import Place

REQUIREMENT_COLUMNS = ("id", "text", "verified_by")
SPECIMEN_COLUMNS = ("id", "target", "grade", "lot", "made_by", "confirmed_by", "valid_from", "valid_until")


@dataclass(slots=True)
class Table:
    """Rows by column, each with its place; empty cells are None."""

    path: str
    rows: list[tuple[Place, dict[str, str | None]]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def requirements(data: bytes, path: str) -> tuple[tuple[Requirement, ...], list[Problem]]:
    """`id, text, verified_by`: ids once each; `verified_by` names another way than a case."""
    table = read(data, path, REQUIREMENT_COLUMNS, ("id", "text"))
    _unique(table)
    return tuple(
        Requirement(id=row["id"], text=row["text"] or "", verified_by=row["verified_by"], place=place)
        for place, row in table.rows
        if row["id"]
    ), table.problems


def specimens(
    data: bytes, path: str, targets: tuple[str, ...], conditions: Mapping[str, tuple[str, ...]]
) -> tuple[tuple[Specimen, ...], list[Problem]]:
    """`SPECIMEN_COLUMNS` and the declared `conditions` with their values: ids once each, targets that are declared, dates as
    YYYY-MM-DD. A grade is one of `GRADES` unless the station declares others."""
    further = {column_of(name): name for name in conditions if name not in SPECIMEN_COLUMNS}
    table = read(data, path, (*SPECIMEN_COLUMNS, *further), ("id", "target"))
    _unique(table)
    allowed = {"target": targets, "grade": GRADES} | {column_of(name): values for name, values in conditions.items()}
    found = []
    for place, row in table.rows:
        for column, values in allowed.items():
            if row.get(column) and row[column] not in values:
                table.problems.append(Problem(place, column, _undeclared(column, row[column] or "", values), "unknown-name"))
        table.problems += _dates(place, row["valid_from"], row["valid_until"])
        if row["id"]:
            stated = tuple((name, value) for column, name in further.items() if (value := row[column]))
            own = {column: row[column] for column in SPECIMEN_COLUMNS[2:]}
            found.append(Specimen(id=row["id"], target=row["target"] or "", place=place, conditions=stated, **own))
    return tuple(found), table.problems


def column_of(name: str) -> str:
    """How a name stands in the head of a list, where blanks and underscores are one."""
    return name.replace(" ", "_")


def _undeclared(column: str, given: str, allowed: tuple[str, ...]) -> str:
    near = nearest(given, allowed)
    what = "there is no target of this name" if column == "target" else f"this is no value of {column.replace('_', ' ')}"
    return f"{what}{f'; did you mean `{near}`?' if near else ''}; found {shown(given)}; allowed {allowed_words(allowed)}"


def _dates(place: Place, since: str | None, until: str | None) -> Iterator[Problem]:
    for key, given in (("valid_from", since), ("valid_until", until)):
        if given and not _is_date(given):
            message = f"a date is due here; found {shown(given)}; allowed such as 2027-01-31"
            yield Problem(place, key, message, "wrong-value")
    if since and until and _is_date(since) and _is_date(until) and until < since:
        message = f"this day is before `valid_from`; found {until} after {since}"
        yield Problem(place, "valid_until", message, "contradiction")


def _is_date(text: str) -> bool:
    try:
        return datetime.date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def _unique(table: Table) -> None:
    seen: dict[str, Place] = {}
    for place, row in table.rows:
        id_ = row["id"]
        if id_ and seen.setdefault(id_, place) != place:
            table.problems.append(
                Problem(
                    place, "id", f"the id `{shown(id_)}` stands twice; the first is in line {seen[id_].line}", "duplicate-name"
                )
            )


def read(data: bytes, path: str, columns: tuple[str, ...], needed: tuple[str, ...]) -> Table:
    """A list with these columns, of which some are needed in every row."""
    table = Table(path)

    def refuse(line: int, message: str, code: str, key: str = "") -> Table:
        table.problems.append(Problem(Place(path, line, 0), key, message, code))
        return table

    if len(data) > MAX_BYTES:
        return refuse(1, TOO_LARGE, "too-large")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return refuse(data.count(b"\n", 0, error.start) + 1, "the file is not UTF-8 text; save it as UTF-8", "unreadable")
    lines = text.replace("\r\n", "\n").split("\n")
    separator = max(",;\t", key=lines[0].count)
    try:
        rows = list(_rows(lines, separator))
    except csv.Error as error:
        return refuse(1, f"the file cannot be read as a table: {error}", "bad-dialect")
    if not rows:
        return refuse(1, f"the file is empty; its first line names the columns {listed(columns)}", "missing-column")
    header = [name.strip().replace(" ", "_") for name in rows[0][1]]
    for name in header:
        if name not in columns or header.count(name) > 1:
            near = nearest(name, columns) if name not in columns else None
            what = (
                f"there is no column `{shown(name, 40)}` in this list"
                if name not in columns
                else f"the column `{name}` stands twice"
            )
            refuse(1, f"{what}{f'; did you mean `{near}`?' if near else ''}; allowed {listed(columns)}", "unknown-key")
    for name in needed:
        if name not in header:
            refuse(1, f"the column `{name}` is missing; found {listed(header)}", "missing-column")
    if table.problems:
        return table
    for line, cells in rows[1:]:
        if len(cells) != len(header):
            refuse(
                line,
                f"this line has {len(cells)} cells and the header {len(header)}; quote text that holds a separator",
                "bad-dialect",
            )
            continue
        row: dict[str, str | None] = dict.fromkeys(columns)
        row.update({name: cell.strip() or None for name, cell in zip(header, cells, strict=True)})
        for name in needed:
            if row[name] is None:
                refuse(line, "this cell is empty", "bad-value", name)
        table.rows.append((Place(path, line, 0), row))
    return table


def _rows(lines: list[str], separator: str) -> Iterator[tuple[int, list[str]]]:
    """Lines that are not blank, with the number of their first line."""
    reader = csv.reader(lines, delimiter=separator, strict=True)
    first = 1
    for cells in reader:
        if any(cell.strip() for cell in cells):
            yield first, cells
        first = reader.line_num + 1
