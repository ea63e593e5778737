"""`stationtest new`: a small station with comments, to start from."""

from __future__ import annotations

import argparse
import os

from stationtest.commands import starter
from stationtest.errors import EXIT_PASS


def body(args: argparse.Namespace) -> int:
    from stationtest.engine.saving import write_folder

    write_folder(args.folder, {path: text.encode() for path, text in starter.files().items()})
    for path in starter.files():
        print(f"wrote {os.path.join(args.folder, path)}")
    print(f"Next: stationtest check {args.folder}; then stationtest run {args.folder}")
    return EXIT_PASS
