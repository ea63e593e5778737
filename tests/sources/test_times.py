"""The time column: exact nanoseconds, ISO 8601, zones, and units that cannot be."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from recording_kit import MS, csv_file, form, opened, parquet_file, read, refusal

from stationtest.sources.times import iso_text

ISO = {"time_in": "ISO 8601"}


def csv_of(folder: Path, times: list[str], separator: str = ",") -> str:
    lines = [separator.join((time, "1", "2", "3", "mint")) for time in times]
    return csv_file(folder, separator.join(("t", "r", "g", "b", "target")) + "\n" + "\n".join(lines) + "\n")


def parquet_of(folder: Path, times: pa.Array) -> str:
    ones = pa.array(np.ones(len(times)))
    return parquet_file(folder, pa.table({"t": times, "r": ones, "g": ones, "b": ones, "target": ["mint"] * len(times)}))


@pytest.mark.parametrize(
    ("unit", "size", "cells"),
    [
        ("s", 10**9, ["0.000000001", "0.1", "0.3", "0.700000001", "8000000.123456789"]),
        ("ms", 10**6, ["0.1", "0.3", "1", "1.000001", "4503599627.370497"]),
        ("us", 10**3, ["-3.5", "0.001", "1e3", "1000.001", "4503599627370.497"]),
        ("ns", 1, ["-1", "0", "1", "4503599627370497"]),
    ],
)
def test_numbers_become_exact_nanoseconds(tmp_path: Path, unit: str, size: int, cells: list[str]) -> None:
    """Against exact decimal arithmetic of the standard library; a float64 of seconds would miss the last digits."""
    got = read(tmp_path, csv_of(tmp_path, cells), form(time_in=unit, every_ns=None))
    assert got.t_ns is not None and got.t_ns.tolist() == [int(Decimal(cell) * size) for cell in cells]


def test_seconds_with_a_decimal_comma(tmp_path: Path) -> None:
    name = csv_of(tmp_path, ["0,1", "0,101", "0,102"], ";")
    got = read(tmp_path, name, form(time_in="s", separator="semicolon", decimal="comma"))
    assert got.t_ns is not None and got.t_ns.tolist() == [100 * MS, 101 * MS, 102 * MS]


@pytest.mark.parametrize("kind", [pa.int32(), pa.int64(), pa.uint16(), pa.float32(), pa.float64(), pa.decimal128(25, 3)])
def test_parquet_times_of_any_number_type(tmp_path: Path, kind: pa.DataType) -> None:
    got = read(tmp_path, parquet_of(tmp_path, pa.array([5, 6, 7]).cast(kind)), form())
    assert got.t_ns is not None and got.t_ns.tolist() == [5 * MS, 6 * MS, 7 * MS]


def test_float_seconds_go_to_the_nearest_nanosecond(tmp_path: Path) -> None:
    seconds = np.arange(1, 2000) / 1000
    got = read(tmp_path, parquet_of(tmp_path, pa.array(seconds)), form(time_in="s"))
    assert got.t_ns is not None and (got.t_ns == np.arange(1, 2000) * MS).all()


# The forms that ISO 8601-1:2019 calls extended (date T time, decimal fraction by point or comma, Z, hours and minutes of offset);
# from memory of the standard, with the blank in place of T that RFC 3339, section 5.6, allows. The instants are those of Python's
# own datetime.fromisoformat.
@pytest.mark.parametrize(
    "cell",
    [
        "2025-03-02T09:00:00Z",
        "2025-03-02T09:00:00.125Z",
        "2025-03-02T09:00:00.123456Z",
        "2025-03-02T10:00:00+01:00",
        "2025-03-02T10:00:00+0100",
        "2025-03-02T10:00+01",
        "2025-03-02 10:00:00.5+01:00",
        "2025-03-01T23:30:00-09:30",
        "2024-02-29T12:00:00Z",
    ],
)
def test_iso_8601_with_zone(tmp_path: Path, cell: str) -> None:
    recording = opened(tmp_path, csv_of(tmp_path, [cell]), form(**ISO))
    instant = datetime.fromisoformat(cell)
    whole = int(instant.astimezone(UTC).replace(microsecond=0).timestamp()) * 10**9 + instant.microsecond * 1000
    assert recording.origin_ns == whole
    (batch,) = recording.batches()
    assert batch.t_ns is not None and batch.t_ns.tolist() == [0]
    assert recording.origin is not None and datetime.fromisoformat(recording.origin) == instant


def test_iso_8601_to_the_nanosecond(tmp_path: Path) -> None:
    cells = ["2025-03-02T09:00:00.000000001Z", "2025-03-02T09:00:00.001000003Z"]
    recording = opened(tmp_path, csv_of(tmp_path, cells), form(**ISO))
    assert recording.origin == cells[0]
    (batch,) = recording.batches()
    assert batch.t_ns is not None and batch.t_ns.tolist() == [0, 1_000_002]


def test_iso_8601_with_a_decimal_comma(tmp_path: Path) -> None:
    name = csv_of(tmp_path, ["2025-03-02T09:00:00,125Z", "2025-03-02T09:00:00,126Z"], ";")
    got = read(tmp_path, name, form(**ISO, separator="semicolon", decimal="comma"))
    assert got.t_ns is not None and got.t_ns.tolist() == [0, MS]
    problem = refusal(tmp_path, name, form(**ISO, separator="semicolon"))
    assert problem.key == "decimal" and "`decimal: comma`" in problem.message


def test_local_times_in_a_declared_zone(tmp_path: Path) -> None:
    """Central European time is an hour before UTC in winter and two in summer; the hour that a change repeats is refused (A40).

    The changes of 2025 (30 March, 26 October, at 01:00 UTC) are common knowledge, from memory.
    """
    zone = {**ISO, "zone": "Europe/Berlin"}
    recording = opened(tmp_path, csv_of(tmp_path, ["2025-01-10T12:00:00.5"]), form(**zone))
    assert recording.origin == "2025-01-10T11:00:00.5Z"
    recording = opened(tmp_path, csv_of(tmp_path, ["2025-07-10 12:00:00"]), form(**zone))
    assert recording.origin == "2025-07-10T10:00:00Z"
    for cell in ("2025-10-26T02:30:00", "2025-03-30T02:30:00"):
        problem = refusal(tmp_path, csv_of(tmp_path, [cell[:-8] + "01:00:00", cell]), form(**zone))
        assert (problem.place.line, problem.key) == (3, "time.zone")
        assert "does not exist or exists twice in Europe/Berlin" in problem.message


def test_zones_missing_doubled_or_unknown(tmp_path: Path) -> None:
    local, full = csv_of(tmp_path, ["2025-03-02T09:00:00"]), "2025-03-02T09:00:00Z"
    problem = refusal(tmp_path, local, form(**ISO))
    assert problem.key == "time.zone" and "does not say its zone" in problem.message
    problem = refusal(tmp_path, local, form(**ISO, zone="Middle/Earth"))
    assert problem.key == "time.zone" and "Middle/Earth is not a time zone" in problem.message
    problem = refusal(tmp_path, csv_of(tmp_path, [full]), form(**ISO, zone="UTC"))
    assert problem.key == "time.zone" and "leave `zone` out" in problem.message
    problem = refusal(tmp_path, csv_of(tmp_path, [full, "2.3.2025 09:00"]), form(**ISO))
    assert problem.place.line == 3 and "is not a date and time" in problem.message


@pytest.mark.parametrize("zone", [None, "UTC"])
def test_parquet_times_as_dates(tmp_path: Path, zone: str | None) -> None:
    times = pa.array([1_740_906_000_000_000, 1_740_906_000_001_000]).cast(pa.timestamp("us", zone))
    recording = opened(tmp_path, parquet_of(tmp_path, times), form(**ISO, zone=None if zone else "UTC"))
    assert recording.origin == "2025-03-02T09:00:00Z"
    assert [batch.t_ns.tolist() for batch in recording.batches() if batch.t_ns is not None] == [[0, MS]]
    text = parquet_of(tmp_path, pa.array(["2025-03-02T09:00:00Z", "2025-03-02T09:00:00.001Z"]))
    assert opened(tmp_path, text, form(**ISO)).origin == "2025-03-02T09:00:00Z"


def test_epoch_milliseconds_begin_at_the_first_row(tmp_path: Path) -> None:
    recording = opened(tmp_path, csv_of(tmp_path, ["1740906000125", "1740906000126.5"]), form())
    assert recording.origin == "2025-03-02T09:00:00.125Z"
    (batch,) = recording.batches()
    assert batch.t_ns is not None and batch.t_ns.tolist() == [0, 1_500_000]
    assert iso_text(-1) == "1969-12-31T23:59:59.999999999Z"


def test_dates_and_numbers_must_be_declared_as_such(tmp_path: Path) -> None:
    dates = parquet_of(tmp_path, pa.array([1, 2]).cast(pa.timestamp("ms", "UTC")))
    problem = refusal(tmp_path, dates, form())
    assert problem.key == "time.in" and "ISO 8601 may be meant" in problem.message
    problem = refusal(tmp_path, parquet_of(tmp_path, pa.array([1, 2])), form(**ISO))
    assert problem.key == "time.in" and "holds numbers" in problem.message
    problem = refusal(tmp_path, parquet_of(tmp_path, pa.array([1.0, float("nan")])), form())
    assert problem.place.line == 2 and "nan" in problem.message
    assert "beyond all dates" in refusal(tmp_path, parquet_of(tmp_path, pa.array([10**18])), form(time_in="s")).message


def test_a_gap_is_no_refusal(tmp_path: Path) -> None:
    got = read(tmp_path, csv_of(tmp_path, ["0", "1", "2", "900", "901"]), form())
    assert got.t_ns is not None and got.t_ns.tolist() == [0, MS, 2 * MS, 900 * MS, 901 * MS]
