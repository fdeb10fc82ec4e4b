"""Small pictures of pages: what is bare is seen, and nothing else is brown."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from growthcast.figures.rescaped import BARE, _hedge
from growthcast.service.pages.course import Course

GROUND = 0.10  # the zone of bare heights has a tint of its own


def brown(after_cut_cm: float, spread_cm: float) -> float:
    """Ground drawn in brown [cm d], of an area cut on day 7 and grown 1 cm a day from there."""
    days = np.array([0.0, 7.0, 7.0, 8.0, 14.0])
    middle = np.array([10.0, 18.0, after_cut_cm, after_cut_cm + 1.0, after_cut_cm + 7.0])
    heights = middle + np.array([[-spread_cm], [0.0], [spread_cm]])
    ax = Figure().add_subplot()
    _hedge(ax, Course(days, heights, (7,)), 9.0, 20.0, 28.0)
    size = 0.0
    for shapes in ax.collections:
        colour = shapes.get_facecolor()
        if len(colour) and np.allclose(colour[0, :3], to_rgb(BARE)) and colour[0, 3] > GROUND:
            for path in shapes.get_paths():
                x, y = path.vertices.T
                size += 0.5 * abs(float(x @ np.roll(y, 1) - y @ np.roll(x, 1)))
    return size


@pytest.mark.parametrize(
    ("after_cut_cm", "spread_cm", "size_cm_d"),
    [
        (12.0, 1.0, 0.0),  # right
        (8.5, 0.0, 9.0 + 0.125),  # bare for a day: all that stands, and what is missing of it
        (9.0, 1.0, 0.5),  # bare for a day if the hand errs: 1 cm, going to nothing
    ],
    ids=["right", "bare", "bare if the hand errs"],
)
def test_brown_is_as_large_as_what_is_bare(
    after_cut_cm: float, spread_cm: float, size_cm_d: float
) -> None:
    assert brown(after_cut_cm, spread_cm) == pytest.approx(size_cm_d, abs=0.15)
