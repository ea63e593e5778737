"""`stationtest report`: the page of a record, drawn again."""

from __future__ import annotations

import argparse
import os
import sys
from typing import Any, cast

from stationtest.errors import EXIT_PASS


def body(args: argparse.Namespace) -> int:
    from stationtest import public
    from stationtest.report.page import render

    record = public.read_record(args.record)
    if args.output == "-":
        sys.stdout.write(render(cast("dict[str, Any]", record)))
        return EXIT_PASS
    folder = args.record if os.path.isdir(args.record) else os.path.dirname(args.record)
    target = args.output or os.path.join(folder, "report.html")
    public.write_report(record, target)
    print(f"report: {target}")
    return EXIT_PASS
