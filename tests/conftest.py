"""Settings of the whole suite."""

from __future__ import annotations

import os

from hypothesis import settings

# In CI the same examples every time, so that a landing does not hang on a draw; by hand, new ones.
settings.register_profile("ci", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("ci")
