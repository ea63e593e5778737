"""How it was decided, and what nobody should take from the page: fixed sentences, chosen by what the cases asked."""

from __future__ import annotations

from typing import Any

VERDICTS = (
    ("pass", "Pass", "Every part has the trials it planned, no more nonconforming ones than planned, and shows what was asked."),
    ("fail", "Fail", "More trials were nonconforming than the plan accepts."),
    (
        "not-shown",
        "Not shown",
        "No trial, or no more than planned, was nonconforming, but the evidence is too little for what was asked.",
    ),
    ("not-judged", "Not judged", "The readings do not allow an answer, for the reason that stands beside it."),
    ("not-run", "Not run", "The case was planned and not executed. This is a state, not a verdict."),
)

CAUTIONS = (
    "A colour sensor is not a safety device. Nothing in this report makes it one, and it must not guard people.",
    "Isolate the machine and secure it against restart before reaching in to present, place or remove parts.",
    "Do not look into the sensor's light source; mind reflections from foil and glass.",
    "Local codes, the plant's own rules and the judgement of licensed practitioners go before anything said here.",
    "Results relate to the station, settings, specimens and conditions named here, and to no others.",
    "Colours in the figures tell series apart; a screen or a printer does not show the colour of a target.",
)


def rules(result: dict[str, Any]) -> list[tuple[str, str]]:
    """(heading, sentence) of each part of the decision rule that this record used."""
    asked = [case["asked"] for case in result["cases"]]
    found = [
        (
            "Trial",
            "One trial is one presentation, set or run, as the case says. It is conforming, nonconforming or not judged. A "
            "gap, a cut end or an unknown state can only take away 'conforming'; what was seen to be nonconforming stays so. "
            "Trials not judged count as nonconforming unless the case says how many may be left out; in a bound that says at "
            "most they count as conforming.",
        ),
        (
            "Plan",
            "The number of trials and of accepted nonconforming ones is fixed in the case beforehand. Evidence is asked of "
            "every target, member and row by itself, and the case takes the worst, unless it says 'pooled'.",
        ),
    ]
    if any(each["reliability"] is not None for each in asked):
        found.append(
            (
                "Reliability and confidence",
                "Reliability is the share of trials that conform. A part passes if the exact one-sided lower bound for that "
                "share (Clopper and Pearson, 1934), at the confidence asked, over the planned trials, is at least the "
                "reliability asked. If the true share were lower, such a result would come up with a probability of at most "
                "one minus the confidence. The other risk: a station that is right 99 % of the time gives 59 clean trials "
                "only 55 times in 100 (0.99 to the power 59), and of each of four parts, which must all pass, only 9 times in "
                "100 (to the power 236), so a fail does not prove a bad station. Each claim stands by itself at its "
                "confidence; for 'all hold' no correction is needed.",
            )
        )
        found.append(
            (
                "Presentations and specimens",
                "Presentations of one specimen are not independent proofs about other specimens. A bound on presentations "
                "claims these specimens, in the balance in which they were presented; the bound of the least shown specimen "
                "stands beside it.",
            )
        )
    if any(each["duration_ns"] is not None for each in asked):
        found.append(
            (
                "Duration",
                "Evidence by duration counts judged time in which no event was seen. Where a confidence is asked, the bound "
                "on the rate is the exact one-sided one for a Poisson count.",
            )
        )
    if any(each["trials"] is not None for each in asked):
        found.append(
            ("Trials", "A case that asks for a number of trials claims no reliability beyond what they show by themselves.")
        )
    found += [
        (
            "Seen for sure",
            "An output counts as on if it lasts the worst scan and the input filter of the controller, so that it is seen "
            "for sure. A shorter one is a 'perhaps'. A trial conforms only if it conforms whichever way every perhaps fell.",
        ),
        (
            "Who caused it",
            "On-time belongs to the presentation whose readings switched the comparator. On-time held over from an earlier "
            "one never counts for firing, and counts against silence.",
        ),
        (
            "Margin",
            "How far a channel's tolerance, with its hysteresis, could be scaled before the answer changes: positive where the "
            "requirement is met, 1 the whole tolerance. Margins are always computed, also beside recorded outputs. A channel "
            "that gives pulses has none.",
        ),
    ]
    return found
