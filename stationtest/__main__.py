"""`python -m stationtest`, and the console script."""

from __future__ import annotations

import gc
import sys

from stationtest import cli

RARELY = 50_000
"""New containers between two collections. What a command loads lives as long as it does: to walk it every 700 finds nothing."""


def main() -> int:
    """One command as a whole process; see `cli.main`."""
    gc.set_threshold(RARELY, *gc.get_threshold()[1:])
    code = cli.main()
    gc.freeze()  # the interpreter collects once more when it ends; memory goes back to the system anyway
    return code


if __name__ == "__main__":
    sys.exit(main())
