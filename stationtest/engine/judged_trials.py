"""The judged trials of a case: of one stratum in one recording, and of one stratum over all recordings, in order of time.

Where specimens are the trials, the presentations of each are gathered into one: its first `presented` ones decide, any
nonconforming one among all of them counts, and fewer than that many leave it not judged (A20).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from stationtest.engine.selecting import Selected
from stationtest.expectations import timeline
from stationtest.expectations.trials import Trials
from stationtest.expectations.wording import seconds
from stationtest.model.case import Evidence, Expected
from stationtest.model.judged import CONFORMING, NONCONFORMING, NOT_JUDGED, Judged
from stationtest.model.observations import INVALID, STATUS_WORDS
from stationtest.model.record import ExpectationWorst, LeftOut, Worst

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Outcomes = NDArray[np.int8]

UNITS = {
    "presentation": "presentations", "neighbouring pair": "neighbouring pairs", "set": "sets", "item": "items", "run": "runs"
}  # fmt: skip
MISSING = "listed, but not in the readings: not judged"


@dataclass(frozen=True, slots=True)
class Batch:
    """Trials of one stratum in one recording: `outcome` (n,) over all expectations, and each expectation by itself."""

    path: str
    trials: Trials
    selected: Selected
    outcome: Outcomes
    judged: tuple[tuple[Expected, Judged], ...]

    def label(self, i: int) -> str:
        """`mint, specimen 14` or `full box 12`."""
        obs, unit = self.trials.obs, self.trials.unit
        if unit == "run":
            return self.path
        row = int(self.trials.index[i])
        label = timeline.label(self.trials.view, unit, row)
        if unit not in ("presentation", "neighbouring pair"):
            return label
        shown = obs.presentations
        specimen = int(shown.specimen[row])
        named = f", specimen {shown.specimens[specimen]}" if specimen >= 0 else ""
        sensor = f", sensor {shown.sensors[shown.sensor[row]]}" if len(shown.sensors) > 1 else ""
        return f"{label}{named}{sensor}"

    def decided(self, i: int) -> Judged | None:
        """The expectation that decided the outcome of trial i; None if its status did, or nothing needed deciding."""
        for wanted in (NONCONFORMING, NOT_JUDGED):
            for _, judged in self.judged:
                if self.outcome[i] == wanted and judged.outcome[i] == wanted:
                    return judged
        return None

    def why(self, i: int) -> str:
        """In words; a gap or a cut end is named before the unknown states that come of it."""
        if self.outcome[i] == NOT_JUDGED:
            selected = self.selected.status
            status = int(np.bitwise_or.reduce(selected) & INVALID if self.trials.unit == "run" else selected[i])
            if status:
                return "; ".join(words for bit, words in STATUS_WORDS.items() if status & bit)
        judged = self.decided(i)
        return judged.why(i) if judged is not None else "conforms"

    def worst(self, i: int, judged: Judged | None = None) -> Worst:
        """Trial i for the record; by one expectation, or by the one that decided."""
        by = judged or self.decided(i) or (self.judged[0][1] if self.judged else None)
        at = by.at_ns(i) if by is not None else None
        label, value = self.label(i), None
        if by is not None and by.value is not None and np.isfinite(by.value[i]):
            value = float(by.value[i])
        when = seconds(at) if at is not None else ""
        place = f"{label}, at {when}" if when else label
        return {
            "source": self.path,
            "index": int(self.trials.index[i]) if len(self.trials.index) else 0,
            "label": label,
            "at_ns": int(at) if at is not None else None,
            "at": when,
            "channel": by.channel(i) if by is not None else "",
            "value": value,
            "unit": by.unit if by is not None else "",
            "text": f"{place}: {judged.why(i) if judged is not None else self.why(i)}",
        }


class Stratum:
    """Trials of which evidence is asked by itself: presentations, sets, runs, or specimens. `outcome` (n,) is in order of
    time; each entry has a batch and a place in it."""

    def __init__(self, label: str, batches: list[Batch], evidence: Evidence, unit: str) -> None:
        self.batches = batches
        self.evidence = evidence
        self.unit = unit
        self.by_specimen = evidence.of == "specimens" and evidence.presented is not None and unit == "presentation"
        self.units = "specimens" if self.by_specimen else UNITS[unit]
        self.label = self._mix(label) if evidence.pooled and unit == "presentation" else label
        alone = len(batches) == 1
        self._all: Outcomes = batches[0].outcome if alone else np.concatenate([batch.outcome for batch in batches])
        self.outcome: Outcomes = self._all
        if self.by_specimen:
            self.outcome = np.array([outcome for outcome, _, _ in self._gathered], dtype=np.int8)
        counts: list[int] = np.bincount(self.outcome, minlength=3).tolist()
        self.conforming, self.nonconforming, self.not_judged = counts
        self.specimens = None if unit != "presentation" else batches[0].selected.shown if alone else self._specimens()

    def _mix(self, label: str) -> str:
        """What is presented; of a pool of targets, the mix that it was (A2)."""
        mix: dict[str, int] = {}
        for batch in self.batches:
            shown = batch.trials.obs.presentations
            for code in shown.target[batch.trials.index].tolist():
                mix[shown.targets[code]] = mix.get(shown.targets[code], 0) + 1
        return f"a mix of {' and '.join(f'{n} {target}' for target, n in mix.items())}" if mix else label

    @cached_property
    def _gathered(self) -> list[tuple[int, int, str]]:
        """For each specimen: its outcome, the presentation that decided (an index of `_all`), and why it is not judged."""
        of: dict[str, list[int]] = {}
        begin = 0
        for batch in self.batches:
            shown = batch.trials.obs.presentations
            for i, code in enumerate(shown.specimen[batch.trials.index].tolist()):
                if code >= 0:
                    of.setdefault(shown.specimens[code], []).append(begin + i)
            begin += len(batch.outcome)
        need, found = self.evidence.presented or 1, []
        for places in of.values():
            outcomes = self._all[places]
            wrong, open_ = outcomes == NONCONFORMING, outcomes[:need] == NOT_JUDGED
            if wrong.any():
                found.append((NONCONFORMING, places[int(wrong.argmax())], ""))
            elif len(places) < need:
                found.append((NOT_JUDGED, places[0], f"it was presented {len(places)} of {need} times"))
            elif open_.any():
                found.append((NOT_JUDGED, places[int(open_.argmax())], ""))
            else:
                found.append((CONFORMING, places[0], ""))
        return found

    def _specimens(self) -> dict[str, int]:
        """How often each named specimen was presented."""
        total: dict[str, int] = {}
        for batch in self.batches:
            for name, n in batch.selected.shown.items():
                total[name] = total.get(name, 0) + n
        return total

    @property
    def missing(self) -> int:
        return 0 if self.by_specimen else sum(batch.selected.missing for batch in self.batches)

    @property
    def only(self) -> str | None:
        """A reason why these trials can show nothing even if all conform."""
        for batch in self.batches:
            for _, judged in batch.judged:
                if judged.at_most_not_shown is not None:
                    return judged.at_most_not_shown
        kinds = [judged.kinds for batch in self.batches for _, judged in batch.judged if judged.kinds is not None]
        missing = sorted({"complete", "incomplete"}.difference(*kinds)) if kinds else []
        return f"no {missing[0]} set came in these readings, so nobody saw the output tell the two apart" if missing else None

    def _find(self, trial: int) -> tuple[Batch, int]:
        place = self._gathered[trial][1] if self.by_specimen else trial
        for batch in self.batches:
            if place < len(batch.outcome):
                return batch, place
            place -= len(batch.outcome)
        raise IndexError(trial)

    def worst(self, trial: int) -> Worst:
        batch, i = self._find(trial)
        return batch.worst(i)

    def reason(self, trial: int) -> str:
        """The whole sentence about a trial."""
        batch, i = self._find(trial)
        own = self._gathered[trial][2] if self.by_specimen else ""
        return f"{batch.label(i)}: {own}" if own else batch.worst(i)["text"]

    def duration_ns(self) -> int:
        """How long was watched: the time of the trials that were judged; of several sensors, that of the one that saw least."""
        total: dict[str, int] = {}
        for batch in self.batches:
            shown, index = batch.trials.obs.presentations, batch.trials.index
            lasted = (shown.end_ns[index] - shown.start_ns[index]) * (batch.outcome != NOT_JUDGED)
            for code in np.unique(shown.sensor[index]).tolist():
                name = shown.sensors[code]
                total[name] = total.get(name, 0) + int(lasted[shown.sensor[index] == code].sum())
        return min(total.values(), default=0)

    def left_out(self) -> list[tuple[str, int]]:
        """What was presented and is no trial, or was listed and never came."""
        found = [pair for batch in self.batches for pair in batch.selected.left_out]
        found += [(MISSING, batch.selected.missing) for batch in self.batches if batch.selected.missing]
        if self.by_specimen:
            nameless = sum(len(batch.outcome) - sum(batch.selected.shown.values()) for batch in self.batches)
            found += [("no specimen is named", nameless)] if nameless else []
        return found


def left_out_entries(pairs: list[tuple[str, int]]) -> list[LeftOut]:
    """Counts by reason, in order of first mention."""
    total: dict[str, int] = {}
    for why, n in pairs:
        total[why] = total.get(why, 0) + n
    return [{"why": why, "n": n} for why, n in total.items()]


def worst_of(name: str, k: int, batches: list[Batch]) -> ExpectationWorst:
    """One expectation over all trials of a case: how many came out wrong or open, and the one with the worst value."""
    wrong = open_ = 0
    worst: tuple[float, Batch, int] | None = None
    for batch in batches:
        if not batch.judged:
            continue
        judged = batch.judged[k][1]
        _, n_bad, n_open = np.bincount(judged.outcome, minlength=3).tolist()
        wrong, open_ = wrong + n_bad, open_ + n_open
        if judged.value is not None and judged.good:
            room = judged.value if judged.good == "high" else -judged.value
            room = np.where(np.isfinite(room), room, np.inf)
            at = int(room.argmin())
            key = float(room[at])
        elif n_bad:
            at, key = int((judged.outcome == NONCONFORMING).argmax()), -np.inf
        else:
            continue
        if (worst is None or key < worst[0]) and key != np.inf:
            worst = key, batch, at
    entry = worst[1].worst(worst[2], worst[1].judged[k][1]) if worst is not None else None
    return {"name": name, "nonconforming": wrong, "not_judged": open_, "worst": entry}
