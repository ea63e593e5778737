"""The line of units under the header of a table, held against the unit in which its times are declared."""

from __future__ import annotations

from stationtest.files.words import shown
from stationtest.model.recording_form import RecordingForm
from stationtest.sources.checks import Where
from stationtest.sources.formats import Reader
from stationtest.sources.times import UNIT_NS

WRITTEN = {
    **{unit: unit for unit in UNIT_NS},
    **dict.fromkeys(("µs", "μs", "usec", "µsec", "μsec"), "us"),  # the micro sign and the Greek letter
    **dict.fromkeys(("nsec",), "ns"),
    **dict.fromkeys(("msec", "millisekunden", "milliseconds"), "ms"),
    **dict.fromkeys(("sec", "sek", "secs", "seconds", "sekunden"), "s"),
}
"""How loggers write units of time; common practice, no source."""


def unit_of(cell: str) -> str | None:
    """The unit that a cell such as `s`, `[ms]`, `(µs)` or `Sek.` says; None where it says none."""
    return WRITTEN.get(cell.strip(" []().").casefold())


def agrees(reader: Reader, path: str, form: RecordingForm, key: str) -> None:
    """Refuse a table whose line of units says another unit of time than `form`; `key` is where that is stated."""
    for column in (form.time_column,) if form.rows == "samples" else (form.start, form.end):
        cell = reader.units.get(column or "", "")
        found = unit_of(cell)
        if found and form.time_in in UNIT_NS and found != form.time_in:
            here, word = f"the line of units says {shown(cell)} for column {shown(column or '')}", key.rpartition(".")[2]
            said = f"{here}, `{word}` is {form.time_in}; {found} may be meant"
            Where(path, 0, reader.line).refuse(-1, key, said, "bad-dialect")
