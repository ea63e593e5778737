"""`stationtest plugins`: the parts that are present, and the packages that bring them."""

from __future__ import annotations

import argparse

from stationtest import plugins
from stationtest.commands.terminal import table
from stationtest.errors import EXIT_PASS


def body(args: argparse.Namespace) -> int:
    parts = plugins.load()
    brought = {what.rpartition(" ")[0]: f"{fact.package} {fact.version}" for fact in parts.plugins for what in fact.provides}
    rows = [
        (kind, name, str(part.version), brought[f"{kind} {name}"])
        for kind, named in parts.kinds()
        for name, part in named.items()
    ]
    table(("kind", "name", "version", "brought by"), rows)
    return EXIT_PASS
