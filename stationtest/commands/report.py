"""`stationtest report`: the page of a record, drawn again."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

from stationtest.errors import EXIT_PASS


def body(args: argparse.Namespace) -> int:
    from stationtest.engine import records
    from stationtest.files import safe_write

    record = records.read(args.record)
    if args.output == "-":
        sys.stdout.write(records.page(record, Path(os.devnull, "page")).decode())
        return EXIT_PASS
    folder = args.record if os.path.isdir(args.record) else os.path.dirname(args.record)
    target = args.output or os.path.join(folder, "report.html")
    safe_write.write(target, records.page(record, Path(target)))
    print(f"report: {target}")
    return EXIT_PASS
