"""Where in a file something stands."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """`line` and `column` count from 1; 0 means not known. `path` is as the user would type it; a `./` before it is not
    printed, since the paths inside files have none."""

    path: str
    line: int
    column: int

    def __str__(self) -> str:
        numbers = [str(number) for number in (self.line, self.column) if number]
        return ":".join([self.path.removeprefix("./"), *numbers])


NOWHERE = Place("", 0, 0)
