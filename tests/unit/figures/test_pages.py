"""Small pictures of pages: what is bare is seen, and nothing else is brown."""

from __future__ import annotations

import re

import numpy as np
import pytest

from growthcast.figures.drawn import Frame
from growthcast.figures.pages import BARE, _hedge
from growthcast.service.pages.client import Course

GROUND = 0.10  # the zone of bare heights has a tint of its own
FRAME = Frame(left=0.0, right=140.0, top=0.0, foot=280.0, first=0.0, last=14.0, highest=28.0)
PT_PER_CM_D = 10.0 * 10.0


def brown(after_cut_cm: float, spread_cm: float) -> float:
    """Ground drawn in brown [cm d], of an area cut on day 7 and grown 1 cm a day from there."""
    days = np.array([0.0, 7.0, 7.0, 8.0, 14.0])
    middle = np.array([10.0, 18.0, after_cut_cm, after_cut_cm + 1.0, after_cut_cm + 7.0])
    heights = middle + np.array([[-spread_cm], [0.0], [spread_cm]])
    size, shape = 0.0, rf'points="([^"]*)" style="fill: {BARE.lower()}; fill-opacity: ([^"]*)"'
    for points, share in re.findall(
        shape, "".join(_hedge(FRAME, Course(days, heights, (7,)), 9.0, 20.0))
    ):
        x, y = np.array([point.split(",") for point in points.split()], dtype=float).T
        if float(share) > GROUND:
            size += 0.5 * abs(float(x @ np.roll(y, 1) - y @ np.roll(x, 1)))
    return size / PT_PER_CM_D


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
