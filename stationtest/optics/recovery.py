"""A smooth reflectance that has a given colour, and how it changes with L*, a*, b*.

After W. Jakob and J. Hanika, 'A low-dimensional function space for efficient spectral upsampling', Computer Graphics Forum 38
(2019) 147-155: reflectance = 1/2 + p / (2 sqrt(1 + p^2)), p a quadratic in wavelength. It lies between 0 and 1 by its form. The
three coefficients are found by Newton steps on this grid, so that the sums of `spectra.tristimulus` give the colour back. Many
spectra have one colour: under another light the recovered one need not match the real one.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from stationtest.optics.spectra import Floats, refused, weighting

_STEPS = 100
_CLOSE = 1e-6  # of X, Y, Z with Y = 100


def reflectance_of(xyz: ArrayLike, illuminant: Floats, observer: Floats, what: str = "colour") -> Floats:
    """A reflectance (N,) within 0 to 1 whose X, Y, Z (Y = 100 for white) in the light (N,) for the observer (3, N) are `xyz`.

    They come back within 1e-6. Raises `UsageError` (wrong-value) if no such reflectance exists: too bright, or too saturated
    for its lightness.
    """
    goal = np.asarray(xyz, dtype=np.float64)
    weights = weighting(illuminant, observer)
    white = weights.sum(axis=1)
    if goal.shape != (3,) or not np.isfinite(goal).all():
        raise refused(what, "X, Y, Z must be three finite numbers")
    if not (goal > 0).all():
        raise refused(what, f"X, Y, Z must be above 0, found {_listed(goal)}")
    if np.ptp(goal / white) < 1e-9 and goal[1] < 100:  # grey: the same at every wavelength
        return np.full(weights.shape[1], goal[1] / 100.0)
    basis = _basis(weights.shape[1])
    # far inside first: from the grey of the same lightness to the colour in steps, each started from the last
    grey = np.clip(goal[1], 0.5, 99.5) / 100.0 * white
    reached, stride, found = 0.0, 1.0, np.array([_inverse(float(grey[1]) / 100.0), 0.0, 0.0])
    while reached < 1.0:
        share = min(1.0, reached + stride)
        trial = _newton(found, grey + share * (goal - grey), weights, basis)
        if trial is None:
            stride /= 2
            if stride < 1e-3:
                raise refused(
                    what,
                    f"no reflectance between 0 and 1 has X, Y, Z {_listed(goal)}; too bright, or too saturated for its lightness",
                )
        else:
            reached, found = share, trial
    return _sigmoid(basis.T @ found)


def lab_directions(reflectance: Floats, illuminant: Floats, observer: Floats) -> Floats:
    """(3, N): spectra that, added once to `reflectance` (N,), change L*, a*, b* by 1 each, to the first order.

    A specimen that differs by (dL, da, db) is reflectance + dL d[0] + da d[1] + db d[2], so the signals of thousands of
    specimens are sums of four band signals and no spectra. The spectra lie in the family of the recovery (its slope and bend), so
    that a spread of colour is a smooth change of spectrum. Clipped nowhere: small changes of a reflectance away from 0 and 1.
    Raises `UsageError` for a reflectance that is black or white throughout.
    """
    weights = weighting(illuminant, observer)
    room = reflectance * (1.0 - reflectance)
    if not room.max() > 1e-6:
        raise refused("reflectance", "black or white throughout: its colour cannot spread both ways")
    changes = _basis(weights.shape[1]) * room  # (3, N): small steps of p change a reflectance in proportion to its room
    white = weights.sum(axis=1)
    ratio = weights @ reflectance / white
    slope = np.where(ratio > 216 / 24389, np.cbrt(ratio) / (3 * np.maximum(ratio, 1e-12)), 841 / 108)
    fx, fy, fz = (weights @ changes.T) / white[:, None] * slope[:, None]  # each (3,), for the three changes
    moves = np.stack([116 * fy, 500 * (fx - fy), 200 * (fy - fz)])
    return np.asarray(np.linalg.solve(moves, np.eye(3)).T @ changes)


def _newton(start: Floats, goal: Floats, weights: Floats, basis: Floats) -> Floats | None:
    """Coefficients that give `goal`, or None if damped Newton steps do not get there."""
    found = start
    residual = weights @ _sigmoid(basis.T @ found) - goal
    for _ in range(_STEPS):
        if np.abs(residual).max() < _CLOSE:
            return found
        p = basis.T @ found
        jacobian = (weights * (0.5 * (1.0 + p * p) ** -1.5)) @ basis.T
        try:
            step = np.linalg.solve(jacobian, residual)
        except np.linalg.LinAlgError:
            return None
        damping = 1.0
        while damping > 1e-4:
            trial = found - damping * step
            after = weights @ _sigmoid(basis.T @ trial) - goal
            if np.isfinite(after).all() and np.linalg.norm(after) < np.linalg.norm(residual):
                break
            damping /= 2
        else:
            return None
        found, residual = trial, after
    return None


def _basis(points: int) -> Floats:
    """1, x, x^2 with x from -1 to 1 over the grid, made orthogonal (Legendre) for well-conditioned steps."""
    x = np.linspace(-1.0, 1.0, points)
    return np.stack([np.ones(points), x, (3.0 * x * x - 1.0) / 2.0])


def _sigmoid(p: Floats) -> Floats:
    return np.asarray(0.5 + p / (2.0 * np.sqrt(1.0 + p * p)))


def _inverse(share: float) -> float:
    """The p at which the sigmoid is `share`."""
    t = 2.0 * share - 1.0
    return t / float(np.sqrt(1.0 - t * t))


def _listed(xyz: Floats) -> str:
    return ", ".join(f"{value:.4g}" for value in xyz)
