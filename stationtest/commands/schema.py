"""`stationtest schema`: the JSON Schemas of the files."""

from __future__ import annotations

import argparse
import json

from stationtest.errors import EXIT_PASS


def body(args: argparse.Namespace) -> int:
    from stationtest import plugins
    from stationtest.files import schema

    expectations = plugins.load().expectations
    if args.write is not None:
        for path in schema.write(args.write, expectations):
            print(f"wrote {path}")
        return EXIT_PASS
    found = schema.schemas(expectations)
    print(json.dumps(found[args.name] if args.name else found, indent=2, ensure_ascii=False))
    return EXIT_PASS
