"""A spectral sensor looked at in a scene and read by its bands: counts and all, against the sum over the published spectra.

The chart of ISO 17321-1 lies on the belt. The scene makes counts of it through the responses of eight bands under an LED light;
the station makes L*a*b* of them through the matrix that follows from the same responses.
"""

import numpy as np
import pytest
from scene_kit import make

import stationtest
from stationtest.optics import spectra
from stationtest.optics.detector import gaussian_bands
from stationtest.optics.spectra import GRID
from stationtest.signals import colour_science
from stationtest.signals.conversion import SensorModel

BANDS = tuple(f"F{nm}" for nm in range(430, 671, 34))  # eight
PATCHES = tuple(f"patch {number}" for number in range(1, 25))


def table(names, curves):
    rows = [",".join(["nm", *names])]
    rows += [",".join(f"{value:.9g}" for value in [nm, *values]) for nm, values in zip(GRID, np.array(curves).T, strict=True)]
    return "\n".join(rows) + "\n"


def chart():
    patches = colour_science.library().SDS_COLOURCHECKERS["ISO 17321-1"]
    return np.stack([spectra.resampled(one.wavelengths, one.values, name) for name, one in patches.items()])


@pytest.mark.parametrize(("illuminant", "observer"), [("D65", "2 deg"), ("A", "10 deg")])
def test_a_chart_on_the_belt_is_read_as_the_colours_it_has(tmp_path, illuminant, observer):
    """Within 1.2 of CIEDE2000, 0.5 in the mean: bands, converter and noise together."""
    columns = ", ".join(f"{band}: {band.lower()}" for band in BANDS)
    station = f"""
station: chart
between: bare belt
belt_speed: 500 mm/s
sensors:
  eye:
    reads: bands
    columns: {{{columns}}}
    bands: {{responses: scenes/responses.csv, light: LED-B3, alike_over: 100 nm}}
    full_scale: 65535
    white: {[55000 + 500 * number for number in range(8)]}
    illuminant: {illuminant}
    observer: {observer}
    spot: 4 mm
targets: [{", ".join(PATCHES)}, bare belt]
channels:
  1: {{reference: {{learned: scenes/line.scene.yaml, target: patch 1, samples: 10}}, distance: CIEDE2000, tolerance: 1}}
"""
    surfaces = "".join(f"  {name}: {{spectrum: chart {number}.csv}}\n" for number, name in enumerate(PATCHES, 1))
    scene = f"""
seed: 1
every: 1 ms
sensors:
  eye:
    light: {{illuminant: LED-B3}}
    head: {{standoff: 40 mm, view: 45 deg}}
    bands: {{responses: responses.csv}}
    electrons: 500000
    read_noise: 3
surfaces:
{surfaces}  bare belt: {{grey: 5 %}}
targets:
{"".join(f"  {name}: {{length: 40 mm}}" + chr(10) for name in PATCHES)}
belt: {{gap: 30 mm, order: [{", ".join(PATCHES)}], count: 24}}
"""
    spectra_of = {f"chart {number}": table(["reflectance"], [one]) for number, one in enumerate(chart(), 1)}
    responses = table(BANDS, gaussian_bands([float(band[1:]) for band in BANDS], [40.0] * 8))
    cases = "scene: ../scenes/line.scene.yaml\nevidence: {trials: 1}\n"
    cases += "cases: {A: {title: A, present: patch 2, expect: {silent: 1}}}\n"
    make(tmp_path, scene, station=station, cases=cases, responses=responses, **spectra_of)
    (tmp_path / "scenes" / "taught.scene.yaml").unlink()
    suite = stationtest.load(tmp_path)
    seen = stationtest.observe(suite, "scenes/line.scene.yaml").presentations
    means = seen.means[~seen.between]
    order = [PATCHES.index(seen.targets[code]) for code in seen.target[~seen.between]]
    model = SensorModel.from_sensor(suite.station.sensor("eye"))
    found = np.column_stack(model.lab(tuple(np.ascontiguousarray(column) for column in means.T)))
    light, eye = colour_science.illuminant_spectrum(illuminant, GRID), colour_science.observer_curves(observer, GRID)
    direct = colour_science.lab_of_xyz(spectra.tristimulus(chart()[order], light, eye), spectra.white_of(light, eye))
    off = colour_science.distance("CIEDE2000", direct, found)
    assert len(off) == 24
    assert off.mean() < 0.5
    assert off.max() < 1.2
