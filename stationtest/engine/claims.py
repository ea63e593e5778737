"""What a run claims and what it does not: requirements and the cases that show them, and the limits of it in sentences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from stationtest.engine import as_found
from stationtest.expectations.wording import channels_text
from stationtest.files.paths import matches
from stationtest.files.suggest import allowed_words
from stationtest.files.words import listed, share_text
from stationtest.model.case import Suite
from stationtest.model.record import CaseResult, Caution, RequirementRow, Source

LITTLE = 0.5  # a reliability or a confidence below it is hardly ever meant


def requirements(suite: Suite, cases: Sequence[CaseResult]) -> list[RequirementRow]:
    """The listed requirements in their order, then those that only a case names."""
    by: dict[str, list[CaseResult]] = {}
    for case in cases:
        for name in case["requirements"]:
            by.setdefault(name, []).append(case)
    rows = [_requirement(each.id, each.text, True, each.verified_by, by.get(each.id, [])) for each in suite.requirements]
    known = {each.id for each in suite.requirements}
    return rows + [_requirement(name, "", False, None, found) for name, found in sorted(by.items()) if name not in known]


def _requirement(name: str, text: str, on_list: bool, verified_by: str | None, cases: list[CaseResult]) -> RequirementRow:
    state: Literal["shown", "not shown", "failed", "verified otherwise", "not covered"]
    if not cases:
        state = "verified otherwise" if verified_by else "not covered"
    elif any(case["verdict"] == "fail" for case in cases):
        state = "failed"
    else:
        state = "shown" if all(case["verdict"] == "pass" for case in cases) else "not shown"
    ids = [case["id"] for case in cases]
    return {"id": name, "text": text, "listed": on_list, "cases": ids, "verified_by": verified_by, "state": state}


def little_asked(suite: Suite) -> list[Caution]:
    """The cases that would pass with more trials wrong than right, or more often wrong than right: 0.95 % is soon written where
    95 % is meant."""
    asked = [
        f"{case.id} ({key} {share_text(share)})"
        for case in suite.cases
        for key, share in (("reliability", case.evidence.reliability), ("confidence", case.evidence.confidence))
        if share is not None and share < LITTLE
    ]
    text = f"Less than {share_text(LITTLE)} is asked, which shows next to nothing: {allowed_words(asked)}."
    return [{"title": "Little is asked", "text": text}] if asked else []


def without_margin(suite: Suite) -> list[str]:
    """The cases that ask for the margin of a channel that gives pulses, which has none: their trials are not judged."""
    pulsed = [channel for channel in suite.station.channels if channel.pulse_ns is not None]
    found = []
    for case in suite.cases:
        targets = [name for _, present in case.strata for name in present.targets]
        for expected in case.expect if pulsed else ():
            fire, quiet = (getattr(expected.fields, key, None) for key in ("must_fire", "must_be_silent"))
            concerned = [
                channel.name
                for channel in pulsed
                if expected.name == "margin"
                and any((fire if target in channel.for_targets else quiet) is not None for target in targets)
            ]
            if concerned:
                gives = "gives pulses, and so has" if len(concerned) == 1 else "give pulses, and so have"
                found.append(f"{case.place}: {case.id}: {channels_text(concerned)} {gives} no margin: its trials are not judged")
    return found


def corrected(suite: Suite, cases: Sequence[CaseResult]) -> list[Caution]:
    """That truth was corrected, and which verdicts would be others without (A6)."""
    n = len(suite.corrections)
    if not n:
        return []
    other = [
        f"{case['id']} ({without['verdict']} without, {case['verdict']} with)"
        for case in cases
        if (without := case.get("without_corrections")) and without["verdict"] != case["verdict"]
    ]
    rest = f"these verdicts rest on them: {listed(other)}" if other else "no verdict would be another without them"
    many = "1 correction is" if n == 1 else f"{n} corrections are"
    return [{"title": "Truth was corrected", "text": f"{many} laid over what was written down; {rest}."}]


def not_recorded(suite: Suite) -> list[Caution]:
    """The facts that the station requires of every run and that run.yaml does not state (A36)."""
    stated = dict(suite.run_facts.facts)
    missing = [name.replace("_", " ") for name in suite.station.required_in_run if not stated.get(name)]
    text = f"The station requires these facts of every run, and run.yaml does not state them: {listed(missing)}."
    return [{"title": "Required and not recorded", "text": text}] if missing else []


def _bounded_by_inputs(suite: Suite, sources: Sequence[Source]) -> list[str]:
    """The inputs that bound sets in recordings whose truth does not name the sets itself (A6)."""
    named = [form for form in suite.station.recordings for one in sources if one["sets"] and matches(one["key"], form.pattern)]
    if all(form.says("set") or (form.presentations_form and form.presentations_form.set) for form in named):
        return []
    edges = [edge for kind in suite.station.sets for edge in (kind.from_edge, kind.to_edge) if edge is not None]
    return list(dict.fromkeys(edge.input for edge in edges))


def limits(suite: Suite, cases: Sequence[CaseResult], sources: Sequence[Source]) -> list[str]:
    """What is not claimed, in sentences that fit this run."""
    executed = [case for case in cases if case["state"] == "executed"]
    bases = {case["basis"] for case in executed}
    found = [
        "The results hold for the specimens, settings and conditions that were presented, and for no others.",
        as_found.limit(suite),
        "What was presented is taken as it was written down; the program cannot know better.",
    ]
    if "computed" in bases:
        found.append(
            "Verdicts on a computed basis are about a model of the sensor and its logic on recorded readings: no wire, output or "
            "parameter of the station itself was looked at."
        )
    if "simulated" in bases:
        found.append("Verdicts on simulated readings say nothing about a station that was built.")
    if not suite.station.scan.seen_ns and bases & {"computed", "simulated"}:
        found.append(
            "No scan is declared, so every computed on-time, however short, counts as seen for sure; a controller may miss one "
            "that is shorter than its scan."
        )
    if "by hand" in bases:
        found.append("Verdicts by hand rest on what a person saw; an output shorter than a person sees was not looked for.")
    if any(case["asked"]["of"] == "presentations" for case in executed):
        found.append("Bounds on presentations claim these specimens in this balance, not the specimens of a later delivery.")
    if any(case["asked"]["reliability"] is not None for case in executed):
        found.append(
            "Each bound takes its trials as independent and alike. Wear, drift, dirt and ageing after the recording are not "
            "in it."
        )
    bounded = _bounded_by_inputs(suite, sources)
    if bounded:
        found.append(
            f"Sets are bounded by inputs of the station itself ({listed(bounded)}), so a fault of these inputs is not seen in "
            "what a set holds; a column `set` in the recordings would say it apart from the station."
        )
    if suite.station.between is None:
        found.append(
            "The station does not say what the spot sees between presentations, so the time between them was not judged."
        )
    if any(each["kind"] != "trials" for each in sources):
        found.append("An instant is known to one reading period; what was shorter than a reading period was not seen.")
    return found
