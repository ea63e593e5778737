"""The matrix from the relative readings of a spectral sensor to X, Y, Z, from what its bands see.

Only a sensor that states `bands:` comes here: spectra of illuminants and observers are colour-science's, whose import takes long.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from stationtest.errors import FileProblems, Problem, UsageError
from stationtest.model.spectrum import SpectralBands, Spectrum
from stationtest.model.station import Sensor
from stationtest.optics import band_sensors
from stationtest.optics.spectra import GRID, Floats, resampled
from stationtest.signals import colour_science


def to_xyz(sensor: Sensor) -> band_sensors.Matrix:
    """3 x B, Y = 1 for white under the sensor's illuminant. Raises `FileProblems` at the sensor for bands that give no colour."""
    assert sensor.spectral is not None
    try:
        return _matrix(sensor.spectral, sensor.illuminant or "", sensor.observer or "")
    except UsageError as error:
        first = error.problems[0]
        raise FileProblems([Problem(sensor.place, f"sensors.{sensor.name}", first.message, first.code)]) from None


@lru_cache(maxsize=64)
def _matrix(bands: SpectralBands, illuminant: str, observer: str) -> band_sensors.Matrix:
    seen_under = colour_science.illuminant_spectrum(illuminant, GRID)
    curves = colour_science.observer_curves(observer, GRID)
    if bands.centres_nm:
        return band_sensors.as_rows(band_sensors.from_centres(bands.centres_nm, seen_under, curves))
    assert bands.alike_over_nm is not None
    light = (
        _on_grid(bands.light_spectrum) if bands.light_spectrum else colour_science.illuminant_spectrum(bands.light or "", GRID)
    )
    responses = np.stack([_on_grid(one) for one in bands.responses])
    return band_sensors.as_rows(
        band_sensors.from_responses(responses, light, seen_under, curves, correlation_nm=bands.alike_over_nm)
    )


def _on_grid(spectrum: Spectrum) -> Floats:
    return resampled(spectrum.nm, spectrum.values, spectrum.path)
