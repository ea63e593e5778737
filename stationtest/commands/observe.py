"""`stationtest observe`: what is seen in recordings, a row for each presentation and channel."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from stationtest import plugins
from stationtest.commands.terminal import progress, table
from stationtest.errors import EXIT_PASS, usage

MOST_ROWS = 40


def body(args: argparse.Namespace) -> int:
    from stationtest.engine import observation_table, running
    from stationtest.files import paths, safe_write, suite

    parts = plugins.load()
    named = [paths.typed(args.station, path) for path in args.recordings]
    if named:
        found = suite.load_station(args.station, allow_outside=args.allow_outside, readings=named)
    else:
        found = suite.load(args.station, allow_outside=args.allow_outside, expectations=parts.expectations)
    keys = named or list(found.readings())
    if len(keys) != 1 and (args.csv or args.parquet):
        raise usage(f"--csv and --parquet write one recording; name one of: {', '.join(keys)}")
    with progress() as show:
        observed = running.observe_all(
            found, parts, list(dict.fromkeys(keys)), workers=args.workers, executor=args.executor, progress=show
        )
    for key in observed:
        if args.csv == "-":
            sys.stdout.flush()
            observation_table.write_csv(found.station, observed[key], sys.stdout.buffer)
        elif args.csv:
            with safe_write.streamed(args.csv) as file:
                observation_table.write_csv(found.station, observed[key], file)
        if args.parquet:
            safe_write.write(args.parquet, observation_table.parquet_bytes(found.station, observed[key]))
        if not args.csv and not args.parquet:
            _print(observation_table.table(found.station, observed[key]))
            for note in observed[key].notes:
                print(f"note: {note}")
    return EXIT_PASS


def _print(whole: Any) -> None:
    """The beginning of a table (pyarrow.Table): a long one is of no use in a terminal."""
    names = whole.column_names
    rows = [[_cell(row[name]) for name in names] for row in whole.slice(0, MOST_ROWS).to_pylist()]
    table(names, rows)
    if whole.num_rows > MOST_ROWS:
        print(f"the first {MOST_ROWS} of {whole.num_rows} rows; --csv FILE or --csv - gives all")


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.6g}" if isinstance(value, float) else str(value)
