"""Small pictures for pages: one statement each, wide enough for a phone."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from growthcast.figures import style
from growthcast.figures.lettering import EndLabel, drawable, label_ends
from growthcast.forecast.report import AreaForecast
from growthcast.say.locale import Locale
from growthcast.service.living import bare_below
from growthcast.service.pages.course import Course

COURSE_MM = {2: (76.0, 25.0), 3: (56.0, 27.0)}
"""Sizes of pictures of rhythms by how many of them stand in a row on A4."""
BESIDE_MM = (60.0, 38.0)
PLANTS, OVER, BARE = style.FLOOR.colour, style.BUDGET.colour, "#8A5A2B"
OVER_INK, FLOOR_INK = "#A34700", "#00684B"
"""Darker, so that small letters stand out 4.5 : 1 from white paper."""
STALKS, LEAVES = 42, 9


def course_picture(
    locale: Locale,
    course: Course,
    area: AreaForecast,
    top: float,
    heard: tuple[str, str],
    size_mm: tuple[float, float],
) -> bytes:
    """Draw one area over the days ahead as a hedge: up with growth, down with each visit.

    ``top`` is the end of the axis of heights; ``heard`` are title and description for those who
    hear the picture.
    """
    floor, budget, unit = area.floor_cm, area.budget_cm, "%" if area.is_cover else "cm"
    bare = float(bare_below(np.array(floor)))
    last = int(course.day[-1])

    with style.house_style():
        figure = style.new_figure(*size_mm)
        ax = figure.add_subplot()
        _hedge(ax, course, bare, budget, top)
        ax.axhline(floor, **style.FLOOR.line)
        ends_at = float(last)
        if not course.visit_d:
            ends_at += 0.55 * last
            looks = (  # the last has its words at the end of its line
                (0.6 * bare, BARE, locale.say("zone_bare")),
                (0.5 * (floor + budget), PLANTS, locale.say("zone_right")),
                (0.5 * (budget + top), OVER, ""),
            )
            for place, (tip, colour, word) in enumerate(looks):
                x = last * (1.17 + 0.14 * place)
                _plant(ax, x, 0.05 * last, tip, colour, bare=not place)
                ink = BARE if not place else FLOOR_INK
                up: Any = {"rotation": 90, "ha": "center", "va": "bottom", "parse_math": False}
                ax.text(x, tip + 0.04 * top, word, color=ink, fontsize=style.SMALL_PT, **up)
            ax.axvspan(last, 1.06 * last, color="white", lw=0, zorder=5)  # apart from the days
            ax.spines["bottom"].set_bounds(0, last)
        ax.set(xlim=(0, ends_at), ylim=(0.0, top))
        marked = [0, *((last // 2,) if last > 28 else ()), last]
        dates = [area.at[0] + timedelta(days=ahead) for ahead in marked]
        marks = [drawable(locale.short_date(on), otherwise=on.isoformat()) for on in dates]
        ax.set_xticks(marked, marks, parse_math=False)
        named = locale.say("axis_cover" if area.is_cover else "axis_height")
        ax.set_ylabel(named, labelpad=1.5, parse_math=False)
        ax.yaxis.set_major_locator(MaxNLocator(nbins=4, steps=[1, 2, 5, 10]))
        agreed = f"{locale.say('label_budget')}\n{locale.exact(budget, unit)}"
        lowest = f"{locale.say('label_floor')}\n{locale.exact(floor, unit)}"
        ends = [
            EndLabel(locale.say("zone_over"), 0.5 * (budget + top), OVER_INK),
            EndLabel(agreed, budget, OVER_INK),
            EndLabel(lowest, floor, FLOOR_INK),
            EndLabel(locale.say("zone_bare"), 0.4 * bare, BARE),
        ]
        label_ends(ax, ends)
        return style.figure_bytes(figure, "svg", *heard)


def _hedge(ax: Axes, course: Course, least: float, budget: float, top: float) -> None:
    """Draw heights as plants: brown where below ``least`` they look bare, orange above."""
    day, (low, middle, high) = course.day, course.height_cm
    ax.axhspan(budget, top, color=OVER, alpha=0.10, lw=0)
    ax.axhspan(0.0, least, color=BARE, alpha=0.10, lw=0)
    ax.fill_between(day, low, np.minimum(high, budget), color=PLANTS, alpha=0.25, lw=0)
    inside = np.minimum(middle, budget)
    ax.fill_between(day, 0.0, inside, color=PLANTS, alpha=0.55, lw=0)
    bare = middle < least
    bare[1:] |= bare[:-1].copy()  # a stretch that begins bare is drawn so up to its next day
    ax.fill_between(day, 0.0, inside, where=bare, color=BARE, alpha=0.85, lw=0)
    ax.fill_between(day, np.minimum(low, least), least, color=BARE, alpha=0.60, lw=0)
    ax.fill_between(day, budget, np.maximum(high, budget), color=OVER, alpha=0.45, lw=0)
    ax.fill_between(day, budget, np.maximum(middle, budget), color=OVER, alpha=0.80, lw=0)
    stalks = np.linspace(day[0], day[-1], STALKS + 1)[1:-1]
    tips = np.interp(stalks, day, middle)
    ax.vlines(stalks, 0.0, tips, color="white", lw=0.5, alpha=0.8)
    ax.plot(day, middle, color="#333333", lw=1.1)
    ax.axhline(budget, **style.BUDGET.line)


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
