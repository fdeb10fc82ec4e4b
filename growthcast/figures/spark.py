"""An area's next weeks as a small SVG: a page has dozens of them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from growthcast.figures.drawn import EDGE, INK, Frame, lined, svg_of, written
from growthcast.figures.style import (
    BAND_80_ALPHA,
    BUDGET,
    FLOOR,
    FORECAST,
    SMALL_PT,
    VISITS,
)
from growthcast.fit.design import day_number
from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import AreaForecast

WIDE, HIGH = 124.7, 73.7
"""Size of the picture [pt]."""
LEFT, RIGHT, TOP, FOOT = 30.0, 121.0, 4.0, 60.0
"""Where the axes lie in it [pt]."""
SPARK_TOP = 1.6
"""End of the axis of heights, as a share of the budget."""
VISIT_AT, VISIT_PT, ABOVE_PT, TICK_PT, GAP_PT = 0.06, 7.0, 5.0, 2.0, 1.5


def spark_picture(
    area: AreaForecast,
    visits: Sequence[date],
    words: tuple[str, str, str],
    title: str,
    description: str,
) -> bytes:
    """Draw an area's next weeks, in shares of its budget so that all areas have the same axes.

    ``words`` are the first and the last day, and a whole budget. What stands above the axes is
    marked at their top.
    """
    days = np.array([day_number(day) for day in area.at])
    at = {level: area.height_cm[:, i] / area.budget_cm for i, level in enumerate(LEVELS)}
    first, last = float(days[0]), max(float(days[-1]), float(days[0]) + 1.0)
    frame = Frame(LEFT, RIGHT, TOP, FOOT, first, last, SPARK_TOP)
    drawn = frame.inside(
        [
            frame.filled(days, at[0.10], at[0.90], FORECAST.colour, BAND_80_ALPHA + 0.08),
            frame.curve(days, at[0.50], FORECAST.colour, 1.5),
        ]
    )
    drawn += [
        lined((LEFT, TOP, LEFT, FOOT), EDGE),
        lined((LEFT, FOOT, RIGHT, FOOT), EDGE),
        *(lined((side, FOOT, side, FOOT + TICK_PT), INK) for side in (LEFT, RIGHT)),
        *(lined((LEFT - TICK_PT, frame.y(s), LEFT, frame.y(s)), INK) for s in (0.0, 1.0)),
    ]
    floor = area.floor_cm / area.budget_cm
    for role, share, dash in ((BUDGET, 1.0, "4 1.8"), (FLOOR, floor, "1.1 1.8")):
        drawn.append(lined((LEFT, frame.y(share), RIGHT, frame.y(share)), role.colour, 1.1, dash))
    for when in map(frame.x, map(day_number, visits)):
        half = VISIT_PT / 2
        ends = (when, frame.y(VISIT_AT) - half, when, frame.y(VISIT_AT) + half)
        drawn.append(lined(ends, VISITS.colour, VISITS.width_pt))
    if (above := days[at[0.90] > SPARK_TOP]).size:
        left, half = frame.x(above[0]), ABOVE_PT / 2
        corners = f"{left - half},{TOP + half} {left + half},{TOP + half} {left},{TOP - half}"
        drawn.append(f'<polygon points="{corners}" style="fill: {FORECAST.colour.lower()}"/>')
    below, beside = FOOT + TICK_PT + GAP_PT + 0.8 * SMALL_PT, LEFT - TICK_PT - GAP_PT
    drawn += [
        written(words[0], LEFT, below, "start"),
        written(words[1], RIGHT, below, "end"),
        written("0", beside, FOOT + 0.35 * SMALL_PT, "end"),
        written(words[2], beside, frame.y(1.0) + 0.35 * SMALL_PT, "end"),
    ]
    return svg_of(WIDE, HIGH, drawn, title, description)
