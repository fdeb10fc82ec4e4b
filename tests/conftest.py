"""Settings of the whole suite."""

from __future__ import annotations

import os

from hypothesis import settings

os.environ["GROWTHCAST_CACHE"] = "off"  # nobody's own is read or written; its tests name a folder

# No test is timed: on a busy machine an honest one takes long.
settings.register_profile("dev", deadline=None)
# In CI the same examples every time, so that a landing does not hang on a draw; by hand, new ones.
settings.register_profile("ci", derandomize=True, deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "dev")
