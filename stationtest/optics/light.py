"""Light sources: LEDs by peak and width, several of them with levels, a measured spectrum; what age and temperature do to them.

The line shape of an LED is that of Ohno, 'Spectral design considerations for white LED color rendering', Optical Engineering
44 (2005) 111302: (g + 2 g^5) / 3 with g = exp(-((nm - peak) / w)^2). `width_nm` here is the full width at half of the peak, as
data sheets state it; the w of the formula is width / 0.9216, found by solving g + 2 g^5 = 3 / 2.

What temperature and age do is stated by the user for each LED; nothing is built in, because it differs by a factor of ten
between kinds of LED.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stationtest.optics.spectra import GRID, Floats, refused

_HALF_AT = 0.8086092632
"""The g at which (g + 2 g^5) / 3 is one half; a test solves the equation again."""
_WIDTHS = 2.0 * float(np.sqrt(-np.log(_HALF_AT)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Led:
    """One LED: peak and full width at half of the peak in nm, and its level (height of the peak, in any unit shared by all).

    `shift_nm_per_k` moves the peak and `output_per_k` (a share, negative for most) changes the level with each kelvin above the
    temperature at which peak and level were stated; `decay_per_h` is the rate of lumen depreciation. None where not stated.
    """

    peak_nm: float
    width_nm: float
    level: float = 1.0
    shift_nm_per_k: float | None = None
    output_per_k: float | None = None
    decay_per_h: float | None = None


def led(peak_nm: float, width_nm: float, wavelengths: Floats = GRID) -> Floats:
    """The spectrum (N,) of one LED, 1 at its peak (Ohno 2005). Raises `UsageError` for a peak or width that is not above 0."""
    if not (peak_nm > 0 and width_nm > 0):
        raise refused("LED", f"peak and width must be above 0 nm, not {peak_nm:g} and {width_nm:g} nm")
    g = np.exp(-(((wavelengths - peak_nm) / (width_nm / _WIDTHS)) ** 2))
    return np.asarray((g + 2.0 * g**5) / 3.0)


def light_of(leds: Sequence[Led], wavelengths: Floats = GRID, *, kelvin: float = 0.0, hours: float = 0.0) -> Floats:
    """The spectrum (N,) of several LEDs together, `kelvin` warmer than stated and after `hours` of use.

    Raises `UsageError` (wrong-value) if no LED is lit, if a temperature or an age is asked for and an LED does not state what it
    does, or if the output would fall below 0.
    """
    power = np.zeros(len(wavelengths))
    for number, one in enumerate(leds, 1):
        if one.level < 0:
            raise refused(f"LED {number}", f"level must not be below 0, found {one.level:g}")
        peak, level = one.peak_nm, one.level
        if kelvin:
            if one.shift_nm_per_k is None or one.output_per_k is None:
                raise refused(f"LED {number}", "a temperature needs the peak shift per kelvin and the output per kelvin")
            peak += one.shift_nm_per_k * kelvin
            level *= output_at(kelvin, one.output_per_k)
        if hours:
            if one.decay_per_h is None:
                raise refused(f"LED {number}", "an age needs the rate of decay per hour")
            level *= lumen_maintenance(hours, one.decay_per_h)
        power += level * led(peak, one.width_nm, wavelengths)
    if not leds or not power.max() > 1e-6 * max(one.level for one in leds):
        raise refused("light", "no LED is lit between 380 and 780 nm")
    return power


def output_at(kelvin: float, output_per_k: float) -> float:
    """Output relative to that at the stated temperature, straight in the temperature (common practice, no source)."""
    output = 1.0 + output_per_k * kelvin
    if output < 0:
        raise refused("LED", f"at {kelvin:g} K above, {output_per_k:g} per kelvin leaves an output below 0")
    return output


def lumen_maintenance(hours: float, decay_per_h: float) -> float:
    """exp(-decay t): the light left after `hours`, the form that IES TM-21 fits (common practice; from memory)."""
    if hours < 0 or decay_per_h < 0:
        raise refused("LED", "hours and decay must not be below 0")
    return float(np.exp(-decay_per_h * hours))


def decay_from_life(hours: float, share_left: float = 0.7) -> float:
    """The rate of decay per hour of an LED that has `share_left` of its light after `hours` (L70: 0.7)."""
    if not (hours > 0 and 0 < share_left < 1):
        raise refused("LED life", "needs hours above 0 and a share between 0 and 1")
    return float(-np.log(share_left) / hours)
