"""Makes the helpers beside the tests importable, however pytest imports them; no example is judged by how long it took."""

import sys
from pathlib import Path

from hypothesis import settings

sys.path.insert(0, str(Path(__file__).parent))

settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
