"""record → one self-contained HTML page: no script, no request, the same bytes for the same record.

The page forbids everything but its own style (by digest) and images inside it, so that text from a file can do no harm even if an
escape were ever missed.
"""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from stationtest.report import drawings, front, rows, rule, wording

TEMPLATES = Path(__file__).parent / "templates"
FILTERS = ("count", "decimal", "duration", "in_short", "percent", "plural", "seconds", "size", "slug", "listed", "shortened")


def render(record: dict[str, Any]) -> str:
    """The page of a record (model/record.py). A pure function: reads its own templates, and no clock, file or network."""
    record = rows.clean(record)
    run, result = record["run"], record["result"]
    others, passing, full = rows.cases(result)
    single, tables = rows.settings(result["station"]["settings"])
    style = style_sheet(run["id"], result["station"]["name"], front.marks(result))
    in_cases = {figure["id"] for view in full for figure in view.figures}
    return (
        environment()
        .get_template("page.html")
        .render(
            record=record,
            run=run,
            result=result,
            station=result["station"],
            headline=front.headline(record),
            notices=front.notices(result),
            facts=front.facts(run),
            most_against=front.MOST_AGAINST,
            on_what=front.on_what(result),
            how_sure=front.how_sure(result),
            basis_words=front.BASIS,
            others=others,
            passing=passing,
            full=full,
            detail_rule=rows.RULE,
            passing_open=len(passing) <= 200,
            requirements=rows.requirements(result),
            composed_of=rows.composed_of,
            unasked=rows.unasked(result),
            correction_head=rows.CORRECTION,
            corrections=[tuple(each[key] or "–" for key in rows.CORRECTION) for each in result.get("corrections", [])],
            settings_read=result.get("settings_as_found"),
            settings_compared=rows.settings_compared(result),
            single=single,
            tables=tables,
            rules=rule.rules(result),
            verdicts=rule.VERDICTS,
            cautions=rule.CAUTIONS,
            checksums=rows.checksums(result["inputs"]),
            run_figures=[figure for figure in result["figures"] if figure["kind"] != "trace" and figure["id"] not in in_cases],
            verdict_words=wording.VERDICT_WORDS,
            style=Markup(style),
            style_digest=base64.b64encode(hashlib.sha256(style.encode()).digest()).decode(),
        )
    )


@cache
def environment() -> Environment:
    """The templates with their filters, made once."""
    made = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    made.filters.update({name: getattr(wording, name) for name in FILTERS})
    made.filters["inline"] = rows.inline
    made.tests["figures"] = wording.figures
    made.globals.update(draw=drawings.draw, behind=drawings.behind)
    return made


def style_sheet(record_id: str, station: str, marks: str) -> str:
    """The style sheet with the head of every printed sheet: station, record, and what must be known of each sheet."""
    text = (TEMPLATES / "style.css").read_text(encoding="utf-8")
    left = f"{station}   {marks}" if marks else station
    return text.replace('"@station@"', _css_string(left)).replace('"@record@"', _css_string(f"record {record_id}"))


def _css_string(text: str) -> str:
    """Text as a CSS string in which nothing but letters and digits stands for itself."""
    kept = text[:80]
    return '"' + "".join(c if c.isascii() and (c.isalnum() or c in " -.") else f"\\{ord(c):06x} " for c in kept) + '"'
