"""`stationtest selftest`: known answers, computed on this computer."""

from __future__ import annotations

import argparse

from stationtest import selftest
from stationtest.commands.terminal import table
from stationtest.errors import EXIT_NOT_PASS, EXIT_PASS


def body(args: argparse.Namespace) -> int:
    found = selftest.run()
    rows = [
        ("ok" if check["passed"] else "WRONG", check["name"], str(check["checks"]), check["source"]) for check in found["checks"]
    ]
    table(("", "known answers", "values", "published in"), rows)
    print(
        "All known answers came out right." if found["passed"] else "A known answer came out wrong: trust nothing computed here."
    )
    return EXIT_PASS if found["passed"] else EXIT_NOT_PASS
