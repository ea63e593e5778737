"""Columns that grow at their end, in few large blocks: many small arrays would lie scattered in memory and keep it from being
given back."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

FIRST = 1024


class Growing:
    """An array (..., n) of which more comes along the last axis."""

    def __init__(self, like: NDArray[Any]) -> None:
        self._held = np.empty((*like.shape[:-1], FIRST), like.dtype)
        self._n = 0

    def append(self, more: NDArray[Any]) -> None:
        n = self._n + more.shape[-1]
        if n > self._held.shape[-1]:
            larger = np.empty((*more.shape[:-1], max(n, 2 * self._held.shape[-1])), self._held.dtype)
            larger[..., : self._n] = self.values
            self._held = larger
        self._held[..., self._n : n] = more
        self._n = n

    @property
    def values(self) -> NDArray[Any]:
        """What has come so far (..., n), not copied."""
        return self._held[..., : self._n]
