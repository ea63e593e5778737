"""The adapter: white points as published, and nothing left behind in `sys.modules` by the import."""

import csv
import subprocess
import sys
from pathlib import Path

import pytest

from stationtest.errors import UsageError
from stationtest.signals import colour_science
from stationtest.signals.conversion import WHITE_POINTS

# ASTM E308, as published; see values/colour_sources.md
ROWS = list(
    csv.DictReader((Path(__file__).parent.parent / "values/white_points_astm_e308.csv").read_text(encoding="utf-8").splitlines())
)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['illuminant']} {row['observer_deg']}")
def test_white_points_of_astm_e308(row):
    published = [float(row[f"{axis}_published"]) for axis in "XYZ"]
    illuminant, observer = row["illuminant"], f"{row['observer_deg']} deg"
    # sources differ by 0.02 in Z, and sums in 5 nm steps from the 1 nm tables by as much
    assert colour_science.white_point(illuminant, observer) == pytest.approx(published, abs=0.025)
    assert WHITE_POINTS[illuminant, observer] == pytest.approx(published, abs=1e-9)


@pytest.mark.parametrize("key", sorted(WHITE_POINTS), ids=" ".join)
def test_every_built_in_white_point_is_that_of_its_spectrum(key):
    assert colour_science.white_point(*key) == pytest.approx(WHITE_POINTS[key], abs=0.04)


def test_an_unknown_illuminant_is_refused_by_name():
    with pytest.raises(UsageError, match="no spectrum of illuminant D99"):
        colour_science.white_point("D99", "2 deg")


def test_no_mock_stays_here():
    colour_science.library()
    assert colour_science.mocks() == []
    assert colour_science.version()[0].isdigit()


CHECK = """
import sys
class Absent:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in ABSENT:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
sys.meta_path.insert(0, Absent())
from stationtest.signals import colour_science
assert "colour" not in sys.modules, "imported too early"
colour_science.library()
left = [name for name, module in sys.modules.items() if type(module).__module__ == "unittest.mock"]
assert left == [], left
for name in ABSENT:
    try:
        __import__(name)
    except ImportError:
        pass
    else:
        raise AssertionError(f"{name} seems to be there")
white = colour_science.white_point("D65", "10 deg")
assert abs(white[0] - 94.811) < 0.02, white
print("clean")
"""


@pytest.mark.parametrize(
    "absent", [(), ("matplotlib",), ("matplotlib", "scipy")], ids=["all there", "no matplotlib", "no scipy"]
)
def test_no_mock_stays_in_a_fresh_process(absent):
    code = f"ABSENT = {absent!r}\n{CHECK}"
    done = subprocess.run([sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, timeout=120)
    assert done.stdout.strip() == "clean", done.stderr


def test_the_trap_is_real():
    """Without the adapter a mock is left where matplotlib is missing; if this fails, colour-science has been mended."""
    code = CHECK.partition("from stationtest")[0].replace("ABSENT", "('matplotlib',)")
    code += "import warnings; warnings.simplefilter('ignore'); import colour\n"
    code += "print(type(sys.modules.get('matplotlib')).__module__)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120)
    assert done.stdout.strip() == "unittest.mock", done.stderr
