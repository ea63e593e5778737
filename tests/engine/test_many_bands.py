"""A station of a sensor of 16 bands beside one of three, end to end: the colours of a published chart switch their channels."""

from __future__ import annotations

import json

import numpy as np
import pytest

import stationtest
from stationtest.optics import spectra
from stationtest.optics.spectra import GRID
from stationtest.report.page import render
from stationtest.signals import colour_science

CENTRES = list(range(400, 701, 20))
CASE_IDS = ("OWN-01", "LEVEL-01", "DRIFT-01")
NAMES = ("foliage", "orange", "purple", "neutral")  # patches of ISO 17321-1, under names of ours
STATION = """
station: tins
between: bare belt
sensors:
  lid: {{reads: linear RGB, columns: {{red: r, green: g, blue: b}}, full_scale: 4095}}
  tin:
    reads: bands
    columns: {{{columns}}}
    bands: {{centres: [{centres}]}}
    full_scale: 4095
    clips_at: 4000
    white: {{{white}}}
    illuminant: D65
    observer: 2 deg
targets: [{targets}, bare belt]
channels:
{channels}
recordings:
  "recordings/*.csv": {{time: {{column: t, in: ms}}, every: 1 ms, gap: 3 ms, target: part, specimen: no, sensor: at}}
"""
CASES = """
readings: [../recordings/day.csv]
evidence: {{trials: 3, of: presentations}}
cases:
  OWN-01: {{title: Each fires its own, present: [{targets}], expect: {{own_channel_only: yes}}}}
  LEVEL-01: {{title: No band clips, present: [{targets}], expect: {{level: {{at_least: 2 %, at_most: 95 %}}}}}}
  DRIFT-01:
    title: The colours stay
    present: [{targets}]
    expect: {{drift: {{of: sensor chromaticity, over: 1, at_most: 0.02}}}}
    evidence: {{runs: 1}}
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """References are L*a*b* from the whole spectra of the chart; readings are noisy counts of bands 20 nm apart."""
    path = tmp_path_factory.mktemp("tins")
    patches = colour_science.library().SDS_COLOURCHECKERS["ISO 17321-1"]
    wanted = (3, 6, 9, 21)  # numbers in the chart, which has them in rows of six
    reflectance = [spectra.resampled(one.wavelengths, one.values, name) for name, one in list(patches.items())]
    reflectance = np.stack(reflectance)[list(wanted)]
    light, eye = colour_science.illuminant_spectrum("D65", GRID), colour_science.observer_curves("2 deg", GRID)
    labs = colour_science.lab_of_xyz(spectra.tristimulus(reflectance, light, eye), spectra.white_of(light, eye))
    channels = [
        f"  {name}: {{sensor: tin, reference: {{colour: {{Lab: [{', '.join(f'{v:.3f}' for v in lab)}], illuminant: D65, "
        f"observer: 2 deg}}}}, for: {name}, distance: CIEDE2000, tolerance: 1.5, hysteresis: 10 %}}"
        for name, lab in zip(NAMES, labs, strict=True)
    ]
    white = [3000 + 20 * number for number in range(16)]
    (path / "cases").mkdir()
    (path / "recordings").mkdir()
    (path / "station.yaml").write_text(
        STATION.format(
            columns=", ".join(f"F{nm}: f{nm}" for nm in CENTRES), centres=", ".join(f"{nm} nm" for nm in CENTRES),
            white=", ".join(f"F{nm}: {count}" for nm, count in zip(CENTRES, white, strict=True)),
            targets=", ".join(NAMES), channels="\n".join(channels),
        )
    )  # fmt: skip
    (path / "cases" / "all.case.yaml").write_text(CASES.format(targets=", ".join(NAMES)))
    random, t = np.random.default_rng(3), 0
    rows = [",".join(["t", *(f"f{nm}" for nm in CENTRES), "r", "g", "b", "part", "no", "at"])]
    shown = [(name, turn, one) for turn in "123" for name, one in zip(NAMES, reflectance, strict=True)]
    belt = ("", "", np.full(len(GRID), 0.04))
    for part, number, one in [stretch for each in shown for stretch in (belt, each)] + [belt]:
        for _ in range(20):
            counts = np.rint(np.interp(CENTRES, GRID, one) * white + random.normal(0, 2, 16)).astype(int)
            rows.append(",".join(map(str, [t, *counts, 900, 700, 400, part, number, "tin" if part else ""])))
            t += 1
    (path / "recordings" / "day.csv").write_text("\n".join(rows) + "\n")
    return path


def verdicts(record):
    return {case["id"]: (case["verdict"], case["reason"]) for case in record["result"]["cases"]}


def test_the_colours_of_the_chart_switch_their_channels(folder):
    suite = stationtest.load(folder)
    record = stationtest.run(suite)
    assert {key: verdict for key, (verdict, _) in verdicts(record).items()} == dict.fromkeys(CASE_IDS, "pass"), verdicts(record)
    assert "Colours at sensor tin" in render(record)
    seen = stationtest.observe(suite, "recordings/day.csv").presentations
    assert seen.means.shape[1] == 16
    here = (seen.sensor == 1) & ~seen.between
    assert np.isfinite(seen.means[here]).all()
    assert seen.level_max[here].max() < 1


def test_a_reference_taught_in_all_bands_and_a_band_that_clips(folder, tmp_path):
    """By sensor chromaticity of 16 bands, taught from the recording; then with a white balance that makes one band clip."""
    text = (folder / "station.yaml").read_text()
    begin, end = text.index("channels:"), text.index("recordings:")
    channels = "channels:\n" + "".join(
        f"  {name}: {{sensor: tin, reference: {{learned: recordings/day.csv, target: {name}, samples: 20}}, "
        "distance: sensor chromaticity, tolerance: 0.02}\n"
        for name in NAMES
    )
    for part in ("cases", "recordings"):
        (tmp_path / part).mkdir()
        for file in (folder / part).iterdir():
            (tmp_path / part / file.name).write_text(file.read_text())
    (tmp_path / "station.yaml").write_text(text[:begin] + channels + text[end:])
    cases = tmp_path / "cases" / "all.case.yaml"
    cases.write_text(cases.read_text().replace("trials: 3", "trials: 2"))  # what taught is no trial
    record = stationtest.run(stationtest.load(tmp_path))
    assert verdicts(record)["OWN-01"][0] == "pass"
    (tmp_path / "station.yaml").write_text((text[:begin] + channels + text[end:]).replace("clips_at: 4000", "clips_at: 1200"))
    with pytest.raises(stationtest.StationtestError, match="clipped or dark; they teach nothing"):
        stationtest.run(stationtest.load(tmp_path))


def test_the_result_is_the_same_bytes_with_workers(folder):
    suite = stationtest.load(folder)
    results = [json.dumps(stationtest.run(suite, workers=workers)["result"], sort_keys=True) for workers in (0, 2)]
    assert results[0] == results[1]


def test_check_tells_bands_that_give_no_colour(folder, tmp_path, capsys):
    from stationtest.cli import main

    text = (folder / "station.yaml").read_text()
    (tmp_path / "cases").mkdir()
    (tmp_path / "recordings").mkdir()
    for file in ("cases/all.case.yaml", "recordings/day.csv"):
        (tmp_path / file).write_text((folder / file).read_text())
    curves = ["nm," + ",".join(f"F{nm}" for nm in CENTRES)]
    curves += [f"{nm}," + ",".join("1" for _ in CENTRES) for nm in (380, 780)]
    (tmp_path / "r.csv").write_text("\n".join(curves))
    begin = text.index("bands: {centres")
    end = text.index("\n", begin)
    by_responses = "bands: {responses: r.csv, light: LED-B1, alike_over: 90 nm}"
    (tmp_path / "station.yaml").write_text(text[:begin] + by_responses + text[end:])
    assert main(["check", str(tmp_path)]) == 2
    said = capsys.readouterr().err
    assert said.splitlines()[0].endswith(
        "station.yaml:6:3: sensors.tin: bands: two bands have the same response; leave one out [wrong-value]"
    )
    (tmp_path / "station.yaml").write_text(text)
    assert main(["check", str(tmp_path)]) == 0
    assert "sensor tin: reads bands, calibrated" in capsys.readouterr().out
