"""What cases need before anything is presented: sample sizes with both risks, what each case asks, what is still missing."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, TypedDict

from stationtest.engine import evidence as shown_by
from stationtest.errors import usage
from stationtest.files.words import duration_text, share_text
from stationtest.model.case import Case, Suite
from stationtest.model.parts import Parts
from stationtest.stats.sample_size import chance_to_pass, clean_trials_show, smallest

if TYPE_CHECKING:
    from stationtest.model.observations import SourceObservations

MORE_ACCEPTED = 3  # how many further plans `sizes` offers, each with one more nonconforming trial accepted
SEVERAL = 4  # how many targets the example has by which `sizes` says that the chances of several multiply


class PlanRow(TypedDict):
    """One case of a plan. `needs` spells products out; `shopping` is what is still to be presented; counts are None where no
    readings were looked at, `planned` and `still` also where evidence is a duration, which has `found_ns` and `still_ns`."""

    id: str
    title: str
    needs: str
    planned: int | None
    risks: str
    found: int | None
    still: int | None
    found_ns: int | None
    still_ns: int | None
    verdict: str | None
    shopping: list[str]


def plan(suite: Suite, observations: Mapping[str, SourceObservations] | None, parts: Parts) -> list[PlanRow]:
    """What each case needs, what its readings offer, and what is still to be presented."""
    return [_row(suite, case, observations, parts) for case in suite.cases]


def _row(suite: Suite, case: Case, observations: Mapping[str, SourceObservations] | None, parts: Parts) -> PlanRow:
    each, evidence = shown_by.planned_trials(case.evidence), case.evidence
    row: PlanRow = {
        "id": case.id,
        "title": case.title,
        "needs": needs(case),
        "planned": each * len(case.strata) if each is not None else None,
        "risks": both_risks(len(case.strata), each, evidence.nonconforming_at_most) if each and evidence.runs is None else "",
        "found": None,
        "still": None,
        "found_ns": None,
        "still_ns": None,
        "verdict": None,
        "shopping": [],
    }
    if observations is None or not all(path in observations for path in case.readings):
        row["shopping"] = [_wanted(case, label, each, evidence.duration_ns) for label, _ in case.strata]
        return row
    from stationtest.engine.judging import judge

    result = judge(suite, case, observations, parts)
    row["found"], row["verdict"] = result["found"], result["verdict"]
    row["still"] = 0 if each is not None else None
    if evidence.duration_ns is not None:
        row["found_ns"], row["still_ns"] = sum(entry["duration_ns"] or 0 for entry in result["strata"]), 0
    for entry in result["strata"]:
        if entry["nonconforming"] > evidence.nonconforming_at_most:
            row["shopping"].append(f"{entry['label']}: nothing would help this plan, it has failed")
        elif entry["verdict"] == "not judged":
            short = max(0, each - entry["conforming"]) if each else 0
            row["still"] = row["still"] + short if row["still"] is not None else None
            again = _wanted(case, entry["label"], short, None) if short else entry["label"]
            row["shopping"].append(f"{again}; those that are there were not judged: {entry['reason']}")
        elif each and entry["verdict"] != "pass" and entry["not_judged"] > evidence.not_judged_at_most * entry["found"]:
            row["still"] = (row["still"] or 0) + each  # what is there can no longer pass, however much is presented besides
            lost = f"{entry['not_judged']} of those that are there were not judged, more than the plan leaves out"
            row["shopping"].append(f"{_wanted(case, entry['label'], each, None)}, all of them again: {lost}")
        elif each is not None:
            short = max(0, each - entry["conforming"] - entry["nonconforming"])
            row["still"] = (row["still"] or 0) + short
            if short:
                row["shopping"].append(_wanted(case, entry["label"], short, None))
        elif (evidence.duration_ns or 0) > (entry["duration_ns"] or 0):
            longer = (evidence.duration_ns or 0) - (entry["duration_ns"] or 0)
            row["still_ns"] = (row["still_ns"] or 0) + longer
            row["shopping"].append(_wanted(case, entry["label"], None, longer))
    return row


def needs(case: Case) -> str:
    """What a case needs, products spelled out: `4 x 59 = 236 presentations (mint, ...)`."""
    evidence, each = case.evidence, shown_by.planned_trials(case.evidence)
    if evidence.duration_ns is not None:
        return f"{duration_text(evidence.duration_ns)} without an event" + (
            f", {len(case.strata)} times" if len(case.strata) > 1 else ""
        )
    if each is None:
        return ""
    by_specimen = evidence.of == "specimens" and evidence.presented is not None
    unit = "specimens" if by_specimen else f"{case.unit}s"
    named = [label for label, _ in case.strata]
    labels = ("; " if any(", " in label for label in named) else ", ").join(named)
    many = (
        f"{len(case.strata)} × {each} = {len(case.strata) * each} {unit} ({labels})" if len(case.strata) > 1 else f"{each} {unit}"
    )
    if by_specimen and evidence.presented:
        many += f", each presented {evidence.presented} times: {len(case.strata) * each * evidence.presented} presentations"
    if evidence.specimens_at_least is not None:
        many += f", of at least {evidence.specimens_at_least} specimens" + (" each" if len(case.strata) > 1 else "")
    accepted = evidence.nonconforming_at_most
    return many + (f", at most {accepted} nonconforming" + (" of each" if len(case.strata) > 1 else ""))


def _wanted(case: Case, label: str, n: int | None, duration_ns: int | None) -> str:
    where = "".join(f", {name} {' or '.join(values)}" for name, values in case.where)
    how = f": {case.do}" if case.do else ""
    amount = f"{n} ×" if n is not None else duration_text(duration_ns or 0) + " of"
    return f"{amount} {label.removeprefix('between: ')}{where}{how}"


def both_risks(strata: int, n: int, accepted: int) -> str:
    """`4 × 59 clean trials pass a station that is 99 % right with each of the 4 only 9 times in 100, ...`.

    A case passes if all its `strata` do. Each has trials of its own, so their chances multiply.
    """
    of_each = f" with each of the {strata}" if strata > 1 else ""
    good, better = (_times(chance_to_pass(n, accepted, share) ** strata) for share in (0.99, 0.999))
    return f"{_passing(strata, n, accepted)} a station that is 99 % right{of_each} only {good}, one that is 99.9 % right {better}"


def _passing(strata: int, n: int, accepted: int) -> str:
    """`59 clean trials pass`; `4 × 93 trials with at most 1 nonconforming of each pass`."""
    trials = f"{strata} × {n}" if strata > 1 else f"{n}"
    if not accepted:
        return f"{trials} clean trial{'s pass' if strata * n > 1 else ' passes'}"
    return f"{trials} trials with at most {accepted} nonconforming{' of each' if strata > 1 else ''} pass"


def _times(chance: float) -> str:
    """Never rounded to certainty: 99.7 stays 99.7."""
    whole = math.floor(chance * 100 + 0.5)
    return f"{whole if whole < 100 or chance == 1 else f'{math.floor(chance * 1000) / 10:.1f}'} times in 100"


def sizes(reliability: float, confidence: float, nonconforming: int = 0) -> tuple[list[str], list[list[str]], str]:
    """Headers, rows and words of `stationtest sizes`: sample sizes for this and a few more accepted ones, and both risks.

    `reliability` and `confidence` are shares. Raises `UsageError` where no number of trials would do.
    """
    try:
        smallest(reliability, confidence, nonconforming + MORE_ACCEPTED)
    except ValueError as error:
        message = f"no number of trials shows this: {error}; reliability and confidence lie between 0 % and 100 %"
        raise usage(message) from None
    better = tuple(1 - (1 - reliability) / factor for factor in (2, 5, 10))
    headers = ["nonconforming accepted", "trials", f"{share_text(reliability)} right passes at most"]
    headers += [f"{_short(share)} right passes" for share in better]
    rows = []
    for accepted in range(nonconforming, nonconforming + MORE_ACCEPTED + 1):
        n = smallest(reliability, confidence, accepted)
        chances = [chance_to_pass(n, accepted, share) for share in (reliability, *better)]
        rows.append([str(accepted), str(n), *(f"{100 * chance:.1f} %" for chance in chances)])
    n = smallest(reliability, confidence, nonconforming)
    clean, good = _passing(1, n, nonconforming), better[1]
    risk, chance = chance_to_pass(n, nonconforming, reliability), chance_to_pass(n, nonconforming, good)
    words = [
        f"{clean} a station that is {_short(good)} right only {_times(chance)}: the rest is the risk of failing a good one.",
        f"Where {SEVERAL} targets are each asked for this, all must pass: one so right with each does {_times(chance**SEVERAL)}.",
        f"One that is just {share_text(reliability)} right passes {_times(risk)}: the risk of accepting it.",
    ]
    if not nonconforming:
        words.append(f"{n} clean trials show at least {shown_by.at_least_text(clean_trials_show(n, confidence))}.")
    words.append("Both numbers are fixed before the first trial; topping up inflates the confidence.")
    return headers, rows, "\n".join(words)


def _short(share: float) -> str:
    """A share without the noise of its arithmetic."""
    return share_text(float(f"{share:.10g}"))
