"""The command line: one table of commands; each body imports its own work, so that a cheap command stays cheap.

Exit codes: 0 all cases pass (or the command did what it says), 1 some case is not a pass, 2 usage or files wrong, 3 internal
error.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import os
import re
import sys
from collections.abc import Callable, Sequence
from typing import NoReturn, TextIO

from stationtest.errors import EXIT_INTERNAL, EXIT_NOT_PASS, EXIT_USAGE, StationtestError, usage
from stationtest.version import VERSION

EXIT_STOPPED = 130  # as shells have it for a program that was stopped by the keyboard

Add = Callable[[argparse.ArgumentParser], None]


class Parser(argparse.ArgumentParser):
    """argparse, with the nearest right word for a misspelt one."""

    def error(self, message: str) -> NoReturn:
        found = re.search(r"invalid choice: '?([^' ]*)'? \(choose from (.*)\)", message)
        if found:
            from stationtest.files.suggest import nearest

            near = nearest(found[1], found[2].replace("'", "").split(", "))
            message = f"there is no {found[1]}; " + (f"did you mean {near}?" if near else f"there are: {found[2]}")
        self.print_usage(sys.stderr)
        self.exit(EXIT_USAGE, f"{self.prog}: {message} [usage]\n")


def _station(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("station", metavar="STATION", help="the folder that holds station.yaml")
    outside = "let files name paths that leave the station's folder"
    parser.add_argument("--allow-outside", action="store_true", help=outside)


def _schema(parser: argparse.ArgumentParser) -> None:
    names = ("station", "case", "run", "scene", "record")
    parser.add_argument("name", nargs="?", choices=names, metavar="NAME", help=f"one of {', '.join(names)}; all if not given")
    parser.add_argument(
        "--write", metavar="STATION", help="put the schemas beside the files there, with the line editors look for"
    )


def _new(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="FOLDER", help="a folder that does not exist yet, or is empty")


def _workers(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--workers", type=_count, default=0, metavar="N", help="observe recordings in N processes (default 0: in this one)"
    )
    parser.add_argument("--executor", metavar="NAME", help="spread the work by this executor (see `stationtest plugins`)")


def _observe(parser: argparse.ArgumentParser) -> None:
    _station(parser)
    parser.add_argument(
        "recordings", nargs="*", metavar="RECORDING", help="a path from here, or from STATION; all that cases name if not given"
    )
    parser.add_argument("--csv", metavar="FILE", help="write the whole table as CSV (`-`: to the terminal)")
    parser.add_argument("--parquet", metavar="FILE", help="write the whole table as Parquet")
    _workers(parser)


def _run(parser: argparse.ArgumentParser) -> None:
    _station(parser)
    parser.add_argument(
        "-o", "--output", metavar="FOLDER", help="a new folder for record and report (default: below STATION/runs)"
    )
    parser.add_argument("--only", action="append", metavar="ID", help="judge this case only; may be given several times")
    other = "judge the cases on this recording or scene instead of their own: a path from here, or from STATION; may be repeated"
    parser.add_argument("--readings", action="append", metavar="FILE", help=other)
    _workers(parser)


def _sizes(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--reliability", required=True, type=_share, metavar="R", help="share of trials that conform, such as 99%%"
    )
    parser.add_argument("--confidence", required=True, type=_share, metavar="C", help="such as 95%%")
    parser.add_argument("--nonconforming", type=_count, default=0, metavar="K", help="accepted nonconforming trials (default 0)")


def _report(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("record", metavar="RECORD", help="record.json, or the folder of a run")
    parser.add_argument("-o", "--output", metavar="FILE", help="where to put the page (default: report.html beside the record)")


def _show(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("record", metavar="RECORD", help="record.json, or the folder of a run")


def _look(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("recording", metavar="RECORDING", help="a file: declared in the station above it, or not yet")
    parser.add_argument("other", nargs="?", metavar="OTHER", help="a log of the controller, to be put on one clock with it")
    parser.add_argument("--picture", metavar="FILE", help="draw it as one HTML page")


def _simulate(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("scene", metavar="SCENE", help="a file NAME.scene.yaml in the folder of a station")
    parser.add_argument("-o", "--output", metavar="FILE", help="the recording (default: NAME.parquet beside the scene)")
    picture = "draw spectra, geometry and a stretch of the readings on one HTML page, and write no recording unless -o is given"
    parser.add_argument("--picture", metavar="FILE", help=picture)
    outside = "let the scene name spectra that lie outside the station's folder"
    parser.add_argument("--allow-outside", action="store_true", help=outside)


def _none(parser: argparse.ArgumentParser) -> None:
    """No arguments."""


COMMANDS: dict[str, tuple[str, Add]] = {
    "check": ("read a station folder; print every problem, or what was found", _station),
    "schema": ("print or write the JSON Schemas of the files, for editors", _schema),
    "new": ("write a small station with comments, to start from", _new),
    "observe": ("print what is seen in recordings: presentations by channels", _observe),
    "run": ("judge the cases; write a record and a report", _run),
    "look": ("say what is in a recording; propose a mapping for one that is not declared", _look),
    "plan": ("print what each case needs and what its readings offer", _station),
    "simulate": ("write the readings of a scene as a recording", _simulate),
    "sizes": ("print sample sizes and both risks", _sizes),
    "report": ("draw the page of a record again", _report),
    "show": ("print a record for people", _show),
    "selftest": ("compute known answers on this computer", _none),
    "plugins": ("list the parts that are present", _none),
}


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    top = Parser(prog="stationtest", description="Acceptance tests for point colour sensor stations.", allow_abbrev=False)
    top.add_argument("--version", action="version", version=f"stationtest {VERSION}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=Parser)
    for name, (what, add) in COMMANDS.items():
        add(commands.add_parser(name, help=what, description=what[0].upper() + what[1:] + ".", allow_abbrev=False))
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    from stationtest.commands.terminal import Told

    sys.stdout, sys.stderr = sys.stdout or _nowhere(), sys.stderr or _nowhere()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a name must not stop a report because a console cannot show it
    given = sys.stdout
    sys.stdout = Told(given)  # type: ignore[assignment]
    try:
        try:
            return _command(argv)
        finally:
            sys.stdout.flush()
    except StationtestError as error:
        _say(str(error))
        return EXIT_USAGE
    except KeyboardInterrupt:
        _say("stopped")
        return EXIT_STOPPED
    except BrokenPipeError:
        return EXIT_NOT_PASS  # whoever read our output has gone
    except Exception as error:
        if os.environ.get("STATIONTEST_TRACEBACK") == "1":
            _print_traceback(error)
        else:
            what = f"{type(error).__name__}: {error}".splitlines()[0]
            hint = "this is a fault of stationtest, not of your files; STATIONTEST_TRACEBACK=1 shows where"
            _say(f"internal error: {what}; {hint}")
        return EXIT_INTERNAL
    finally:
        sys.stdout = given


def _command(argv: Sequence[str] | None) -> int:
    args, unknown = parser().parse_known_args(argv)
    if unknown:
        _not_known(args.command, unknown)
    args.argv = ["stationtest", *(sys.argv[1:] if argv is None else argv)]
    for word in args.argv:
        if any("\ud800" <= char <= "\udfff" for char in word):  # what is not UTF-8 arrives so (PEP 383)
            raise usage("a record cannot name what is typed here, since it is not UTF-8 text: " + ascii(word)[1:-1])
    code: int = importlib.import_module(f"stationtest.commands.{args.command}").body(args)
    return code


def _nowhere() -> TextIO:
    """In place of a stream that was closed, as by `>&-`."""
    return open(os.devnull, "w")


def _say(text: str) -> None:
    """On stderr; where that cannot be written either, the exit code is all that is left to tell."""
    with contextlib.suppress(OSError):
        print(text, file=sys.stderr, flush=True)


def _not_known(command: str, words: Sequence[str]) -> NoReturn:
    """Ends for words that the command does not take; the nearest option of that command is named."""
    own = Parser(prog=f"stationtest {command}", allow_abbrev=False)
    COMMANDS[command][1](own)
    option = next((word.partition("=")[0] for word in words if word.startswith("-")), None)
    if option is None:
        own.error(f"there is no place for {words[0]} here")
    from stationtest.files.suggest import nearest

    near = nearest(option, re.findall(r"--?[a-z][a-z-]*", own.format_usage()))
    own.error(f"there is no option {option}" + (f"; did you mean {near}?" if near else ""))


def _print_traceback(error: Exception) -> None:
    """The traceback on stderr, without losing the exit code."""
    import traceback

    traceback.print_exception(error)


def _share(text: str) -> float:
    found = re.fullmatch(r"(\d+(?:\.\d+)?)\s*%", text.strip())
    value = float(found[1]) / 100 if found else -1.0
    if not 0 < value < 1:
        raise argparse.ArgumentTypeError(f"{text} is not a share such as 95% (above 0 % and below 100 %)")
    return value


def _count(text: str) -> int:
    if not text.strip().isdecimal():
        raise argparse.ArgumentTypeError(f"{text} is not a whole number such as 0 or 2")
    return int(text)
