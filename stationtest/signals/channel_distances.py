"""The distances of all channels of one sensor, with the conversions they share made once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from stationtest.model.station import Channel, Learned
from stationtest.signals.conversion import SensorModel
from stationtest.signals.distances import BUILT_IN, Compare, Distance, reference_in
from stationtest.signals.elementwise import Columns

Means = Mapping[Learned, tuple[float, ...]]
"""The mean relative reading of each learned reference."""


def references_of(
    channel: Channel, model: SensorModel, learned: Means | None = None, known: Mapping[str, Distance] = BUILT_IN
) -> tuple[tuple[float, ...], ...]:
    """The references of a channel in the space of its distance. Raises KeyError where a learned one is not in `learned`."""
    space = known[channel.distance].space
    found = []
    for reference in channel.references:
        if reference.learned is not None:
            found.append(reference_in(space, (learned or {})[reference.learned], model))
        elif reference.colour is not None:
            found.append(reference_in(space, reference.colour, model))
        else:
            raise KeyError(reference.name)
    return tuple(found)


class ChannelDistances:
    """From relative readings to the distance of each channel. A channel with several references has the least of their distances.

    Use it from one thread at a time or several: it keeps no state between calls.
    """

    def __init__(
        self,
        model: SensorModel,
        channels: Sequence[Channel],
        learned: Means | None = None,
        known: Mapping[str, Distance] = BUILT_IN,
    ) -> None:
        self.model = model
        self.spaces = tuple(known[channel.distance].space for channel in channels)
        self.references = tuple(references_of(channel, model, learned, known) for channel in channels)
        self._compare: tuple[tuple[Compare, ...], ...] = tuple(
            tuple(known[channel.distance].of(reference) for reference in references)
            for channel, references in zip(channels, self.references, strict=True)
        )

    def compute(
        self, relative: Columns, out: NDArray[np.float64] | None = None, rows: Sequence[int] | None = None
    ) -> NDArray[np.float64]:
        """Distances, float64 (C, n), from columns (n,) of relative readings, one a band; `rows` picks channels by number.

        Pass only the readings that matter: each result depends on its own reading alone.
        """
        wanted = range(len(self.spaces)) if rows is None else rows
        size = len(relative[0])
        result = np.empty((len(wanted), size)) if out is None else out
        columns: dict[str, Columns] = {}
        for into, number in zip(result, wanted, strict=True):
            space = self.spaces[number]
            if space not in columns:
                columns[space] = self.model.columns(space, relative)
            first, *others = self._compare[number]
            first(*columns[space], out=into)
            for compare in others:
                np.minimum(into, compare(*columns[space]), out=into)
        return result

