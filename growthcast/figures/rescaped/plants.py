"""Plants for an area: how many days each takes from the floor to the budget, with its range."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullLocator

from growthcast.book.book import Book
from growthcast.figures.lettering import shortened
from growthcast.figures.rescaped.sheet import drawn_sheet, save_sheet
from growthcast.figures.style import (
    BAND_80_ALPHA,
    FORECAST,
    LABEL_PT,
    MEASURED,
    SMALL_PT,
    VISITS,
)
from growthcast.fit.result import GrowthFit
from growthcast.service.rescape.candidates import PlantAdvice
from growthcast.service.rescape.outlook import LONGEST_D
from growthcast.service.rescape.reasons import days_text, fits

__all__ = ["plants_axes", "plants_figure", "save_plants_figure"]

MOST_DRAWN = 24
ROW_MM, LEFT_MM = 6.2, 58.0
TICKS_D = (3, 7, 14, 28, 60, 120, 240)
SHORTEST_D = 2.0
KEY = (
    "Line: days from the floor to the height budget, 8 times of 10; circle: most likely, filled "
    "where the practice's own log knows the plant, open where only the species table does; bar: "
    "the days between visits it allows alone at the wanted chance. Arrow: a year or more. Black: "
    "the plant that stands there now. Grey line: the tank's interval today."
)


def plants_axes(shown: Sequence[PlantAdvice], ax: Axes) -> Axes:
    """Draw the plants as rows, the best at the top."""
    for row, one in enumerate(shown):
        role = MEASURED if one.plant.is_there_now else FORECAST
        low, middle, high = np.clip(one.days_between, SHORTEST_D, LONGEST_D)
        ax.plot([low, high], [row, row], color=role.colour, lw=1.6, solid_capstyle="butt")
        ax.axhspan(row - 0.5, row + 0.5, color="black", alpha=0.025 * (row % 2), lw=0)
        if high >= LONGEST_D:
            ax.plot([high], [row], marker=">", ms=4, color=role.colour, clip_on=False)
        known = one.plant.basis != "table"
        face = role.colour if known else "white"
        if middle < LONGEST_D:
            ax.plot([middle], [row], marker="o", ms=5, mfc=face, mec=role.colour, zorder=3)
        if not one.plant.is_lost:
            allowed = np.clip(one.plant.own_interval_d, SHORTEST_D, LONGEST_D)
            ax.plot([allowed], [row], marker="|", ms=10, mew=1.6, color=role.colour, zorder=3)
        label = _allowed(one)
        ax.annotate(
            label,
            (1.0, row),
            xycoords=("axes fraction", "data"),
            xytext=(9, 0),
            textcoords="offset points",
            va="center",
            fontsize=SMALL_PT,
            color=role.colour,
            annotation_clip=False,
        )
    _frame(shown, ax)
    return ax


def _allowed(one: PlantAdvice) -> str:
    if one.plant.is_lost:
        return f"{100 * one.plant.holds_chance:.0f} % to hold"
    own = one.plant.own_interval_d
    words = "a year or more" if own >= LONGEST_D else days_text(own)
    tank = one.plant.tank_interval_d
    return f"{words}; tank {'none' if tank is None else tank}"


def _frame(shown: Sequence[PlantAdvice], ax: Axes) -> None:
    ax.set_xscale("log")
    ax.set_xlim(SHORTEST_D, LONGEST_D)
    ax.xaxis.set_major_locator(FixedLocator(TICKS_D))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.set_xticklabels([str(day) for day in TICKS_D])
    ax.set_xlabel("Days from floor to height budget")
    ax.set_ylim(len(shown) - 0.5, -0.5)
    ax.set_yticks(range(len(shown)))
    names = [shortened(one.plant.species_id, LABEL_PT, LEFT_MM - 8.0) for one in shown]
    ax.set_yticklabels(names, parse_math=False)
    ax.tick_params(axis="y", length=0)
    for label, one in zip(ax.get_yticklabels(), shown, strict=True):
        label.set_fontweight("bold" if one.plant.is_there_now else "normal")
    ax.annotate(
        "alone, days; tank, days",
        (1.0, 1.0),
        xycoords="axes fraction",
        xytext=(9, 5),
        textcoords="offset points",
        fontsize=SMALL_PT,
        color="#333333",
        annotation_clip=False,
    )
    now = next(
        (
            p.tank_interval_d
            for p in (one.plant for one in shown)
            if p.is_there_now and not p.is_lost
        ),
        None,
    )
    if now is not None:
        ax.axvline(now, color=VISITS.colour, lw=0.8, zorder=0)
        ax.axvspan(SHORTEST_D, now, color=VISITS.colour, alpha=BAND_80_ALPHA / 2, lw=0)
        ax.annotate(
            f"tank today: {now} days",
            (now, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 5),
            textcoords="offset points",
            ha="center",
            fontsize=SMALL_PT,
            color=VISITS.colour,
        )


def _caption(area: str, tank: str, shown: Sequence[PlantAdvice]) -> str:
    best = next((one for one in shown if not one.plant.is_there_now), None)
    now = next((one for one in shown if one.plant.is_there_now), None)
    said = f"Plants for {area} in tank {tank}: "
    parts = []
    if best is not None and fits(best.plant):
        days = days_text(best.plant.own_interval_d)
        parts.append(f"{best.plant.species_id} comes first, alone it would be cut every {days}")
    elif best is not None:
        parts.append("none of those compared is likely to do there")
    if now is not None and now.plant.is_lost:
        parts.append(f"{now.plant.species_id}, there now, is not likely to hold")
    elif now is not None:
        days = days_text(now.plant.own_interval_d)
        parts.append(f"{now.plant.species_id}, there now, needs it every {days}")
    return f"{said}{'; '.join(parts)}."


def plants_figure(fit: GrowthFit, place: int, shown: Sequence[PlantAdvice]) -> Figure:
    """Draw plants for an area and a caption that states the conclusion.

    Parameters
    ----------
    fit : GrowthFit
        The fit of the book.
    place : int
        Place of the area in the book.
    shown : sequence of PlantAdvice
        The best first; the first 24 are drawn, and the plant that stands there now.

    Returns
    -------
    Figure
        As wide as the text of an A4 page.
    """
    drawn = _drawn(shown)
    area, tank = _names(fit, place)
    said = _caption(area, tank, shown)
    panel_mm = ROW_MM * len(drawn) + 24.0

    def draw(ax: Axes) -> None:
        plants_axes(drawn, ax)

    return drawn_sheet(draw, said, KEY, panel_mm=panel_mm, left_mm=LEFT_MM)


def _drawn(shown: Sequence[PlantAdvice]) -> list[PlantAdvice]:
    return [a for i, a in enumerate(shown) if i < MOST_DRAWN or a.plant.is_there_now]


def _names(fit: GrowthFit, place: int) -> tuple[str, str]:
    design = fit.design
    return str(design.area_id[place]), str(design.tank_id[design.tank[place]])


def save_plants_figure(
    book: Book, fit: GrowthFit, place: int, shown: Sequence[PlantAdvice], file: Path
) -> None:
    """Write the figure to a ``.svg`` or ``.png`` file, the same bytes for the same book.

    Raises
    ------
    UsageError
        The file is of another form, cannot be written or is a file of the book.
    """
    area, tank = _names(fit, place)
    rows = [
        f"{a.plant.species_id}: {days_text(float(a.days_between[1]))} "
        f"({days_text(float(a.days_between[0]))} to {days_text(float(a.days_between[2]))}), "
        f"alone every {days_text(a.plant.own_interval_d)}"
        for a in _drawn(shown)
    ]
    description = f"{_caption(area, tank, shown)} {'; '.join(rows)}."
    figure = plants_figure(fit, place, shown)
    save_sheet(book, figure, f"Plants compared for {area}", description, file)
