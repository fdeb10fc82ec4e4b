"""Areas rescaped and their weeks ahead, as a tank's page and its client's show them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullLocator

from growthcast.figures import style
from growthcast.figures.drawn import EndLabel
from growthcast.figures.lettering import drawable, label_ends, sheet_of_panels, shortened
from growthcast.fit.result import GrowthFit
from growthcast.say.figures import Caption, caption
from growthcast.say.plants import plant_name, stand_table
from growthcast.say.words import Answer, percent, sentence
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
    fit: GrowthFit, place: int, shown: Sequence[PlantAdvice], said: Answer
) -> tuple[Figure, Caption]:
    """Draw the first 24 plants for an area, the best first, and the plant that stands there now.

    Those that take a year or more whatever happens are named in the caption alone, which is of what
    is ``said`` of them all.
    """
    first = [a for i, a in enumerate(shown) if i < MOST_DRAWN or a.is_there_now]
    beyond = [a for a in first if a.days_between[0] >= LONGEST_D and not a.is_there_now]
    drawn = [a for a in first if all(a is not other for other in beyond)]
    area_id = str(fit.design.area_id[place])
    key = sentence("plants_key", beyond=", ".join(map(plant_name, beyond)))
    said = replace(said, table=stand_table(area_id, first))
    told = caption(said, f"Plants compared for {area_id}", key)
    return sheet_of_panels(told, [partial(plants_axes, drawn)], 1, ROW_MM * len(drawn) + 18.0)


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
    tank_id: str, advice: Sequence[LayoutAdvice], wanted: float, said: Answer
) -> tuple[Figure, Caption]:
    """Draw what is ``said`` of a tank and its layouts; ``wanted`` is the wanted chance [0-1]."""
    told = caption(said, f"Layouts of tank {tank_id}", sentence("layouts_key"))
    return sheet_of_panels(told, [partial(layouts_axes, advice, wanted)], 1, 90.0)


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
