"""Records to try the page on: made by hand, with every verdict, every figure, and names that would do harm if they were believed.

The numbers are invented for trying the page. They are no claim about any station.
"""

from __future__ import annotations

from typing import Any

from report_figures import CHANNELS, FORMULA, HOSTILE, LONG, SECOND, TARGETS, UMLAUTS, figures


def asked(**changes: Any) -> dict[str, Any]:
    return {
        "reliability": 0.95,
        "confidence": 0.95,
        "of": "presentations",
        "presented": None,
        "specimens_at_least": None,
        "trials": None,
        "nonconforming_at_most": 0,
        "not_judged_at_most": 0.0,
        "pooled": False,
        "duration_ns": None,
        "runs": None,
        "words": "at least 95 % of presentations conform, at 95 % confidence: 59 trials of each part, none nonconforming",
    } | changes


def worst(label: str = "mint, specimen 14", at_ns: int | None = 83_412_000_000, **changes: Any) -> dict[str, Any]:
    return {
        "source": "recordings/day1.parquet",
        "index": 41,
        "label": label,
        "at_ns": at_ns,
        "at": "83.412 s",
        "channel": "3",
        "value": -0.18,
        "unit": "",
        "text": f"{label}, at 83.412 s: channel 3 was on for 22 ms, held over from chamomile",
    } | changes


def stratum(label: str, **changes: Any) -> dict[str, Any]:
    return {
        "label": label,
        "planned": 59,
        "found": 80,
        "conforming": 80,
        "nonconforming": 0,
        "not_judged": 0,
        "specimens": 4,
        "least_shown": 19,
        "lower_bound": 0.9505,
        "upper_bound": 1.0,
        "least_shown_bound": 0.8541,
        "duration_ns": None,
        "events": None,
        "rate_bound_per_s": None,
        "verdict": "pass",
        "reason": "",
    } | changes


def case(key: str, **changes: Any) -> dict[str, Any]:
    return {
        "id": key,
        "title": "Each sachet fires its own channel and no other",
        "file": "cases/recognition.case.yaml",
        "line": 12,
        "requirements": ["URS-12"],
        "tags": [],
        "do": None,
        "statement": "Presented: mint, sage. Expected: its own channel only.",
        "present": ["mint", "sage"],
        "where": {},
        "expect": [
            {
                "name": "own_channel_only",
                "written": "yes",
                "version": 1,
                "words": "the channels that should be on fired for sure, all others of that sensor were silent for sure",
            }
        ],
        "unit": "presentation",
        "readings": ["recordings/day1.parquet"],
        "asked": asked(),
        "state": "executed",
        "attempts": 1,
        "verdict": "pass",
        "basis": "recorded",
        "basis_asked": None,
        "reason": "",
        "planned": 118,
        "found": 160,
        "conforming": 160,
        "claim": "At least 95 % of presentations of these 4 specimens conform, at 95 % confidence.",
        "nonconforming": 0,
        "not_judged": 0,
        "left_out": [],
        "specimens": ["m-01", "m-02", "s-01", "s-02"],
        "strata": [stratum("mint"), stratum("sage")],
        "expectations": [{"name": "own_channel_only", "nonconforming": 0, "not_judged": 0, "worst": worst(value=0.21)}],
        "nonconforming_trials": [],
        "figures": [],
    } | changes


def cases() -> list[dict[str, Any]]:
    return [
        case("REC-01"),
        case(
            "REC-02",
            title="Sage is not taken for mint",
            verdict="fail",
            basis="computed",
            requirements=["URS-12", "URS-13"],
            reason="sage: 3 of 80 trials are nonconforming, 0 were planned; neither shown nor refuted. "
            "sage, specimen s-02, at 83.412 s: channel 1 was on for 22 ms",
            conforming=157,
            nonconforming=3,
            figures=["trace-1", "trace-2"],
            claim="sage: between 91.1 % and 98.9 % conform.",
            strata=[
                stratum("mint"),
                stratum("sage", conforming=77, nonconforming=3, lower_bound=0.9058, upper_bound=0.9897, verdict="fail"),
            ],
            nonconforming_trials=[
                worst("sage, specimen s-02", text="sage, specimen s-02, at 83.412 s: channel 1 was on for 22 ms"),
                worst(),
            ],
            left_out=[{"why": "a reference was learned from it", "n": 2}],
        ),
        case(
            "BELT-01",
            title="Nothing switches on the bare belt",
            verdict="not shown",
            requirements=["URS-14"],
            asked=asked(reliability=None, confidence=None, duration_ns=600 * SECOND, words="10 min with no event"),
            present={"between": "bare belt"},
            reason="7 min 12 s were judged of 10 min; 2 min 48 s more are needed.",
            statement="Presented: the bare belt. Expected: no channel.",
            strata=[
                stratum(
                    "bare belt",
                    planned=None,
                    lower_bound=None,
                    upper_bound=None,
                    least_shown=None,
                    least_shown_bound=None,
                    specimens=None,
                    duration_ns=432 * SECOND,
                    events=0,
                    rate_bound_per_s=0.00693,
                    verdict="not shown",
                )
            ],
        ),
        case(
            "RESP-01",
            title="Response within 2 ms",
            verdict="not judged",
            basis="computed",
            not_judged=160,
            conforming=0,
            reason="readings come every 10 ms; a limit of 2 ms is finer",
            strata=[stratum("mint", conforming=0, not_judged=80, verdict="not judged", lower_bound=None, upper_bound=None)],
        ),
        case("HAND-01", title="Hand trials of the label", basis="by hand", readings=["recordings/hand.csv"], requirements=[]),
        case(
            HOSTILE,
            title=FORMULA,
            verdict="fail",
            reason=HOSTILE,
            statement=HOSTILE,
            claim=FORMULA,
            requirements=[HOSTILE],
            file=HOSTILE,
            nonconforming=1,
            nonconforming_trials=[worst(HOSTILE, text=FORMULA)],
            strata=[stratum(HOSTILE, verdict="fail")],
            specimens=[HOSTILE, FORMULA, LONG],
            do=HOSTILE,
            where={HOSTILE: [FORMULA]},
        ),
        case(
            LONG,
            title=UMLAUTS + " \u202eturned\u202c \x07bell",
            state="not run",
            verdict=None,
            attempts=0,
            reason="",
            found=0,
            conforming=0,
            strata=[],
            claim="",
            specimens=[],
            expectations=[],
        ),
        case(
            "SET-02.mint",
            title="A box that lacks mint is thrown out",
            unit="set",
            attempts=2,
            present={"set": "full box", "lacking": "mint"},
        ),
    ]


def source(**changes: Any) -> dict[str, Any]:
    return {
        "key": "recordings/day1.parquet",
        "kind": "stream",
        "basis": "recorded",
        "reader": {"name": "parquet", "version": 1},
        "origin": None,
        "zone": None,
        "period_ns": [1_000_000, 1_000_000, 6_000_000],
        "rows": 600_000,
        "first_ns": 0,
        "end_ns": 600 * SECOND,
        "gaps": [[120 * SECOND, 120 * SECOND + 6_000_000]],
        "presentations": 320,
        "expected_presentations": 321,
        "stretches_between": 321,
        "status_counts": [{"why": "there is a gap in its readings", "n": 1}],
        "sets": 80,
        "observed": [],
        "outside": [{"channel": "2", "start_ns": 12_400_000_000, "end_ns": 12_430_000_000}],
        "outside_count": 1,
        "outside_ns": 30_000_000,
        "carried_over": [{"output": "box complete", "at_ns": 44_000_000_000}],
        "notes": [HOSTILE],
        "tables": [],
    } | changes


def settings() -> dict[str, Any]:
    return {
        "station": "tea-sampler-2",
        "drawing": "rev C",
        "scan": "worst: 11 ms, input_filter: 3 ms",
        "inputs": ["box in", "box out"],
        "sensors": {
            "sachet": {
                "serial": "demo-A17",
                "reads": "linear RGB",
                "dark": ["12", "11", "14"],
                "level": {"at_least": "30 %", "at_most": "95 %"},
            }
        },
        "channels": {
            c: {"sensor": "sachet", "reference": t, "distance": "CIE 1976 u'v'", "tolerance": "0.007", "hysteresis": "10 %"}
            for c, t in zip(CHANNELS, [*TARGETS[:3], HOSTILE], strict=True)
        },
        "outputs": {
            "box complete": {"all_of": ["1", "2"], "held_until": "box out"},
            "flap": {"none_of": ["box complete"], "pulse": "120 ms"},
        },
    }


def record(**changes: Any) -> dict[str, Any]:
    """A whole record: fails, with every verdict in it. `changes` replace keys of the result."""
    result = {
        "verdict": "fail",
        "simulated": False,
        "partial": True,
        "partial_because": ["One case was not selected."],
        "counts": {
            "planned": 8,
            "selected": 7,
            "executed": 7,
            "repeated": 1,
            "passed": 3,
            "failed": 2,
            "not_shown": 1,
            "not_judged": 1,
        },
        "station": {
            "name": "tea-sampler-2",
            "title": "Tea sampler line 2, sachet and box check",
            "drawing": None,
            "settings": settings(),
            "settings_sha256": "5e" * 32,
        },
        "versions": {"stationtest": "0.1.0", "language": 1, "observing": 1},
        "inputs": [
            {"path": "station.yaml", "role": "station", "sha256": "ab" * 32, "bytes": 2_345},
            {"path": f"recordings/{HOSTILE}.csv", "role": "recording", "sha256": "cd" * 32, "bytes": 12_345_678},
        ],
        "sources": [
            source(),
            source(
                key="recordings/hand.csv",
                kind="trials",
                basis="by hand",
                period_ns=None,
                first_ns=None,
                end_ns=None,
                rows=80,
                gaps=[],
                presentations=80,
                outside=[],
                outside_count=0,
                outside_ns=0,
                carried_over=[],
                notes=[],
            ),
        ],
        "requirements": [
            {
                "id": "URS-12",
                "text": "Sachets are told apart",
                "listed": True,
                "cases": ["REC-01", "REC-02"],
                "verified_by": None,
                "state": "failed",
            },
            {"id": "URS-14", "text": UMLAUTS, "listed": True, "cases": ["BELT-01"], "verified_by": None, "state": "not shown"},
            {
                "id": "URS-15",
                "text": "Short boxes are thrown out",
                "listed": True,
                "cases": ["SET-02.mint"],
                "verified_by": None,
                "state": "shown",
            },
            {
                "id": "URS-20",
                "text": "The cover is locked",
                "listed": True,
                "cases": [],
                "verified_by": "inspection",
                "state": "verified otherwise",
            },
            {"id": "URS-21", "text": "Nobody asked", "listed": True, "cases": [], "verified_by": None, "state": "not covered"},
            {"id": HOSTILE, "text": FORMULA, "listed": False, "cases": [HOSTILE], "verified_by": None, "state": "failed"},
        ],
        "cases": cases(),
        "figures": figures(),
        "limits": ["Nothing is claimed about specimens that were not presented."],
    } | changes
    run = {
        "id": "2026-11-25T09-20-00Z-3f2a91c0",
        "door": "cli",
        "command": ["stationtest", "run", HOSTILE],
        "started": "2026-11-25T09:20:00Z",
        "ended": "2026-11-25T09:20:03Z",
        "seconds": 3.1,
        "workers": 0,
        "facts": {"who": HOSTILE, "role": "commissioning", "stage": "SAT", "site": None, "line": "2", "shift": UMLAUTS},
        "tool": {
            "name": "stationtest",
            "version": "0.1.0",
            "python": "3.11.7",
            "platform": "Linux x86_64",
            "observing": 1,
            "language": 1,
            "packages": [{"name": "numpy", "version": "2.3"}],
        },
        "plugins": [],
        "selftest": {
            "passed": True,
            "checks": [{"name": "CIEDE2000", "passed": True, "checks": 34, "source": "Sharma, Wu, Dalal 2005"}],
        },
        "environment": {"processors": "2"},
        "python_tests": None,
    }
    return {"format": "stationtest record", "version": "1.0", "result_sha256": "9c" * 32, "run": run, "result": result}


def clean_record() -> dict[str, Any]:
    """Everything passes, whole, with all facts."""
    made = record(
        verdict="pass",
        partial=False,
        partial_because=[],
        cases=[case(f"REC-{k:02}") for k in range(1, 6)],
        figures=figures()[:7],
        counts={
            "planned": 5,
            "selected": 5,
            "executed": 5,
            "repeated": 0,
            "passed": 5,
            "failed": 0,
            "not_shown": 0,
            "not_judged": 0,
        },
    )
    return made


def big_record(n: int = 10_000, failing: int = 300) -> dict[str, Any]:
    """A record of many cases, every so many failing."""
    step = max(1, n // failing) if failing else n + 1
    many = [
        case(f"GRID-{k:05}", verdict="fail", nonconforming=2, reason="2 of 80 trials are nonconforming, 0 were planned. " * 6)
        if k % step == 0 and failing
        else case(f"GRID-{k:05}")
        for k in range(n)
    ]
    failed = sum(each["verdict"] == "fail" for each in many)
    counts = {
        "planned": n,
        "selected": n,
        "executed": n,
        "repeated": 0,
        "passed": n - failed,
        "failed": failed,
        "not_shown": 0,
        "not_judged": 0,
    }
    requirement = {
        "id": "URS-12",
        "text": "All",
        "listed": True,
        "cases": [each["id"] for each in many],
        "verified_by": None,
        "state": "failed",
    }
    return record(cases=many, counts=counts, partial=False, partial_because=[], requirements=[requirement], figures=figures()[:8])
