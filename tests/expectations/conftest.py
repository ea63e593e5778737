"""The factory of observations made by hand lies beside the tests of judging."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "engine"))
