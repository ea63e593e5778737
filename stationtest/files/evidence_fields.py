"""How much evidence is asked: in a case, or once for many cases by name in station.yaml."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from stationtest.files.fields import Fields, said
from stationtest.files.scalars import AtLeastCount, AtMostCount, AtMostShare, OneUp, OpenShare, PositiveDuration, YesNo
from stationtest.files.words import listed

Told = tuple[tuple[str, ...], str, str]

MOST_NONCONFORMING = 10_000


class EvidenceFields(Fields):
    """How much evidence a case needs: reliability and confidence, or trials, or duration, or runs."""

    reliability: OpenShare | None = None
    confidence: OpenShare | None = None
    of: Literal["presentations", "specimens"] | None = None
    presented: OneUp | None = None
    specimens: AtLeastCount | None = None
    trials: OneUp | None = None
    nonconforming: AtMostCount = said("at most 0")
    not_judged: AtMostShare = said("at most 0 %")
    pooled: YesNo = said("no")
    duration: PositiveDuration | None = None
    events: Literal["none"] | None = None
    runs: OneUp | None = None


def evidence_problems(evidence: EvidenceFields) -> Iterator[Told]:
    """Exactly one kind of demand, whole, and nothing beside it that says nothing."""
    given = [key for key in ("reliability", "trials", "duration", "runs") if getattr(evidence, key) is not None]
    if len(given) != 1:
        yield (
            (),
            f"evidence is exactly one of reliability, trials, duration and runs; found {listed(given) or 'none'}",
            ("contradiction" if given else "missing-key"),
        )
        return
    kind = given[0]
    if kind == "reliability":
        if evidence.confidence is None:
            yield (
                ("confidence",),
                "this key is missing; a reliability is shown with a confidence, such as 95 %; there is no built-in default",
                "missing-key",
            )
        if evidence.of is None:
            yield (
                ("of",),
                "this key is missing; it says of what the reliability is claimed; allowed presentations, specimens",
                "missing-key",
            )
    if evidence.nonconforming > MOST_NONCONFORMING:
        yield (
            ("nonconforming",),
            f"so many accepted make a plan that nobody can present; found at most {evidence.nonconforming}; "
            f"allowed at most 0 up to at most {MOST_NONCONFORMING}",
            "wrong-value",
        )
    n = evidence.trials or evidence.runs
    if n is not None and evidence.nonconforming >= n:
        said = f"a plan of {n} that accepts {evidence.nonconforming} nonconforming cannot fail; allowed fewer than {n}"
        yield ("nonconforming",), said, "contradiction"
    if evidence.of == "specimens" and evidence.presented is None:
        yield ("presented",), "this key is missing; it says how often each specimen is presented", "missing-key"
    if evidence.presented is not None and evidence.of != "specimens":
        yield ("presented",), "this key belongs to `of: specimens`", "contradiction"
    if kind == "duration" and evidence.events is None:
        yield ("events",), "this key is missing; evidence by duration says events: none", "missing-key"
    if kind != "duration" and evidence.events is not None:
        yield ("events",), "this key belongs to `duration`", "contradiction"
    if kind in ("duration", "runs"):
        for key in ("of", "specimens"):
            if getattr(evidence, key) is not None:
                yield (key,), f"this key does not go with `{kind}`", "contradiction"
