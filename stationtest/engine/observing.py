"""Observing: a recording in, its observations out. Each recording is observed once, in one pass, and every case is judged on
that."""

from __future__ import annotations

from stationtest.engine import learning
from stationtest.engine.facts import way_is_there
from stationtest.engine.observer import Observer, Progress
from stationtest.model.case import Suite
from stationtest.model.observations import SourceObservations
from stationtest.model.parts import Parts
from stationtest.sources.opening import open_recording


def observe(suite: Suite, key: str, parts: Parts, *, progress: Progress | None = None) -> SourceObservations:
    """Observe the recording at `key` (a path relative to the station folder).

    `progress(rows done, rows in all or None)` is called now and then. Raises `ReadingsError` where the recording is refused.
    """
    recording = open_recording(suite, key, parts.formats)
    way_is_there(recording)
    taught = learning.learn(suite, parts, recording.sensors)
    if recording.form.rows == "trials":
        from stationtest.engine.hand_trials import observe_trials

        return observe_trials(suite, recording, parts, taught)
    if recording.worlds:
        from stationtest.engine.placing import observe_placed  # what a plain recording needs is loaded alone

        return observe_placed(suite, recording, parts, taught, progress)
    return Observer(suite, recording, parts, taught).run(progress)
