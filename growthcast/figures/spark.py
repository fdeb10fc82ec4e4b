"""An area's next weeks as a small SVG, written by hand: a page has dozens of them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from xml.sax.saxutils import escape

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.figures.style import (
    BAND_80_ALPHA,
    BUDGET,
    FLOOR,
    FONT,
    FORECAST,
    SMALL_PT,
    VISITS,
    with_alternative_text,
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
EDGE, INK = "#b0b0b0", "#000000"


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

    def x(day: float) -> float:
        return LEFT + (RIGHT - LEFT) * (day - first) / (last - first)

    def y(share: float) -> float:
        return FOOT + (TOP - FOOT) * share / SPARK_TOP

    def points(days: FloatArray, shares: FloatArray) -> str:
        ends = zip(days.tolist(), shares.tolist(), strict=True)
        return " ".join(f"{x(day):.2f},{y(share):.2f}" for day, share in ends)

    colour = FORECAST.colour.lower()
    drawn = [
        f'<clipPath id="axes"><rect x="{LEFT}" y="{TOP}" width="{RIGHT - LEFT}" '
        f'height="{FOOT - TOP}"/></clipPath><g clip-path="url(#axes)">',
        f'<polygon points="{points(days, at[0.10])} {points(days[::-1], at[0.90][::-1])}" '
        f'style="fill: {colour}; fill-opacity: {BAND_80_ALPHA + 0.08}"/>',
        f'<polyline points="{points(days, at[0.50])}" style="fill: none; stroke: {colour}; '
        'stroke-width: 1.5"/></g>',
    ]

    drawn += [
        _line((LEFT, TOP, LEFT, FOOT), EDGE),
        _line((LEFT, FOOT, RIGHT, FOOT), EDGE),
        *(_line((side, FOOT, side, FOOT + TICK_PT), INK) for side in (LEFT, RIGHT)),
        *(_line((LEFT - TICK_PT, y(share), LEFT, y(share)), INK) for share in (0.0, 1.0)),
    ]
    floor = area.floor_cm / area.budget_cm
    for role, share, dash in ((BUDGET, 1.0, "4 1.8"), (FLOOR, floor, "1.1 1.8")):
        drawn.append(_line((LEFT, y(share), RIGHT, y(share)), role.colour, 1.1, dash))
    for when in map(x, map(day_number, visits)):
        half = VISIT_PT / 2
        ends = (when, y(VISIT_AT) - half, when, y(VISIT_AT) + half)
        drawn.append(_line(ends, VISITS.colour, VISITS.width_pt))
    if (above := days[at[0.90] > SPARK_TOP]).size:
        left, half = x(above[0]), ABOVE_PT / 2
        corners = f"{left - half},{TOP + half} {left + half},{TOP + half} {left},{TOP - half}"
        drawn.append(f'<polygon points="{corners}" style="fill: {colour}"/>')
    below, beside = FOOT + TICK_PT + GAP_PT + 0.8 * SMALL_PT, LEFT - TICK_PT - GAP_PT
    drawn += [
        _text(words[0], LEFT, below, "start"),
        _text(words[1], RIGHT, below, "end"),
        _text("0", beside, FOOT + 0.35 * SMALL_PT, "end"),
        _text(words[2], beside, y(1.0) + 0.35 * SMALL_PT, "end"),
    ]
    head = f'viewBox="0 0 {WIDE} {HIGH}" width="{WIDE}pt" height="{HIGH}pt">'
    svg = "\n ".join([f'<svg xmlns="http://www.w3.org/2000/svg" {head}', *drawn])
    return with_alternative_text(f"{svg}\n</svg>\n", title, description).encode()


def _line(
    ends: tuple[float, float, float, float], colour: str, wide: float = 0.7, dash: str = ""
) -> str:
    x1, y1, x2, y2 = ends
    dashed = f"; stroke-dasharray: {dash}" if dash else ""
    style = f"stroke: {colour.lower()}; stroke-width: {wide}{dashed}"
    return f'<line x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}" style="{style}"/>'


def _text(text: str, x: float, y: float, anchor: str) -> str:
    style = f"font: {SMALL_PT}px '{FONT}', sans-serif; text-anchor: {anchor}; fill: {INK}"
    return f'<text x="{x:.2f}" y="{y:.2f}" style="{style}">{escape(text)}</text>'
