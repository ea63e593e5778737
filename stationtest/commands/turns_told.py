"""Counters that wrap and times of day, in words."""

from __future__ import annotations

from stationtest.files.words import duration_text
from stationtest.model.recording_form import RecordingForm


def starts_again(form: RecordingForm) -> str:
    """Where the times start again, and from which date on."""
    turn = f", which starts again after {duration_text(form.wraps_ns)}" if form.wraps_ns else ""
    return turn + (f" from {form.first_date}" if form.first_date else "")
