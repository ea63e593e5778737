"""One case judged on observations: outcomes of its trials, the verdict of every stratum, the result in built-in types.

A trial conforms if all its expectations hold. A gap, a cut end or an unknown state can only take away 'conforming'; what
was seen to be nonconforming stays so. Reasons are written only for the trials that are printed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, cast

import numpy as np

from stationtest.engine import by_condition, correcting, overlapping
from stationtest.engine import evidence as shown_by
from stationtest.engine.case_entry import planned
from stationtest.engine.judged_trials import Batch, Stratum, left_out_entries, worst_of
from stationtest.engine.selecting import never, select, sets_of_kind
from stationtest.expectations import events
from stationtest.expectations.output_windows import without_decision
from stationtest.expectations.trials import WEAKER, Trials, weakest
from stationtest.expectations.view import View
from stationtest.expectations.wording import seconds
from stationtest.files.case_model import label as present_label
from stationtest.files.words import listed
from stationtest.model import record
from stationtest.model.case import Case, Expected, Present, Suite
from stationtest.model.judged import CONFORMING, NONCONFORMING, NOT_JUDGED, Judged, Verdict
from stationtest.model.parts import ExpectationPart, Parts, resolve
from stationtest.stats.proportions import lower_bound
from stationtest.stats.rates import upper_rate

if TYPE_CHECKING:
    from stationtest.model.observations import SourceObservations
    from stationtest.model.station import Station

SEVERITY = (Verdict.PASS, Verdict.NOT_SHOWN, Verdict.NOT_JUDGED, Verdict.FAIL)
MOST_PRINTED = 20
MOST_SPECIMENS = 200

_recent: list[View] = []
_function = lru_cache(maxsize=256)(resolve)


def judge(suite: Suite, case: Case, observations: Mapping[str, SourceObservations], parts: Parts) -> record.CaseResult:
    """The result of a case, with no figures. `observations` has every recording that the case reads, as observed; corrections
    are laid over them here, and what the case comes to without is said beside it.

    Raises `ReadingsError` where two of the recordings overlap.
    """
    overlapping.refuse(suite, case, observations)
    laid = {path: correcting.laid_over(suite, observations[path]) for path in case.readings}
    result = _judged(suite, case, laid, parts)
    if any(laid[path] is not observations[path] for path in laid):
        other = _judged(suite, case, observations, parts)
        result["without_corrections"] = {
            "verdict": other["verdict"], "found": other["found"], "conforming": other["conforming"],
            "nonconforming": other["nonconforming"], "not_judged": other["not_judged"], "reason": other["reason"],
        }  # fmt: skip
    return result


def _judged(suite: Suite, case: Case, observations: Mapping[str, SourceObservations], parts: Parts) -> record.CaseResult:
    unit = case.unit
    views = [(path, view_of(suite.station, observations[path])) for path in case.readings]
    strata = [
        Stratum(label, [_batch(suite, case, parts, unit, path, view, present) for path, view in views], case.evidence, unit)
        for label, present in case.strata
    ]
    entries = [_entry(case, stratum) for stratum in strata]
    if unit == "set":
        for entry, (_, present) in zip(entries, case.strata, strict=True):
            entry["reason"] += "" if entry["found"] else _other_contents([view for _, view in views], present)
    result = _result(suite, case, parts, unit, strata, entries)
    result["warnings"] = never([view for _, view in views], suite, case)
    return result


def view_of(station: Station, obs: SourceObservations) -> View:
    """The view of a recording; the last few are kept, since many cases read the same recording."""
    for view in _recent:
        if view.obs is obs and view.station is station:
            return view
    _recent.insert(0, View(station, obs))
    del _recent[16:]
    return _recent[0]


def findings(suite: Suite, obs: SourceObservations) -> list[str]:
    """What is worth a reader's eye whether or not a case asks: an output that came on although no decision can have caused
    it (A11)."""
    view = view_of(suite.station, obs)
    found = events.begun_twice(view)
    for output in suite.station.outputs:
        instants = without_decision(view, output.name)
        if instants:
            first = ", ".join(seconds(at) for at in instants[:5])
            more = f" and {len(instants) - 5} more" if len(instants) > 5 else ""
            found.append(f"output {output.name} came on without a decision of its own at {first}{more}")
    return found


# --- trials -------------------------------------------------------------------------------------------------------------------


def _batch(suite: Suite, case: Case, parts: Parts, unit: str, path: str, view: View, present: Present) -> Batch:
    """The trials of one stratum in one recording, judged; where time is in doubt, by what holds wherever its instants lie."""
    batch = _as_placed(suite, case, parts, unit, path, view, present)
    if not view.obs.placements or not len(batch.outcome):
        return batch
    from stationtest.engine import placing

    others = [(p, other, _as_placed(suite, case, parts, unit, path, other, present)) for p, other in placing.views(view)]
    return placing.throughout(batch, unit, others)


def _as_placed(suite: Suite, case: Case, parts: Parts, unit: str, path: str, view: View, present: Present) -> Batch:
    selected = select(view, suite, unit, present, case.where)
    trials = Trials(view, case, unit, selected.index, selected.picked)
    if not len(selected.index):
        return Batch(path, trials, selected, np.zeros(0, dtype=np.int8), ())
    judged = tuple(
        (expected, _judge_one(case, parts.expectations.get(expected.name), expected, trials)) for expected in case.expect
    )
    outcome = judged[0][1].outcome
    for _, other in judged[1:]:
        bad = (outcome == NONCONFORMING) | (other.outcome == NONCONFORMING)
        outcome = np.where(bad, NONCONFORMING, np.maximum(outcome, other.outcome)).astype(np.int8)
    if selected.doubtful is not None:
        outcome = np.where(selected.doubtful & (outcome == CONFORMING), NOT_JUDGED, outcome).astype(np.int8)
    return Batch(path, trials, selected, outcome, judged)


def _judge_one(case: Case, part: ExpectationPart | None, expected: Expected, trials: Trials) -> Judged:
    if part is None:
        return trials.not_judged(f"no plugin is present that brings the expectation {expected.name}")
    if part.needs_times and not trials.view.timed:
        return trials.not_judged("needs times")
    judged = cast(Judged, _function(part.judge)(expected.fields, trials))
    if case.basis is not None and WEAKER.index(judged.basis) > WEAKER.index(case.basis):
        return trials.not_judged(
            f"the case asks for outputs on the basis {case.basis}, and these are {judged.basis}", judged.basis
        )
    return judged


# --- strata -------------------------------------------------------------------------------------------------------------------


def _entry(case: Case, stratum: Stratum) -> record.Stratum:
    asked = case.evidence
    first_open = stratum.reason(int((stratum.outcome == NOT_JUDGED).argmax())) if stratum.not_judged else ""
    specimens = stratum.specimens
    least = min(specimens.values()) if specimens else None
    duration = events = rate = least_bound = None
    confidence = asked.confidence or shown_by.PRINTED_AT
    if asked.duration_ns is not None:
        duration = stratum.duration_ns()
        found = shown_by.watched(asked, stratum, duration, first_open)
        events, rate = found.nonconforming, upper_rate(found.nonconforming, duration, confidence)
    else:
        found = shown_by.counted(asked, stratum, first_open)
        if least and asked.of == "presentations":
            least_bound = lower_bound(least, least, confidence) if not found.nonconforming else None
    return {
        "label": stratum.label,
        "planned": found.planned,
        "found": found.found,
        "conforming": found.conforming,
        "nonconforming": found.nonconforming,
        "not_judged": found.not_judged,
        "specimens": len(specimens) if specimens is not None else None,
        "least_shown": least,
        "lower_bound": found.lower_bound,
        "upper_bound": found.upper_bound,
        "least_shown_bound": least_bound,
        "duration_ns": duration,
        "events": events,
        "rate_bound_per_s": rate,
        "verdict": found.verdict.value,
        "reason": found.reason,
    }


def _other_contents(views: Sequence[View], present: Present) -> str:
    """What sets of the kind that is asked hold where none has the contents that are asked."""
    for view in views:
        sets = view.obs.sets
        rows = np.flatnonzero(sets_of_kind(sets, present.set)).tolist()
        if rows:
            held = [f"{n} {name}" for name, n in zip(sets.targets, sets.counts[rows[0]].tolist(), strict=True) if n]
            return f"; {len(rows)} of this kind came with other contents: the first holds {listed(held) or 'nothing'}"
    return ""


# --- the result ---------------------------------------------------------------------------------------------------------------


def _result(
    suite: Suite, case: Case, parts: Parts, unit: str, strata: list[Stratum], entries: list[record.Stratum]
) -> record.CaseResult:
    verdict = max((Verdict(entry["verdict"]) for entry in entries), key=SEVERITY.index, default=Verdict.NOT_SHOWN)
    batches = [batch for stratum in strata for batch in stratum.batches]
    bases = {judged.basis for batch in batches for _, judged in batch.judged}
    wrong = _nonconforming(_deciding_first(strata, entries) if verdict is Verdict.FAIL else strata)
    specimens = {name for stratum in strata for name in stratum.specimens or ()}
    plans = [entry["planned"] for entry in entries]
    asked = shown_by.asked_words(case.evidence, strata[0].units if strata else "trials")
    said = [words(suite, parts, expected) for expected in case.expect]
    result = planned(case, unit, _statement(case, said), said, asked)
    result["state"], result["attempts"] = "executed", 1
    result["verdict"] = verdict.value
    result["basis"] = weakest(tuple(bases)) if bases else ""
    result["reason"] = _reason(entries, verdict, wrong)
    result["claim"] = _claim(case, strata, entries, verdict)
    result["planned"] = sum(cast("list[int]", plans)) if plans and None not in plans else None
    result["found"] = sum(entry["found"] for entry in entries)
    result["conforming"] = sum(entry["conforming"] for entry in entries)
    result["nonconforming"] = sum(entry["nonconforming"] for entry in entries)
    result["not_judged"] = sum(entry["not_judged"] for entry in entries)
    result["left_out"] = left_out_entries([pair for stratum in strata for pair in stratum.left_out()])
    result["specimens"] = sorted(specimens)[:MOST_SPECIMENS]
    result["strata"] = entries
    result["by_condition"] = by_condition.counted(suite, unit, batches)
    result["not_judged_first"] = next(
        (s.reason(int((s.outcome == NOT_JUDGED).argmax())) for s in strata if s.not_judged), ""
    )
    result["expectations"] = [worst_of(expected.name, k, batches) for k, expected in enumerate(case.expect)]
    result["nonconforming_trials"] = wrong
    return result


def _deciding_first(strata: Sequence[Stratum], entries: Sequence[record.Stratum]) -> list[Stratum]:
    """Those that fail before those that do not: a trial of these is no reason of the verdict."""
    failing = [stratum for stratum, entry in zip(strata, entries, strict=True) if entry["verdict"] == Verdict.FAIL.value]
    return [*failing, *(stratum for stratum in strata if stratum not in failing)]


def _nonconforming(strata: Sequence[Stratum]) -> list[record.Worst]:
    found: list[record.Worst] = []
    for stratum in strata:
        if len(found) < MOST_PRINTED and stratum.nonconforming:
            rows = np.flatnonzero(stratum.outcome == NONCONFORMING)[: MOST_PRINTED - len(found)]
            found += [stratum.worst(row) for row in rows.tolist()]
    return found


def _reason(entries: Sequence[record.Stratum], verdict: Verdict, wrong: Sequence[record.Worst]) -> str:
    """The strata that decided, each with its reason, and the first nonconforming trial."""
    deciding = [entry for entry in entries if entry["verdict"] == verdict.value]
    if not deciding:
        return "nothing was presented"
    several = len(entries) > 1
    told = [f"{entry['label']}: {entry['reason']}" if several else entry["reason"] for entry in deciding[:6]]
    if verdict is Verdict.PASS and several:
        told = [_all_pass(entries)]
    if len(deciding) > 6 and verdict is not Verdict.PASS:
        told.append(f"{len(deciding) - 6} more likewise")
    first = f". First: {wrong[0]['text']}" if verdict is Verdict.FAIL and wrong else ""
    return "; ".join(told) + first


def _all_pass(entries: Sequence[record.Stratum]) -> str:
    lows = [(entry["lower_bound"], entry["label"]) for entry in entries if entry["lower_bound"] is not None]
    least = f"; the least, {min(lows)[1]}: {next(e['reason'] for e in entries if e['label'] == min(lows)[1])}" if lows else ""
    return f"each of {len(entries)} passes by itself{least}"


def _claim(case: Case, strata: Sequence[Stratum], entries: Sequence[record.Stratum], verdict: Verdict) -> str:
    """What the trials show, and for what: these specimens, with their balance and the bound of the least shown one (A20)."""
    asked, told = case.evidence, []
    confidence = asked.confidence or shown_by.PRINTED_AT
    for stratum, entry in zip(strata, entries, strict=True):
        if not entry["found"]:
            continue
        name = f"{entry['label']}: " if len(strata) > 1 or asked.pooled else ""
        specimens = stratum.specimens
        if asked.duration_ns is not None:
            text = shown_by.rate_text(entry["events"] or 0, entry["duration_ns"] or 0, confidence)
        elif asked.runs is not None:
            text = shown_by.runs_text(entry["found"])
        elif asked.of == "specimens" and asked.presented:
            each = f"a specimen presented {asked.presented} times is right all {asked.presented} times"
            text = f"{each}, for {entry['found']} specimens"
        else:
            text = f"{entry['found']} {stratum.units}"
            if specimens:
                most, least = max(specimens.values()), entry["least_shown"]
                balance = f"{least} each" if most == least else f"{least} to {most} each"
                text += f" of these {len(specimens)} specimens, {balance}"
                if entry["least_shown_bound"] is not None:
                    text += f"; for the least shown one by itself at least {shown_by.at_least_text(entry['least_shown_bound'])}"
            elif specimens is not None and asked.of == "presentations":
                text += " of specimens that were not named"
        told.append(name + text)
    conditions = "; ".join(f"{name}: {listed(values, 'or')}" for name, values in case.where)
    for batch in strata[0].batches if strata else ():
        expected = batch.trials.obs.expected_presentations
        if expected is not None:
            there = int((~batch.trials.obs.presentations.between).sum())
            told.append(f"{batch.path}: {expected} presentations listed, {there} found")
    return "; ".join(told) + (f" ({conditions})" if conditions else "")


def _statement(case: Case, said: Sequence[str]) -> str:
    what = present_label(case.present)
    conditions = "; ".join(f"{name}: {listed(values, 'or')}" for name, values in case.where)
    kept = f" ({conditions})" if conditions else ""
    return f"presented: {what}{kept}; expected of each: {'; '.join(said)}"


def words(suite: Suite, parts: Parts, expected: Expected) -> str:
    """What one trial must do, in one sentence."""
    part = parts.expectations.get(expected.name)
    if part is None:
        return expected.name
    text: Callable[..., str] = _function(part.words)
    return text(expected.fields, suite.station)
