"""Every role can be told from every other without its colour; settings are left as they were."""

from __future__ import annotations

import subprocess
import sys
from itertools import combinations

import matplotlib

from growthcast.figures.style import BUDGET, FLOOR, FORECAST, MEASURED, VISITS, house_style


def test_roles_differ_without_colour() -> None:
    roles = (MEASURED, FORECAST, BUDGET, FLOOR, VISITS)
    for one, other in combinations(roles, 2):
        assert (one.dash, one.marker) != (other.dash, other.marker)
    assert len({role.colour for role in roles}) == len(roles)


def test_settings_are_left_as_they_were() -> None:
    with matplotlib.rc_context({"font.size": 31.0}):
        before = dict(matplotlib.rcParams)
        with house_style():
            assert matplotlib.rcParams["font.size"] != 31.0
        assert dict(matplotlib.rcParams) == before


def test_drawing_opens_no_windows() -> None:
    code = (
        "import sys; import growthcast.figures.forecast; print('matplotlib.pyplot' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
