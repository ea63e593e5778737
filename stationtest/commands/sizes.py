"""`stationtest sizes`: how many trials show a reliability, and both risks."""

from __future__ import annotations

import argparse

from stationtest.commands.terminal import table
from stationtest.errors import EXIT_PASS


def body(args: argparse.Namespace) -> int:
    from stationtest.engine import planning

    headers, rows, words = planning.sizes(args.reliability, args.confidence, args.nonconforming)
    table(headers, rows)
    print(words)
    return EXIT_PASS
