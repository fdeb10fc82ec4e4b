"""A tank's figure: every living area's log and forecast, with a caption that says what follows."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

import numpy as np
from matplotlib.figure import Figure

from growthcast.book.book import Book
from growthcast.errors import UsageError
from growthcast.figures.lettering import sheet_of_panels, shortened
from growthcast.figures.log import area_log, visit_days
from growthcast.figures.panel import AreaPanel, forecast_axes
from growthcast.figures.style import TITLE_PT
from growthcast.fit.design import day_number
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date, forecast_growth
from growthcast.say.figures import Caption, forecast_caption, last_reading_words
from growthcast.say.forecast import area_sentence
from growthcast.say.words import tidy

LOG_SHOWN_D = 70
"""Days of the log that are drawn before the day of the forecast."""
LEAST_LOG_SHOWN_D = 7
EDGE_D = 1
"""Days of air before the first mark."""
FORECAST_POINTS = 30
NAME_MM = 60.0


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


def forecast_figure(
    book: Book, fit: GrowthFit, tank: int, mark: str = ""
) -> tuple[Figure, Caption]:
    """Draw a tank: one panel for each living area, and its caption.

    Parameters
    ----------
    book : Book
        The book the fit was made from.
    fit : GrowthFit
        The fit, and with it the day the forecast stands on.
    tank : int
        Place of the tank in the book.
    mark : str
        What follows the tank's name in conclusion and title, as ", supposed".

    Returns
    -------
    Figure, Caption
        The figure, sized for A4 (with more than twelve areas it is longer than a page), and what is
        said of it.

    Raises
    ------
    UsageError
        The tank has no living area on that day.
    """
    panels = forecast_panels(book, fit, tank)
    name = str(fit.design.tank_id[tank])
    if not panels:
        day = as_date(fit.design.on_day)
        raise UsageError(f"tank {name} has no planted area on {day}, so there is nothing to draw")
    caption = _caption(f"{name}{mark}", panels)
    columns = 1 if len(panels) <= 2 else 2 if len(panels) <= 10 else 3
    row_mm = {1: 90.0, 2: 66.0 if len(panels) <= 6 else 50.0, 3: 45.0}[columns]
    figure, axes = sheet_of_panels(
        caption, len(panels), columns, row_mm, 277.0 if columns == 3 else 190.0
    )
    for panel, ax in zip(panels, axes, strict=True):
        forecast_axes(panel, ax)
    return figure, caption


def _caption(tank: str, panels: Sequence[AreaPanel]) -> Caption:
    on, horizon_d = panels[0].on, panels[0].horizon_d
    names = [shortened(panel.name, TITLE_PT, NAME_MM) for panel in panels]
    sentences = []
    for panel in panels:
        reading = last_reading_words(panel.area, panel.log.last_reading(), LOG_SHOWN_D, on)
        label = tidy(panel.label) or panel.area.area_id
        sentences.append(area_sentence(panel.area, label, reading, on, horizon_d))
    areas = [panel.area for panel in panels]
    return forecast_caption(tank, names, areas, sentences, on, horizon_d)
