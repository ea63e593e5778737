"""Stations, forms and files for the tests of sources: small, written by hand, of invented readings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from stationtest.errors import Problem, ReadingsError
from stationtest.model.case import Suite
from stationtest.model.digital import Digital
from stationtest.model.parts import ReadingFormatPart
from stationtest.model.recording_form import RecordingForm
from stationtest.model.station import Sensor, Station, Target
from stationtest.signals.batch import Batch, joined
from stationtest.sources.opening import open_recording
from stationtest.sources.recorded import Recording

MS = 1_000_000
FORMATS = {
    "csv": ReadingFormatPart(name="csv", version=1, suffixes=(".csv",), reader="stationtest.sources.csv_readings:open_file"),
    "parquet": ReadingFormatPart(
        name="parquet", version=1, suffixes=(".parquet",), reader="stationtest.sources.parquet_readings:open_file"
    ),
}


def sensor(name: str = "sachet", columns: tuple[str, str, str] = ("r", "g", "b")) -> Sensor:
    return Sensor(name=name, reads="linear RGB", bands=("red", "green", "blue"), columns=columns)


def form(**keys: object) -> RecordingForm:
    """A stream with the columns t (ms), r, g, b and target, unless said otherwise."""
    usual = {"pattern": "*", "time_column": "t", "time_in": "ms", "every_ns": MS, "gap_ns": 5 * MS, "target": "target"}
    return RecordingForm(**(usual | keys))  # type: ignore[arg-type]


def trial_form(**keys: object) -> RecordingForm:
    usual = {"rows": "trials", "time_column": None, "time_in": None, "every_ns": None, "gap_ns": None}
    return form(**(usual | keys))


def station(*forms: RecordingForm, sensors: tuple[Sensor, ...] = (), conditions: tuple = ()) -> Station:
    return Station(
        name="test-station",
        sensors=sensors or (sensor(),),
        targets=tuple(Target(name=name) for name in ("mint", "chamomile", "hibiscus", "bare belt")),
        between="bare belt",
        inputs=("box in", "box out"),
        recordings=forms or (form(),),
        conditions=conditions,
    )


def opened(folder: Path, name: str, *forms: RecordingForm, **keys: object) -> Recording:
    suite = Suite(folder=str(folder), station=station(*forms, **keys), cases=())  # type: ignore[arg-type]
    return open_recording(suite, name, FORMATS)


def read(folder: Path, name: str, *forms: RecordingForm, **keys: object) -> Batch:
    """The whole recording as one batch."""
    return joined(list(opened(folder, name, *forms, **keys).batches()))


def csv_file(folder: Path, text: str, name: str = "day.csv", encoding: str = "utf-8") -> str:
    (folder / name).write_bytes(text.encode(encoding))
    return name


def refusal(folder: Path, name: str, *forms: RecordingForm, **keys: object) -> Problem:
    """The one problem for which a recording is refused."""
    (problem,) = refusals(folder, name, *forms, **keys)
    assert "\n" not in problem.message
    return problem


def refusals(folder: Path, name: str, *forms: RecordingForm, **keys: object) -> tuple[Problem, ...]:
    """The problems for which a recording is refused."""
    with pytest.raises(ReadingsError) as caught:
        for _ in opened(folder, name, *forms, **keys).batches():
            pass
    return caught.value.problems


def stream(rows: int, seed: int = 7) -> pa.Table:
    """An invented stream: t in whole ms, readings, an input, and targets of some hundred rows with empty rows between."""
    rng = np.random.default_rng(seed)
    names = ["", "mint", "", "chamomile", "", "hibiscus"]
    lengths = rng.integers(1, 400, rows // 100 + 10)
    target = np.repeat([names[k % 6] for k in range(len(lengths))], lengths)
    specimen = np.repeat([f"no {k % 17}" if k % 2 else "" for k in range(len(lengths))], lengths)
    while len(target) < rows:
        target, specimen = np.tile(target, 2), np.tile(specimen, 2)
    return pa.table(
        {
            "t": np.arange(rows, dtype=np.int64) + 5,
            **{band: rng.uniform(0, 4095, rows).astype(np.float32) for band in "rgb"},
            "gate": rng.integers(0, 2, rows).astype(np.int8),
            "target": target[:rows].tolist(),
            "specimen": specimen[:rows].tolist(),
        }
    )


STREAM_FORM = form(specimen="specimen", inputs=(Digital(name="box in", column="gate"),))


def parquet_file(folder: Path, table: pa.Table, name: str = "day.parquet", row_group: int = 65_536) -> str:
    pq.write_table(table, folder / name, row_group_size=row_group)
    return name
