"""Small pictures for pages: one statement each, wide enough for a phone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

from growthcast.figures.lettering import EndLabel, drawable, label_ends
from growthcast.figures.style import (
    BAND_50_ALPHA,
    BAND_80_ALPHA,
    BUDGET,
    FLOOR,
    FORECAST,
    SMALL_PT,
    VISITS,
    figure_bytes,
    house_style,
    new_figure,
)
from growthcast.fit.design import day_number
from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import AreaForecast
from growthcast.service.sawtooth import SAWTOOTH_LEVELS, Sawtooth

SIZE_MM, SPARK_MM = (64.0, 45.0), (44.0, 26.0)
SPARK_TOP = 1.6
"""End of the axis of heights of small pictures, as a share of the budget."""


def _picture(
    draw: Callable[[Axes], None],
    title: str,
    description: str,
    size_mm: tuple[float, float] = SIZE_MM,
) -> bytes:
    """Return a picture as an SVG with alternative text."""
    with house_style():
        figure = new_figure(*size_mm)
        draw(figure.add_subplot())
        return figure_bytes(figure, "svg", title, description)


@dataclass(frozen=True, slots=True)
class SawtoothWords:
    """The names of the axes, and the words at the ends of the lines of budget and floor."""

    height: str
    weeks: str
    budget: str
    floor: str


def sawtooth_picture(
    saw: Sawtooth,
    bounds_cm: tuple[float, float, float],
    words: SawtoothWords,
    title: str,
    description: str,
) -> bytes:
    """Draw one area through the weeks at one interval: up with growth, down with each visit.

    ``bounds_cm`` are the floor, the budget, and the end of the axis of heights.
    """
    floor, budget, top = bounds_cm

    def draw(ax: Axes) -> None:
        weeks = saw.day / 7.0
        at = dict(zip(SAWTOOTH_LEVELS, saw.height_cm, strict=True))
        for low, high, alpha in ((0.10, 0.90, BAND_80_ALPHA), (0.25, 0.75, BAND_50_ALPHA)):
            ax.fill_between(weeks, at[low], at[high], **FORECAST.band(alpha))
        ax.plot(weeks, at[0.50], color=FORECAST.colour, lw=FORECAST.width_pt - 0.4)
        ax.axhline(budget, **BUDGET.line)
        ax.axhline(floor, **FLOOR.line)
        visits = np.arange(0.0, saw.day[-1] + 0.5, saw.interval_d) / 7.0
        height = np.full(visits.size, 0.03)
        ax.plot(visits, height, transform=ax.get_xaxis_transform(), ms=5.0, **VISITS.marks)
        ax.set(xlim=(0.0, max(float(weeks[-1]), 1.0)), ylim=(0.0, top))
        ax.set_xlabel(words.weeks, labelpad=1.5, parse_math=False)
        ax.set_ylabel(words.height, labelpad=1.5, parse_math=False)
        ax.xaxis.set_major_locator(MultipleLocator(2.0))
        ax.yaxis.set_major_locator(MaxNLocator(nbins=5, steps=[1, 2, 5, 10]))
        ends = ((words.budget, budget, BUDGET), (words.floor, floor, FLOOR))
        label_ends(ax, [EndLabel(text, level, role.colour) for text, level, role in ends])

    return _picture(draw, title, description)


@dataclass(frozen=True, slots=True)
class CostPoint:
    """One interval [d]: what it costs a year, and its share of days presentable [0-1]."""

    interval_d: int
    cost: float
    presentable: float
    recommended: bool


def cost_picture(
    points: Sequence[CostPoint],
    axes_words: tuple[str, str],
    number: Callable[[float], str],
    title: str,
    description: str,
) -> bytes:
    """Draw days presentable of 100 against cost a year, one circle an interval with its days.

    ``axes_words`` name both axes; ``number`` writes a number as the reader's place does.
    """

    def draw(ax: Axes) -> None:
        shown = sorted(points, key=lambda point: point.cost)
        costs = [point.cost for point in shown]
        days = [100.0 * point.presentable for point in shown]
        colour = FORECAST.colour
        ax.plot(costs, days, color=colour, lw=0.8, alpha=0.6, clip_on=False)
        for point, cost, day in zip(shown, costs, days, strict=True):
            fill, ink = (colour, "white") if point.recommended else ("white", "black")
            looks: Any = {"ls": "", "marker": "o", "ms": 12.0, "mec": colour, "zorder": 3.0}
            ax.plot([cost], [day], mfc=fill, clip_on=False, **looks)
            middle: Any = {
                "ha": "center",
                "va": "center_baseline",
                "fontsize": SMALL_PT,
                "zorder": 3.1,
            }
            ax.text(cost, day, str(point.interval_d), color=ink, **middle)
        ax.set(xlim=(0.0, 1.1 * max([*costs, 1.0])), ylim=(0.0, 110.0))
        ax.set_yticks([0, 20, 40, 60, 80, 100])
        ax.set_xlabel(axes_words[0], labelpad=1.5, parse_math=False)
        ax.set_ylabel(axes_words[1], labelpad=1.5, parse_math=False)
        ax.xaxis.set_major_locator(MaxNLocator(nbins=5, steps=[1, 2, 2.5, 5, 10]))
        ax.xaxis.set_major_formatter(FuncFormatter(lambda x, _: drawable(number(x))))

    return _picture(draw, title, description)


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

    def draw(ax: Axes) -> None:
        days = np.array([day_number(day) for day in area.at])
        at = {level: area.height_cm[:, i] / area.budget_cm for i, level in enumerate(LEVELS)}
        ax.fill_between(days, at[0.10], at[0.90], **FORECAST.band(BAND_80_ALPHA + 0.08))
        ax.plot(days, at[0.50], color=FORECAST.colour, lw=1.5)
        for role, level in ((BUDGET, 1.0), (FLOOR, area.floor_cm / area.budget_cm)):
            ax.axhline(level, color=role.colour, ls=role.dash, lw=1.1)
        ticks = np.array([day_number(day) for day in visits])
        ax.plot(ticks, np.full(ticks.size, 0.06), ms=7.0, clip_on=False, **VISITS.marks)
        if (above := days[at[0.90] > SPARK_TOP]).size:
            mark: Any = {"marker": "^", "ms": 5.0, "color": FORECAST.colour, "clip_on": False}
            ax.plot(above[:1], [SPARK_TOP], **mark)
        ax.set(xlim=(days[0], max(days[-1], days[0] + 1.0)), ylim=(0.0, SPARK_TOP))
        ax.set_xticks([days[0], days[-1]], words[:2])
        ax.set_yticks([0.0, 1.0], ["0", words[2]])
        ax.tick_params(labelsize=SMALL_PT, length=2.0, pad=1.5)
        first, last = ax.get_xticklabels()
        first.set_horizontalalignment("left")
        last.set_horizontalalignment("right")
        ax.spines[["left", "bottom"]].set_color("#B0B0B0")

    return _picture(draw, title, description, SPARK_MM)
