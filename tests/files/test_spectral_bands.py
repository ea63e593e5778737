# ruff: noqa: E501 (messages stand whole on one line)
"""Sensors that read bands: what station.yaml and the files of their spectra may say, and every message."""

from __future__ import annotations

from pathlib import Path

import pytest
from station_folder import STATION, make, problems, suite

SENSOR = """\
    reads: bands
    columns: {violet: F1, blue: F2, green: F3, red: F4}
    full_scale: 4095
    dark: [12, 11, 14, 10]
    white: [3650, 3720, 3590, 3000]
    bands: {centres: [420 nm, 480 nm, 550 nm, 640 nm]}
    illuminant: LED-B3
    observer: 10 deg
"""
BY_RESPONSES = SENSOR.replace("{centres: [420 nm, 480 nm, 550 nm, 640 nm]}", "{responses: r.csv, light: LED-B4, alike_over: 100 nm}")
RESPONSES = "nm,red,violet,blue,green\n380,0,0.2,0,0\n480,0,0.4,0.9,0.1\n550,0.2,0,0.3,0.9\n780,0.5,0,0,0\n"


def station(sensor: str = SENSOR) -> str:
    begin, end = STATION.index("    reads:"), STATION.index("targets:")
    text = STATION[:begin] + sensor + STATION[end:]
    return text.replace("illuminant: D65, observer: 2 deg}}", "illuminant: LED-B3, observer: 10 deg}}")


def test_the_model_has_as_many_bands_as_columns_in_their_order(tmp_path: Path) -> None:
    sensor = suite(make(tmp_path, station=station())).station.sensors[0]
    assert (sensor.bands, sensor.columns) == (("violet", "blue", "green", "red"), ("F1", "F2", "F3", "F4"))
    assert (sensor.dark, sensor.white) == ((12, 11, 14, 10), (3650, 3720, 3590, 3000))
    assert sensor.spectral is not None and sensor.spectral.centres_nm == (420, 480, 550, 640)
    assert sensor.counts and sensor.calibrated


def test_a_matrix_may_be_stated_instead_and_counts_by_name(tmp_path: Path) -> None:
    text = station(SENSOR.replace("bands: {centres: [420 nm, 480 nm, 550 nm, 640 nm]}", "to_xyz: [[1, 2, 3, 4], [5, 6, 7, 8], [9, 10, 11, 12]]"))
    text = text.replace("dark: [12, 11, 14, 10]", "dark: {red: 10, violet: 12, green: 14, blue: 11}").replace("LED-B3", "D65")
    sensor = suite(make(tmp_path, station=text)).station.sensors[0]
    assert sensor.to_xyz == ((1, 2, 3, 4), (5, 6, 7, 8), (9, 10, 11, 12)) and sensor.dark == (12, 11, 14, 10)


def test_responses_come_in_the_order_of_the_bands_and_are_inputs_of_the_result(tmp_path: Path) -> None:
    (tmp_path / "r.csv").write_text(RESPONSES)
    (tmp_path / "light.csv").write_text("nm;power\n380;0.1\n780;1\n")
    found = suite(make(tmp_path, station=station(BY_RESPONSES.replace("LED-B4", "light.csv"))))
    bands = found.station.sensors[0].spectral
    assert bands is not None and [one.values[1] for one in bands.responses] == [0.4, 0.9, 0.1, 0]
    assert bands.light_spectrum is not None and bands.light_spectrum.values == (0.1, 1) and bands.alike_over_nm == 100
    assert {(file.path, file.role) for file in found.files} >= {("r.csv", "spectrum"), ("light.csv", "spectrum")}


@pytest.mark.parametrize(
    ("old", "new", "answer"),
    [
        (", red: F4}", "}", [
            "station.yaml:8:5: sensors.sachet.dark: counts have one number for each band, in the order violet, blue and green; found 4; allowed 3 [wrong-value]",
            "station.yaml:9:5: sensors.sachet.white: counts have one number for each band, in the order violet, blue and green; found 4; allowed 3 [wrong-value]",
            "station.yaml:10:13: sensors.sachet.bands.centres: there is one centre for each band; found 4; allowed 3 [wrong-value]",
        ]),
        ("{violet: F1, blue: F2, green: F3, red: F4}", "{violet: F1, blue: F2}", [
            "station.yaml:6:5: sensors.sachet.columns: a sensor that reads bands has at least three, each with its column; found violet and blue [wrong-value]",
            "station.yaml:8:5: sensors.sachet.dark: counts have one number for each band, in the order violet and blue; found 4; allowed 2 [wrong-value]",
            "station.yaml:9:5: sensors.sachet.white: counts have one number for each band, in the order violet and blue; found 4; allowed 2 [wrong-value]",
            "station.yaml:10:13: sensors.sachet.bands.centres: there is one centre for each band; found 4; allowed 2 [wrong-value]",
        ]),
        ("dark: [12, 11, 14, 10]", "dark: {violet: 12, blue: 11, green: 14, rde: 10}", [
            "station.yaml:8:5: sensors.sachet.dark: counts have one number for each band; found violet, blue, green and rde; allowed violet, blue, green and red [wrong-value]",
        ]),
        ("480 nm, 550 nm", "550 nm, 480 nm", [
            "station.yaml:10:13: sensors.sachet.bands.centres: centres rise from band to band, and columns with them; found 420, 550, 480, 640 nm [wrong-value]",
        ]),
        ("550 nm, 640 nm", "550 nm, 590 nm", [
            "station.yaml:10:13: sensors.sachet.bands.centres: these do not cover what the observer sees; found 420 to 590 nm; allowed a first centre of at most 480 nm and a last of at least 600 nm [wrong-value]",
        ]),
        ("550 nm", "550", [
            "station.yaml:10:39: sensors.sachet.bands.centres.3: a bare number needs a unit: 550 nm; found 550; allowed a number with its unit (nm), such as 540 nm [wrong-value]",
        ]),
        ("illuminant: LED-B3\n", "illuminant: LED-B33\n", [
            "station.yaml:11:17: sensors.sachet.illuminant: no CIE illuminant has this name; did you mean `LED-B3`?; found LED-B33; allowed A, B, C, D50, D55, D60, D65, D75, E, FL1, FL2, FL3 and 40 more [unknown-name]",
            "station.yaml:18:18: channels.1.reference: the reference is given for illuminant LED-B3, and the readings for LED-B33; without spectra they cannot be compared [colour-mismatch]",
        ]),
        ("    observer: 10 deg\n", "", [
            "station.yaml:4:3: sensors.sachet.observer: this key is missing; XYZ is made for some observer [missing-key]",
        ]),
        ("    white: [3650, 3720, 3590, 3000]\n", "", [
            "station.yaml:4:3: sensors.sachet.white: this key is missing; XYZ is made of counts relative to the white reference [missing-key]",
        ]),
        ("    bands: {", "    to_xyz: [[1, 2, 3, 4], [5, 6, 7], [9, 10, 11, 12]]\n    bands: {", [
            "station.yaml:10:28: sensors.sachet.to_xyz.2: each row has one number for each band, in the order violet, blue, green and red; found 3; allowed 4 [wrong-value]",
            "station.yaml:10:5: sensors.sachet.to_xyz: what the bands see gives the matrix; state either `bands` or `to_xyz` [contradiction]",
        ]),
        ("640 nm]}", "640 nm], light: D65}", [
            "station.yaml:10:63: sensors.sachet.bands.light: this belongs to `responses`; leave the line out [contradiction]",
        ]),
        ("{centres: [420 nm, 480 nm, 550 nm, 640 nm]}", "{light: D65}", [
            "station.yaml:10:5: sensors.sachet.bands: bands are given either by their centres or by a file of responses [missing-key]",
        ]),
        ("{centres: [420 nm, 480 nm, 550 nm, 640 nm]}", "{responses: r.csv}", [
            "station.yaml:10:5: sensors.sachet.bands.alike_over: this key is missing; it says how far along the spectrum the reflectances of these targets keep alike; usual are 50 to 150 nm [missing-key]",
            "station.yaml:10:5: sensors.sachet.bands.light: this key is missing; what a band sees is its response times the sensor's own light [missing-key]",
            "station.yaml:10:24: sensors.sachet.bands.responses: there is no file r.csv [no-file]",
        ]),
        ("{centres: [420 nm, 480 nm, 550 nm, 640 nm]}", "{responses: ../r.csv, light: LED-B9, alike_over: 90 nm}", [
            "station.yaml:10:24: sensors.sachet.bands.responses: this path leaves the station folder; found ../r.csv; allowed files inside it, or --allow-outside [outside-folder]",
            "station.yaml:10:41: sensors.sachet.bands.light: no CIE illuminant has this name; did you mean `LED-B5`?; found LED-B9; allowed A, B, C, D50, D55, D60, D65, D75, E, FL1, FL2, FL3 and 40 more, or the path of a spectrum [unknown-name]",
        ]),
        ("reads: bands", "reads: spectrum", [
            "station.yaml:5:12: sensors.sachet.reads: what the sensor reads is not known; found spectrum; allowed linear RGB, XYZ, CIELAB, bands [wrong-value]",
        ]),
        ("reference: mint, distance: CIEDE2000", "reference: {colour: {shares: [0.5, 0.3, 0.2]}}, for: mint, distance: sensor chromaticity", [
            "station.yaml:18:19: channels.1.reference.colour: there is a share for each band of the sensor; found 3; allowed 4 [colour-mismatch]",
        ]),
    ],
    ids=lambda value: value[:30] if isinstance(value, str) else "",
)  # fmt: skip
def test_problems(tmp_path: Path, old: str, new: str, answer: list[str]) -> None:
    text = station()
    assert old in text
    make(tmp_path, station=text.replace(old, new, 1))
    assert sorted(problems(tmp_path)) == sorted(answer)


def test_bands_belong_to_sensors_that_read_bands(tmp_path: Path) -> None:
    text = STATION.replace("    illuminant: D65\n", "    bands: {centres: [420 nm, 540 nm, 640 nm]}\n    illuminant: D65\n", 1)
    make(tmp_path, station=text)
    assert problems(tmp_path) == [
        "station.yaml:11:5: sensors.sachet.bands: this belongs to a sensor that reads bands, and this one reads linear RGB [contradiction]"
    ]


@pytest.mark.parametrize(
    ("data", "answer"),
    [
        ("nm,red,violet,blue\n380,0,0,0\n780,1,1,1\n", "r.csv:1: a column for each band of sensor sachet is due here; found red, violet and blue; allowed violet, blue, green and red [wrong-value]"),
        (RESPONSES.replace("380,", "400,"), "r.csv:2: the spectrum covers 400 to 780 nm; it must cover 380 to 780 nm [wrong-value]"),
        (RESPONSES.replace("550,", "450,"), "r.csv:4: wavelengths must rise; 450 nm comes after 480 nm [wrong-value]"),
        (RESPONSES.replace("0.9\n", "-0.9\n"), "r.csv:4: a spectrum is not below 0; found -0.9 at 550 nm [wrong-value]"),
        (RESPONSES.replace("0.9\n", "nan\n"), "r.csv:4: this is not a number; found nan; allowed a number such as 0.31 [wrong-value]"),
        (RESPONSES.replace(",0.9\n", "\n"), "r.csv:4: this row has 4 cells where the header has 5 [wrong-value]"),
    ],
)  # fmt: skip
def test_problems_of_response_files_are_told_at_their_line(tmp_path: Path, data: str, answer: str) -> None:
    (tmp_path / "r.csv").write_text(data)
    make(tmp_path, station=station(BY_RESPONSES))
    assert problems(tmp_path) == [answer]
    (tmp_path / "r.csv").write_text(RESPONSES)
    assert problems(tmp_path) == []


def test_the_light_of_a_sensor_is_one_curve(tmp_path: Path) -> None:
    (tmp_path / "r.csv").write_text(RESPONSES)
    (tmp_path / "light.csv").write_text("nm,a,b\n380,1,1\n780,1,1\n")
    make(tmp_path, station=station(BY_RESPONSES.replace("LED-B4", "light.csv")))
    assert problems(tmp_path) == ["light.csv:1: one curve, the light of sensor sachet, is due here; found a and b [wrong-value]"]
