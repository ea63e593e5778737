"""`stationtest plan`: what each case needs, what its readings offer, and what is still to be presented."""

from __future__ import annotations

import argparse

from stationtest import plugins
from stationtest.commands.terminal import progress, table
from stationtest.errors import EXIT_PASS


def body(args: argparse.Namespace) -> int:
    from stationtest.engine import planning, running
    from stationtest.files import suite

    parts = plugins.load()
    found = suite.load(args.station, allow_outside=args.allow_outside, expectations=parts.expectations)
    with progress() as show:
        observed = running.observe_all(found, parts, found.readings(), progress=show)
    rows = planning.plan(found, observed, parts)
    counts = [
        (row["id"], row["needs"], "" if row["found"] is None else str(row["found"]), _still(row["still"]), row["verdict"] or "")
        for row in rows
    ]
    table(("case", "needs", "found", "still to present", "verdict so far"), counts)
    risks = {row["risks"]: row["needs"] for row in rows if row["risks"]}
    print()
    for words, needs in risks.items():
        print(f"{needs}: {words}")
    wanted = [(row["id"], line) for row in rows for line in row["shopping"]]
    print()
    print("still to be presented:" if wanted else "nothing is still to be presented")
    for case, line in wanted:
        print(f"  {case}: {line}")
    return EXIT_PASS


def _still(number: int | None) -> str:
    return "" if number is None else str(number)
