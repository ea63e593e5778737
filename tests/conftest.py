"""Property tests: no example is judged by how long it took; on a build machine the examples are the same every time."""

import os

from hypothesis import settings

settings.register_profile("here", deadline=None)
settings.register_profile("build machine", deadline=None, derandomize=True)
settings.load_profile("build machine" if os.environ.get("CI") else "here")
