"""`python -m stationtest`, and the console script."""

from __future__ import annotations

import sys

from stationtest.cli import main

if __name__ == "__main__":
    sys.exit(main())
