"""Sensors and readings for the colour tests."""

import numpy as np

from stationtest.model.station import Sensor
from stationtest.signals.conversion import SensorModel

# linear sRGB to XYZ (IEC 61966-2-1), white D65
SRGB = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
SKEWED = ((0.61, 0.31, 0.03), (0.2, 0.9, -0.1), (-0.05, 0.02, 1.1))
BANDS = {"linear RGB": ("red", "green", "blue"), "XYZ": ("X", "Y", "Z"), "CIELAB": ("L", "a", "b")}


def sensor(reads="linear RGB", **fields):
    """A sensor under D65 for 2 degrees; of counts up to 4095 if it reads linear RGB."""
    if reads == "linear RGB":
        counts = {"full_scale": 4095.0, "dark": (12.0, 11.0, 14.0), "white": (3650.0, 3720.0, 3590.0), "to_xyz": SRGB}
        fields = {**counts, **fields}
    fields = {"illuminant": "D65", "observer": "2 deg", **fields}
    return Sensor(name="s", reads=reads, bands=BANDS[reads], columns=BANDS[reads], **fields)


def model(reads="linear RGB", **fields):
    return SensorModel.from_sensor(sensor(reads, **fields))


def columns(points):
    """(n, k) points as k contiguous columns."""
    return tuple(np.ascontiguousarray(column) for column in np.asarray(points, float).T)
