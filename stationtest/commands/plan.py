"""`stationtest plan`: what each case needs, what its readings offer, and what is still to be presented."""

from __future__ import annotations

import argparse

from stationtest import plugins
from stationtest.commands.terminal import progress, table
from stationtest.errors import EXIT_PASS
from stationtest.files.words import duration_text


def body(args: argparse.Namespace) -> int:
    from stationtest.engine import planning, running
    from stationtest.files import suite

    parts = plugins.load()
    found = suite.load(args.station, allow_outside=args.allow_outside, expectations=parts.expectations)
    with progress() as show:
        observed = running.observe_all(found, parts, found.readings(), progress=show)
    rows = planning.plan(found, observed, parts)
    counts = [
        (
            row["id"], row["needs"], _amount(row["found"], row["found_ns"]), _amount(row["still"], row["still_ns"]),
            row["verdict"] or "",
        )
        for row in rows
    ]  # fmt: skip
    table(("case", "needs", "found", "still to present", "verdict so far"), counts)
    print()
    for words in dict.fromkeys(row["risks"] for row in rows if row["risks"]):
        print(words)
    wanted = [(row["id"], line) for row in rows for line in row["shopping"]]
    print()
    serves = "still to be presented; what is presented counts for every case that asks for it:"
    print(serves if wanted else "nothing is still to be presented")
    for case, line in wanted:
        print(f"  {case}: {line}")
    return EXIT_PASS


def _amount(number: int | None, duration_ns: int | None) -> str:
    """In the unit in which the case asks for evidence."""
    if duration_ns is not None:
        return duration_text(duration_ns)
    return "" if number is None else str(number)
