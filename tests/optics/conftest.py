"""Makes the helpers beside the tests importable, however pytest imports them."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
