"""What a recording of several tables is composed of, as the record keeps it: enough to put its clocks together again.

Offsets and drifts are decimal text without rounding, since an offset between a clock with dates and one without has more
nanoseconds than a number of the record may have.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from stationtest.model.digital import Digital
from stationtest.model.recording_tables import ReadingsTable, RecordingTables, SignalsTable, Table, TruthTable

SECOND, PPM = 9, 6
"""Powers of ten: ns in a second, parts of 10**12 in a ppm."""


def composed_of(tables: RecordingTables) -> dict[str, Any]:
    """`ComposedOf` of model/record.py, in the order of the file."""
    return {
        "tables": [_table(table) for table in tables.tables],
        "clocks": [
            {
                "clock": one.clock,
                "to": one.to,
                "offset_s": _decimal(one.offset_ns, SECOND),
                "drift_ppm": _decimal(one.drift_e12, PPM),
                "within_ns": one.within_ns,
                "found_by": one.found_by,
            }
            for one in tables.clocks
        ],
        "signals": [_signal(table, kind, digital) for table in tables.signals for kind, digital in table.signals],
    }


def _table(table: Table) -> dict[str, Any]:
    return {
        "name": table.name,
        "path": table.path,
        "kind": {ReadingsTable: "readings", SignalsTable: "signals", TruthTable: "presentations"}[type(table)],
        "clock": table.clock,
        "layout": table.layout if isinstance(table, SignalsTable) else None,
        "rows_are": table.rows_are if isinstance(table, SignalsTable) else None,
        "resolution_ns": table.resolution_ns if isinstance(table, SignalsTable) else None,
        "within_ns": table.within_ns if isinstance(table, TruthTable) else None,
    }


def _signal(table: SignalsTable, kind: str, digital: Digital) -> dict[str, Any]:
    return {
        "table": table.name,
        "kind": kind,
        "name": digital.name,
        "logged_as": digital.column,
        "bit": digital.bit,
        "equals": digital.equals,
        "inverted": digital.inverted,
    }


def _decimal(number: int, places: int) -> str:
    """number / 10**places without a rounding: 37,000,000 and 9 are '0.037'."""
    text = f"{Decimal(number).scaleb(-places):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
