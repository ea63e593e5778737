"""How much trials show: the verdict of one stratum, from outcomes in order of time and the evidence that the case asks.

The plan (how many trials, how many nonconforming accepted) is fixed in the case beforehand. Nothing here knows what was judged.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Protocol

from stationtest.files.words import duration_text
from stationtest.files.words import share_text as _share_text
from stationtest.model.case import Evidence
from stationtest.model.judged import NONCONFORMING, NOT_JUDGED, Verdict
from stationtest.stats.proportions import lower_bound, upper_bound
from stationtest.stats.rates import upper_rate
from stationtest.stats.sample_size import clean_trials_show, smallest

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

share_text = lru_cache(maxsize=1024)(_share_text)

PRINTED_AT = 0.95
"""The confidence at which bounds are printed where a case asks for none. It decides nothing, and stands beside the number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What the trials of one stratum show. `trials` is how many of the rows, from the first, were counted as the planned
    trials."""

    verdict: Verdict
    reason: str
    planned: int | None
    found: int
    conforming: int
    nonconforming: int
    not_judged: int
    lower_bound: float | None
    upper_bound: float | None
    still: int  # clean trials that the plan still needs


@lru_cache(maxsize=1024)
def planned_trials(evidence: Evidence) -> int | None:
    """How many trials the plan needs of each stratum; None for evidence by duration."""
    if evidence.trials is not None:
        return evidence.trials
    if evidence.runs is not None:
        return evidence.runs
    if evidence.reliability is not None and evidence.confidence is not None:
        return smallest(evidence.reliability, evidence.confidence, evidence.nonconforming_at_most)
    return None


def at_least_text(share: float) -> str:
    """A lower bound, cut to 0.01 % as in the tables, so that it never claims more than was shown; the record has all digits."""
    return _cut(share, math.floor)


def at_most_text(share: float) -> str:
    """An upper bound, cut upwards likewise."""
    return _cut(share, math.ceil)


@lru_cache(maxsize=1024)
def _cut(share: float, whole: Callable[[float], int]) -> str:
    """Finer where 0.01 % would print 0 or 100 % for what is neither."""
    for digits in range(2, 10):
        percent = whole(round(share * 100 * 10**digits, 4)) / 10**digits
        if share in (0.0, 1.0) or 0 < percent < 100:
            break
    return f"{percent:.{digits}f}".rstrip("0").rstrip(".") + " %"


class Trials(Protocol):
    """What is counted: `outcome` (n,) in order of time, and how many of each. `missing` were listed and not found; `only` is a
    reason why nothing can be shown."""

    outcome: NDArray[np.int8]
    conforming: int
    nonconforming: int
    not_judged: int
    units: str
    specimens: dict[str, int] | None

    @property
    def missing(self) -> int: ...

    @property
    def only(self) -> str | None: ...


def counted(evidence: Evidence, trials: Trials, first_open: str) -> Shown:
    """The verdict on a count of trials. `first_open` says why the first one that was not judged was not."""
    planned = planned_trials(evidence)
    assert planned is not None
    outcome, units, missing, only = trials.outcome, trials.units, trials.missing, trials.only
    good, wrong, open_ = trials.conforming, trials.nonconforming, trials.not_judged
    found, judged, accepted = len(outcome), good + wrong, evidence.nonconforming_at_most
    considered, left_open = min(planned, found), 0
    if open_:
        import numpy as np  # `check` and `sizes` come here for their words, without numpy

        reached = np.flatnonzero(np.cumsum(outcome != NOT_JUDGED) == planned) if judged >= planned else np.array([found - 1])
        considered = int(reached[0]) + 1
        left_open = int((outcome[:considered] == NOT_JUDGED).sum())
    confidence, first = evidence.confidence or PRINTED_AT, considered
    n = min(planned, judged)
    wrong_used = int((outcome[:considered] == NONCONFORMING).sum()) if wrong and considered < found else wrong
    if wrong > accepted:
        n, wrong_used, considered, left_open = judged, wrong, found, open_
    allowed = math.floor(evidence.not_judged_at_most * (considered + missing) + 1e-9)
    # what nobody knows counts against either bound, unless the plan leaves it out
    unknown = left_open + missing if left_open + missing > allowed else 0
    claims = n > 0 and evidence.runs is None  # one run says nothing of how often others conform
    low = lower_bound(n - wrong_used, n + unknown, confidence) if claims else None
    high = upper_bound(n - wrong_used + unknown, n + unknown, confidence) if claims else None
    still = max(0, planned - judged)
    verdict, reason = Verdict.NOT_SHOWN, ""
    at = f"at {share_text(confidence)} confidence"
    if wrong > accepted:
        most = 1.0 if high is None else high
        verdict, reason = Verdict.FAIL, _fails(evidence, wrong, judged, unknown, units, low or 0.0, most, at)
    elif not found:
        reason = f"0 of {planned} {units}: none came in these readings"
    elif not judged:
        verdict, reason = Verdict.NOT_JUDGED, f"none of {found} {units} could be judged: {first_open}"
    elif left_open + missing > allowed:
        lost = f"{left_open} of the first {considered} {units} could not be judged" if left_open else ""
        gone = f"{missing} that were listed are not in the readings" if missing else ""
        share = share_text(evidence.not_judged_at_most)
        reason = f"{' and '.join(filter(None, (lost, gone)))}, and the plan leaves out at most {share} (`not_judged: at most …`)"
        reason += f" (first: {first_open})" if left_open else ""
        if still:
            more = _more(still, wrong, accepted) if evidence.not_judged_at_most else f"{judged} of {planned} were judged"
            reason += f"; {more}"
    elif still:
        reason = f"{judged} of {planned} {units}, {_nonconforming(wrong)}: {_more(still, wrong, accepted)}"
        if low is not None:
            shows = "shows" if judged == 1 else "show"
            reason += f"; so far {judged} {shows} at least {at_least_text(low)} {at}"
    elif only is not None:
        reason = f"{n} {units}, {_nonconforming(wrong_used)}, but {only}"
    elif evidence.specimens_at_least is not None and len(trials.specimens or ()) < evidence.specimens_at_least:
        least, came = evidence.specimens_at_least, len(trials.specimens or ())
        reason = f"{n} {units} of {came} specimens; the plan needs at least {least} specimens"
    elif low is None:
        verdict = Verdict.PASS
        reason = runs_text(n) if not wrong_used else f"{n - wrong_used} of {runs_text(n)}, conform"
    else:
        verdict, reason = Verdict.PASS, f"{n - wrong_used} of {n} {units} conform: at least {at_least_text(low)} {at}"
    if found > considered and verdict is Verdict.PASS:
        reason += f"; {found} came, the first {considered} are the trials"
    elif verdict is Verdict.FAIL and int((outcome[:first] == NONCONFORMING).sum()) <= accepted:
        reason += f"; the first {first} are the trials, and a nonconforming one among the others counts too"
    return Shown(
        verdict=verdict, reason=reason, planned=planned, found=found, conforming=good, nonconforming=wrong,
        not_judged=open_ + missing, lower_bound=low, upper_bound=high, still=still,
    )  # fmt: skip


def _nonconforming(n: int) -> str:
    return f"{n or 'none'} nonconforming"


def _more(still: int, wrong: int, accepted: int) -> str:
    if wrong or accepted:
        return f"the plan needs {still} more, of which at most {accepted - wrong} may be nonconforming"
    return f"the plan needs {still} more clean {'one' if still == 1 else 'ones'}"


def _fails(evidence: Evidence, wrong: int, judged: int, unknown: int, units: str, low: float, high: float, at: str) -> str:
    accepted = evidence.nonconforming_at_most
    reason = f"{wrong} of {judged} {units} nonconforming, {accepted or 'none'} accepted"
    if evidence.runs is not None:
        return reason
    either = f", whichever way the {unknown} that were not judged would have come out" if unknown else ""
    reason += f"; the share that conforms is at least {at_least_text(low)} and at most {at_most_text(high)}, each {at}{either}"
    if evidence.reliability is None:
        return reason
    asked = share_text(evidence.reliability)
    if high < evidence.reliability:
        return f"{reason}: {asked} is refuted"
    need = smallest(evidence.reliability, evidence.confidence or PRINTED_AT, wrong)
    return (
        f"{reason}: it fails its plan; {asked} itself is neither shown nor refuted "
        f"(a new plan with {wrong} nonconforming accepted would need {need} trials)"
    )


def watched(evidence: Evidence, trials: Trials, duration_ns: int, first_open: str) -> Shown:
    """The verdict on evidence by duration: no event in a stated time. `duration_ns` is the time that could be judged."""
    asked, outcome, units, only = evidence.duration_ns or 0, trials.outcome, trials.units, trials.only
    good, events, open_ = trials.conforming, trials.nonconforming, trials.not_judged
    confidence = evidence.confidence or PRINTED_AT
    verdict, rate = Verdict.NOT_SHOWN, rate_text(events, duration_ns, confidence)
    if events:
        verdict, reason = Verdict.FAIL, f"{events} events in {duration_text(duration_ns)}, none accepted; {rate}"
    elif not len(outcome):
        reason = f"0 of {duration_text(asked)}: none came in these readings"
    elif not good:
        verdict, reason = Verdict.NOT_JUDGED, f"none of {len(outcome)} {units} could be judged: {first_open}"
    elif duration_ns < asked:
        more = duration_text(asked - duration_ns)
        reason = f"{duration_text(duration_ns)} of {duration_text(asked)} without an event: the plan needs {more} more"
    elif only is not None:
        reason = f"no event in {duration_text(duration_ns)}, but {only}"
    else:
        verdict, reason = Verdict.PASS, f"no event in {duration_text(duration_ns)}: {rate}"
    return Shown(
        verdict=verdict, reason=reason, planned=None, found=len(outcome), conforming=good, nonconforming=events, not_judged=open_,
        lower_bound=None, upper_bound=None, still=0,
    )  # fmt: skip


@lru_cache(maxsize=1024)
def rate_text(events: int, duration_ns: int, confidence: float) -> str:
    """`at most 1 in 10 min at 95 % confidence`: the exact Poisson bound."""
    rate = upper_rate(events, duration_ns, confidence)
    if not rate:
        return "nothing was watched"
    seconds = 1 / rate
    size, unit = (3600, "h") if seconds >= 3600 else (60, "min") if seconds >= 60 else (1, "s")
    return f"at most 1 in {math.floor(seconds / size * 10) / 10:g} {unit} on average, at {share_text(confidence)} confidence"


def runs_text(n: int) -> str:
    """What is claimed of whole runs: nothing of others."""
    return "one run, judged by itself" if n == 1 else f"{n} runs, each judged by itself"


@lru_cache(maxsize=1024)
def asked_words(evidence: Evidence, units: str) -> str:
    """The evidence a case asks for, in one sentence."""
    if evidence.duration_ns is not None:
        return f"{duration_text(evidence.duration_ns)} without an event"
    if evidence.runs is not None:
        return runs_text(evidence.runs)
    planned, accepted = planned_trials(evidence), evidence.nonconforming_at_most
    least = f", of at least {evidence.specimens_at_least} specimens" if evidence.specimens_at_least is not None else ""
    which = "pooled" if evidence.pooled else "of each"
    if evidence.reliability is not None:
        claim = f"{share_text(evidence.reliability)} at {share_text(evidence.confidence or PRINTED_AT)} confidence: "
        return f"{claim}{planned} {units} {which} with at most {accepted} nonconforming{least}"
    shows = (
        f" ({planned} clean ones show {at_least_text(clean_trials_show(planned or 0, PRINTED_AT))} at {share_text(PRINTED_AT)})"
    )
    return f"{planned} {units} {which} with at most {accepted} nonconforming{least}{shows if not accepted else ''}"
