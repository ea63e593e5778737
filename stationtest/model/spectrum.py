"""Spectra as they stand in files, and the bands of a spectral sensor. What is meant, not how it is computed."""

from __future__ import annotations

from dataclasses import dataclass

CIE_ILLUMINANTS = (
    "A", "B", "C", "D50", "D55", "D60", "D65", "D75", "E",
    *(f"FL{number}" for number in range(1, 13)), *(f"FL3.{number}" for number in range(1, 16)),
    "HP1", "HP2", "HP3", "HP4", "HP5", "ID50", "ID65",
    "LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-BH1", "LED-RGB1", "LED-V1", "LED-V2",
)  # fmt: skip
"""The illuminants of CIE 015:2018 whose spectra are known by name; a test holds them to those that colour-science has."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spectrum:
    """A measured spectrum as it stands in a file: rising wavelengths that cover 380 to 780 nm, and a value at each."""

    path: str
    nm: tuple[float, ...]
    values: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SpectralBands:
    """What the bands of a sensor see, from which its matrix to XYZ follows, in the order of its bands.

    Either `centres_nm`; or `responses` (from `responses_file`) under the sensor's own light, which is a CIE illuminant by name
    (`light`) or measured (`light_spectrum`, from `light_file`), for reflectances that keep alike over `alike_over_nm`.
    """

    centres_nm: tuple[float, ...] = ()
    responses_file: str | None = None
    responses: tuple[Spectrum, ...] = ()
    light: str | None = None
    light_file: str | None = None
    light_spectrum: Spectrum | None = None
    alike_over_nm: float | None = None
