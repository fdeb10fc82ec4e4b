"""Small pictures for pages: one statement each, wide enough for a phone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from growthcast.figures.lettering import EndLabel, label_ends
from growthcast.figures.style import (
    BUDGET,
    FLOOR,
    SMALL_PT,
    figure_bytes,
    house_style,
    new_figure,
)
from growthcast.nouns import dataclass
from growthcast.service.pages.course import Course

SIZE_MM = 64.0, 44.0
PLANTS, OVER, BARE = FLOOR.colour, BUDGET.colour, "#8A5A2B"
OVER_INK, FLOOR_INK = "#A34700", "#00684B"
"""Darker, so that small letters stand out 4.5 : 1 from white paper."""
STALKS, LEAVES = 42, 9


def _picture(draw: Callable[[Axes], None], title: str, description: str) -> bytes:
    """Return a picture as an SVG with alternative text."""
    with house_style():
        figure = new_figure(*SIZE_MM)
        draw(figure.add_subplot())
        return figure_bytes(figure, "svg", title, description)


@dataclass(frozen=True, slots=True)
class CourseWords:
    """The names of the axes and of what lies outside, and the words at the ends of the lines.

    ``dates`` are the days to be marked on the axis [d], as dates.
    """

    height: str
    dates: Mapping[int, str]
    over: str
    right: str
    bare: str
    budget: str
    floor: str


def course_picture(
    course: Course,
    bounds_cm: tuple[float, float, float],
    words: CourseWords,
    title: str,
    description: str,
) -> bytes:
    """Draw one area over the days ahead as a hedge: up with growth, down with each visit.

    ``bounds_cm`` are the floor, the budget, and the end of the axis of heights.
    """
    floor, budget, top = bounds_cm
    day, (low, middle, high) = course.day, course.height_cm

    def draw(ax: Axes) -> None:
        ax.axhspan(budget, top, color=OVER, alpha=0.10, lw=0)
        ax.axhspan(0.0, floor, color=BARE, alpha=0.10, lw=0)
        ax.fill_between(day, low, np.minimum(high, budget), color=PLANTS, alpha=0.25, lw=0)
        inside = np.minimum(middle, budget)
        ax.fill_between(day, 0.0, inside, where=middle >= floor, color=PLANTS, alpha=0.55, lw=0)
        ax.fill_between(day, 0.0, inside, where=middle < floor, color=BARE, alpha=0.75, lw=0)
        ax.fill_between(day, budget, np.maximum(high, budget), color=OVER, alpha=0.45, lw=0)
        ax.fill_between(day, budget, np.maximum(middle, budget), color=OVER, alpha=0.80, lw=0)
        stalks = np.linspace(day[0], day[-1], STALKS + 1)[1:-1]
        tips = np.interp(stalks, day, middle)
        ax.vlines(stalks, 0.0, tips, color="white", lw=0.5, alpha=0.8)
        ax.plot(day, middle, color="#333333", lw=1.1)
        ax.axhline(budget, **BUDGET.line)
        ax.axhline(floor, **FLOOR.line)
        last, ends_at = float(day[-1]), float(day[-1])
        if not course.visit_d:
            ends_at += 0.55 * last
            looks = (  # the last has its words at the end of its line
                (0.6 * floor, BARE, words.bare),
                (0.5 * (floor + budget), PLANTS, words.right),
                (0.5 * (budget + top), OVER, ""),
            )
            for place, (tip, colour, word) in enumerate(looks):
                x = last * (1.17 + 0.14 * place)
                _plant(ax, x, 0.05 * last, tip, colour, bare=not place)
                ink = BARE if not place else FLOOR_INK
                up: Any = {"rotation": 90, "ha": "center", "va": "bottom", "parse_math": False}
                ax.text(x, tip + 0.04 * top, word, color=ink, fontsize=SMALL_PT, **up)
            ax.axvspan(last, 1.06 * last, color="white", lw=0, zorder=5)  # apart from the days
            ax.spines["bottom"].set_bounds(day[0], last)
        ax.set(xlim=(day[0], ends_at), ylim=(0.0, top))
        ax.set_xticks(list(words.dates), list(words.dates.values()), parse_math=False)
        ax.set_ylabel(words.height, labelpad=1.5, parse_math=False)
        ax.yaxis.set_major_locator(MaxNLocator(nbins=4, steps=[1, 2, 5, 10]))
        ends = (
            (words.over, 0.5 * (budget + top), OVER_INK),
            (words.budget, budget, OVER_INK),
            (words.floor, floor, FLOOR_INK),
            (words.bare, 0.4 * floor, BARE),
        )
        label_ends(ax, [EndLabel(*end) for end in ends])

    return _picture(draw, title, description)


def _plant(ax: Axes, x: float, wide: float, tip: float, colour: str, *, bare: bool) -> None:
    """Draw one plant as a stranger would: a stalk with leaves; where it is bare, a stalk alone."""
    ax.plot([x, x], [0.0, tip], color=colour, lw=1.4)
    if not bare:
        top = ax.get_ylim()[1]
        for y in np.arange(tip, 0.15 * tip, -top / LEAVES / 2.0):
            ax.plot(
                [x - wide, x, x + wide],
                [y + 0.02 * top, y - 0.03 * top, y + 0.02 * top],
                color=colour,
                lw=1.4,
            )
