"""CSV dialects are declared; what is not as declared is refused with its line and the key that would mend it."""

from __future__ import annotations

from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from recording_kit import MS, csv_file, form, opened, parquet_file, read, refusal, refusals, sensor, stream

from stationtest.errors import ReadingsError
from stationtest.model.digital import Digital

HEAD = "t,r,g,b,target\n"
GOOD = HEAD + "0,1,2,3,\n1,1.5,2,3,mint\n2,1,2,3,mint\n"
SEMICOLON = GOOD.replace(",", ";")
GATE = form(inputs=(Digital(name="box in", column="gate"),))


@pytest.mark.parametrize(
    ("text", "keys", "encoding"),
    [
        (GOOD, {}, "utf-8"),
        (GOOD, {}, "utf-8-sig"),
        (GOOD.replace("\n", "\r\n"), {}, "utf-8"),
        (GOOD.rstrip("\n"), {}, "utf-8"),
        (GOOD.replace(",", ";").replace(".", ","), {"separator": "semicolon", "decimal": "comma"}, "utf-8"),
        (GOOD.replace(",", "\t"), {"separator": "tab"}, "utf-8"),
        (GOOD.replace(",", "|"), {"separator": "bar"}, "utf-8"),
        (GOOD, {"encoding": "utf-16"}, "utf-16"),
        (GOOD.replace("\n", "\r\n"), {"encoding": "utf-16"}, "utf-16"),
        (GOOD, {"encoding": "cp1252"}, "cp1252"),
        ("written by a logger\n\n" + GOOD, {"skip_lines": 2}, "utf-8"),
        (GOOD.replace(HEAD, HEAD + "ms,1,1,1,\n"), {"units_line": True}, "utf-8"),
        ("log\n" + GOOD.replace(HEAD, HEAD + "ms,,,,\n"), {"skip_lines": 1, "units_line": True, "encoding": "utf-16"}, "utf-16"),
        (GOOD.replace("mint", '"mint"'), {}, "utf-8"),
    ],
)
def test_the_same_readings_in_every_dialect(tmp_path: Path, text: str, keys: dict, encoding: str) -> None:
    got = read(tmp_path, csv_file(tmp_path, text, encoding=encoding), form(**keys))
    assert got.t_ns is not None and got.t_ns.tolist() == [0, MS, 2 * MS]
    assert [band.tolist() for band in got.bands["sachet"]] == [[1, 1.5, 1], [2, 2, 2], [3, 3, 3]]
    assert got.codes["target"].tolist() == [-1, 0, 0] and got.tables["target"] == ["mint"]


def test_names_in_cp1252_and_utf_16(tmp_path: Path) -> None:
    text = GOOD.replace("target", "Größe").replace("mint", "mint")
    for encoding in ("cp1252", "utf-16"):
        got = read(tmp_path, csv_file(tmp_path, text, encoding=encoding), form(target="Größe", encoding=encoding))
        assert got.tables["target"] == ["mint"]


@pytest.mark.parametrize(
    ("on", "off", "words", "inverted", "expected"),
    [
        (("1",), ("0",), "0 1 1", False, [False, True, True]),
        (("WAHR", "1"), ("FALSCH",), "FALSCH WAHR 1", False, [False, True, True]),
        (("-1",), ("0",), "0 -1 0", False, [False, True, False]),
        (("on",), ("off",), "on off off", True, [False, True, True]),
    ],
)
def test_on_and_off_words(tmp_path: Path, on: tuple, off: tuple, words: str, inverted: bool, expected: list) -> None:
    """Counter-example A40: TRUE/WAHR/1/-1/on, and inverted outputs."""
    lines = [f"{k},1,2,3,mint,{word}" for k, word in enumerate(words.split())]
    name = csv_file(tmp_path, "t,r,g,b,target,gate\n" + "\n".join(lines) + "\n")
    signal = Digital(name="box in", column="gate", inverted=inverted)
    assert read(tmp_path, name, form(inputs=(signal,), on=on, off=off)).digital["input", "box in"].tolist() == expected
    table = stream(3).drop_columns(["gate", "target"]).append_column("gate", pa.array(words.split()))
    table = table.append_column("target", pa.array(["mint"] * 3))
    got = read(tmp_path, parquet_file(tmp_path, table), form(inputs=(signal,), on=on, off=off))
    assert got.digital["input", "box in"].tolist() == expected


@pytest.mark.parametrize("suffix", ["csv", "parquet"])
def test_bits_packed_into_one_number(tmp_path: Path, suffix: str) -> None:
    """Counter-example A40: a bit for each channel in one integer; bit 0 is the lowest."""
    packed = [0b000, 0b001, 0b110]
    text = "t,r,g,b,target,q\n" + "".join(f"{k},1,2,3,mint,{value}\n" for k, value in enumerate(packed))
    name = csv_file(tmp_path, text)
    if suffix == "parquet":
        base = stream(3).drop_columns(["target"]).append_column("target", pa.array(["mint"] * 3))
        name = parquet_file(tmp_path, base.append_column("q", pa.array(packed, pa.uint8())))
    channels = tuple(Digital(name=str(k), column="q", bit=k, inverted=k == 2) for k in range(3))
    got = read(tmp_path, name, form(channels=channels))
    assert [got.digital["channel", str(k)].tolist() for k in range(3)] == [[0, 1, 0], [0, 0, 1], [1, 1, 0]]


REFUSED = [
    ("unsorted", HEAD + "0,1,2,3,\n2,1,2,3,\n1,1,2,3,\n", {}, 4, "time", "unsorted-time", "before that of the row before"),
    ("twice", HEAD + "0,1,2,3,\n1,1,2,3,\n1,1,2,3,\n", {}, 4, "time", "unsorted-time", "the same time as the row before"),
    ("NaN", HEAD + "0,1,2,3,\n1,1,nan,3,\n", {}, 3, "sensors.sachet.columns.green", "bad-value", "column g holds nan"),
    ("infinite", HEAD + "0,1,2,3,\n1,1,2,-inf,\n", {}, 3, "sensors.sachet.columns.blue", "bad-value", "holds -inf"),
    ("empty cell", HEAD + "0,1,2,3,\n1,,2,3,\n", {}, 3, "sensors.sachet.columns.red", "bad-value", "column r is empty"),
    ("empty time", HEAD + "0,1,2,3,\n,1,2,3,\n", {}, 3, "time", "bad-value", "column t is empty"),
    ("text", HEAD + "0,1,2,3,\n1,Bad,2,3,\n", {}, 3, "sensors.sachet.columns.red", "bad-value",
     "column r holds Bad, which is not a number"),
    ("time in words", HEAD + "0,1,2,3,\nsoon,1,2,3,\n", {}, 3, "time", "bad-value", "column t holds soon, which is not a number"),
    ("time of a power", HEAD + "0,1,2,3,\n1e30,1,2,3,\n", {}, 3, "time.in", "bad-value",
     "column t holds 1e30, which in ms is finer than 1 ns or beyond all dates"),
    ("decimal comma", SEMICOLON.replace("1.5", "1,5"), {"separator": "semicolon"}, 3, "decimal", "bad-dialect", "1,5"),
    ("decimal point", SEMICOLON, {"separator": "semicolon", "decimal": "comma"}, 3, "decimal", "bad-dialect", "1.5"),
    ("units", GOOD.replace(HEAD, HEAD + "ms,1,1,1,\n"), {}, 2, "units_line", "bad-value", "`units_line: yes` would pass over it"),
    ("comma in comma", HEAD + "0,1,2,3,\n1,1,5,2,3,\n", {}, 3, "separator", "bad-dialect", "the line has 6 cells, the header 5"),
    ("separator", GOOD.replace(",", ";"), {}, 0, "separator", "bad-dialect", "the header is one column, t;r;g;b;target"),
    ("cut line", GOOD + "3,1,2", {}, 5, "", "bad-dialect", "the last line is cut: 3 cells of 5"),
    ("blank line", HEAD + "0,1,2,3,\n\n1,1,2,3,\n", {}, 3, "time", "bad-value", "column t is empty"),
    ("line of blanks", HEAD + "0,1,2,3,\n  \n1,1,2,3,\n", {}, 3, "", "bad-dialect", "the line is empty"),
    ("no rows", HEAD, {}, 0, "", "empty-recording", "no rows"),
    ("empty", "", {}, 0, "", "empty-recording", "the file is empty"),
    ("no header", "\n1,2\n", {}, 0, "skip_lines", "empty-recording", "no header line"),
    ("column", GOOD.replace("target", "Target "), {}, 0, "target", "missing-column", "did you mean Target"),
    ("sensor", GOOD.replace("g,b", "grn,b"), {}, 0, "sensors.sachet.columns", "missing-column", "no column g"),
    ("two columns", GOOD.replace("b,target", "g,target"), {}, 0, "sensors.sachet.columns", "missing-column", "no column b"),
    ("target", GOOD.replace("2,1,2,3,mint", "2,1,2,3,minth"), {}, 4, "target", "unknown-name", "did you mean mint?"),
    ("unit", GOOD, {"time_in": "us"}, 3, "time.in", "bad-dialect", "`in: us` may have to be ms"),
    ("every", GOOD, {"every_ns": 70 * MS}, 3, "every", "bad-dialect", "rows are 1 ms apart, `every` says 70 ms"),
    ("too fine", HEAD + "0,1,2,3,\n1.0000001,1,2,3,\n", {}, 3, "time.in", "bad-value", "finer than 1 ns"),
    ("utf-16 wanted", GOOD, {"encoding": "utf-16"}, 0, "encoding", "bad-dialect", "byte-order mark"),
]  # fmt: skip


@pytest.mark.parametrize("row", REFUSED, ids=lambda row: row[0])
def test_refused(tmp_path: Path, row: tuple) -> None:
    """Counter-examples A7 and A40: bad values of first exports are refused, never repaired."""
    _, text, keys, line, key, code, words = row
    problem = refusal(tmp_path, csv_file(tmp_path, text), form(**keys))
    assert (problem.place.path, problem.place.line, problem.key, problem.code) == ("day.csv", line, key, code)
    assert words in problem.message


def test_lines_count_what_stands_before_the_data(tmp_path: Path) -> None:
    text = "a logger\nof a line\n" + GOOD.replace(HEAD, HEAD + "ms,1,1,1,\n") + "3,x,2,3,\n"
    problem = refusal(tmp_path, csv_file(tmp_path, text), form(skip_lines=2, units_line=True))
    assert problem.place.line == 8 and text.splitlines()[7].startswith("3,x")


def test_lines_are_right_in_later_blocks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("stationtest.sources.csv_readings.BLOCK", 100)
    text = HEAD + "".join(f"{k},1,2,{'x' if k == 60 else 3},mint\n" for k in range(100))
    problem = refusal(tmp_path, csv_file(tmp_path, text))
    assert problem.place.line == 62 and text.splitlines()[61] == "60,1,2,x,mint"


def test_undeclared_words(tmp_path: Path) -> None:
    text = "t,r,g,b,target,gate\n0,1,2,3,,1\n1,1,2,3,,TRUE\n"
    problem = refusal(tmp_path, csv_file(tmp_path, text), GATE)
    assert problem.place.line == 3 and problem.key == "on, off"
    assert problem.message == "column gate holds TRUE, which is not declared; on is 1, off is 0"
    table = stream(4).set_column(4, "gate", pa.array([0, 1, 2, 1], pa.int8()))
    problem = refusal(tmp_path, parquet_file(tmp_path, table), GATE)
    assert problem.place.line == 3 and "gate holds 2, which is not declared" in problem.message
    problem = refusal(tmp_path, csv_file(tmp_path, text.replace("TRUE", "")), GATE)
    assert problem.place.line == 3 and "column gate is empty" in problem.message


def test_a_line_of_a_gigabyte_costs_one_block(tmp_path: Path) -> None:
    """The file is sparse: a gigabyte of zero bytes on no disk, as one line."""
    name = csv_file(tmp_path, HEAD + "".join(f"{k},1,2,3,mint\n" for k in range(100)))
    with open(tmp_path / name, "r+b") as file:
        file.truncate(1 << 30)
    problem = refusal(tmp_path, name)
    assert (problem.place.line, problem.key, problem.code) == (102, "separator", "bad-dialect")
    assert "no end within 4 MiB" in problem.message
    with open(tmp_path / "head.csv", "wb") as file:
        file.write(b"a" * (5 << 20))
    assert "the header has no end" in refusal(tmp_path, "head.csv").message


@pytest.mark.parametrize(
    ("data", "keys", "words"),
    [
        (GOOD.encode("utf-16"), {}, "the file begins with the mark of utf-16, `encoding` says utf-8"),
        (GOOD.encode("utf-16-le"), {}, "zero bytes"),
        (GOOD.replace("2,1,2,3,mint", "2,1,2,3,M\xfcnze").encode("cp1252"), {}, "not utf-8 text; cp1252 may be meant"),
        (GOOD.replace("mint", "\x81").encode("latin-1"), {"encoding": "cp1252"}, "not cp1252 text"),
        (GOOD.encode("utf-8-sig"), {"encoding": "cp1252"}, "mark of utf-8"),
    ],
)
def test_the_wrong_encoding(tmp_path: Path, data: bytes, keys: dict, words: str) -> None:
    (tmp_path / "day.csv").write_bytes(data)
    problem = refusal(tmp_path, "day.csv", form(**keys))
    assert problem.key == "encoding" and problem.code == "bad-dialect" and words in problem.message


def test_parquet_that_is_none_or_damaged(tmp_path: Path) -> None:
    (tmp_path / "text.parquet").write_bytes(GOOD.encode())
    assert "this is not a Parquet file, or it was cut" in refusal(tmp_path, "text.parquet").message
    name = parquet_file(tmp_path, stream(50_000), row_group=10_000)
    data = bytearray((tmp_path / name).read_bytes())
    at = pq.ParquetFile(tmp_path / name).metadata.row_group(2).column(1).data_page_offset
    data[at : at + 4000] = b"\xff" * 4000
    (tmp_path / "damaged.parquet").write_bytes(data)
    problem = refusal(tmp_path, "damaged.parquet")
    assert problem.code == "bad-dialect" and "damaged from about this row on" in problem.message
    (tmp_path / "short.parquet").write_bytes(data[:5000])
    assert refusal(tmp_path, "short.parquet").code == "bad-dialect"


def test_parquet_columns_of_the_wrong_kind(tmp_path: Path) -> None:
    table = stream(5)
    problem = refusal(tmp_path, parquet_file(tmp_path, table.set_column(1, "r", pa.array(["1"] * 5))))
    assert problem.key == "sensors.sachet.columns.red" and "holds string, not numbers" in problem.message
    problem = refusal(tmp_path, parquet_file(tmp_path, table.set_column(1, "r", pa.array([1.0, None, 2, 3, 4]))))
    assert problem.place.line == 2 and "is empty" in problem.message
    problem = refusal(tmp_path, parquet_file(tmp_path, table.set_column(5, "target", pa.array([0.5] * 5))))
    assert problem.key == "target" and "text or whole numbers" in problem.message
    assert refusal(tmp_path, parquet_file(tmp_path, table.slice(0, 0))).code == "empty-recording"


def test_no_form_no_file(tmp_path: Path) -> None:
    name = csv_file(tmp_path, GOOD)
    problem = refusal(tmp_path, name, form(pattern="recordings/*.csv"))
    assert problem.code == "no-form" and '"recordings/*.csv"' in problem.message
    assert refusal(tmp_path, "night.csv").code == "no-file"
    (tmp_path / "folder").mkdir()
    assert refusal(tmp_path, "folder").code == "no-file"


def test_the_first_form_that_fits_is_taken(tmp_path: Path) -> None:
    name = csv_file(tmp_path, GOOD)
    recording = opened(tmp_path, name, form(pattern="*.parquet"), form(pattern="d*.csv", specimen="target"), form())
    assert recording.form.pattern == "d*.csv"


def test_sensors_that_a_recording_lacks(tmp_path: Path) -> None:
    """A sensor none of whose columns is there is not in the recording; half a sensor is a mistake."""
    two = (sensor(), sensor("lid", ("x", "y", "z")))
    name = csv_file(tmp_path, GOOD)
    assert opened(tmp_path, name, sensors=two).sensors == ("sachet",)
    half = csv_file(tmp_path, GOOD.replace(",target", ",x,target").replace(",3,", ",3,9,"))
    told = [(problem.code, problem.key, problem.message[:21]) for problem in refusals(tmp_path, half, sensors=two)]
    assert told == [("missing-column", "sensors.lid.columns", f"there is no column {name} ") for name in "yz"]
    told = [problem.message[:21] for problem in refusals(tmp_path, csv_file(tmp_path, "t,target\n0,mint\n"), sensors=two)]
    assert told == [f"there is no column {name} " for name in "bgr"], "all columns at once"


def test_undeclared_values_of_a_condition(tmp_path: Path) -> None:
    text = "t,r,g,b,target,belt\n0,1,2,3,mint,running\n1,1,2,3,mint,stoped\n"
    declared = form(conditions=(("belt", "belt"),))
    problem = refusal(tmp_path, csv_file(tmp_path, text), declared, conditions=(("belt", ("running", "stopped")),))
    assert (problem.place.line, problem.key, problem.code) == (3, "conditions.belt", "unknown-name")
    assert "did you mean stopped?" in problem.message


def test_one_column_read_in_two_ways(tmp_path: Path) -> None:
    with pytest.raises(ReadingsError, match=r"column b is already the number column of sensors\.sachet\.columns"):
        opened(tmp_path, csv_file(tmp_path, GOOD), form(specimen="b"))


def test_readings_that_two_sensors_would_take_from_one_column(tmp_path: Path) -> None:
    two = (sensor(), sensor("lid"))
    problem = refusal(tmp_path, csv_file(tmp_path, GOOD), sensors=two)
    assert (problem.key, problem.code) == ("sensors.lid.columns", "contradiction")
    assert problem.message == (
        "column r is read by sensor sachet too, and no `sensor:` column of the form says whose readings these are"
    )
    named = csv_file(tmp_path, "t,r,g,b,target,at\n0,1,2,3,mint,lid\n1,1,2,3,mint,lid\n")
    assert opened(tmp_path, named, form(sensor="at"), sensors=two).sensors == ("sachet", "lid")
    assert opened(tmp_path, named, form(target=None), sensors=two).sensors == ("sachet", "lid")  # another table says whose
