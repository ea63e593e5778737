"""One pass over one recording: its readings streamed, then its observations.

Readings stream through in batches on a fixed grid, read ahead in a second thread. (A third one for the distances was tried:
what it gained was lost again in waiting for the interpreter.) After the last batch everything works on the ends of intervals.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from stationtest.engine import enabling, learning
from stationtest.engine.coded_channels import take_out
from stationtest.engine.facts import facts_of
from stationtest.engine.learning_at_edges import distances_of, learn_at_edges
from stationtest.engine.presented import presented
from stationtest.engine.responses import ResponseTable, Stretch, gathered
from stationtest.engine.sensing import Sensing
from stationtest.engine.sensor_stream import Cut, Here, SensorStream
from stationtest.engine.sets import Members, assemble, without_silent_edges
from stationtest.engine.station_signals import Recorded, station_signals
from stationtest.errors import readings_error
from stationtest.model.case import Suite
from stationtest.model.observations import (
    CUT_START,
    TAUGHT,
    Clock,
    SourceObservations,
)  # fmt: skip
from stationtest.model.parts import Parts
from stationtest.model.station import Station
from stationtest.model.travel import Belt
from stationtest.signals import intervals
from stationtest.signals.batch import Batch
from stationtest.signals.belt_points import BeltPoints
from stationtest.signals.channel_distances import ChannelDistances
from stationtest.signals.comparator import Comparator
from stationtest.signals.distances import known_of
from stationtest.signals.presentations import PresentationTable, Ranges, builder_for
from stationtest.signals.screen import Screen
from stationtest.signals.travel import on_belt, standing
from stationtest.sources.events import read_events
from stationtest.sources.readings import Readings

if TYPE_CHECKING:
    from stationtest.sources.worlds import World

Ints = NDArray[np.int64]
Progress = Callable[[int, int | None], None]


class Observer:
    """One pass over one recording; in a `world` its presentations lie otherwise than listed."""

    def __init__(
        self, suite: Suite, recording: Readings, parts: Parts, taught: learning.Taught, world: World | None = None
    ) -> None:  # fmt: skip
        self.suite, self.station, self.recording, self.taught = suite, suite.station, recording, taught
        self.facts = facts_of(self.station, recording, world)
        listed = recording.listed(world)
        self.expected = None if listed is None else len(listed) if listed.expected is None else listed.expected
        self.list_notes = () if listed is None else listed.notes
        self.events = read_events(recording)
        self.builder = builder_for(self.facts, listed)
        self.relearned = learn_at_edges(self.station, recording, taught)
        ignores = any(channel.enabled_while for channel in self.station.channels)
        self.logged = recording.logged(world) if ignores else {}
        self.streams: dict[str, SensorStream] = {}
        for name in recording.sensors:
            sensor, channels = self.station.sensor(name), self.station.channels_of(name)
            distances = distances_of(sensor, channels, taught, self.relearned, known_of(parts.distances))
            screened = self.station.between is None and len(sensor.bands) == 3  # its table has one axis a band
            screen = Screen.of(channels, distances) if screened and isinstance(distances, ChannelDistances) else None
            self.streams[name] = SensorStream(
                Sensing(sensor, channels, distances, screen, self.station.groups_of(name)),
                seen_ns=self.station.scan.seen_ns, every_ns=self.facts.every_ns, gap_ns=self.facts.gap_ns,
            )  # fmt: skip
        self.digital: dict[tuple[str, str], Comparator] = {}
        self.belt = None if recording.travel is None else BeltPoints(recording.travel)
        self.pulses = None if recording.travel is None else ("input", recording.travel.input)  # counted, not kept
        self.gaps: list[tuple[int, int]] = []
        self.last_ns: int | None = None
        self.first_ns = 0
        self.rows = 0
        self.steps: Counter[int] = Counter()
        self.way: Belt | None = None
        self.figured: dict[int, dict[str, NDArray[Any]]] = {}

    def run(self, progress: Progress | None) -> SourceObservations:
        self._stream(progress)
        if self.last_ns is None:
            raise readings_error(self.recording.path, 0, "", "the recording has no rows", "empty-recording")
        end_ns = self.last_ns + self.facts.every_ns
        for stream in self.streams.values():
            stream.finish(end_ns)
        for signal in self.digital.values():
            signal.end(end_ns)
        self.table, self.end_ns = self.builder.finish(), end_ns
        del self.builder  # of a long recording it is large
        return self.observations()

    def _stream(self, progress: Progress | None) -> None:
        for batch, ranges in self.builder.walk(self.recording.batches()):
            self._fold(batch, ranges)
            if progress:
                progress(self.rows, self.recording.rows_hint)

    def _fold(self, batch: Batch, ranges: Ranges) -> None:
        t, gap_ns = batch.t_ns, self.facts.gap_ns
        assert t is not None
        if self.last_ns is None:
            self.first_ns = int(t[0])
            for stream in self.streams.values():
                stream.start(self.first_ns, self.builder.times)
            for key in batch.digital:
                if key != self.pulses:
                    self.digital[key] = Comparator(known=True)
        steps = np.diff(t, prepend=t[0] if self.last_ns is None else self.last_ns)
        counted = steps[1:] if self.last_ns is None else steps
        odd = counted[counted != self.facts.every_ns]
        if len(odd) < len(counted):
            self.steps[self.facts.every_ns] += len(counted) - len(odd)
        for step, number in zip(*np.unique(odd, return_counts=True), strict=True):
            self.steps[int(step)] += int(number)
        breaks = np.flatnonzero(steps > gap_ns).tolist()
        gap_ends = [int(t[row] - steps[row]) + gap_ns for row in breaks]
        self.gaps += [(end, int(t[row])) for row, end in zip(breaks, gap_ends, strict=True)]
        cut = Cut(t, breaks, gap_ends)
        for key, comparator in self.digital.items():
            _digital(comparator, cut, batch.digital[key])
        if self.belt is not None:
            pulses = batch.digital.get(self.pulses) if self.pulses else None  # type: ignore[arg-type]
            self.belt.add(t, batch.position_nm if pulses is None else pulses, breaks, gap_ends)
        for number, name in enumerate(self.facts.sensors):
            if name in self.streams:
                mine = ranges.sensor == number
                here = Here(
                    ranges.i0[mine], ranges.i1[mine], ranges.p0[mine], ranges.p1[mine], ranges.id[mine], ranges.between[mine]
                )
                stream = self.streams[name]
                sensed = stream.sensing.sense(batch.bands[name], here.begin, here.end, t)
                stream.fold(cut, here, enabling.ignoring(sensed, stream.channels, batch, self.logged))
        self.last_ns = int(t[-1])
        self.rows += len(batch)

    # after the last batch ------------------------------------------------------------------------------------------------------

    def observations(self, world: World | None = None) -> SourceObservations:
        """After `run`: the observations with the signals of logs as they lie in a world, or as logged."""
        station, form, table, end_ns = self.station, self.recording.form, self.table, self.end_ns
        span = (self.first_ns, end_ns)
        gaps = np.array(self.gaps, np.int64).reshape(-1, 2)
        spans = intervals.subtract(np.array([span], np.int64), gaps)
        sensor = np.array([station.sensor_number(name) for name in table.sensors])[table.sensor]
        status = table.status.copy()
        learned_here = self.taught.stretches.get(self.recording.path)
        if learned_here is not None:
            status[intervals.overlap(learned_here, table.start_ns, table.end_ns) > 0] |= TAUGHT
        if self.relearned is not None:
            for number, eye in enumerate(station.sensors):
                windows = self.relearned.windows(station, eye.name)
                status[(sensor == number) & (intervals.overlap(windows, table.start_ns, table.end_ns) > 0)] |= TAUGHT
        stretch = Stretch(
            sensor=sensor, start_ns=table.start_ns, end_ns=table.end_ns, between=table.between,
            touches_before=table.touches_before, status=status, spans=spans,
        )  # fmt: skip
        responses = ResponseTable(station, stretch)
        where = np.full(int(table.ids.max()) + 1 if len(table.ids) else 0, -1)
        where[table.ids] = np.arange(len(table.ids))
        figures = self.figured
        for name, stream in self.streams.items():
            number = station.sensor_number(name)
            if stream.ended:
                figures[number] = gathered(stream.ended, where, len(table.ids))
            responses.computed(stream, number, figures.get(number, {}))
        belt = self.way = self.way or self._belt(span)
        window = on_belt(form.window_from, belt), on_belt(form.window_after_end, belt)
        recorded = {key: Recorded(signal.intervals(), gaps) for key, signal in self.digital.items()}
        belongs_in = dict.fromkeys(form.recorded_channels, window)
        codes = {form.coded: window} if form.coded else {}
        for key, log in self.recording.logged(world).items():
            if key != self.pulses:
                recorded[key] = Recorded(intervals.clip(log.on, span), intervals.clip(log.unknown, span), own_gaps=True)
                belongs_in[key[1]] = reach = on_belt(log.window[0], belt), on_belt(log.window[1], belt)
                codes |= {log.lines: reach} if log.lines else {}
        responses.enabled = enabling.enabled(station.channels, recorded)
        for channel in station.channels:
            if (one := recorded.get(("channel", channel.name))) is not None:
                responses.recorded(channel, one.on, belongs_in[channel.name], unknown=one.unknown if one.own_gaps else None)
        told = [text for lines, reach in codes.items() for text in take_out(station, lines, recorded, responses, reach, span)]
        for channel in station.channels:
            responses.unsure(channel, enabling.unsure(channel, recorded, span))
        logic = station_signals(station, responses, recorded, span, belt)
        sets, belongs, notes = assemble(
            station,
            Members(
                target=table.target, start_ns=table.start_ns, end_ns=table.end_ns, between=table.between, status=status,
                set_code=table.set,
            ),
            table.tables["set"], table.tables["target"], logic.edges, span,
        )  # fmt: skip
        sets = without_silent_edges(station, sets, logic.signals)
        built = responses.finish()
        status[(table.start_ns < self.first_ns + _warm_up(station)) & ~built.known.all(axis=1, where=built.applies)] |= CUT_START
        basis, signals = "recorded" if "computed" not in built.basis else "computed", logic.signals
        if self.recording.simulated:  # whatever rests on a scene is simulated, inputs included
            basis = "simulated"
            built = replace(built, basis=("simulated",) * len(built.basis))
            signals = {key: replace(signal, basis="simulated") for key, signal in signals.items()}
        return SourceObservations(
            key=self.recording.path,
            kind="scene" if self.recording.kind == "scene" else "stream",
            basis=basis,
            reader=self.recording.reader,
            clock=self._clock(end_ns),
            gaps=gaps,
            presentations=presented(station, table, sensor, status, belongs, figures, self._of_the_belt(table)),
            responses=built,
            sets=sets,
            signals=signals,
            outside=np.array(sorted(responses.outside), np.int64).reshape(-1, 3),
            carried_over=logic.carried_over,
            expected_presentations=self.expected,
            notes=(*self.list_notes, *told, *notes, *self.recording.notes, *(self.relearned.notes if self.relearned else ())),
            settings=self.relearned.settings if self.relearned else (),
            events=self.events,
            truth_by=self.recording.form.known_by,
            composed_of=self.recording.composed_of,
            belt=belt,
        )

    def _belt(self, span: tuple[int, int]) -> Belt | None:
        """How far the belt moved, with the pulses of a log of its own."""
        if self.belt is None:
            return None
        log = self.recording.logged().get(self.pulses) if self.pulses else None  # type: ignore[arg-type]
        if log is not None:
            self.belt.add_pulses(intervals.clip(log.on, span), intervals.clip(log.unknown, span))
        return self.belt.finish(span[1])

    def _of_the_belt(self, table: PresentationTable) -> dict[str, tuple[tuple[str, ...], Ints]]:
        """Presentations during which the belt stood are marked, where the station says what standing is (A12)."""
        travel, belt = self.recording.travel, self.way
        if travel is None or travel.standstill_ns is None or belt is None:
            return {}
        stood = intervals.overlap(standing(belt, travel.step_nm, travel.standstill_ns), table.start_ns, table.end_ns) > 0
        return {"belt": (("running", "stopped"), stood.astype(np.int64))}

    def _clock(self, end_ns: int) -> Clock:
        ordered = sorted(self.steps.items())
        half, passed, median = sum(n for _, n in ordered) / 2, 0, self.facts.every_ns
        for step, number in ordered:
            passed += number
            if passed >= half:
                median = step
                break
        least, most = (ordered[0][0], ordered[-1][0]) if ordered else (median, median)
        return Clock(
            origin=self.recording.origin, zone=self.recording.form.zone, period_ns=(least, median, most),
            every_ns=self.facts.every_ns, rows=self.rows, first_ns=self.first_ns, end_ns=end_ns,
        )  # fmt: skip


def _warm_up(station: Station) -> int:
    """How long after the first row the timers of some channel may still show what was before it."""
    return max((c.on_delay_ns + c.off_delay_ns + (c.pulse_ns or 0) for c in station.channels), default=0)


def _digital(signal: Comparator, cut: Cut, column: NDArray[Any]) -> None:
    """A digital column is a comparator that always knows: its on-intervals, broken where readings are missing."""
    nothing = np.zeros(len(cut.t_ns), bool)
    for index, (low, high) in enumerate(cut.segments()):
        if index:
            signal.end(cut.gap_ends[index - 1])
            signal.begin(int(cut.t_ns[low]))
            signal.known = True
        if low < high:
            signal.add(cut.t_ns[low:high], column[low:high], nothing[low:high])
