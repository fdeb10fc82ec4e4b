"""Pictures as SVG written by hand: a page has dozens, and a plotting library takes a second."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from html import escape
from typing import NamedTuple

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.figures import style
from growthcast.figures.style import BUDGET, FLOOR, FORECAST, SMALL_PT, VISITS
from growthcast.fit.design import day_number
from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import AreaForecast
from growthcast.nouns import dataclass

Heights = FloatArray | float
EDGE, INK = "#b0b0b0", "#000000"
LINE_SPACING = 1.15
EM_SHARE = 0.62
"""Width of a letter as a share of its size: a little more than most take."""
ROOM_PT = 6.0
"""Between the end of a line and its words."""


class EndLabel(NamedTuple):
    """Words at the end of a line, and the height at which the line ends."""

    text: str
    height_cm: float
    colour: str


@dataclass(frozen=True, slots=True)
class Frame:
    """Where days and heights lie in a picture [pt]: its axes, the days at their ends, the top."""

    left: float
    right: float
    top: float
    foot: float
    first: float
    last: float
    highest: float

    def x(self, day: float) -> float:
        """Where a day lies."""
        return self.left + (self.right - self.left) * (day - self.first) / (self.last - self.first)

    def y(self, height: float) -> float:
        """Where a height lies."""
        return self.foot + (self.top - self.foot) * height / self.highest

    def points(self, days: FloatArray, heights: FloatArray) -> str:
        """Where heights (T,) on days (T,) lie, as SVG writes them."""
        ends = zip(days.tolist(), heights.tolist(), strict=True)
        return " ".join(f"{self.x(day):.2f},{self.y(height):.2f}" for day, height in ends)

    def curve(self, days: FloatArray, heights: FloatArray, colour: str, wide: float) -> str:
        """Draw heights (T,) over days (T,)."""
        stroke = f"fill: none; stroke: {colour.lower()}; stroke-width: {wide}"
        return f'<polyline points="{self.points(days, heights)}" style="{stroke}"/>'

    def filled(
        self, days: FloatArray, low: Heights, high: Heights, colour: str, share: float
    ) -> str:
        """Fill what lies between two heights (T,) by so large a share of a colour."""
        low, high = (np.broadcast_to(end, days.shape) for end in (low, high))
        around = f"{self.points(days, low)} {self.points(days[::-1], high[::-1])}"
        paint = f"fill: {colour.lower()}; fill-opacity: {share:.3g}"
        return f'<polygon points="{around}" style="{paint}"/>'

    def inside(self, drawn: Sequence[str]) -> list[str]:
        """Cut what is drawn off at the axes."""
        wide, high = self.right - self.left, self.foot - self.top
        box = f'<rect x="{self.left}" y="{self.top}" width="{wide:.2f}" height="{high:.2f}"/>'
        opened = f'<clipPath id="axes">{box}</clipPath><g clip-path="url(#axes)">'
        return [opened, *drawn, "</g>"]

    def labelled(self, labels: Sequence[EndLabel]) -> list[str]:
        """Write each label to the right of where its line ends, none over another."""
        line = SMALL_PT * LINE_SPACING
        ends = [self.foot - self.y(min(one.height_cm, self.highest)) for one in labels]
        sizes = [line * (one.text.count("\n") + 1.25) for one in labels]
        tall = self.foot - self.top
        places = spread_apart(ends, sizes, -0.1 * tall, tall)
        drawn, right = [], self.right + ROOM_PT
        for one, end, up in zip(labels, ends, places, strict=True):
            place = self.foot - up
            drawn.append(lined((self.right, self.foot - end, right, place), one.colour, 0.6))
            words = one.text.split("\n")
            for number, word in enumerate(words):
                below = place + (number - 0.5 * (len(words) - 1)) * line + 0.35 * SMALL_PT
                drawn.append(written(word, right + 1.0, below, "start", colour=one.colour))
        return drawn


def room_for(words: Sequence[str], size_pt: float = SMALL_PT) -> float:
    """Width [pt] that is kept for the longest line of some words."""
    return EM_SHARE * size_pt * max(len(line) for word in words for line in word.split("\n"))


def spread_apart(
    wanted: Sequence[float], sizes: Sequence[float], low: float, high: float
) -> list[float]:
    """Return centres near ``wanted`` such that labels of ``sizes`` neither overlap nor leave.

    Where there is not room for all of them between ``low`` and ``high`` they share it evenly.
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    room = max(high - low, 0.0)
    squeeze = min(1.0, room / max(sum(sizes), 1e-9))
    size = [s * squeeze for s in sizes]
    placed = [0.0] * len(wanted)
    edge = low
    for i in order:
        placed[i] = max(wanted[i], edge + 0.5 * size[i])
        edge = placed[i] + 0.5 * size[i]
    edge = high
    for i in reversed(order):
        placed[i] = min(placed[i], edge - 0.5 * size[i])
        edge = placed[i] - 0.5 * size[i]
    return placed


def lined(
    ends: tuple[float, float, float, float], colour: str, wide: float = 0.7, dash: str = ""
) -> str:
    """Draw a line from one point to another."""
    x1, y1, x2, y2 = ends
    dashed = f"; stroke-dasharray: {dash}" if dash else ""
    looks = f"stroke: {colour.lower()}; stroke-width: {wide}{dashed}"
    return f'<line x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}" style="{looks}"/>'


def written(
    text: str,
    x: float,
    y: float,
    anchor: str,
    *,
    colour: str = INK,
    size_pt: float = SMALL_PT,
    upward: bool = False,
) -> str:
    """Write words on a base line, or upward along one."""
    looks = f"font: {size_pt}px '{style.FONT}', sans-serif; text-anchor: {anchor}"
    looks += f"; fill: {colour.lower()}"
    turned = f' transform="rotate(-90 {x:.2f} {y:.2f})"' if upward else ""
    begin = f'<text x="{x:.2f}" y="{y:.2f}"{turned} style="{looks}">'
    return f"{begin}{escape(text, quote=False)}</text>"


def svg_of(wide: float, high: float, drawn: Sequence[str], title: str, description: str) -> bytes:
    """Return what is drawn as a file, named and described for those who hear it."""
    head = f'viewBox="0 0 {wide:.5g} {high:.5g}" width="{wide:.5g}pt" height="{high:.5g}pt">'
    svg = "\n ".join([f'<svg xmlns="http://www.w3.org/2000/svg" {head}', *drawn])
    return style.with_alternative_text(f"{svg}\n</svg>\n", title, description).encode()


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
    band = frame.filled(days, at[0.10], at[0.90], FORECAST.colour, style.BAND_80_ALPHA + 0.08)
    drawn = frame.inside([band, frame.curve(days, at[0.50], FORECAST.colour, 1.5)])
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
