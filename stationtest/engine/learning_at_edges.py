"""References that are learned at an edge of an input: one pass over a recording finds what was learned there, and when.

From the edge on the first readings are taken, whatever lies before the sensor, as the sensor itself would: taught on the wrong
target it looks for the wrong colour from then on. If any of them is clipped or dark, or if they are cut short by a gap, by the
end or by the next edge, nothing is learned and what was known before stays (counter-example A16).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from stationtest.engine.learning import Taught, useless
from stationtest.model.station import Channel, Edge, Learned, LearnedAt, Reference, Sensor, Settings, Station
from stationtest.signals import intervals
from stationtest.signals.batch import Batch
from stationtest.signals.channel_distances import ChannelDistances
from stationtest.signals.conversion import SensorModel
from stationtest.signals.dated import DatedDistances
from stationtest.signals.distances import Distance
from stationtest.sources.readings import Readings

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Relearned:
    """`settings` of a recording in order of their instants; `learning`: for each channel the stretches (n, 2) in which readings
    were taken; `means` of what was learned; `notes` on what was not."""

    settings: tuple[Settings, ...]
    learning: dict[str, Ints]
    means: dict[Learned, tuple[float, ...]]
    notes: tuple[str, ...]

    def windows(self, station: Station, sensor: str) -> Ints:
        """The stretches (n, 2) in which some channel of a sensor was learning."""
        mine = [found for name, found in self.learning.items() if station.channel(name).sensor == sensor]
        return intervals.merge(np.concatenate(mine)) if mine else np.empty((0, 2), np.int64)


@dataclass(slots=True)
class _Lesson:
    """One edge for one channel. `why` says why nothing was learned."""

    channel: Channel
    how: LearnedAt
    number: int
    edge_ns: int
    end_ns: int = 0
    taken: int = 0
    bad: int = 0
    total: NDArray[np.float64] | None = None
    why: str | None = "the recording ends before its readings are in"


def learn_at_edges(station: Station, recording: Readings, taught: Taught) -> Relearned | None:
    """What was learned at edges in a recording; None where no channel of its sensors learns so. A pass of its own over the
    readings."""
    learners = [
        (channel, channel.learned_at)
        for channel in station.channels
        if channel.learned_at is not None and channel.sensor in recording.sensors
    ]
    if not learners or recording.form.rows == "trials":
        return None
    lessons = _Pass(station, recording, [(channel, how) for channel, how in learners if how is not None]).run()
    notes = [
        f"channel {one.channel.name}: nothing was learned at {one.edge_ns / 1e9:.3f} s: {one.why}" for one in lessons if one.why
    ]
    names = {how.edge.input for _, how in learners if how is not None}
    notes += [f"input {name} is not in this recording, so nothing was taught" for name in sorted(names - _inputs(recording))]
    means = dict(taught.means)
    learning = {
        channel.name: np.array([(one.edge_ns, one.end_ns) for one in lessons if one.channel is channel], np.int64).reshape(-1, 2)
        for channel, _ in learners
    }
    channels = tuple(_before(channel) for channel in station.channels)
    settings = [Settings(channels=channels)]
    for one in sorted(lessons, key=lambda lesson: (lesson.end_ns, lesson.channel.name)):
        meant = one.how.targets[min(one.number, len(one.how.targets) - 1)]
        new = next(channel for channel in channels if channel.name == one.channel.name)
        if one.why is None and one.total is not None:
            key = Learned(
                recording=recording.path, target=meant, sensor=one.channel.sensor, samples=one.how.samples, at_ns=one.edge_ns
            )  # fmt: skip
            means[key] = tuple((one.total / one.taken).tolist())
            new = replace(new, references=(Reference(name=meant, learned=key),))
        new = replace(new, for_targets=(meant,))
        channels = tuple(new if channel.name == new.name else channel for channel in channels)
        if settings[-1].from_ns == one.end_ns:
            settings.pop()
        settings.append(Settings(from_ns=one.end_ns, channels=channels))
    return Relearned(settings=tuple(settings), learning=learning, means=means, notes=tuple(notes))


def distances_of(
    sensor: Sensor,
    channels: Sequence[Channel],
    taught: Taught,
    relearned: Relearned | None,
    known: Mapping[str, Distance],
) -> ChannelDistances | DatedDistances:
    """From readings of a sensor to the distances of its channels, by what held at each instant."""
    model = SensorModel.from_sensor(sensor)
    if relearned is None or not any(channel.learned_at for channel in channels):
        return ChannelDistances(model, channels, taught.means, known)
    return DatedDistances(model, channels, relearned.settings, relearned.learning, relearned.means, known)


def _before(channel: Channel) -> Channel:
    """A channel before the first edge: with the reference it has then, or with none."""
    how = channel.learned_at
    if how is None:
        return channel
    if how.before is None:
        return replace(channel, references=(), for_targets=how.targets[:1])
    return replace(channel, references=(how.before,), for_targets=(how.before.name,))


def _inputs(recording: Readings) -> set[str]:
    """The inputs that a recording has, in its rows or in logs of their own."""
    named = {name for kind, name in recording.logged() if kind == "input"}
    first = next(iter(recording.batches()), None)
    return named | {name for kind, name in (first.digital if first is not None else ()) if kind == "input"}


@dataclass(slots=True)
class _Pass:
    """One pass: edges of the inputs, and the readings that follow them."""

    station: Station
    recording: Readings
    learners: list[tuple[Channel, LearnedAt]]
    lessons: list[_Lesson] = field(default_factory=list)
    open: dict[str, _Lesson] = field(default_factory=dict)
    counted: dict[str, int] = field(default_factory=dict)
    before: dict[str, bool] = field(default_factory=dict)  # the last known state of an input
    last_ns: int | None = None

    def run(self) -> list[_Lesson]:
        for batch in self.recording.batches():
            self._batch(batch)
        if self.last_ns is not None:
            for lesson in self.open.values():
                lesson.end_ns = self.last_ns + (self.recording.form.every_ns or 1)
        return self.lessons

    def _batch(self, batch: Batch) -> None:
        t = batch.t_ns
        assert t is not None
        gap_ns = self.recording.form.gap_ns or 1
        steps = np.diff(t, prepend=t[0] if self.last_ns is None else self.last_ns)
        gaps = set(np.flatnonzero(steps > gap_ns).tolist())
        edges = {how.edge: self._edges(how.edge, batch, gaps) for _, how in self.learners}
        for channel, how in self.learners:
            marks = sorted([(row, 0) for row in gaps] + [(row, 1) for row in edges[how.edge]])
            at = 0
            for row, is_edge in marks:
                self._take(channel, batch, at, row)
                if channel.name in self.open:
                    held = self.open.pop(channel.name)
                    held.why = "the next edge comes before its readings are in" if is_edge else "there is a gap in its readings"
                    held.end_ns = int(t[row]) if is_edge else int(t[row] - steps[row]) + gap_ns
                if is_edge:
                    number = self.counted.get(channel.name, 0)
                    self.counted[channel.name] = number + 1
                    lesson = _Lesson(channel, how, number, int(t[row]))
                    self.lessons.append(lesson)
                    self.open[channel.name] = lesson
                at = row
            self._take(channel, batch, at, len(batch))
        self.last_ns = int(t[-1])

    def _edges(self, edge: Edge, batch: Batch, gaps: set[int]) -> list[int]:
        """Rows at which an edge is seen. An input that is on in the first row, or after a gap, has had no edge (A25)."""
        assert batch.t_ns is not None
        log = self.recording.logged().get(("input", edge.input))
        if log is not None:
            instants = log.on[:, 1 if edge.falls else 0]
            low, high = np.searchsorted(instants, [batch.t_ns[0], batch.t_ns[-1] + 1])
            rows = np.searchsorted(batch.t_ns, instants[low:high])
            return [row for row in rows.tolist() if row < len(batch)]
        column = batch.digital.get(("input", edge.input))
        if column is None:
            return []
        state = np.asarray(column, bool) != edge.falls
        key = str(edge)
        before = np.append(self.before.get(key, True), state[:-1])
        self.before[key] = bool(state[-1])
        return [row for row in np.flatnonzero(state & ~before).tolist() if row not in gaps]

    def _take(self, channel: Channel, batch: Batch, begin: int, end: int) -> None:
        """Readings for a lesson under way."""
        lesson = self.open.get(channel.name)
        if lesson is None or begin >= end or channel.sensor not in batch.bands or batch.t_ns is None:
            return
        end = min(end, begin + lesson.how.samples - lesson.taken)
        raw = tuple(column[begin:end] for column in batch.bands[channel.sensor])
        model = SensorModel.from_sensor(self.station.sensor(channel.sensor))
        total = np.stack(model.relative(raw)).sum(axis=1)
        lesson.total = total if lesson.total is None else lesson.total + total
        lesson.taken += end - begin
        lesson.bad += useless(model, raw)
        if lesson.taken == lesson.how.samples:
            lesson.end_ns = int(batch.t_ns[end - 1]) + (self.recording.form.every_ns or 1)
            lesson.why = f"{lesson.bad} of its {lesson.taken} readings are clipped or dark" if lesson.bad else None
            del self.open[channel.name]

