"""A tank's figure: every living area's log and forecast, with a caption that says what follows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from growthcast.book.book import Book
from growthcast.book.writing.whole import write_whole
from growthcast.errors import UsageError
from growthcast.figures.lettering import MM_PER_POINT, drawable, shortened, tidy, wrapped
from growthcast.figures.log import area_log, visit_days
from growthcast.figures.panel import (
    BOTTOM_MM,
    LEFT_MM,
    RIGHT_MM,
    TOP_MM,
    AreaPanel,
    forecast_axes,
)
from growthcast.figures.save import check_target, figure_form
from growthcast.figures.style import LABEL_PT, figure_bytes, house_style, new_figure
from growthcast.fit.design import day_number
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date, forecast_growth
from growthcast.say.forecast import area_sentence, conclusion, first_to_pass, unit
from growthcast.say.words import day_words, days_in_words, full_date_words

__all__ = [
    "AreaPanel",
    "alternative_text",
    "forecast_axes",
    "forecast_figure",
    "forecast_panels",
    "save_forecast_figure",
]

LOG_SHOWN_D = 70
"""Days of the log that are drawn before the day of the forecast."""
LEAST_LOG_SHOWN_D = 7
EDGE_D = 1
"""Days of air before the first mark."""
FORECAST_POINTS = 30
GAP_MM = 3.0
NAME_IN_CAPTION_MM = 60.0
CAPTION_LINE_SPACING = 1.3


@dataclass(frozen=True, slots=True)
class _Grid:
    """Columns and sizes [mm] of a sheet of panels: A4 upright, or lying for three columns."""

    columns: int
    rows: int
    width_mm: float
    row_mm: float

    @classmethod
    def of(cls, panels: int) -> _Grid:
        """Lay panels out so that words stay readable; many make a sheet of pages of four rows."""
        columns = 1 if panels <= 2 else 2 if panels <= 10 else 3
        rows = math.ceil(panels / columns)
        width_mm, page_mm = (277.0, 172.0) if columns == 3 else (190.0, 255.0)
        tallest = 95.0 if columns == 1 else 70.0
        on_one_page = rows <= (4 if columns == 3 else 5)
        return cls(columns, rows, width_mm, min(page_mm / rows, tallest) if on_one_page else 47.5)


def forecast_panels(book: Book, fit: GrowthFit, tank: int) -> tuple[AreaPanel, ...]:
    """Return what there is to draw of each living area of a tank, in the order of the book."""
    on = as_date(fit.design.on_day)
    horizon = book.practice.horizon_d
    bend = 1.0 if horizon <= FORECAST_POINTS else 2.0  # most of the change comes early
    even = np.linspace(0.0, 1.0, min(horizon, FORECAST_POINTS) + 1)
    ahead = np.unique(np.round(horizon * even**bend))
    at = tuple(on + timedelta(days=int(d)) for d in ahead)
    areas = forecast_growth(fit, at, horizon, np.array([tank]))
    labels = dict(zip(book.areas.text("area_id"), book.areas.text("label"), strict=True))
    on_day = day_number(on)
    logs = [area_log(book, area.area_id, on_day - LOG_SHOWN_D, on_day) for area in areas]
    visits = visit_days(book, str(fit.design.tank_id[tank]), on_day - LOG_SHOWN_D, on_day)
    first = min([on_day - LEAST_LOG_SHOWN_D, *visits, *(log.day[0] for log in logs if len(log))])
    edge = float(first) - EDGE_D
    return tuple(
        AreaPanel(labels[area.area_id], area, log, visits, edge, on, horizon)
        for area, log in zip(areas, logs, strict=True)
    )


def caption(
    book: Book, tank: int, panels: Sequence[AreaPanel], names: Sequence[str], mark: str = ""
) -> str:
    """Return what the figure shows as a whole: which area passes its budget first, and when."""
    on, horizon = panels[0].on, panels[0].horizon_d
    tank_id = book.tanks.text("tank_id")[tank]
    areas = [panel.area for panel in panels]
    opening = f"Tank {tank_id}{mark}, if nothing more is cut from {full_date_words(on)} on: "
    first = first_to_pass(areas)
    if first is None:
        closest = [i for i, area in enumerate(areas) if area.passes_budget_on[0] is not None]
        if not closest:
            whole = "its one area stays" if len(areas) == 1 else f"all {len(areas)} areas stay"
            return f"{opening}{whole} below budget within {days_in_words(horizon)}, 9 times of 10."
        soonest = min(closest, key=lambda i: areas[i].passes_budget_on[0] or date.max)
        said = conclusion(areas[soonest], on, horizon)
        none = f"no area is likely to pass within {days_in_words(horizon)}"
        return f"{opening}{none}; {names[soonest]} {said}."
    said = conclusion(areas[first], on, horizon)
    begins = areas[first].passes_budget_on[1]
    sure = "; the dates in brackets hold 8 times of 10" if begins and begins > on else ""
    if len(areas) == 1:
        return f"{opening}{names[first]} {said}{sure}."
    passing = sum(area.passes_budget_on[1] is not None for area in areas)
    many = f"All of its {len(areas)}" if passing == len(areas) else f"{passing} of its {len(areas)}"
    verb = "passes" if passing == 1 else "pass"
    return (
        f"{opening}{names[first]} is first: it {said}{sure}. "
        f"{many} areas likely {verb} within {days_in_words(horizon)}."
    )


KEY = (
    "Black circles: heights logged before a cut (filled) and after it (open). Grey ticks: visits; "
    "grey line: the day of the forecast. "
    "Blue: most likely height, within the dark band 5 times of 10 and within the light band 8 "
    "times of 10. Diamond and bar: when the budget is passed, most likely and 8 times of 10."
)


def alternative_text(
    book: Book, tank: int, panels: Sequence[AreaPanel], mark: str = ""
) -> tuple[str, str]:
    """Return a title and a description of the figure, in words and numbers."""
    names = [tidy(panel.label) or panel.area.area_id for panel in panels]
    sentences = [caption(book, tank, panels, names, mark)]
    for panel, name in zip(panels, names, strict=True):
        reading = _last_reading(panel)
        sentences.append(area_sentence(panel.area, name, reading, panel.on, panel.horizon_d))
    title = f"Height forecast of tank {book.tanks.text('tank_id')[tank]}{mark}"
    return tidy(title), tidy(" ".join(sentences))


def _last_reading(panel: AreaPanel) -> str:
    last = panel.log.last_reading()
    if last is None:
        return f"no height logged in the {LOG_SHOWN_D} days before {day_words(panel.on, panel.on)}"
    day, height, cut = last
    when = day_words(as_date(day), panel.on)
    return f"{'left' if cut else 'measured'} at {height:g} {unit(panel.area)} on {when}"


def forecast_figure(book: Book, fit: GrowthFit, tank: int) -> Figure:
    """Draw a tank: one panel for each living area, and a caption that states the conclusion.

    Parameters
    ----------
    book : Book
        The book the fit was made from.
    fit : GrowthFit
        The fit, and with it the day the forecast stands on.
    tank : int
        Place of the tank in the book.

    Returns
    -------
    Figure
        The figure, sized for A4; with more than twelve areas it is longer than a page.

    Raises
    ------
    UsageError
        The tank has no living area on that day.
    """
    return _drawn(book, tank, _some_panels(book, fit, tank))


def _some_panels(book: Book, fit: GrowthFit, tank: int) -> tuple[AreaPanel, ...]:
    panels = forecast_panels(book, fit, tank)
    if not panels:
        name, day = fit.design.tank_id[tank], as_date(fit.design.on_day)
        raise UsageError(f"tank {name} has no planted area on {day}, so there is nothing to draw")
    return panels


def _drawn(book: Book, tank: int, panels: Sequence[AreaPanel], mark: str = "") -> Figure:
    grid = _Grid.of(len(panels))
    said = drawable(caption(book, tank, panels, [_brief(panel) for panel in panels], mark))
    room_mm = grid.width_mm - 2 * GAP_MM
    lines = [*wrapped(said, LABEL_PT + 1.0, room_mm), *wrapped(KEY, LABEL_PT, room_mm)]
    caption_mm = len(lines) * (LABEL_PT + 1.0) * CAPTION_LINE_SPACING * MM_PER_POINT + 3 * GAP_MM
    height_mm = grid.rows * grid.row_mm + caption_mm
    with house_style():
        figure = new_figure(grid.width_mm, height_mm)
        shared: Axes | None = None
        column_mm = grid.width_mm / grid.columns
        for place, panel in enumerate(panels):
            row, column = divmod(place, grid.columns)
            left = column * column_mm + LEFT_MM
            bottom = height_mm - (row + 1) * grid.row_mm + BOTTOM_MM
            wide, high = column_mm - LEFT_MM - RIGHT_MM, grid.row_mm - TOP_MM - BOTTOM_MM
            box = (
                left / grid.width_mm,
                bottom / height_mm,
                wide / grid.width_mm,
                high / height_mm,
            )
            ax = figure.add_axes(box, sharex=shared)
            shared = shared or ax
            forecast_axes(panel, ax)
        _write_caption(figure, said, room_mm, height_mm, caption_mm)
    return figure


def _brief(panel: AreaPanel) -> str:
    return shortened(panel.name, LABEL_PT + 1.0, NAME_IN_CAPTION_MM)


def _write_caption(
    figure: Figure, said: str, room_mm: float, height_mm: float, caption_mm: float
) -> None:
    top = caption_mm - GAP_MM
    for text, size, colour in ((said, LABEL_PT + 1.0, "black"), (KEY, LABEL_PT, "#333333")):
        for line in wrapped(text, size, room_mm):
            figure.text(
                GAP_MM / (room_mm + 2 * GAP_MM),
                top / height_mm,
                line,
                ha="left",
                va="top",
                fontsize=size,
                color=colour,
                parse_math=False,
            )
            top -= size * CAPTION_LINE_SPACING * MM_PER_POINT
        top -= 0.4 * GAP_MM


def save_forecast_figure(book: Book, fit: GrowthFit, tank: int, file: Path, mark: str = "") -> None:
    """Write a tank's figure to a ``.svg`` or ``.png`` file, the same bytes for the same book.

    Parameters
    ----------
    book : Book
        The book the fit was made from.
    fit : GrowthFit
        The fit, and with it the day the forecast stands on.
    tank : int
        Place of the tank in the book.
    file : Path
        Where to write; its folder must exist. An earlier figure is replaced.
    mark : str
        What follows the tank's name in caption and title, as ", supposed".

    Raises
    ------
    UsageError
        The file is of another form, its folder is not there, it cannot be written, it is a file of
        the book, or the tank has no living area.
    """
    form = figure_form(file)
    check_target(book, file)
    panels = _some_panels(book, fit, tank)
    title, description = alternative_text(book, tank, panels, mark)
    figure = _drawn(book, tank, panels, mark)
    write_whole(file, figure_bytes(figure, form, title=title, description=description))
