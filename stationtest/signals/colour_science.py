"""The one module that imports colour-science, late.

Its import takes seconds, warns, fails where warnings are errors, and puts mock objects in `sys.modules` in place of scipy and
matplotlib where those are missing, after which wrong numbers can come out of an import that should have failed. So scipy and
matplotlib are looked for first, warnings are caught, and whatever is a mock is taken out again behind the import.

It is the reference that the kernels are held to, and what later parts take spectra, observers and illuminants from.
"""

from __future__ import annotations

import contextlib
import difflib
import importlib
import sys
import warnings
from functools import lru_cache
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stationtest.errors import usage

_OBSERVERS = {"2 deg": "CIE 1931 2 Degree Standard Observer", "10 deg": "CIE 1964 10 Degree Standard Observer"}
_METHODS: dict[str, tuple[str, dict[str, float]]] = {
    "CIE 1976 L*a*b*": ("CIE 1976", {}),
    "CIE 1994": ("CIE 1994", {}),
    "CIEDE2000": ("CIE 2000", {}),
    "CMC(2:1)": ("CMC", {"l": 2, "c": 1}),
    "CMC(1:1)": ("CMC", {"l": 1, "c": 1}),
}


@lru_cache(maxsize=1)
def library() -> ModuleType:
    """colour-science, imported at the first call. Raises RuntimeError if a mock object would stay in `sys.modules`."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for optional in ("scipy", "scipy.special", "matplotlib"):
            with contextlib.suppress(ImportError):
                importlib.import_module(optional)
        try:
            colour = importlib.import_module("colour")
        finally:
            for name in mocks():
                del sys.modules[name]
    if mocks():
        raise RuntimeError(f"colour-science left stand-ins in sys.modules: {', '.join(mocks())}")
    return colour


def mocks() -> list[str]:
    """Names in `sys.modules` behind which stands a mock object and not a module."""
    return sorted(name for name, module in list(sys.modules.items()) if type(module).__module__ == "unittest.mock")


def version() -> str:
    """The version of colour-science."""
    return str(library().__version__)


def white_point(illuminant: str, observer: str) -> tuple[float, float, float]:
    """X, Y, Z (Y = 100) of a CIE illuminant for an observer ('2 deg' or '10 deg'), by sums in 5 nm steps (CIE 15).

    Raises `UsageError` (colour-mismatch) for an illuminant that colour-science has no spectrum of.
    """
    colour = library()
    if illuminant not in colour.SDS_ILLUMINANTS or observer not in _OBSERVERS:
        known = ", ".join(sorted(colour.SDS_ILLUMINANTS))
        raise usage(f"no spectrum of illuminant {illuminant} for {observer}; known illuminants: {known}", "colour-mismatch")
    with _quiet():
        grid = colour.SpectralShape(360, 780, 5)
        light = colour.SDS_ILLUMINANTS[illuminant].copy().align(grid, interpolator=colour.LinearInterpolator)
        curves = colour.MSDS_CMFS[_OBSERVERS[observer]].copy().align(grid)
        xyz = (light.values[:, None] * curves.values).sum(axis=0)
    x, y, z = (float(value) for value in 100 * xyz / xyz[1])
    return x, y, z


def illuminants() -> list[str]:
    """Names of the CIE illuminants that there are spectra of, the LED set and the FL series of CIE 015:2018 among them."""
    return [str(name) for name in library().SDS_ILLUMINANTS if not str(name).startswith("ISO")]


def illuminant_spectrum(name: str, wavelengths: NDArray[np.float64]) -> NDArray[np.float64]:
    """Relative power (N,) of a CIE illuminant at these wavelengths in nm, straight between the tabulated 5 nm.

    Raises `UsageError` (unknown-name) with the nearest name.
    """
    colour = library()
    known = illuminants()
    if name not in known:
        near = difflib.get_close_matches(name, known, 1, 0.4)
        hint = f"; did you mean {near[0]}?" if near else "."
        raise usage(f"no CIE illuminant is called {name}{hint} Known: {', '.join(known)}", "unknown-name")
    with _quiet():
        table = colour.SDS_ILLUMINANTS[name]
        return np.interp(wavelengths, table.wavelengths, table.values)


def observer_curves(observer: str, wavelengths: NDArray[np.float64]) -> NDArray[np.float64]:
    """The colour matching functions (3, N) of the CIE 1931 ('2 deg') or 1964 ('10 deg') observer, straight between 1 nm.

    Raises `UsageError` (unknown-name) for another name.
    """
    if observer not in _OBSERVERS:
        raise usage(f"no observer is called {observer}; write 2 deg or 10 deg", "unknown-name")
    with _quiet():
        table = library().MSDS_CMFS[_OBSERVERS[observer]]
        return np.stack([np.interp(wavelengths, table.wavelengths, curve) for curve in np.asarray(table.values).T])


def distance(name: str, reference: ArrayLike, sample: ArrayLike) -> NDArray[np.float64]:
    """A distance of L*a*b* values (..., 3) by colour-science; the reference first. Raises KeyError for a name that it lacks."""
    method, options = _METHODS[name]
    with _quiet():
        values = library().delta_E(np.asarray(reference, float), np.asarray(sample, float), method=method, **options)
    return np.asarray(values, dtype=np.float64)


def lab_of_xyz(xyz: ArrayLike, white: ArrayLike) -> NDArray[np.float64]:
    """CIE 1976 L*a*b* (..., 3) of X, Y, Z relative to a white in the same scale."""
    scaled, to_white = np.asarray(xyz, float), np.asarray(white, float)
    with _quiet():
        lab = library().XYZ_to_Lab(scaled / to_white[1], library().XYZ_to_xy(to_white))
    return np.asarray(lab, dtype=np.float64)


def uv_of_xyz(xyz: ArrayLike) -> NDArray[np.float64]:
    """CIE 1976 u', v' (..., 2) of X, Y, Z."""
    with _quiet():
        uv: Any = library().xy_to_Luv_uv(library().XYZ_to_xy(np.asarray(xyz, float)))
    return np.asarray(uv, dtype=np.float64)


@contextlib.contextmanager
def _quiet() -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield
