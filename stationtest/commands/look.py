"""`stationtest look`: a recording in words; for one that nobody declared, a proposal to paste. Nothing is written unasked."""

from __future__ import annotations

import argparse
import os
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stationtest import plugins
from stationtest.errors import EXIT_PASS, UsageError, usage
from stationtest.files.words import drift_text, duration_text, listed, shown

if TYPE_CHECKING:
    from stationtest.model.case import Suite
    from stationtest.sources.looking import Looked

ROWS = 3
MOST_WORDS = 8


def body(args: argparse.Namespace) -> int:
    from stationtest.files.paths import NOT_A_FILE, is_endless
    from stationtest.sources import looking, proposing

    for path in (args.recording, *([args.other] if args.other else [])):
        if is_endless(path):
            raise usage(f"{NOT_A_FILE}; found {shown(path)}", "unreadable")
        if not os.path.isfile(path):
            raise usage(f"there is no file {shown(path)}", "no-file")
    suite, key = _station_of(args.recording)
    if suite is not None and not args.other and _declared(suite, key):
        from stationtest.commands import understood

        for line in understood.lines(suite, key, plugins.load()):
            print(line)
        if args.picture:
            _draw([looking.look(Path(suite.folder) / file, file) for file in _files(suite, key)], args.picture)
        return EXIT_PASS
    station = suite.station if suite else None
    found = looking.look(Path(args.recording), key)
    for line in _words(found):
        print(line)
    print()
    if args.other:
        other = looking.look(Path(args.other), _station_of(args.other)[1])
        for line in _words(other):
            print(line)
        print()
        for line in _synced((found, args.recording), (other, args.other), station):
            print(line)
        found_in = [found, other]
    elif found.log:
        print("# a log of signals holds no readings, so it is no recording alone, but a table beside the log of a sensor:")
        print("# this finds how their clocks lie to each other, and proposes a file for both:")
        print(f"# stationtest look SENSOR_LOG {args.recording}")
        found_in = [found]
    else:
        if station is not None and station.recordings:
            print("# a proposal, to be read and then pasted below `recordings:` of station.yaml; an entry that comes first wins")
        else:
            print("# a proposal, to be read and then pasted into station.yaml")
            print("recordings:")
        for line in proposing.entry(found, station):
            print(line)
        found_in = [found]
    if args.picture:
        _draw(found_in, args.picture)
    return EXIT_PASS


def _station_of(path: str) -> tuple[Suite | None, str]:
    """The station in whose folder a file lies, if any, and the file's path in it."""
    from stationtest.files import suite

    try:
        folder = suite.find_station(os.path.dirname(path) or ".")
    except UsageError:
        return None, os.path.basename(path)
    key = os.path.relpath(os.path.realpath(path), os.path.realpath(folder)).replace(os.sep, "/")
    return suite.load_station(folder), key


def _declared(suite: Suite, key: str) -> bool:
    from stationtest.files.paths import matches
    from stationtest.model.endings import has_tables

    return has_tables(key) or any(matches(key, form.pattern) for form in suite.station.recordings)


def _files(suite: Suite, key: str) -> list[str]:
    """The files of a declared recording that hold a table, each once."""
    from stationtest.files import recording_file
    from stationtest.files.paths import Folder
    from stationtest.model.endings import has_tables

    if not has_tables(key):
        return [key]
    tables = recording_file.opened(Folder(suite.folder), key, suite.station).tables
    return list(dict.fromkeys(table.path for table in tables))


def _words(found: Looked) -> Iterator[str]:
    """What was found, in words."""
    from stationtest.sources.looking import on_and_off

    seen = len(found.columns[0].cells)
    part = "" if found.whole else f", of which the first {seen} were looked at"
    yield f"{found.path}: {found.rows} rows and {len(found.columns)} columns{part}"
    if not found.path.endswith(".parquet"):
        form = found.form
        told = [f"separator {form.get('separator', 'comma')}", f"decimal {form.get('decimal', 'point')}"]
        told.append(f"encoding {form.get('encoding', 'utf-8')}")
        told += [f"{form['skip_lines']} lines before the header"] if "skip_lines" in form else []
        told += ["a line of units under it"] if "units_line" in form else []
        yield f"  written with {listed(told)}"
    if found.counter is not None:
        yield f"  no time: column {found.counter.name} is one more in each row, so it numbers trials"
    elif found.time is None:
        yield "  time: no column rises from row to row"
    elif found.log:
        grid = f", on a grid of {duration_text(found.time.grid_ns)}" if found.time.grid_ns else ""
        yield f"  time: column {found.time.column.name} in {found.time.unit} ({found.time.why}){grid}"
        yield from _signals(found)
    else:
        time, (least, most) = found.time, found.time.steps
        gaps = f"{time.gaps} gaps above {duration_text(time.gap_ns)}" if time.gaps else "no gap"
        gaps += "" if found.whole else f" in the first {seen} rows"
        yield f"  time: column {time.column.name} in {time.unit} ({time.why})"
        yield f"  a row every {duration_text(time.every_ns)}, steps of {duration_text(least)} to {duration_text(most)}, {gaps}"
    for column in found.columns:
        unit = f" in {column.unit}" if column.unit else ""
        if column.kind == "number":
            numbers = column.numbers()
            yield f"  numbers: {column.name}{unit}, {_least(numbers)} to {_most(numbers)}"
        elif column.kind == "digital":
            on, off = on_and_off([column])
            yield f"  on or off: {column.name}, on is {listed(on, 'or') or 'never'}, off is {listed(off, 'or') or 'never'}"
        elif column.kind == "words":
            yield f"  words: {column.name}, {_counted(column.counts)}"
        elif column.kind == "empty":
            yield f"  empty: {column.name}"
    for row in range(min(ROWS, len(found.columns[0].cells))):
        yield f"  row {row + 1}: " + ", ".join(column.cells[row] for column in found.columns)


def _signals(found: Looked) -> Iterator[str]:
    """The signals of a log that has no readings."""
    if not found.long:
        yield "  a log of signals in `layout: wide`: a column each, and a row when one of them changes"
        return
    tags, values = found.of_kind("words")[0], found.columns[-1]
    yield f"  a log of signals in `layout: long`: one row a value, names in {tags.name}, values in {values.name}"
    for tag in sorted(tags.counts):
        counts = Counter(value for name, value in zip(tags.cells, values.cells, strict=True) if name == tag)
        yield f"  signal {tag}: {_counted(counts)}"


def _counted(words: Counter[str]) -> str:
    """Each word and how often it stands there, the most frequent ones first."""
    most_of = [f"{word or 'empty'} {n}" for word, n in words.most_common(MOST_WORDS)]
    return ", ".join(most_of) + (f" and {len(words) - MOST_WORDS} more" if len(words) > MOST_WORDS else "")


def _rounded(ns: int) -> str:
    """To 10 us, which no log tells better."""
    return duration_text(round(ns, -4))


def _least(numbers: Any) -> str:
    return f"{min(float(x) for x in numbers if x == x):g}"


def _most(numbers: Any) -> str:
    return f"{max(float(x) for x in numbers if x == x):g}"


def _synced(one: tuple[Looked, str], another: tuple[Looked, str], station: Any) -> Iterator[str]:
    """How the clocks of two logs lie to each other, by the edges that fit best, and the file that would say so."""
    from stationtest.sources import pairing, proposing

    (found, path), (other, beside) = one, another
    guessed = other.time.unit if other.time else ""
    pairs = pairing.pairs(found, Path(path), other, Path(beside))
    if other.time is not None and other.time.unit != guessed:
        yield f"{other.path} is in {other.time.unit} rather than {guessed}: so its edges fit"
    for pair in pairs[:3]:
        name, theirs, sync = pair.mine, pair.theirs, pair.sync
        yield f"common edges: {name} and {theirs}, {sync.matched} of {sync.of}"
        yield f"  offset {duration_text(sync.offset_ns)} at the first row, drift {drift_text(sync.drift_e12)}, within " + (
            duration_text(sync.within_ns)
        )
        spread = f"up to {_rounded(-sync.early_ns)} early and up to {_rounded(sync.late_ns)} late"
        yield f"  against that the edges of {theirs} come {spread}, half of them within {_rounded(sync.half_ns)}"
        if sync.also_ns is not None:
            yield f"  an offset of about {duration_text(sync.also_ns)} fits the first edges as well: they come too evenly to tell"
    if pairs:
        yield "  an offset found so holds whatever lies between the two edges: use edges of one and the same event"
    yield ""
    yield "# a proposal, to be read and then saved as recordings/NAME.recording.yaml"
    best = pairs[0] if pairs else None
    yield from proposing.recording(found, other, station, best.sync if best else None, (best.mine, best.theirs) if best else None)


def _draw(found: list[Looked], path: str) -> None:
    from stationtest.files import safe_write
    from stationtest.report import look_drawing
    from stationtest.sources import drawn

    if os.path.exists(path):
        raise usage(f"{shown(path)} is already there and is not written over", "exists")
    safe_write.write(path, look_drawing.page([drawn.data(one) for one in found]).encode("utf-8"))
    print(f"picture: {path}")
