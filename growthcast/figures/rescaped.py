"""Areas rescaped and their weeks ahead, as a tank's page and its client's show them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, MaxNLocator, NullLocator

from growthcast.figures import style
from growthcast.figures.lettering import EndLabel, drawable, label_ends, sheet_of_panels, shortened
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import AreaForecast
from growthcast.say.figures import Caption, layouts_caption, plants_caption
from growthcast.say.locale import Locale
from growthcast.say.plants import plant_name
from growthcast.say.words import percent
from growthcast.service.living import bare_below
from growthcast.service.pages.course import Course
from growthcast.service.rescape.layouts import AS_IT_IS, LayoutAdvice
from growthcast.service.rescape.plants import PlantAdvice
from growthcast.service.rescape.variants import LONGEST_D

MOST_DRAWN = 24
ROW_MM, NAME_MM = 6.2, 50.0
TICKS_D = (3, 7, 14, 28, 60, 120, 240)
SHORTEST_D = 2.0
MARKS = ("s", "^", "v", "P", "X", "*")
DASHES = ("-", "--", "-.", ":")


def plants_figure(
    fit: GrowthFit, place: int, shown: Sequence[PlantAdvice]
) -> tuple[Figure, Caption]:
    """Draw the first 24 plants for an area, the best first, and the plant that stands there now.

    Those that take a year or more whatever happens are named in the caption alone.
    """
    first = [a for i, a in enumerate(shown) if i < MOST_DRAWN or a.is_there_now]
    beyond = [a for a in first if a.days_between[0] >= LONGEST_D and not a.is_there_now]
    drawn = [a for a in first if all(a is not other for other in beyond)]
    design = fit.design
    tank = str(design.tank_id[design.tank[place]])
    caption = plants_caption(str(design.area_id[place]), tank, first, beyond)
    figure, [ax] = sheet_of_panels(caption, 1, 1, ROW_MM * len(drawn) + 18.0)
    with style.house_style():
        plants_axes(drawn, ax)
    return figure, caption


def plants_axes(shown: Sequence[PlantAdvice], ax: Axes) -> None:
    """Draw how many days each plant takes from the floor to the budget, the best at the top."""
    for row, one in enumerate(shown):
        colour = (style.MEASURED if one.is_there_now else style.FORECAST).colour
        low, middle, high = np.clip(one.days_between, SHORTEST_D, LONGEST_D)
        ax.plot([low, high], [row, row], color=colour, lw=1.6, solid_capstyle="butt")
        ax.axhspan(row - 0.5, row + 0.5, color="black", alpha=0.025 * (row % 2), lw=0)
        if high >= LONGEST_D:
            ax.plot([high], [row], marker=">", ms=4, color=colour, clip_on=False)
        if middle < LONGEST_D:
            face = colour if one.basis != "table" else "white"
            ax.plot([middle], [row], marker="o", ms=5, mfc=face, mec=colour, zorder=3)
        if not one.is_lost:
            allowed = np.clip(one.own_interval_d, SHORTEST_D, LONGEST_D)
            ax.plot([allowed], [row], marker="|", ms=10, mew=1.6, color=colour, zorder=3)
        at: Any = {"transform": ax.get_yaxis_transform(), "va": "center"}
        ax.text(1.02, row, _allowed(one), fontsize=style.SMALL_PT, color=colour, **at)
    ax.set_xscale("log")
    ax.set_xlim(SHORTEST_D, LONGEST_D)
    ax.xaxis.set_major_locator(FixedLocator(TICKS_D))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.set_xticklabels([str(day) for day in TICKS_D])
    ax.set_xlabel("Days from floor to height budget")
    ax.set_ylim(len(shown) - 0.5, -0.5)
    names = [shortened(plant_name(one), style.LABEL_PT, NAME_MM) for one in shown]
    ax.set_yticks(range(len(shown)), names, parse_math=False)
    ax.tick_params(axis="y", length=0)
    for label, one in zip(ax.get_yticklabels(), shown, strict=True):
        label.set_fontweight("bold" if one.is_there_now else "normal")
    heading = "alone; tank"
    ax.set_title(heading, loc="right", x=1.02, ha="left", fontsize=style.SMALL_PT, color="#333333")
    living = [one for one in shown if one.is_there_now and not one.is_lost]
    now = living[0].tank_interval_d if living else None
    if now is not None:
        ax.axvline(now, color=style.VISITS.colour, lw=0.8, zorder=0)
        ax.axvspan(SHORTEST_D, now, color=style.VISITS.colour, alpha=style.BAND_80_ALPHA / 2, lw=0)
        ax.set_title(f"tank today: {now} days", fontsize=style.SMALL_PT, color=style.VISITS.colour)


def _allowed(one: PlantAdvice) -> str:
    if one.is_lost:
        return f"{percent(one.chance_holds)} to hold"
    own = one.own_interval_d
    alone = "a year or more" if own >= LONGEST_D else f"{own} d"
    tank = one.tank_interval_d
    return f"{alone}; {'none' if tank is None else f'{tank} d'}"


def layouts_figure(
    tank_id: str, advice: Sequence[LayoutAdvice], wanted: float
) -> tuple[Figure, Caption]:
    """Draw a tank as it is and its layouts; ``wanted`` is the wanted chance [0-1]."""
    caption = layouts_caption(tank_id, advice)
    figure, [ax] = sheet_of_panels(caption, 1, 1, 90.0)
    with style.house_style():
        layouts_axes(advice, wanted, ax)
    return figure, caption


def layouts_axes(advice: Sequence[LayoutAdvice], wanted: float, ax: Axes) -> None:
    """Draw the chance that every area stays inside against the days between visits."""
    ends = []
    for number, one in enumerate(advice):
        if one.nothing_holds:
            continue
        is_now = one.name == AS_IT_IS
        colour = (style.MEASURED if is_now else style.FORECAST).colour
        mark = "o" if is_now else MARKS[number % len(MARKS)]
        dash = "-" if is_now else DASHES[number % len(DASHES)]
        days = [option.interval_d for option in one.answer.options]
        chance = [100.0 * option.chance_at_least_cut for option in one.answer.options]
        ax.plot(days, chance, color=colour, lw=1.4, ls=dash, marker=mark, ms=4.5, clip_on=False)
        name = drawable(shortened(one.name, style.SMALL_PT, NAME_MM))
        ends.append(EndLabel(name, chance[-1], colour))
    ax.axhline(100.0 * wanted, **style.BUDGET.line)
    ends.append(EndLabel(f"wanted, {percent(wanted)}", 100.0 * wanted, style.BUDGET.text))
    listed = [option.interval_d for option in advice[0].answer.options]
    ax.set(xlim=(0.0, max(listed)), ylim=(0.0, 102.0), xticks=listed)
    ax.set_xlabel("Days between visits")
    ax.set_ylabel("All areas inside (% of visits)")
    label_ends(ax, ends)


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
