"""The entry of a case in the record, as far as the files decide it: what is asked, before anything was judged."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal, cast

from stationtest.files.words import listed
from stationtest.model.case import Case
from stationtest.model.record import CaseResult


def planned(case: Case, unit: str, statement: str, words: Sequence[str], asked_words: str) -> CaseResult:
    """A planned case without a verdict. `words` says what each expectation asks of one trial, `asked_words` what evidence is
    asked."""
    evidence = case.evidence
    return {
        "id": case.id,
        "title": case.title,
        "file": case.place.path,
        "line": case.place.line,
        "requirements": list(case.requirements),
        "tags": list(case.tags),
        "do": case.do,
        "statement": statement,
        "present": plain(case.written.get("present")),
        "where": {name: list(values) for name, values in case.where},
        "expect": [
            {"name": part.name, "written": plain(part.written), "version": part.version, "words": said}
            for part, said in zip(case.expect, words, strict=True)
        ],
        "unit": cast("Literal['presentation', 'neighbouring pair', 'set', 'item', 'run']", unit),
        "readings": list(case.readings),
        "asked": {
            "reliability": evidence.reliability,
            "confidence": evidence.confidence,
            "of": evidence.of,
            "presented": evidence.presented,
            "specimens_at_least": evidence.specimens_at_least,
            "trials": evidence.trials,
            "nonconforming_at_most": evidence.nonconforming_at_most,
            "not_judged_at_most": evidence.not_judged_at_most,
            "pooled": evidence.pooled,
            "duration_ns": evidence.duration_ns,
            "runs": evidence.runs,
            "words": asked_words,
            "name": evidence.name,
        },
        "state": "not run",
        "attempts": 0,
        "verdict": None,
        "basis": "",
        "basis_asked": case.basis,
        "reason": "",
        "claim": "",
        "planned": None,
        "found": 0,
        "conforming": 0,
        "nonconforming": 0,
        "not_judged": 0,
        "left_out": [],
        "specimens": [],
        "strata": [],
        "by_condition": [],
        "without_corrections": None,
        "warnings": [],
        "expectations": [],
        "nonconforming_trials": [],
        "figures": [],
    }


def not_run(case: Case) -> CaseResult:
    """A planned case that was not executed: what it asks in the words of the file, without a verdict."""
    present = case.present
    what = present.set or present.item or listed(present.targets)
    statement = f"presented: {what}" + (f" ({present.which})" if present.which else "")
    return planned(
        case, case.unit, statement, [f"{part.name}: {_inline(part.written)}" for part in case.expect], "as the case file says"
    )


def plain(value: Any) -> Any:
    """Mappings and sequences as exact dicts and lists, text as exact str; numbers and None as they are."""
    if isinstance(value, Mapping):
        return {str(key): plain(part) for key, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(part) for part in value]
    return str(value) if isinstance(value, str) else value


def _inline(written: Any) -> str:
    if isinstance(written, Mapping):
        return ", ".join(f"{key} {_inline(part)}" for key, part in written.items())
    return listed([_inline(part) for part in written]) if isinstance(written, (list, tuple)) else str(written)
