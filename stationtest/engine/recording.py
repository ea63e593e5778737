"""case results and observations → the `result` of a record: counts, coverage both ways, sources, what is not claimed.

Only built-in types leave this module; nothing in them depends on who ran it, when, by which door or in how many pieces.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
from collections.abc import Mapping, Sequence
from typing import Any, Literal, cast

import numpy as np

from stationtest.engine import as_found, claims, correcting, judging, pairs, register
from stationtest.engine.case_entry import not_run, plain
from stationtest.files import canonical
from stationtest.files.words import listed
from stationtest.model.case import Case, Suite
from stationtest.model.observations import OBSERVING, STATUS_WORDS, SourceObservations
from stationtest.model.record import (
    CaseResult,
    ComposedOf,
    Counts,
    Figure,
    Input,
    LeftOut,
    ResultPart,
    Source,
)
from stationtest.version import VERSION

VerdictWord = Literal["pass", "fail", "not shown", "not judged"]

COMPUTING = ("numpy", "scipy", "pyarrow")
"""Packages whose version can change a number of the result."""

MOST_OUTSIDE = 50
MOST_EVENTS = 100
NAMED = 12


def assemble(
    suite: Suite,
    case_results: Sequence[CaseResult] | Mapping[str, CaseResult],
    observations: Mapping[str, SourceObservations],
    *,
    selected: Sequence[str],
    attempts: Mapping[str, int],
    figures: Sequence[Figure],
) -> ResultPart:
    """The whole result. `selected` are the ids that were to be judged, `attempts` how often each was; cases without a result
    stand in the record as 'not run'."""
    given = case_results.values() if isinstance(case_results, Mapping) else case_results
    known = {result["id"]: result for result in given}
    cases = [_case(case, known.get(case.id), attempts.get(case.id, 1)) for case in suite.cases]
    counts = _counts(cases, selected)
    keys = _order(suite, observations)
    views = ((key, judging.view_of(suite.station, observations[key])) for key in keys)
    sources = [source(suite, observations[key]) for key in keys]
    simulated = any(each["kind"] == "scene" or each["basis"] == "simulated" for each in sources)
    settings = plain(suite.station_written)
    because = _partial_because(cases, selected)
    if suite.other_readings:
        because.append(f"The cases were judged on {listed(suite.other_readings)}, not on the readings that they name.")
    return {
        "verdict": overall(cases),
        "simulated": simulated,
        "partial": bool(because),
        "partial_because": because,
        "counts": counts,
        "station": {
            "name": suite.station.name,
            "title": suite.station.title,
            "drawing": suite.station.drawing,
            "settings": settings,
            "settings_sha256": hashlib.sha256(canonical.dumps(settings)).hexdigest(),
        },
        "versions": {
            "stationtest": VERSION,
            "language": suite.station.language,
            "observing": OBSERVING,
            "packages": {name: importlib.metadata.version(name) for name in COMPUTING},
        },
        "inputs": [_input(part) for part in suite.files],
        "sources": sources,
        "requirements": claims.requirements(suite, cases),
        "cases": cases,
        "figures": list(figures),
        "limits": claims.limits(suite, cases, sources),
        "corrections": correcting.written(suite),
        "settings_as_found": as_found.written(suite),
        "cautions": [
            *as_found.cautions(suite),
            *claims.corrected(suite, cases),
            *claims.not_recorded(suite),
            *claims.little_asked(suite),
            *register.cautions(views, suite),
        ],
    }


def overall(cases: Sequence[CaseResult]) -> VerdictWord:
    """The worst verdict: one fail fails the station; not judged is worse than not shown, since nothing at all is known there."""
    verdicts = {case["verdict"] for case in cases if case["state"] == "executed"}
    for word in ("fail", "not judged", "not shown"):
        if word in verdicts:
            return cast(VerdictWord, word)
    return "pass" if verdicts else "not judged"


def _order(suite: Suite, observations: Mapping[str, SourceObservations]) -> list[str]:
    named = [key for key in suite.readings() if key in observations]
    return named + sorted(set(observations) - set(named))


def _input(part: Any) -> Input:
    return {"path": part.path, "role": part.role, "sha256": part.sha256, "bytes": part.bytes}


def _case(case: Case, result: CaseResult | None, attempts: int) -> CaseResult:
    if result is None:
        return not_run(case)
    result["attempts"] = attempts
    return result


def _counts(cases: Sequence[CaseResult], selected: Sequence[str]) -> Counts:
    executed = [case for case in cases if case["state"] == "executed"]

    def of(verdict: str) -> int:
        return sum(case["verdict"] == verdict for case in executed)

    return {
        "planned": len(cases),
        "selected": len(set(selected)),
        "executed": len(executed),
        "repeated": sum(case["attempts"] > 1 for case in executed),
        "passed": of("pass"),
        "failed": of("fail"),
        "not_shown": of("not shown"),
        "not_judged": of("not judged"),
    }


def _partial_because(cases: Sequence[CaseResult], selected: Sequence[str]) -> list[str]:
    chosen = set(selected)
    left = [case["id"] for case in cases if case["id"] not in chosen]
    undone = [case["id"] for case in cases if case["id"] in chosen and case["state"] != "executed"]
    return [_named(ids, words) for ids, words in ((left, "not selected"), (undone, "selected and not executed")) if ids]


def _named(ids: Sequence[str], words: str) -> str:
    more = f" and {len(ids) - NAMED} more" if len(ids) > NAMED else ""
    verb = "was" if len(ids) == 1 else "were"
    return f"{len(ids)} of the planned cases {verb} {words}: {', '.join(ids[:NAMED])}{more}."


def source(suite: Suite, obs: SourceObservations) -> Source:
    """One recording, summed up."""
    view = judging.view_of(suite.station, obs)
    shown, clock = obs.presentations, obs.clock
    timed = obs.kind != "trials"
    statuses: list[LeftOut] = [
        {"why": words, "n": int(np.count_nonzero(shown.status & bit))}
        for bit, words in STATUS_WORDS.items()
        if (shown.status & bit).any()
    ]
    lasting = obs.outside[:, 2] - obs.outside[:, 1] if len(obs.outside) else np.zeros(0, dtype=np.int64)
    return {
        "key": obs.key,
        "kind": cast(Literal["stream", "trials", "scene"], obs.kind),
        "basis": obs.basis,
        "reader": plain(obs.reader),
        "origin": clock.origin,
        "zone": clock.zone,
        "period_ns": [int(value) for value in clock.period_ns] if timed else None,
        "rows": int(clock.rows),
        "first_ns": int(clock.first_ns) if timed else None,
        "end_ns": int(clock.end_ns) if timed else None,
        "gaps": [[int(a), int(b)] for a, b in obs.gaps.tolist()] if timed else [],
        "presentations": int(np.count_nonzero(~shown.between)),
        "expected_presentations": obs.expected_presentations,
        "stretches_between": int(np.count_nonzero(shown.between)),
        "status_counts": statuses,
        "sets": len(obs.sets),
        "observed": pairs.observed(view),
        "outside": [
            {"channel": obs.responses.channels[channel], "start_ns": start, "end_ns": end}
            for channel, start, end in obs.outside[:MOST_OUTSIDE].tolist()
        ],
        "outside_count": len(obs.outside),
        "outside_ns": int(lasting.sum()),
        "carried_over": [{"output": output, "at_ns": int(at)} for output, at in obs.carried_over],
        "notes": [*obs.notes, *judging.findings(suite, obs)],
        "tables": [],
        "truth_by": obs.truth_by,
        "composed_of": cast("ComposedOf | None", plain(obs.composed_of)),
        "events": [{"at_ns": each.at_ns, "event": each.name, "note": each.note} for each in obs.events[:MOST_EVENTS]],
        "events_count": len(obs.events),
    }
