"""Typed fields of a case to the model: what is presented, the parts of which evidence is asked by itself, the evidence."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from stationtest.files.case_fields import PresentFields
from stationtest.files.evidence_fields import EvidenceFields
from stationtest.files.words import listed
from stationtest.model.case import Evidence, Present


def present(fields: Any) -> Present:
    """`present:` as a name, a list of names or a mapping."""
    if not isinstance(fields, PresentFields):
        return Present(kind="targets", targets=(fields,) if isinstance(fields, str) else tuple(fields))
    if fields.between is not None:
        return Present(kind="between", targets=(fields.between,))
    if fields.item is not None:
        return Present(kind="item", item=fields.item, matching=fields.matching)
    if fields.complete:
        return Present(kind="set", set=fields.set_, which="complete")
    if fields.lacking is not None:
        return Present(kind="set", set=fields.set_, which="lacking", lacking=fields.lacking)
    if fields.contents is not None:
        return Present(kind="set", set=fields.set_, which="contents", contents=tuple(fields.contents.items()))
    return Present(kind="set", set=fields.set_, which="extra", extra=fields.extra)


def strata(shape: Present, pooled: bool, members: Iterable[str]) -> tuple[tuple[str, Present], ...]:
    """The parts of which evidence is asked each by itself, with their labels: every target, every member that may lack (A2,
    A14).
    """
    if pooled or len(shape.targets) == 1:
        parts: tuple[Present, ...] = (shape,)
    elif shape.kind == "targets":
        parts = tuple(replace(shape, targets=(target,)) for target in shape.targets)
    elif shape.lacking == "each":
        parts = tuple(replace(shape, lacking=member) for member in members)
    else:
        parts = (shape,)
    return tuple((label(part), part) for part in parts)


def label(shape: Present) -> str:
    """What is presented, in a few words."""
    if shape.kind == "targets":
        return ", ".join(shape.targets)
    if shape.kind == "between":
        return f"between: {shape.targets[0]}"
    if shape.kind == "item":
        return f"{shape.item}" + {None: "", True: ", matching", False: ", not matching"}[shape.matching]
    if shape.which == "complete":
        return f"{shape.set}, complete"
    if shape.which == "lacking":
        return f"{shape.set}, lacking {'one' if shape.lacking in ('each', 'any') else shape.lacking}"
    if shape.which == "contents":
        return f"{shape.set} with {listed(f'{n} {target}' for target, n in shape.contents)}"
    return f"{shape.set} with {'anything' if shape.extra == 'any' else shape.extra} in it"


def evidence(fields: EvidenceFields, name: str | None = None) -> Evidence:
    return Evidence(
        reliability=fields.reliability,
        confidence=fields.confidence,
        of=fields.of,
        presented=fields.presented,
        specimens_at_least=fields.specimens,
        trials=fields.trials,
        nonconforming_at_most=fields.nonconforming,
        not_judged_at_most=fields.not_judged,
        pooled=fields.pooled,
        duration_ns=fields.duration,
        runs=fields.runs,
        name=name,
    )
