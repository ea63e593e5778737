"""Colour rendering indices after CIE 13.3-1995, written from the standard's formulas (from memory) on the sums of `spectra`.

Nothing of it is in the package: it is there to hold the package's spectral path to the indices that CIE prints.
"""

import numpy as np
from optics_values import GRID, colour_samples, correlated_colour_temperature, observer

from stationtest.optics import spectra
from stationtest.signals import colour_science


def reference_illuminant(kelvin):
    """Planck's radiator below 5000 K (c2 = 1.4388e-2 m K), else CIE daylight of that colour temperature."""
    if kelvin < 5000:
        metres = GRID * 1e-9
        return 1e-30 * metres**-5 / np.expm1(1.4388e-2 / (metres * kelvin))
    colour = colour_science.library()
    daylight = colour.sd_CIE_illuminant_D_series(colour.temperature.CCT_to_xy_CIE_D(kelvin))
    return np.interp(GRID, daylight.wavelengths, daylight.values)


def uv_1960(xyz):
    x, y, z = np.moveaxis(np.asarray(xyz), -1, 0)
    below = x + 15 * y + 3 * z
    return 4 * x / below, 6 * y / below


def opponent(u, v):
    return (4 - u - 10 * v) / v, (1.708 * v + 0.404 - 1.481 * u) / v


def rendering(light):
    """Ra and R1..R14 of a light (N,)."""
    curves = observer()
    kelvin, _ = correlated_colour_temperature(spectra.white_of(light, curves))
    reference = reference_illuminant(kelvin)
    white_u, white_v = uv_1960(spectra.white_of(reference, curves))
    c_reference, d_reference = opponent(white_u, white_v)
    c_light, d_light = opponent(*uv_1960(spectra.white_of(light, curves)))
    tested, standard = (spectra.tristimulus(colour_samples(), one, curves) for one in (light, reference))
    c, d = opponent(*uv_1960(tested))
    c, d = c * c_reference / c_light, d * d_reference / d_light  # adaptation after von Kries
    below = 16.518 + 1.481 * c - d
    adapted = (10.872 + 0.404 * c - 4 * d) / below, 5.520 / below
    both = []
    for xyz, (u, v) in ((tested, adapted), (standard, uv_1960(standard))):
        w = 25 * np.cbrt(xyz[:, 1]) - 17
        both.append(np.stack([w, 13 * w * (u - white_u), 13 * w * (v - white_v)]))
    special = 100 - 4.6 * np.sqrt(((both[0] - both[1]) ** 2).sum(axis=0))
    return special[:8].mean(), dict(enumerate(special, 1))
