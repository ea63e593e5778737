"""Published values, and the light, observer and head that several tests use."""

import csv
import importlib
import warnings
from pathlib import Path

import numpy as np

from stationtest.optics.geometry import Head
from stationtest.optics.spectra import GRID, resampled
from stationtest.signals import colour_science

VALUES = Path(__file__).parent.parent / "values"


def table(name):
    return list(csv.DictReader((VALUES / name).read_text(encoding="utf-8").splitlines()))


OPTICS = table("optics.csv")  # each row names its source; see values/optics_sources.md


def rows(*kinds):
    return [row for row in OPTICS if row["id"] in kinds]


def name_of(row):
    return f"{row['id']} {row['quantity']} {row['inputs']}"


def inputs(row):
    return {key: float(value) for key, value in (part.split("=") for part in row["inputs"].split(";"))}


def d65():
    return colour_science.illuminant_spectrum("D65", GRID)


def observer(name="2 deg"):
    return colour_science.observer_curves(name, GRID)


def colour_samples():
    """The reflectances (14, N) of the test colour samples of CIE 13.3-1995, as colour-science holds them."""
    colour_science.library()
    samples = importlib.import_module("colour.quality").SDS_TCS
    samples = samples.get("CIE 1995", samples)  # from 0.4.7 on by edition
    return np.stack([resampled(one.wavelengths, one.values, name) for name, one in samples.items()])


def correlated_colour_temperature(xyz):
    """Correlated colour temperature in K, and Duv, of X, Y, Z for the 2 degree observer (Ohno 2013), by colour-science."""
    colour = colour_science.library()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return colour.temperature.uv_to_CCT_Ohno2013(colour.UCS_to_uv(colour.XYZ_to_UCS(np.asarray(xyz, float))))


def even(value):
    return np.full(len(GRID), float(value))


def head(**changed):
    stated = {
        "standoff_mm": 40.0, "spot_mm": 3.0, "light_deg": 0.0, "view_deg": 0.0, "light_half_deg": 2.0, "view_half_deg": 2.0,
    }  # fmt: skip
    return Head(**{**stated, **changed})


GAUSS = np.polynomial.legendre.leggauss(96)
MU, WEIGHT = (GAUSS[0] + 1) / 2, GAUSS[1] / 2  # for integrals over the cosine


def chart():
    """The reflectances (24, N) of the colour chart of ISO 17321-1, as colour-science holds them."""
    patches = colour_science.library().SDS_COLOURCHECKERS["ISO 17321-1"]
    return np.stack([resampled(one.wavelengths, one.values, name) for name, one in patches.items()])
