"""A record as rows of text: cases, requirements, settings, sources, inputs. Nothing is judged or measured here."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from stationtest.report.wording import VERDICT_WORDS, count, decimal, duration, percent, percent_up, shortened, slug

DETAILED = 120
"""Cases that stand in full: those that do not pass first, then passing ones, each in the order of the files."""

RULE = (
    f"At most {DETAILED} cases stand in full: those that do not pass first, then those that pass, in the order of the files. "
    "Every case has its row in the table; the record has all of each."
)

_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]")


def clean(value: Any) -> Any:
    """The same value with control and direction-changing characters as codes, so that no name can hide or turn text."""
    if isinstance(value, str):
        return _CONTROL.sub(lambda found: f"\\u{ord(found[0]):04x}", value) if _CONTROL.search(value) else value
    if isinstance(value, dict):
        return {clean(key): clean(part) for key, part in value.items()}
    if isinstance(value, list):
        return [clean(part) for part in value]
    return value


@dataclass(frozen=True, slots=True)
class CaseRow:
    """One line of the table of cases. `key` is the fragment of its details, '' where there are none."""

    key: str
    id: str
    title: str
    slug: str
    verdict: str
    basis: str
    requirements: str
    trials: str
    nonconforming: int
    not_judged: int
    shown: str
    reason: str


@dataclass(frozen=True, slots=True)
class SettingsTable:
    """One part of the settings: channels, outputs, and so on."""

    name: str
    head: tuple[str, ...]
    rows: list[tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class CaseView:
    """One case in full: its row, the record's own dictionary, its strata as a table, and its figures. A figure stands with the
    first case that names it; `elsewhere` are those that stand with an earlier one."""

    row: CaseRow
    case: dict[str, Any]
    head: tuple[str, ...]
    strata: tuple[tuple[str, ...], ...]
    conditions: tuple[tuple[str, ...], ...]
    figures: tuple[dict[str, Any], ...]
    elsewhere: tuple[dict[str, Any], ...]
    unit: str


def cases(result: dict[str, Any]) -> tuple[list[CaseRow], list[CaseRow], list[CaseView]]:
    """(rows of cases that do not pass, rows of those that do, cases in full)."""
    others = [case for case in result["cases"] if case["verdict"] != "pass"]
    passing = [case for case in result["cases"] if case["verdict"] == "pass"]
    full = [*others, *passing][:DETAILED]
    keys = {case["id"]: f"case-{place}" for place, case in enumerate(full, 1)}
    figures = {figure["id"]: figure for figure in result["figures"]}
    views = []
    drawn: set[str] = set()
    for case in full:
        named = [figures[key] for key in case["figures"] if key in figures]
        first = tuple(figure for figure in named if figure["id"] not in drawn)
        again = tuple(figure for figure in named if figure["id"] in drawn)
        drawn.update(figure["id"] for figure in first)
        views.append(CaseView(_row(case, keys), case, *_strata(case), _conditions(case), first, again, _unit(case)))
    return [_row(case, keys) for case in others], [_row(case, keys) for case in passing], views


def _unit(case: dict[str, Any]) -> str:
    """What one trial is, in a word: a presentation between targets is a stretch between."""
    present = case["present"]
    return "stretch between" if isinstance(present, dict) and "between" in present else str(case["unit"])


def _row(case: dict[str, Any], keys: dict[str, str]) -> CaseRow:
    key = keys.get(case["id"], "")
    reason = "" if key or case["verdict"] == "pass" else case["reason"]
    reason = shortened(reason)
    return CaseRow(
        key=key,
        id=case["id"],
        title=case["title"],
        slug=slug(case["verdict"]),
        verdict=VERDICT_WORDS.get(case["verdict"] or "not run", str(case["verdict"])),
        basis=case["basis"] if case["state"] == "executed" else "",
        requirements=", ".join(case["requirements"]),
        trials=f"{count(case['conforming'])} of {count(case['found'])}",
        nonconforming=case["nonconforming"],
        not_judged=case["not_judged"],
        shown=_shown(case),
        reason=reason,
    )


def _shown(case: dict[str, Any]) -> str:
    """The least that any part of the case shows, and of what it was asked."""
    if case["state"] != "executed":
        return ""
    asked = case["asked"]
    bounds = [part["lower_bound"] for part in case["strata"] if part["lower_bound"] is not None]
    if asked["duration_ns"] is not None:
        times = [part["duration_ns"] for part in case["strata"] if part["duration_ns"] is not None]
        return f"{duration(min(times))} of {duration(asked['duration_ns'])}" if times else ""
    if bounds and asked["reliability"] is not None:
        places = 2 if asked["reliability"] <= 0.999 else 4  # as many as a demand may have
        return f"{percent(min(bounds), places)} of {percent(asked['reliability'], places)}"
    return f"{percent(min(bounds))}" if bounds else ""


def _strata(case: dict[str, Any]) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Head and rows of the evidence table, with the columns that hold something."""
    columns: list[tuple[str, Any]] = [
        ("part", lambda s: s["label"]),
        ("planned", lambda s: count(s["planned"])),
        ("found", lambda s: count(s["found"])),
        ("conforming", lambda s: count(s["conforming"])),
        ("nonconforming", lambda s: count(s["nonconforming"])),
        ("not judged", lambda s: count(s["not_judged"])),
        ("specimens", lambda s: count(s["specimens"])),
        ("least shown specimen", lambda s: _least(s)),
        ("judged time", lambda s: duration(s["duration_ns"])),
        ("events", lambda s: count(s["events"])),
        ("at most, an hour", lambda s: decimal(None if s["rate_bound_per_s"] is None else s["rate_bound_per_s"] * 3600)),
        ("at least conform", lambda s: percent(s["lower_bound"])),
        ("at most conform", lambda s: percent_up(s["upper_bound"])),
        ("verdict", lambda s: VERDICT_WORDS[s["verdict"]]),
    ]
    kept = [
        (name, text)
        for name, text in columns
        if name in ("part", "found", "conforming", "nonconforming", "not judged", "verdict")
        or any(text(part) != "–" for part in case["strata"])
    ]
    rows = tuple(tuple(text(part) for _, text in kept) for part in case["strata"])
    return tuple(name for name, _ in kept), rows


def _conditions(case: dict[str, Any]) -> tuple[tuple[str, ...], ...]:
    """Trials by condition: its name, a value of it, and the counts."""
    counts = ("trials", "conforming", "nonconforming", "not_judged")
    found = case.get("by_condition", [])
    return tuple((part["condition"].replace("_", " "), part["value"], *(count(part[key]) for key in counts)) for part in found)


def _least(stratum: dict[str, Any]) -> str:
    if stratum["least_shown"] is None:
        return "–"
    bound = stratum["least_shown_bound"]
    words = f"{count(stratum['least_shown'])} trial{'' if stratum['least_shown'] == 1 else 's'}"
    return words if bound is None else f"{words}, at least {percent(bound)}"


REQUIREMENT = {
    "shown": ("pass", "Shown"),
    "failed": ("fail", "Failed"),
    "not shown": ("not-shown", "Not shown"),
    "verified otherwise": ("not-run", "Verified otherwise"),
    "not covered": ("not-judged", "Not covered"),
}


def requirements(result: dict[str, Any]) -> list[dict[str, Any]]:
    verdicts = {case["id"]: slug(case["verdict"]).replace("-", " ") for case in result["cases"]}
    rows = []
    for requirement in result["requirements"]:
        mark, words = REQUIREMENT[requirement["state"]]
        rows.append(
            {
                **requirement,
                "slug": mark,
                "words": words,
                "by": [(case, verdicts.get(case, "not run")) for case in requirement["cases"][:SHOWN_CASES]],
                "more": max(0, len(requirement["cases"]) - SHOWN_CASES),
            }
        )
    return rows


SHOWN_CASES = 40
"""Cases named beside a requirement; the table of cases names its requirements, so none is lost."""


def unasked(result: dict[str, Any]) -> list[str]:
    """Cases that name no requirement: the other way of coverage."""
    return [case["id"] for case in result["cases"] if not case["requirements"]]


WIDEST = 9
"""Columns of a table of settings; a mapping with more different keys is laid out one name below the other."""


def settings(written: dict[str, Any]) -> tuple[list[tuple[str, str]], list[SettingsTable]]:
    """(single values, tables): a mapping of mappings becomes a table with a row a name and a column a key."""
    single, tables = [], []
    for key, value in written.items():
        if not isinstance(value, dict) or not value or not all(isinstance(part, dict) for part in value.values()):
            single.append((key, inline(value)))
            continue
        stated = {name: {word: each for word, each in part.items() if each is not None} for name, part in value.items()}
        columns = tuple(dict.fromkeys(word for part in stated.values() for word in part))
        if len(columns) <= WIDEST:
            rows = [(name, *(inline(part.get(word, "")) for word in columns)) for name, part in stated.items()]
            tables.append(SettingsTable(key, ("name", *columns), rows))
        else:
            tables.append(SettingsTable(key, ("name", "stated"), [(name, inline(part)) for name, part in stated.items()]))
    return single, tables


CORRECTION = ("recording", "where", "what", "was", "is", "by", "when", "why")


def settings_compared(result: dict[str, Any]) -> list[tuple[str, ...]]:
    """Each setting that was read back beside what station.yaml declares."""
    read = result.get("settings_as_found") or {"compared": []}
    return [
        (one["setting"], one["key"], one["declared"], one["found"], inline(one["after"]), "yes" if one["agrees"] else "NO")
        for one in read["compared"]
    ]


def composed_of(source: dict[str, Any]) -> list[SettingsTable]:
    """Tables, clocks and signals of a recording of several tables; [] for one table, and in older records."""
    found = source.get("composed_of")
    if not found:
        return []
    tables: list[tuple[str, ...]] = [
        (one["name"], one["path"], one["kind"], one["clock"], one["layout"] or "", one["rows_are"] or "",
         duration(one["resolution_ns"]), duration(one["within_ns"]))
        for one in found["tables"]
    ]  # fmt: skip
    clocks: list[tuple[str, ...]] = [
        (one["clock"], one["to"], f"{one['offset_s']} s", f"{one['drift_ppm']} ppm", duration(one["within_ns"]),
         inline(one["found_by"]))
        for one in found["clocks"]
    ]  # fmt: skip
    signals: list[tuple[str, ...]] = [(one["name"], one["kind"], one["table"], logged_as(one)) for one in found["signals"]]
    of = f"of {source['key']}"
    made = (
        SettingsTable(
            f"Tables {of}", ("table", "file", "holds", "clock", "layout", "rows are", "in steps of", "known within"), tables
        ),
        SettingsTable(
            f"Clocks {of}, each an instant t as t + offset + drift × (t − first row) on another",
            ("clock", "to", "offset", "drift", "within", "found by"), clocks,
        ),
        SettingsTable(f"Signals {of} and what the logs call them", ("signal", "kind", "table", "logged as"), signals),
    )  # fmt: skip
    return [table for table in made if table.rows]


def logged_as(signal: dict[str, Any]) -> str:
    """'Q41', 'M7 bit 3, inverted', 'MatchNo where it is 5'."""
    bit = "" if signal["bit"] is None else f" bit {signal['bit']}"
    number = "" if signal["equals"] is None else f" where it is {signal['equals']}"
    return f"{signal['logged_as']}{bit}{number}{', inverted' if signal['inverted'] else ''}"


def inline(value: Any, depth: int = 0) -> str:
    """A value of a file in one line, in the file's own words."""
    if isinstance(value, dict):
        inside = ", ".join(f"{key}: {inline(part, depth + 1)}" for key, part in value.items())
        return f"{{{inside}}}" if depth else inside
    if isinstance(value, list):
        inside = ", ".join(inline(part, depth + 1) for part in value)
        return f"[{inside}]" if depth or not value else inside
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def checksums(inputs: Iterable[dict[str, Any]]) -> str:
    """The list that `sha256sum -c` reads, one file a line."""
    return "\n".join(f"{part['sha256']}  {part['path']}" for part in inputs)
