"""Makes `tick_machine` importable from the tests beside it, however pytest imports them."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
