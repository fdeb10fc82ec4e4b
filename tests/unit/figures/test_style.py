"""Every role can be told from every other without its colour; settings are left as they were."""

from __future__ import annotations

import subprocess
import sys
from itertools import combinations

import matplotlib
import numpy as np
import pytest
from matplotlib.colors import to_rgb

from growthcast.figures.style import BUDGET, FLOOR, FORECAST, MEASURED, VISITS, house_style


def test_roles_differ_without_colour() -> None:
    roles = (MEASURED, FORECAST, BUDGET, FLOOR, VISITS)
    for one, other in combinations(roles, 2):
        assert (one.dash, one.marker) != (other.dash, other.marker)
    assert len({role.colour for role in roles}) == len(roles)


def test_words_stand_out_from_white_4_5_to_1() -> None:
    """Relative luminance and contrast as WCAG 2.2 defines them."""
    for role in (MEASURED, FORECAST, BUDGET, FLOOR, VISITS):
        shares = np.array(to_rgb(role.text))
        linear = np.where(shares <= 0.04045, shares / 12.92, ((shares + 0.055) / 1.055) ** 2.4)
        assert 1.05 / (linear @ [0.2126, 0.7152, 0.0722] + 0.05) >= 4.5, role


def test_settings_are_left_as_they_were() -> None:
    with matplotlib.rc_context({"font.size": 31.0}):
        before = dict(matplotlib.rcParams)
        with house_style():
            assert matplotlib.rcParams["font.size"] != 31.0
        assert dict(matplotlib.rcParams) == before


@pytest.mark.slow
def test_drawing_opens_no_windows() -> None:
    code = (
        "import sys; import growthcast.figures.forecast; print('matplotlib.pyplot' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
