"""Layouts of a tank: the chance that every area stays inside, against the days between visits."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from growthcast.book.book import Book
from growthcast.figures.lettering import drawable, shortened, spread_apart
from growthcast.figures.rescaped.sheet import RIGHT_MM, drawn_sheet, save_sheet
from growthcast.figures.style import BUDGET, FORECAST, MEASURED, SMALL_PT
from growthcast.service.rescape.layouts import AS_IT_IS, LayoutAdvice

__all__ = ["layouts_axes", "layouts_figure", "save_layouts_figure"]

PANEL_MM, LEFT_MM, LABEL_MM = 92.0, 17.0, 3.6
MARKS = ("s", "^", "v", "P", "X", "*")
DASHES = ("-", "--", "-.", ":")
KEY = (
    "Chance that every area stays inside its height until the next visit when each is cut to its "
    "floor. Black: the tank as it is; blue: layouts. Dashed orange line: the chance "
    "wanted; a layout holds the intervals at which it lies on or above that line."
)


def layouts_axes(advice: Sequence[LayoutAdvice], wanted: float, ax: Axes) -> Axes:
    """Draw a line a layout over the intervals."""
    ends = []
    for number, one in enumerate(advice):
        if one.nothing_holds:
            continue
        role = MEASURED if one.name == AS_IT_IS else FORECAST
        days = [option.interval_d for option in one.answer.options]
        chance = [100.0 * option.chance_at_least_cut for option in one.answer.options]
        ax.plot(
            days,
            chance,
            color=role.colour,
            lw=1.4,
            ls="-" if one.name == AS_IT_IS else DASHES[number % len(DASHES)],
            marker="o" if one.name == AS_IT_IS else MARKS[number % len(MARKS)],
            ms=4.5,
            clip_on=False,
        )
        ends.append((chance[-1], one.name, role.colour))
    ax.axhline(100.0 * wanted, color=BUDGET.colour, ls=BUDGET.dash, lw=BUDGET.width_pt)
    ends.append((100.0 * wanted, f"wanted, {100 * wanted:.0f} %", BUDGET.colour))
    ax.set_ylim(0.0, 102.0)
    listed = [option.interval_d for option in advice[0].answer.options]
    ax.set_xticks(listed)
    ax.set_xlim(0.0, max(listed))
    ax.set_xlabel("Days between visits")
    ax.set_ylabel("All areas inside (% of visits)")
    per_label = LABEL_MM / (PANEL_MM - 23.0) * 102.0
    wanted_at = [end for end, _, _ in ends]
    centres = spread_apart(wanted_at, [per_label] * len(ends), 0.0, 102.0)
    for centre, (_, name, colour) in zip(centres, ends, strict=True):
        ax.annotate(
            drawable(shortened(name, SMALL_PT, RIGHT_MM - 6.0)),
            (1.0, centre),
            xycoords=("axes fraction", "data"),
            xytext=(8, 0),
            textcoords="offset points",
            va="center",
            fontsize=SMALL_PT,
            color=colour,
            annotation_clip=False,
            parse_math=False,
        )
    return ax


def _caption(tank_id: str, advice: Sequence[LayoutAdvice]) -> str:
    parts = []
    for one in advice:
        days, hours = one.interval_d, one.answer.chosen.year.hours_range
        first = "" if one.limited_by is None else one.areas[one.limited_by].area_id
        if one.nothing_holds:
            parts.append(f"{one.name} holds no interval, its plants are not likely to live")
        elif days is None:
            parts.append(f"{one.name} holds no listed interval ({first} goes over first)")
        else:
            year = f"{hours.p10:.0f} to {hours.p90:.0f} h a year"
            limited = f", then {first}" if first else ""
            parts.append(f"{one.name} holds {days} days ({year}{limited})")
    return f"Layouts of tank {tank_id}: {'; '.join(parts)}."


def layouts_figure(tank_id: str, advice: Sequence[LayoutAdvice], wanted: float) -> Figure:
    """Draw layouts and a caption that states the conclusion.

    Parameters
    ----------
    tank_id : str
        The tank.
    advice : sequence of LayoutAdvice
        The tank as it is and its layouts.
    wanted : float
        The wanted chance [0-1].

    Returns
    -------
    Figure
        As wide as the text of an A4 page.
    """

    def draw(ax: Axes) -> None:
        layouts_axes(advice, wanted, ax)

    said = _caption(tank_id, advice)
    return drawn_sheet(draw, said, KEY, panel_mm=PANEL_MM, left_mm=LEFT_MM)


def save_layouts_figure(
    book: Book, tank_id: str, advice: Sequence[LayoutAdvice], file: Path
) -> None:
    """Write the figure to a ``.svg`` or ``.png`` file, the same bytes for the same book.

    Raises
    ------
    UsageError
        The file is of another form, cannot be written or is a file of the book.
    """
    wanted = float(book.of_tanks("confidence")[book.tanks.text("tank_id") == tank_id][0])
    rows = [
        f"{one.name}: "
        + ", ".join(
            f"{100 * o.chance_at_least_cut:.0f} % at {o.interval_d} days"
            for o in one.answer.options
        )
        for one in advice
    ]
    description = f"{_caption(tank_id, advice)} {'; '.join(rows)}."
    figure = layouts_figure(tank_id, advice, wanted)
    save_sheet(book, figure, f"Layouts of tank {tank_id}", description, file)
