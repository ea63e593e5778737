"""Records to try the page on: made by hand, with every verdict, every figure, and names that would do harm if they were believed.

The numbers are invented for trying the page. They are no claim about any station.
"""

from __future__ import annotations

import math
import random
from typing import Any

HOSTILE = '<script>alert(1)</script>"\'&amp;</style></title>'
FORMULA = '=HYPERLINK("http://example.invalid/?"&A1,"click")'
LONG = "sachet-" + "very-" * 60 + "long"
UMLAUTS = "Prüfling Größe Ä 日本 العربية"

TARGETS = ["mint", "sage", "chamomile", "rooibos", "bare belt"]
CHANNELS = ["1", "2", "3", "4"]
SECOND = 1_000_000_000


def asked(**changes: Any) -> dict[str, Any]:
    return {
        "reliability": 0.95, "confidence": 0.95, "of": "presentations", "presented": None, "specimens_at_least": None, "trials": None,
        "nonconforming_at_most": 0, "not_judged_at_most": 0.0, "pooled": False, "duration_ns": None, "runs": None,
        "words": "at least 95 % of presentations conform, at 95 % confidence: 59 trials of each part, none nonconforming",
    } | changes  # fmt: skip


def worst(label: str = "mint, specimen 14", at_ns: int | None = 83_412_000_000, **changes: Any) -> dict[str, Any]:
    return {
        "source": "recordings/day1.parquet", "index": 41, "label": label, "at_ns": at_ns, "at": "83.412 s", "channel": "3",
        "value": -0.18, "unit": "", "text": f"{label}, at 83.412 s: channel 3 was on for 22 ms, held over from chamomile",
    } | changes  # fmt: skip


def stratum(label: str, **changes: Any) -> dict[str, Any]:
    return {
        "label": label, "planned": 59, "found": 80, "conforming": 80, "nonconforming": 0, "not_judged": 0, "specimens": 4,
        "least_shown": 19, "lower_bound": 0.9505, "upper_bound": 1.0, "least_shown_bound": 0.8541, "duration_ns": None, "events": None,
        "rate_bound_per_s": None, "verdict": "pass", "reason": "",
    } | changes  # fmt: skip


def case(key: str, **changes: Any) -> dict[str, Any]:
    return {
        "id": key, "title": "Each sachet fires its own channel and no other", "file": "cases/recognition.case.yaml", "line": 12,
        "requirements": ["URS-12"], "tags": [], "do": None, "statement": "Presented: mint, sage. Expected: its own channel only.",
        "present": ["mint", "sage"], "where": {},
        "expect": [{"name": "own_channel_only", "written": "yes", "version": 1,
                    "words": "the channels that should be on fired for sure, all others of that sensor were silent for sure"}],
        "unit": "presentation", "readings": ["recordings/day1.parquet"], "asked": asked(), "state": "executed", "attempts": 1,
        "verdict": "pass", "basis": "recorded", "basis_asked": None, "reason": "", "planned": 118, "found": 160, "conforming": 160,
        "claim": "At least 95 % of presentations of these 4 specimens conform, at 95 % confidence.", "nonconforming": 0, "not_judged": 0,
        "left_out": [], "specimens": ["m-01", "m-02", "s-01", "s-02"], "strata": [stratum("mint"), stratum("sage")],
        "expectations": [{"name": "own_channel_only", "nonconforming": 0, "not_judged": 0, "worst": worst(value=0.21)}],
        "nonconforming_trials": [], "figures": [],
    } | changes  # fmt: skip


def cases() -> list[dict[str, Any]]:
    return [
        case("REC-01"),
        case(
            "REC-02", title="Sage is not taken for mint", verdict="fail", basis="computed", requirements=["URS-12", "URS-13"],
            reason="sage: 3 of 80 trials are nonconforming, 0 were planned; neither shown nor refuted. sage, specimen s-02, at 83.412 s: "
            "channel 1 was on for 22 ms",
            conforming=157, nonconforming=3, figures=["trace-1", "trace-2"], claim="sage: between 91.1 % and 98.9 % conform.",
            strata=[stratum("mint"), stratum("sage", conforming=77, nonconforming=3, lower_bound=0.9058, upper_bound=0.9897, verdict="fail")],
            nonconforming_trials=[worst("sage, specimen s-02", text="sage, specimen s-02, at 83.412 s: channel 1 was on for 22 ms"), worst()],
            left_out=[{"why": "a reference was learned from it", "n": 2}],
        ),
        case(
            "BELT-01", title="Nothing switches on the bare belt", verdict="not shown", requirements=["URS-14"],
            asked=asked(reliability=None, confidence=None, duration_ns=600 * SECOND, words="10 min with no event"), present={"between": "bare belt"},
            reason="7 min 12 s were judged of 10 min; 2 min 48 s more are needed.", statement="Presented: the bare belt. Expected: no channel.",
            strata=[stratum("bare belt", planned=None, lower_bound=None, upper_bound=None, least_shown=None, least_shown_bound=None,
                            specimens=None, duration_ns=432 * SECOND, events=0, rate_bound_per_s=0.00693, verdict="not shown")],
        ),
        case("RESP-01", title="Response within 2 ms", verdict="not judged", basis="computed", not_judged=160, conforming=0,
             reason="readings come every 10 ms; a limit of 2 ms is finer", strata=[stratum("mint", conforming=0, not_judged=80, verdict="not judged",
             lower_bound=None, upper_bound=None)]),
        case("HAND-01", title="Hand trials of the label", basis="by hand", readings=["recordings/hand.csv"], requirements=[]),
        case(HOSTILE, title=FORMULA, verdict="fail", reason=HOSTILE, statement=HOSTILE, claim=FORMULA, requirements=[HOSTILE],
             file=HOSTILE, nonconforming=1, nonconforming_trials=[worst(HOSTILE, text=FORMULA)], strata=[stratum(HOSTILE, verdict="fail")],
             specimens=[HOSTILE, FORMULA, LONG], do=HOSTILE, where={HOSTILE: [FORMULA]}),
        case(LONG, title=UMLAUTS + " \u202eturned\u202c \x07bell", state="not run", verdict=None, attempts=0, reason="", found=0, conforming=0,
             strata=[], claim="", specimens=[], expectations=[]),
        case("SET-02.mint", title="A box that lacks mint is thrown out", unit="set", attempts=2, present={"set": "full box", "lacking": "mint"}),
    ]  # fmt: skip


def _cloud(rng: random.Random, middle: tuple[float, float], spread: float, n: int) -> list[list[float]]:
    return [[round(rng.gauss(middle[0], spread), 5), round(rng.gauss(middle[1], spread), 5)] for _ in range(n)]


def figures() -> list[dict[str, Any]]:
    """One figure of each kind, drawn from a seeded generator."""
    rng = random.Random(7)
    middles = {"mint": (0.171, 0.487), "sage": (0.183, 0.492), "chamomile": (0.212, 0.536), "rooibos": (0.248, 0.516), "bare belt": (0.198, 0.468)}
    circle = [(math.cos(k * math.pi / 36), math.sin(k * math.pi / 36)) for k in range(72)]
    plane = {
        "space": "u'v'", "x": "u'", "y": "v'", "sensor": "sachet", "notes": ["Of each target at most 500 points, every k-th in order."],
        "references": [{"channel": c, "target": t, "x": middles[t][0], "y": middles[t][1]} for c, t in zip(CHANNELS, TARGETS, strict=False)],
        "outlines": [{"channel": c, "target": t, "points": [[middles[t][0] + 0.007 * a, middles[t][1] + 0.007 * b] for a, b in circle]}
                     for c, t in zip(CHANNELS, TARGETS, strict=False)],
        "targets": [{"name": t, "n": 80, "points": _cloud(rng, middles[t], 0.0016, 80)} for t in TARGETS],
    }  # fmt: skip
    rows = []
    for place, target in enumerate(TARGETS):
        points = sorted(round(abs(rng.gauss(0.0022 if place == 0 else 0.009 + 0.012 * place, 0.0013)), 5) for _ in range(80))
        five = [points[0], points[4], points[40], points[75], points[79]]
        rows.append({"name": target, "should": "on" if place == 0 else "off", "n": 80, "five": five, "points": points})
    distances = {"channel": "1", "sensor": "sachet", "distance": "CIE 1976 u'v'", "tolerance": 0.007, "off": 0.0077, "targets": rows}
    cells = [[{"should": "on" if c == k else "off", "n": 80, "fired": 80 if c == k else (3 if (k, c) == (1, 0) else 0), "perhaps": 0,
               "silent": 0 if c == k else (77 if (k, c) == (1, 0) else 80), "held_over": 0} for c in range(4)] for k in range(5)]  # fmt: skip
    cells[3][3] = None
    span = [0, 600 * SECOND]
    margins = {
        "source": "recordings/day1.parquet", "span_ns": span,
        "series": [{"name": "must switch on", "n": 320, "below": 0, "points": [[k * 1_870_000_000, round(rng.gauss(0.65, 0.08), 4)] for k in range(320)]},
                   {"name": "must stay off", "n": 960, "below": 3, "points": [[k * 1_870_000_000, round(max(-0.15, rng.gauss(0.5, 0.22)), 4)] for k in range(320)]}],
        "worst": [{"label": "sage, specimen s-02", "channel": "1", "at_ns": 83_412_000_000, "margin": -0.15}],
    }  # fmt: skip
    bars = [0, 2, 8, 21, 40, 61, 72, 58, 31, 16, 7, 3, 1]
    response = {"quantity": "response", "unit": "ms", "edges": [float(k) for k in range(14)], "bars": bars, "n": 320, "beyond": 0, "resolution": 1.0,
                "limits": [{"value": 20.0, "words": "RESP-02: at most 20 ms"}],
                "groups": [{"name": "mint → 1", "n": 80, "least": 2.0, "median": 6.0, "greatest": 12.0}]}  # fmt: skip
    lanes = [{"name": t, "kind": "target", "n": 80, "total_ns": 20 * SECOND, "on": [[(5 * k + j) * 2 * SECOND, (5 * k + j) * 2 * SECOND + SECOND]
              for k in range(60)]} for j, t in enumerate(TARGETS)]  # fmt: skip
    lanes += [{**lane, "name": f"channel {k}", "kind": "channel"} for k, lane in enumerate(lanes[:4], 1)]
    lanes.append({"name": "flap", "kind": "output", "n": 4, "total_ns": SECOND // 2, "on": [[k * 140 * SECOND, k * 140 * SECOND + SECOND] for k in range(1, 5)]})
    lanes.append({"name": "outside everything", "kind": "outside", "n": 1, "total_ns": 30_000_000, "on": [[12_400_000_000, 12_430_000_000]]})
    strip = {"source": "recordings/day1.parquet", "span_ns": span, "joined_ns": 0, "lanes": lanes}

    def figure(key: str, kind: str, title: str, description: str, data: dict[str, Any]) -> dict[str, Any]:
        return {"id": key, "kind": kind, "title": title, "description": description, "data": data}

    return [
        figure("plane-1", "plane", "Colours at sachet", "Where references and readings lie in the plane of u' and v'.", plane),
        figure("distances-1", "distances", "Distances to channel 1", "Least distance of each presentation from mint.", distances),
        figure("matrix-1", "matrix", "Which target switched which channel", "Presentations that fired, of all.", {"channels": CHANNELS, "targets": TARGETS, "cells": cells}),
        figure("margins-1", "margins", "Margin of every trial", "In the order of time.", margins),
        figure("response-1", "response", "Response", "Time from the start of a presentation to the first on-time seen for sure.", response),
        figure("on_time-1", "on_time", "On-time", "Longest unbroken on-time.", {**response, "quantity": "on-time", "limits": []}),
        figure("strip-1", "strip", "The run", "What was presented and what was on.", strip),
        figure("trace-1", "trace", "sage, specimen s-02, at 83.412 s", "Channel 1 was on for 22 ms.", trace(rng)),
        figure("trace-2", "trace", HOSTILE, FORMULA, trace(rng, HOSTILE)),
        figure("later-1", "a kind of a later version", "Later", "Not known to this version.", {"whatever": 1}),
    ]


def trace(rng: random.Random, label: str = "sage") -> dict[str, Any]:
    start, first, last = 83_200_000_000, 83_350_000_000, 83_600_000_000
    times = [start + k * 1_000_000 for k in range(600)]

    def there(t: int) -> float:
        return 1 / (1 + math.exp(-(t - first) / 4e6)) - 1 / (1 + math.exp(-(t - last) / 4e6))

    level = [[t, round(0.08 + 0.5 * there(t) + rng.gauss(0, 0.004), 4)] for t in times]
    ends = {"1": 0.03, "2": 0.55, "3": -0.7, "4": -2.5}
    waves = [{"channel": c, "points": [[t, round(-1.6 + (end + 1.6) * there(t) + rng.gauss(0, 0.03), 4)] for t in times]} for c, end in ends.items()]
    steps = [
        {"name": "1 compares", "kind": "match", "must": [[83_412_000_000, 83_434_000_000]], "can": [[83_412_000_000, 83_434_000_000], [83_500_000_000, 83_506_000_000]]},
        {"name": "channel 1", "kind": "channel", "must": [[83_412_000_000, 83_474_000_000]], "can": [[83_412_000_000, 83_474_000_000]]},
        {"name": "channel 2", "kind": "channel", "must": [[83_356_000_000, 83_640_000_000]], "can": [[83_356_000_000, 83_640_000_000]]},
        {"name": "flap", "kind": "output", "must": [], "can": []},
    ]  # fmt: skip
    return {
        "source": "recordings/day1.parquet", "sensor": "sachet", "span_ns": [start, 83_800_000_000], "at_ns": 83_412_000_000,
        "presented": [{"label": label, "start_ns": first, "end_ns": last, "subject": True},
                      {"label": "mint", "start_ns": 83_780_000_000, "end_ns": 83_800_000_000, "subject": False}],
        "level": level, "closeness": waves, "steps": steps, "points": 600, "of": 600,
    }  # fmt: skip


def source(**changes: Any) -> dict[str, Any]:
    return {
        "key": "recordings/day1.parquet", "kind": "stream", "basis": "recorded", "reader": {"name": "parquet", "version": 1}, "origin": None,
        "zone": None, "period_ns": [1_000_000, 1_000_000, 6_000_000], "rows": 600_000, "first_ns": 0, "end_ns": 600 * SECOND,
        "gaps": [[120 * SECOND, 120 * SECOND + 6_000_000]], "presentations": 320, "expected_presentations": 321, "stretches_between": 321,
        "status_counts": [{"why": "there is a gap in its readings", "n": 1}], "sets": 80, "observed": [],
        "outside": [{"channel": "2", "start_ns": 12_400_000_000, "end_ns": 12_430_000_000}], "outside_count": 1, "outside_ns": 30_000_000,
        "carried_over": [{"output": "box complete", "at_ns": 44_000_000_000}], "notes": [HOSTILE], "tables": [],
    } | changes  # fmt: skip


def settings() -> dict[str, Any]:
    return {
        "station": "tea-sampler-2", "drawing": "rev C", "scan": "worst: 11 ms, input_filter: 3 ms", "inputs": ["box in", "box out"],
        "sensors": {"sachet": {"serial": "demo-A17", "reads": "linear RGB", "dark": ["12", "11", "14"], "level": {"at_least": "30 %", "at_most": "95 %"}}},
        "channels": {c: {"sensor": "sachet", "reference": t, "distance": "CIE 1976 u'v'", "tolerance": "0.007", "hysteresis": "10 %"}
                     for c, t in zip(CHANNELS, [*TARGETS[:3], HOSTILE], strict=True)},
        "outputs": {"box complete": {"all_of": ["1", "2"], "held_until": "box out"}, "flap": {"none_of": ["box complete"], "pulse": "120 ms"}},
    }  # fmt: skip


def record(**changes: Any) -> dict[str, Any]:
    """A whole record: fails, with every verdict in it. `changes` replace keys of the result."""
    result = {
        "verdict": "fail", "simulated": False, "partial": True, "partial_because": ["One case was not selected."],
        "counts": {"planned": 8, "selected": 7, "executed": 7, "repeated": 1, "passed": 3, "failed": 2, "not_shown": 1, "not_judged": 1},
        "station": {"name": "tea-sampler-2", "title": "Tea sampler line 2, sachet and box check", "drawing": None, "settings": settings(),
                    "settings_sha256": "5e" * 32},
        "versions": {"stationtest": "0.1.0", "language": 1, "observing": 1},
        "inputs": [{"path": "station.yaml", "role": "station", "sha256": "ab" * 32, "bytes": 2_345},
                   {"path": f"recordings/{HOSTILE}.csv", "role": "recording", "sha256": "cd" * 32, "bytes": 12_345_678}],
        "sources": [source(), source(key="recordings/hand.csv", kind="trials", basis="by hand", period_ns=None, first_ns=None, end_ns=None, rows=80,
                                     gaps=[], presentations=80, outside=[], outside_count=0, outside_ns=0, carried_over=[], notes=[])],
        "requirements": [
            {"id": "URS-12", "text": "Sachets are told apart", "listed": True, "cases": ["REC-01", "REC-02"], "verified_by": None, "state": "failed"},
            {"id": "URS-14", "text": UMLAUTS, "listed": True, "cases": ["BELT-01"], "verified_by": None, "state": "not shown"},
            {"id": "URS-15", "text": "Short boxes are thrown out", "listed": True, "cases": ["SET-02.mint"], "verified_by": None, "state": "shown"},
            {"id": "URS-20", "text": "The cover is locked", "listed": True, "cases": [], "verified_by": "inspection", "state": "verified otherwise"},
            {"id": "URS-21", "text": "Nobody asked", "listed": True, "cases": [], "verified_by": None, "state": "not covered"},
            {"id": HOSTILE, "text": FORMULA, "listed": False, "cases": [HOSTILE], "verified_by": None, "state": "failed"},
        ],
        "cases": cases(), "figures": figures(), "limits": ["Nothing is claimed about specimens that were not presented."],
    } | changes  # fmt: skip
    run = {
        "id": "2026-11-25T09-20-00Z-3f2a91c0", "door": "cli", "command": ["stationtest", "run", HOSTILE], "started": "2026-11-25T09:20:00Z",
        "ended": "2026-11-25T09:20:03Z", "seconds": 3.1, "workers": 0,
        "facts": {"who": HOSTILE, "role": "commissioning", "stage": "SAT", "site": None, "line": "2", "shift": UMLAUTS},
        "tool": {"name": "stationtest", "version": "0.1.0", "python": "3.11.7", "platform": "Linux x86_64", "observing": 1, "language": 1,
                 "packages": [{"name": "numpy", "version": "2.3"}]},
        "plugins": [], "selftest": {"passed": True, "checks": [{"name": "CIEDE2000", "passed": True, "checks": 34, "source": "Sharma, Wu, Dalal 2005"}]},
        "environment": {"processors": "2"}, "python_tests": None,
    }  # fmt: skip
    return {"format": "stationtest record", "version": "1.0", "result_sha256": "9c" * 32, "run": run, "result": result}


def clean_record() -> dict[str, Any]:
    """Everything passes, whole, with all facts."""
    made = record(
        verdict="pass", partial=False, partial_because=[], cases=[case(f"REC-{k:02}") for k in range(1, 6)], figures=figures()[:7],
        counts={"planned": 5, "selected": 5, "executed": 5, "repeated": 0, "passed": 5, "failed": 0, "not_shown": 0, "not_judged": 0},
    )  # fmt: skip
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
    counts = {"planned": n, "selected": n, "executed": n, "repeated": 0, "passed": n - failed, "failed": failed, "not_shown": 0, "not_judged": 0}
    requirement = {"id": "URS-12", "text": "All", "listed": True, "cases": [each["id"] for each in many], "verified_by": None, "state": "failed"}
    return record(cases=many, counts=counts, partial=False, partial_because=[], requirements=[requirement], figures=figures()[:8])
