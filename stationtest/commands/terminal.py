"""What the commands print: tables and progress, plain where nobody is looking."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Any

from stationtest.errors import usage

Progress = Callable[[str, int, int | None], None]


class Told:
    """A stream that commands print to, of text or of bytes. What keeps it from being written (a full disk behind `> FILE`) is a
    problem of the user's, told apart here from every other OSError: `UsageError` 'cannot-write'. A reader that has gone stays
    BrokenPipeError.
    """

    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    @property
    def buffer(self) -> Told:
        return Told(self._stream.buffer)

    def write(self, text: Any) -> Any:
        with self._refusing():
            return self._stream.write(text)

    def flush(self) -> None:
        with self._refusing():
            self._stream.flush()

    @contextmanager
    def _refusing(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            with suppress(OSError, ValueError):  # else the interpreter would complain once more when it ends
                os.dup2(os.open(os.devnull, os.O_WRONLY), self._stream.fileno())
            if isinstance(error, BrokenPipeError):
                raise
            why = (error.strerror or str(error)).lower()
            raise usage(f"what this command prints cannot be written: {why}", "cannot-write") from error


def table(headers: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """A table on stdout: drawn if that is a terminal, else plain columns two blanks apart, whole, for other programs."""
    if sys.stdout.isatty():
        from rich import box
        from rich.console import Console
        from rich.table import Table
        from rich.text import Text

        drawn = Table(*headers, box=box.SIMPLE_HEAD, header_style="bold")
        for row in rows:
            drawn.add_row(*(Text(cell) for cell in row))  # Text: a name must not be read as markup
        Console().print(drawn)
        return
    widths = [max(len(row[column]) for row in (headers, *rows)) for column in range(len(headers))]
    for row in (headers, *rows):
        print("  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip())


@contextmanager
def progress() -> Iterator[Progress | None]:
    """A function `(what, done, total)` that shows progress on stderr, or None where stderr is not a terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich import progress as bars
    from rich.console import Console

    words = [bars.TextColumn("{task.description}"), bars.BarColumn(), bars.TextColumn("{task.completed} of {task.total}")]
    with bars.Progress(*words, bars.TimeElapsedColumn(), console=Console(stderr=True), transient=True) as shown:
        tasks: dict[str, bars.TaskID] = {}

        def show(what: str, done: int, total: int | None) -> None:
            if what not in tasks:
                tasks[what] = shown.add_task(what, total=total)
            shown.update(tasks[what], completed=done, total=total)

        yield show
