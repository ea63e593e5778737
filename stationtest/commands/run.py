"""`stationtest run`: judge the cases, write a record and a report."""

from __future__ import annotations

import argparse
import os

from stationtest import plugins
from stationtest.commands.terminal import progress
from stationtest.commands.verdicts import print_verdicts
from stationtest.errors import EXIT_NOT_PASS, EXIT_PASS


def body(args: argparse.Namespace) -> int:
    from stationtest.engine import running, saving
    from stationtest.files import paths, suite
    from stationtest.report.page import render

    manager = plugins.manager()
    parts = plugins.load(manager)
    listeners = plugins.Listeners(manager)
    readings = [paths.typed(args.station, path) for path in args.readings or ()]
    found = suite.load(args.station, allow_outside=args.allow_outside, expectations=parts.expectations, readings=readings)
    if args.output is not None:
        saving.must_be_new(args.output)  # better told now than after the work
    with progress() as show:
        done = running.run(
            found,
            parts,
            only=args.only,
            workers=args.workers,
            executor=args.executor,
            door="cli",
            command=args.argv,
            listeners=listeners,
            progress=show,
        )
        folder = saving.save(done, args.output or saving.run_folder(found, done.record), render)
    listeners.tell("run_finished", record=done.record, folder=folder)
    print_verdicts(done.record)
    print(f"report: {os.path.join(folder, 'report.html').removeprefix('./')}")
    return EXIT_PASS if done.record["result"]["verdict"] == "pass" else EXIT_NOT_PASS
