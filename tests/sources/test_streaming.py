"""Streams: the same values as plain readers give, whatever the cut, in flat memory."""

from __future__ import annotations

import csv
import os
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq
import pytest
from recording_kit import FORMATS, MS, STREAM_FORM, csv_file, form, opened, parquet_file, read, stream

from stationtest.errors import ReadingsError
from stationtest.signals.batch import GRID, Batch, joined, on_grid
from stationtest.sources.ahead import ahead

ROWS = 2 * GRID + 1234


@pytest.fixture(scope="module")
def table() -> pa.Table:
    return stream(ROWS)


def words(batch: Batch, role: str) -> list[str]:
    return [batch.tables[role][code] if code >= 0 else "" for code in batch.codes[role]]


def same(one: Batch, other: Batch) -> None:
    """Every array bit for bit."""
    assert one.first_row == other.first_row and len(one) == len(other)
    assert one.t_ns is not None and other.t_ns is not None
    assert one.t_ns.tobytes() == other.t_ns.tobytes()
    for name in one.bands:
        for x, y in zip(one.bands[name], other.bands[name], strict=True):
            assert x.dtype == np.float64 and x.tobytes() == y.tobytes()
    for key in one.digital:
        assert one.digital[key].dtype == np.bool_ and one.digital[key].tobytes() == other.digital[key].tobytes()
    for role in one.codes:
        assert one.codes[role].dtype == np.int32 and one.codes[role].tobytes() == other.codes[role].tobytes()
        assert one.tables[role] == other.tables[role]


def test_parquet_gives_what_the_plain_reader_gives(tmp_path: Path, table: pa.Table) -> None:
    got = read(tmp_path, parquet_file(tmp_path, table), STREAM_FORM)
    plain = pq.read_table(tmp_path / "day.parquet")
    assert got.t_ns is not None
    assert (got.t_ns == plain["t"].to_numpy() * MS).all()
    for band, column in zip(got.bands["sachet"], "rgb", strict=True):
        assert (band == plain[column].to_numpy().astype(np.float64)).all()
    assert (got.digital["input", "box in"] == (plain["gate"].to_numpy() == 1)).all()
    assert words(got, "target") == plain["target"].to_pylist()
    assert words(got, "specimen") == plain["specimen"].to_pylist()


def test_csv_gives_what_the_csv_module_gives(tmp_path: Path, table: pa.Table) -> None:
    pc.write_csv(table, tmp_path / "day.csv")
    got = read(tmp_path, "day.csv", STREAM_FORM)
    with open(tmp_path / "day.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    assert got.t_ns is not None
    assert got.t_ns.tolist() == [int(row["t"]) * MS for row in rows]
    for band, column in zip(got.bands["sachet"], "rgb", strict=True):
        assert band.tolist() == [float(row[column]) for row in rows]
    assert got.digital["input", "box in"].tolist() == [row["gate"] == "1" for row in rows]
    assert words(got, "target") == [row["target"] for row in rows]


@pytest.mark.parametrize("row_group", [1, 7, GRID, 10**9])
def test_batches_do_not_depend_on_row_groups(tmp_path: Path, table: pa.Table, row_group: int) -> None:
    small = table.slice(0, GRID + 77 if row_group > 7 else 700 * row_group)
    whole = list(opened(tmp_path, parquet_file(tmp_path, small, "whole.parquet", 10**9), STREAM_FORM).batches())
    cut = list(opened(tmp_path, parquet_file(tmp_path, small, "cut.parquet", row_group), STREAM_FORM).batches())
    assert [len(batch) for batch in cut] == [len(batch) for batch in whole]
    for one, other in zip(whole, cut, strict=True):
        same(one, other)


@pytest.mark.parametrize("block", [200, 3001, 1 << 22])
def test_batches_do_not_depend_on_blocks_of_csv(
    tmp_path: Path, table: pa.Table, block: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    small = table.slice(0, 4000) if block < 1000 else table.slice(0, GRID + 77)
    pc.write_csv(small, tmp_path / "day.csv")
    whole = list(opened(tmp_path, "day.csv", STREAM_FORM).batches())
    monkeypatch.setattr("stationtest.sources.csv_readings.BLOCK", block)
    for one, other in zip(whole, opened(tmp_path, "day.csv", STREAM_FORM).batches(), strict=True):
        same(one, other)


@pytest.mark.parametrize("suffix", ["parquet", "csv"])
def test_a_folder_of_parts_is_one_recording(tmp_path: Path, table: pa.Table, suffix: str) -> None:
    write = pq.write_table if suffix == "parquet" else pc.write_csv
    write(table, tmp_path / f"day.{suffix}")
    (tmp_path / "day").mkdir()
    for k, begin in enumerate((0, 1000, GRID + 5)):
        end = (1000, GRID + 5, ROWS)[k]
        write(table.slice(begin, end - begin), tmp_path / "day" / f"part{k}.{suffix}")
    for one, other in zip(
        opened(tmp_path, f"day.{suffix}", STREAM_FORM).batches(), opened(tmp_path, "day", STREAM_FORM).batches(), strict=True
    ):
        same(one, other)


def test_parts_in_the_wrong_order_are_refused_with_the_part(tmp_path: Path, table: pa.Table) -> None:
    (tmp_path / "day").mkdir()
    parquet_file(tmp_path / "day", table.slice(100, 50), "a.parquet")
    parquet_file(tmp_path / "day", table.slice(0, 100), "b.parquet")
    with pytest.raises(ReadingsError, match=r"day/b.parquet:1: time: .*before that of the row before") as caught:
        list(opened(tmp_path, "day", STREAM_FORM).batches())
    assert caught.value.problems[0].code == "unsorted-time"


def test_the_grid_is_counted_from_the_start(tmp_path: Path, table: pa.Table) -> None:
    batches = list(opened(tmp_path, parquet_file(tmp_path, table, row_group=10_000), STREAM_FORM).batches())
    assert [(batch.first_row, len(batch)) for batch in batches] == [(0, GRID), (GRID, GRID), (2 * GRID, 1234)]
    assert all(column.flags.c_contiguous for batch in batches for column in batch.bands["sachet"])


@pytest.mark.parametrize("first_read_whole", [True, False])
@pytest.mark.parametrize("suffix", ["parquet", "csv"])
def test_a_stretch_is_read_again_as_it_was(tmp_path: Path, table: pa.Table, suffix: str, first_read_whole: bool) -> None:
    (pq.write_table if suffix == "parquet" else pc.write_csv)(table, tmp_path / f"day.{suffix}")
    recording = opened(tmp_path, f"day.{suffix}", STREAM_FORM)
    whole = list(opened(tmp_path, f"day.{suffix}", STREAM_FORM).batches())
    if first_read_whole:
        list(recording.batches())
    (again,) = recording.seek((GRID + 1000) * MS, (GRID + 1100) * MS)
    assert again.t_ns is not None and whole[1].t_ns is not None
    assert again.first_row == GRID
    assert again.t_ns.tobytes() == whole[1].t_ns.tobytes()
    assert again.bands["sachet"][2].tobytes() == whole[1].bands["sachet"][2].tobytes()
    assert words(again, "target") == words(whole[1], "target")
    assert [batch.first_row for batch in recording.seek(0, 10**15)] == [0, GRID, 2 * GRID]
    assert [batch.first_row for batch in recording.seek((GRID + 4) * MS, (GRID + 6) * MS)] == [0, GRID]


def test_only_mapped_columns_are_read(tmp_path: Path, table: pa.Table) -> None:
    wide = table.append_column("note", pa.array(["x"] * ROWS)).append_column("bad", pa.array([None] * ROWS, pa.float64()))
    got = read(tmp_path, parquet_file(tmp_path, wide), STREAM_FORM)
    assert set(got.codes) == {"target", "specimen"} and len(got) == ROWS


def test_whole_numbers_are_targets_and_a_zero_is_one_unless_declared(tmp_path: Path) -> None:
    table = stream(6).drop_columns(["target"]).append_column("target", pa.array([0, 0, 7, 7, None, 0], pa.int32()))
    name = parquet_file(tmp_path, table)
    keys = {"target": None, "specimen": "target"}
    got = read(tmp_path, name, form(**keys))
    assert words(got, "specimen") == ["0", "0", "7", "7", "", "0"]
    with pytest.raises(ReadingsError, match="0 is not a target of this station"):
        read(tmp_path, name, form())
    with pytest.raises(ReadingsError, match=r"day\.parquet:3: target: 7 is not a target"):
        read(tmp_path, name, form(empty=("0",)))


def test_work_ahead_carries_errors_and_ends_when_closed() -> None:
    def things():  # type: ignore[no-untyped-def]
        yield 1
        yield 2
        raise RuntimeError("broken")

    seen = []
    with pytest.raises(RuntimeError, match="broken"):
        for thing in ahead(things()):
            seen.append(thing)
    assert seen == [1, 2]
    made = []
    endless = ahead(made.append(k) or k for k in range(10**9))
    assert next(endless) == 0
    endless.close()  # type: ignore[attr-defined]
    assert len(made) <= 4
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("readings")]


def test_cutting_on_the_grid_keeps_every_row() -> None:
    t = np.arange(23, dtype=np.int64)
    whole = Batch(0, t, {}, {}, {}, {}, 23)
    for lengths in ([23], [1] * 23, [5, 0, 13, 5], [8, 8, 7]):
        ends = np.cumsum(lengths).tolist()
        pieces = [whole.part(end - length, end) for end, length in zip(ends, lengths, strict=True)]
        cut = list(on_grid(pieces, 8))
        assert [(b.first_row, len(b)) for b in cut] == [(0, 8), (8, 8), (16, 7)]
        assert joined(cut).t_ns.tolist() == t.tolist()  # type: ignore[union-attr]


LIMITED = """
import resource, sys
sys.path.insert(0, sys.argv[1])
from recording_kit import opened, form
import numpy
from pathlib import Path
def rows_of(name):
    return sum(len(batch) for batch in opened(Path(sys.argv[2]), name, form(target=None)).batches())
rows_of("small." + sys.argv[3])  # modules, threads and their stacks are there now
now = int(open("/proc/self/statm").read().split()[0]) * resource.getpagesize()
resource.setrlimit(resource.RLIMIT_AS, (now + int(sys.argv[4]),) * 2)
print(rows_of("large." + sys.argv[3]))
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the limit and the measure are Linux's")
@pytest.mark.parametrize("suffix", ["parquet", "csv"])
def test_a_file_larger_than_the_memory_allowed(tmp_path: Path, suffix: str) -> None:
    """Once it has read a small recording, the process may grow by less than the size of the large one."""
    rows = 2_500_000
    rng = np.random.default_rng(3)
    table = pa.table({"t": np.arange(rows), **{band: rng.uniform(0, 4095, rows) for band in "rgb"}})
    for name, part in (("small", table.slice(0, 70_000)), ("large", table)):
        if suffix == "parquet":
            pq.write_table(part, tmp_path / f"{name}.{suffix}", use_dictionary=False, row_group_size=10**9)
        else:
            pc.write_csv(part, tmp_path / f"{name}.{suffix}")
    room = 56 << 20
    assert (tmp_path / f"large.{suffix}").stat().st_size > room
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(Path(__file__).parent), str(tmp_path), suffix, str(room)],
        capture_output=True,
        text=True,
        # no memory that is set aside and not counted
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "ARROW_DEFAULT_MEMORY_POOL": "system", "MALLOC_ARENA_MAX": "1"},
        check=False,
    )
    assert done.stdout.strip() == str(rows), done.stderr[-2000:]


def test_formats_are_chosen_by_suffix(tmp_path: Path) -> None:
    csv_file(tmp_path, "t,r,g,b,target\n", "day.xyz")
    with pytest.raises(ReadingsError, match=r"no reading format takes files that end in \.xyz; known: \.csv and \.parquet"):
        opened(tmp_path, "day.xyz")
    assert {part.name for part in FORMATS.values()} == {"csv", "parquet"}
