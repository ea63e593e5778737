"""What recordings of several tables are composed of, in words: on which clocks, and on what relation of them, verdicts rest."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, cast

from stationtest.files.words import duration_text
from stationtest.model.record import ComposedOf, ComposedTable, Record
from stationtest.report.rows import logged_as


def lines(record: Record) -> Iterator[str]:
    """A few lines for each recording of several tables, then a blank one; none for a record without."""
    for source in record["result"]["sources"]:
        if composed := source.get("composed_of"):
            yield f"{source['key']}: of {len(composed['tables'])} tables"
            yield from _lines(composed)
            yield ""


def _lines(composed: ComposedOf) -> Iterator[str]:
    for table in composed["tables"]:
        yield f"  {table['name']}: {table['path']}, {_table(table)}"
        signals = [one for one in composed["signals"] if one["table"] == table["name"]]
        if signals:
            told = (f"{one['kind']} {one['name']} from {logged_as(cast('dict[str, Any]', one))}" for one in signals)
            yield f"    {'; '.join(told)}"
    for clock in composed["clocks"]:
        by = f", found by {clock['found_by']}" if clock["found_by"] else ", not said how it was found"
        yield (
            f"  clock {clock['clock']} to {clock['to']}: offset {clock['offset_s']} s at its first row, drift "
            f"{clock['drift_ppm']} ppm, within {duration_text(clock['within_ns'])}{by}"
        )


def _table(table: ComposedTable) -> str:
    told = [table["kind"], f"clock {table['clock']}"]
    if table["layout"]:
        told.append(f"layout {table['layout']}, rows are {table['rows_are']}")
    if table["resolution_ns"] is not None:
        told.append(f"in steps of {duration_text(table['resolution_ns'])}")
    if table["within_ns"] is not None:
        told.append(f"known within {duration_text(table['within_ns'])}")
    return ", ".join(told)
