"""`stationtest show`: a record for people, in the terminal."""

from __future__ import annotations

import argparse

from stationtest.commands import composition
from stationtest.commands.verdicts import print_facts, print_verdicts
from stationtest.errors import EXIT_PASS


def body(args: argparse.Namespace) -> int:
    from stationtest.engine import records

    record = records.read(args.record)
    print_facts(record)
    for line in composition.lines(record):
        print(line)
    print_verdicts(record)
    return EXIT_PASS
