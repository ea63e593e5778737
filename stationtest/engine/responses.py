"""From the comparators' intervals and the recorded signals to what every channel did in every presentation, and to its
signals."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stationtest.engine.growing import Growing
from stationtest.engine.sensor_stream import SensorStream
from stationtest.model.observations import GAP, NEVER, Responses, Signal
from stationtest.model.station import Channel, Station
from stationtest.signals import attribution, intervals, ternary
from stationtest.signals.attribution import Attributed
from stationtest.signals.critical import Chain
from stationtest.signals.travel import Delay

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]


ANSWERS = ("fired", "silent", "perhaps", "held_over_ns", "first_on_ns", "on_ns", "longest_ns", "pulses_min", "pulses_max")


CAUSED = ("fired", "first_on_ns", "on_ns", "held_over_ns")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """The presentations (all sensors) as far as responses need them, each (P,); `spans` (n, 2) is where readings are known."""

    sensor: Ints
    start_ns: Ints
    end_ns: Ints
    between: Bools
    touches_before: Bools
    status: Ints
    spans: Ints


def gathered(ended: dict[str, Growing], rows: Ints, count: int) -> dict[str, NDArray[Any]]:
    """The figures of one sensor's presentations, laid into columns for all `count` presentations; `rows` gives the row of each
    streaming id.

    (count,) or (C, count) arrays by name; NaN, NEVER, 0 or False where a presentation has no readings. `ended` is empty
    afterwards: the figures of a long recording should not be held twice.
    """
    placed = rows[ended["which"].values]
    in_place = len(placed) == count and bool((placed == np.arange(count)).all())
    columns: dict[str, NDArray[Any]] = {}
    for name in list(ended):
        found = ended.pop(name).values
        if in_place:
            columns[name] = found
            continue
        fill = {"f": np.nan, "i": NEVER if name.endswith(("_ns", "from")) else 0, "b": False}[found.dtype.kind]
        columns[name] = np.full((*found.shape[:-1], count), fill, found.dtype)
        columns[name][..., placed] = found
    return columns


class ResponseTable:
    """Builds `Responses` channel by channel."""

    def __init__(self, station: Station, stretch: Stretch) -> None:
        self.station, self.stretch = station, stretch
        count, channels = len(stretch.start_ns), len(station.channels)
        self.columns: dict[str, NDArray[Any]] = {}
        for name in ("applies", "known", "fired", "silent", "perhaps", "rested_clipped", "rested_dark"):
            self.columns[name] = np.zeros((count, channels), bool)
        for name in ("held_over_ns", "on_ns", "longest_ns", "pulses_min", "pulses_max"):
            self.columns[name] = np.zeros((count, channels), np.int64)
        self.columns["held_from"] = np.full((count, channels), -1, np.int64)
        for name in ("first_on_ns", "at_ns"):
            self.columns[name] = np.full((count, channels), NEVER, np.int64)
        for name in ("closeness_max", "critical_any", "critical_sure"):
            self.columns[name] = np.full((count, channels), np.nan)
        self.basis = ["computed"] * channels
        self.signals: dict[tuple[str, str], Signal] = {}
        self._states: dict[str, ternary.Ternary] = {}  # of the channels, beyond the ends of the recording too
        self.outside: list[tuple[int, int, int]] = []
        self.enabled: Mapping[str, Ints] = {}  # by channel: when the logic may not be ignoring it

    def computed(self, stream: SensorStream, sensor: int, figures: Mapping[str, NDArray[Any]]) -> None:
        """The channels of one sensor, from its readings; `figures` as `gathered` gives them, empty where there are none."""
        stretch = self.stretch
        mine = np.flatnonzero(stretch.sensor == sensor)
        start, end, between = stretch.start_ns[mine], stretch.end_ns[mine], stretch.between[mine]
        for number, channel in enumerate(stream.channels):
            column = self._number(channel)
            matches, unknown = stream.comparators[number].intervals(), stream.comparators[number].unknown_intervals()
            self._keep("match", channel.name, ternary.Ternary(matches, intervals.union(matches, unknown)), "computed")
            must, can = timed_input(channel, matches, unknown, stretch.spans)
            chain = stream.chains[number]
            own_from = figures["own_from"][number, mine] if figures else np.full(len(mine), NEVER)
            first_row = figures["first_row_ns"][mine] if figures else start
            found = attribution.by_cause(
                must, start, end, between, own_from, first_row, chain, channel.pulse_ns, edge=channel.by_edge
            )
            out = channel_output(channel, must, can, chain)
            self._keep("channel", channel.name, out, "computed")
            doubt = intervals.subtract(out.can, out.must)
            known = intervals.overlap(doubt, start, end) == 0
            if len(stretch.spans) > 1 or len(unknown):  # the output may be known where it is not known what switched it on
                most = attribution.by_cause(
                    can, start, end, between, own_from, first_row, chain, channel.pulse_ns, edge=channel.by_edge
                )
                known &= np.all([getattr(found, name) == getattr(most, name) for name in CAUSED], axis=0)
            self._put(column, mine, found, known)
            if figures:
                self._criticals(column, mine, figures, number, channel, found)
            for begin, until in attribution.began_outside(must, start, end, own_from, chain).tolist():
                self.outside.append((column, begin, until))

    def recorded(
        self, channel: Channel, out: Ints, window: tuple[Delay, Delay], basis: str = "recorded", unknown: Ints | None = None,
        can: Ints | None = None,
    ) -> None:  # fmt: skip
        """A channel whose output was recorded: it is judged by that; the computed one stays beside it under its own kind.

        `unknown` (n, 2) is where its log does not say what it was; None if it is known wherever readings are. `can` (m, 2) is
        where it may have been seen to be on, if that is more than `out`: what only that holds is a perhaps.
        """
        stretch, column = self.stretch, self._number(channel)
        if (enabled := self.enabled.get(channel.name)) is not None:
            out, can = intervals.intersect(out, enabled), None if can is None else intervals.intersect(can, enabled)
        mine = np.flatnonzero(stretch.sensor == self.station.sensor_number(channel.sensor))
        opens, closes = attribution.windows(stretch.start_ns[mine], stretch.end_ns[mine], window)
        found = self._windowed(channel, out, mine, window)
        if can is None:
            can = out
        else:
            found = attribution.between(found, self._windowed(channel, can, mine, window))
        if ("channel", channel.name) in self.signals:
            self.signals["computed channel", channel.name] = self.signals["channel", channel.name]
        state = ternary.Ternary(out, intervals.union(can, intervals.complement(stretch.spans) if unknown is None else unknown))
        known = ~found.ambiguous
        if unknown is None and len(stretch.spans) > 1:  # what is on behind a gap need not have come on there
            gaps = np.stack([stretch.spans[:-1, 1], stretch.spans[1:, 0]], axis=1)
            known &= intervals.overlap(gaps, opens - 1, closes) == 0
            rose = self._windowed(channel, out[~np.isin(out[:, 0], gaps[:, 1])], mine, window)
            found.silent |= rose.silent & stretch.between[mine]
        if unknown is not None:  # what is on from the end of such a stretch need not have come on there
            known &= intervals.overlap(unknown, opens - 1, closes) == 0
        self._keep("channel", channel.name, state, basis, unknown)
        self._put(column, mine, found, known)
        self.basis[column] = basis
        self.outside = [row for row in self.outside if row[0] != column]
        if len(can):
            windows = np.stack([opens, closes], axis=1)
            for begin, until in intervals.subtract(can, intervals.merge(windows)).tolist():
                self.outside.append((column, begin, until))

    def unsure(self, channel: Channel, where: Ints | None) -> None:
        """Presentations that touch `where` (n, 2) do not tell what the channel did."""
        if where is not None and len(where):
            touched = intervals.overlap(where, self.stretch.start_ns, self.stretch.end_ns) > 0
            self.columns["known"][touched, self._number(channel)] = False

    def _windowed(self, channel: Channel, out: Ints, mine: Ints, window: tuple[Delay, Delay]) -> Attributed:
        stretch = self.stretch
        return attribution.by_window(
            out, stretch.start_ns[mine], stretch.end_ns[mine], stretch.between[mine], stretch.touches_before[mine], window,
            edge=channel.by_edge,
        )  # fmt: skip

    def finish(self) -> Responses:
        return Responses(
            channels=tuple(channel.name for channel in self.station.channels), basis=tuple(self.basis), **self.columns  # type: ignore[arg-type]
        )  # fmt: skip

    def as_seen(self) -> dict[str, ternary.Ternary]:
        """Every channel as the controller sees it: computed ones through its scan, recorded ones as they are."""
        seen_ns = self.station.scan.seen_ns
        return {
            name: ternary.seen(state, seen_ns) if self.signals["channel", name].basis == "computed" else state
            for name, state in self._states.items()
        }

    def as_if_known(self, on: bool) -> dict[str, ternary.Ternary]:
        """The same as if what is not known had been on, or off: what is perhaps either way is so for its shortness alone. On-time
        and off-time that is cut by it is not short."""
        seen_ns, found = self.station.scan.seen_ns, {}
        for name, state in self._states.items():
            doubt = intervals.subtract(state.can, state.must)
            plain = ternary.known(state.can if on else state.must)
            seen = ternary.seen(plain, seen_ns if self.signals["channel", name].basis == "computed" else 0)
            cut_on, cut_off = (_beside(runs, doubt) for runs in (state.must, intervals.complement(state.can)))
            can = intervals.subtract(seen.can, cut_off)
            found[name] = ternary.Ternary(intervals.union(intervals.intersect(seen.must, can), cut_on), can)
        return found

    def _keep(self, kind: str, name: str, state: ternary.Ternary, basis: str, unknown: Ints | None = None) -> None:
        """A signal as it goes into the observations: within the recording."""
        spans = self.stretch.spans
        inside = ternary.bounded(state, (int(spans[0, 0]), int(spans[-1, 1])))
        self.signals[kind, name] = Signal(name=name, kind=kind, basis=basis, must=inside.must, can=inside.can, unknown=unknown)
        if kind == "channel":
            self._states[name] = state

    def _number(self, channel: Channel) -> int:
        return [c.name for c in self.station.channels].index(channel.name)

    def _put(self, column: int, mine: Ints, found: Attributed, known: Bools) -> None:
        columns = self.columns
        columns["applies"][mine, column] = True
        columns["known"][mine, column] = known
        for name in (
            "fired",
            "silent",
            "perhaps",
            "held_over_ns",
            "first_on_ns",
            "on_ns",
            "longest_ns",
            "pulses_min",
            "pulses_max",
        ):
            columns[name][mine, column] = getattr(found, name)
        columns["held_from"][mine, column] = np.where(found.held_from >= 0, mine[found.held_from] if len(mine) else -1, -1)

    def _criticals(
        self, column: int, mine: Ints, figures: Mapping[str, NDArray[Any]], number: int, channel: Channel, found: Attributed
    ) -> None:
        columns = self.columns
        nearest = figures["nearest"][number, mine]
        columns["closeness_max"][mine, column] = 1 - nearest / channel.tolerance
        # what is on at the start whatever the presentation's own readings were: no tolerance of it changes that
        given = found.held & ~self.stretch.between[mine]
        at_all = np.where(given, 0.0 if channel.on_match else np.inf, figures["critical_any"][number, mine])
        sure = figures["critical_sure"][number, mine].copy()
        if channel.by_edge:  # no tolerance alone says whether it rises
            sure[found.no_margin] = np.nan
        unasked = self.stretch.status[mine] & GAP != 0
        if channel.pulse_ns is not None:  # A1: with a wider tolerance a pulse may begin earlier, in another presentation
            unasked[:] = True
        at_all[unasked], sure[unasked] = np.nan, np.nan
        columns["critical_any"][mine, column], columns["critical_sure"][mine, column] = at_all, sure
        for name in ("at_ns", "rested_clipped", "rested_dark"):
            columns[name][mine, column] = figures[name][number, mine]


def _beside(runs: Ints, doubt: Ints) -> Ints:
    """Those of the runs (n, 2) that begin where a doubt ends, or end where one begins."""
    return runs[np.isin(runs[:, 0], doubt[:, 1]) | np.isin(runs[:, 1], doubt[:, 0])]


def timed_input(channel: Channel, matches: Ints, unknown: Ints, spans: Ints) -> tuple[Ints, Ints]:
    """What the timers of a channel see, (must, can): the match, or its opposite with `off match`. Where there are no readings
    it can be on and need not be."""
    dark_side = intervals.complement(spans)
    can = intervals.union(matches, unknown)
    if not channel.on_match:
        matches, can = intervals.subtract(spans, can), intervals.subtract(spans, matches)
    return matches, intervals.union(can, dark_side)


def channel_output(channel: Channel, must: Ints, can: Ints, chain: Chain) -> ternary.Ternary:
    """The channel's output behind its timers, three-valued."""
    state = ternary.on_delay(ternary.Ternary(must, can), chain.on_delay_ns)
    state = ternary.off_delay(state, chain.off_delay_ns)
    return state if channel.pulse_ns is None else ternary.pulse(state, channel.pulse_ns)
