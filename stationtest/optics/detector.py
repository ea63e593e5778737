"""From light to counts: bands, exposure, noise, converter, averaging, and how units differ.

A level is the share of the range above dark that a reading fills: count = dark + level (full scale - dark). Noise is that of EMVA
Standard 1288: photo-electrons arrive after Poisson (variance = mean), the electronics add a constant, the converter rounds.
Every level here is an array of one band over time; bands are never interleaved.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from stationtest.optics.noise import generator, normals
from stationtest.optics.spectra import GRID, Floats, refused

FEW_ELECTRONS = 50.0
"""From this mean on, Poisson numbers are drawn as mean + sqrt(mean) z: skewness and steps are then below what read noise and
converter leave (skewness 0.14 at 50)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Detector:
    """Detector and converter of a sensor. `dark` in counts, one a band.

    `bits`: full scale is 2^bits - 1, and readings clip there. `electrons`: photo-electrons of one conversion at full scale.
    `read_noise`: standard deviation of one conversion in counts, without light. `samples`: conversions averaged in a reading,
    evenly over its time; the mean is rounded to a whole count once (converters that keep the fraction have more bits).
    """

    bits: int
    electrons: float
    dark: tuple[float, ...]
    read_noise: float = 0.0
    samples: int = 1

    def __post_init__(self) -> None:
        if not 1 <= self.bits <= 32:
            raise refused("detector", f"a converter has 1 to 32 bits, found {self.bits}")
        if not self.electrons > 0:
            raise refused("detector", f"electrons at full scale must be above 0, found {self.electrons:g}")
        if self.read_noise < 0 or self.samples < 1:
            raise refused("detector", "read noise must not be below 0, and samples at least 1")
        if not self.dark or not all(0 <= dark < self.full_scale for dark in self.dark):
            raise refused("detector", f"dark counts must lie from 0 to below full scale, {self.full_scale:g}")

    @property
    def full_scale(self) -> float:
        return float(2**self.bits - 1)


def gaussian_bands(peaks_nm: ArrayLike, widths_nm: ArrayLike, wavelengths: Floats = GRID) -> Floats:
    """Responses (B, N), 1 at the peak, Gauss-shaped with full widths at half height (common practice, no source).

    Raises `UsageError` for a width that is not above 0, or a band that sees nothing between 380 and 780 nm.
    """
    peaks, widths = np.atleast_1d(np.asarray(peaks_nm, dtype=np.float64)), np.atleast_1d(np.asarray(widths_nm, dtype=np.float64))
    if peaks.shape != widths.shape or not (widths > 0).all():
        raise refused("bands", "need as many widths as peaks, all above 0 nm")
    curves = np.exp(-4.0 * np.log(2.0) * ((wavelengths - peaks[:, None]) / widths[:, None]) ** 2)
    for peak, curve in zip(peaks, curves, strict=True):
        if curve.max() < 0.01:
            raise refused("bands", f"the band at {peak:g} nm sees nothing between 380 and 780 nm")
    return np.asarray(curves)


def unit_of(
    peaks_nm: ArrayLike, gains: ArrayLike, *, peak_sd_nm: float, gain_sd: float, seed: int, unit: str
) -> tuple[Floats, Floats]:
    """Band peaks and gains (B,) of one unit of a series: normal shifts of the peaks, log-normal gains (so never below 0).

    `unit` names it (its serial): the same name and seed give the same unit.
    """
    peaks, nominal = np.asarray(peaks_nm, dtype=np.float64), np.asarray(gains, dtype=np.float64)
    if peak_sd_nm < 0 or gain_sd < 0:
        raise refused("unit spread", "standard deviations must not be below 0")
    z = generator(seed, f"unit {unit}", 0).standard_normal((2, len(peaks)))
    return np.asarray(peaks + peak_sd_nm * z[0]), np.asarray(nominal * np.exp(gain_sd * z[1]))


def noisy(level: Floats, detector: Detector, band: int, *, seed: int, stream: str, cell: int) -> Floats:
    """Levels (n,) of one band with photon and read noise of one reading each (`samples` conversions averaged), float64.

    `level` is the whole of one cell of rows, or its beginning: numbers are drawn from its first row on.
    """
    per_reading = detector.electrons * detector.samples
    span = detector.full_scale - detector.dark[band]
    constant = (detector.read_noise / span) ** 2 / detector.samples
    z = normals(seed, f"{stream}/band {band}", cell, len(level))
    few = level < FEW_ELECTRONS / per_reading
    spread = np.multiply(level, 1.0 / per_reading)
    np.maximum(spread, 0.0, out=spread)
    np.add(spread, constant, out=spread)
    np.sqrt(spread, out=spread)
    np.multiply(spread, z, out=spread)
    np.add(spread, level, out=spread)
    if few.any():
        mean = np.maximum(level[few], 0.0) * per_reading
        arrived = generator(seed, f"{stream}/band {band}/few", cell).poisson(mean)
        spread[few] = arrived / per_reading + np.sqrt(constant) * z[few]
    return spread


def converted(level: Floats, detector: Detector, band: int) -> Floats:
    """Counts (n,) of one band: offset, rounded to whole counts, clipped at 0 and full scale. float64."""
    counts = np.multiply(level, detector.full_scale - detector.dark[band])
    np.add(counts, detector.dark[band], out=counts)
    np.rint(counts, out=counts)
    np.clip(counts, 0.0, detector.full_scale, out=counts)
    return counts


def counts(levels: Sequence[Floats], detector: Detector, *, seed: int, stream: str, cell: int) -> list[Floats]:
    """Counts of all bands: `converted(noisy(...))`, one (n,) array a band."""
    if len(levels) != len(detector.dark):
        raise refused("detector", f"has {len(detector.dark)} dark counts for {len(levels)} bands")
    return [
        converted(noisy(level, detector, band, seed=seed, stream=stream, cell=cell), detector, band)
        for band, level in enumerate(levels)
    ]


def moving_mean(values: Floats, window: int) -> Floats:
    """Means of each value and the window - 1 before it, (n - window + 1,): a sensor that averages as it goes.

    Its response time is `window` readings: an edge becomes a ramp of that length, noise falls by 1 / sqrt(window). Added up in
    doubled pieces, so that a mean does not depend on where the stretch began.
    """
    if window < 1 or window > len(values):
        raise refused("averaging", f"window must be from 1 to the number of readings ({len(values)}), found {window}")
    length = len(values) - window + 1
    total, piece, width, done = np.zeros(length), np.asarray(values, dtype=np.float64), 1, 0
    while done < window:
        if window & width:
            total += piece[done : done + length]
            done += width
        if done < window:
            piece = piece[: len(piece) - width] + piece[width:]
            width *= 2
    return np.asarray(total / window)


def ambient(
    t_ns: ArrayLike, *, frequency_hz: float, depth: float, rejection: float, exposure_ns: int = 0, phase: float = 0.0
) -> Floats:
    """What multiplies the band sums of ambient light at times (n,): its flicker, averaged over the exposure, after rejection.

    (1 + depth sinc(f T) sin(2 pi (f (t - T / 2) + phase))) / rejection; T is the exposure, which ends at t. `frequency_hz` is
    that of the light, twice that of the mains; `depth` is (max - min) / (max + min). `rejection`: how many times weaker a
    sensor with a pulsed light sees steady light (1: not at all). Sine-shaped flicker (common practice, no source).
    """
    if frequency_hz < 0 or exposure_ns < 0 or not 0 <= depth <= 1:
        raise refused("ambient light", "frequency and exposure must not be below 0, depth from 0 to 1")
    if not rejection >= 1:
        raise refused("ambient light", f"rejection ratio must be at least 1, found {rejection:g}")
    t = np.asarray(t_ns, dtype=np.float64) - exposure_ns / 2.0
    swing = depth * float(np.sinc(frequency_hz * exposure_ns * 1e-9))
    turns = t * (frequency_hz * 1e-9) + phase
    return np.asarray((1.0 + swing * np.sin(2.0 * np.pi * (turns - np.floor(turns)))) / rejection)
