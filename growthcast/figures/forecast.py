"""A tank's figure: every living area's log and forecast, with a caption that says what follows."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial

import numpy as np
from matplotlib.figure import Figure

from growthcast.arrays import FloatArray, IntArray
from growthcast.book.book import Book
from growthcast.errors import UsageError
from growthcast.figures.lettering import A4_MM, sheet_of_panels
from growthcast.figures.panel import AreaPanel, area_log, forecast_axes, visit_days
from growthcast.fit.design import day_number
from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import as_date, forecast_growth
from growthcast.say.figures import Caption, caption
from growthcast.say.words import Answer, sentence
from growthcast.service.recommend import recommend
from growthcast.service.urgency import tanks_due

LOG_SHOWN_D = 70
"""Days of the log that are drawn before the day of the forecast."""
LEAST_LOG_SHOWN_D = 7
EDGE_D = 1
"""Days of air before the first mark."""
VISITS_AHEAD, LEAST_SHOWN_D, AFTER_PASSING_D = 3, 14, 3
"""Visits and days that are drawn ahead at least, and days after the last passing that is dated."""
FORECAST_POINTS = 30


def forecast_panels(
    book: Book, fit: GrowthFit, tank: int, as_it_is: GrowthFit | None = None
) -> tuple[AreaPanel, ...]:
    """Return what there is to draw of each living area of a tank, in the order of the book.

    ``as_it_is`` is the fit without what is supposed, of which the most likely heights are drawn.
    """
    on, place = as_date(fit.design.on_day), np.array([tank])
    horizon = book.practice.horizon_d
    first_d, every_d = _rhythm(book, fit, place)
    passes = [area.passes_budget_on for area in forecast_growth(fit, (on,), horizon, place)]
    ends = (late or middle for _, middle, late in passes)
    last = [(end - on).days + AFTER_PASSING_D for end in ends if end is not None]
    shown_d = min(horizon, max([first_d + (VISITS_AHEAD - 1) * every_d + 1, LEAST_SHOWN_D, *last]))
    ahead = np.unique(np.round(np.linspace(0.0, shown_d, min(shown_d, FORECAST_POINTS) + 1)))
    at = tuple(on + timedelta(days=int(d)) for d in ahead)
    areas = forecast_growth(fit, at, horizon, place)
    usual: dict[str, FloatArray] = {}
    if as_it_is is not None:
        before = forecast_growth(as_it_is, at, horizon, place)
        usual = {area.area_id: area.height_cm[:, LEVELS.index(0.50)] for area in before}
    labels = dict(zip(book.areas.text("area_id"), book.areas.text("label"), strict=True))
    on_day = day_number(on)
    logs = [area_log(book, area.area_id, on_day - LOG_SHOWN_D, on_day) for area in areas]
    visits = visit_days(book, str(fit.design.tank_id[tank]), on_day - LOG_SHOWN_D, on_day)
    first = min([on_day - LEAST_LOG_SHOWN_D, *visits, *(log.day[0] for log in logs if len(log))])
    edge = float(first) - EDGE_D
    to_come = on_day + np.arange(max(first_d, 0), shown_d + 1, every_d, dtype=np.float64)
    same = visits, edge, on, horizon, to_come
    return tuple(
        AreaPanel(labels[area.area_id], area, log, *same, usual.get(area.area_id))
        for area, log in zip(areas, logs, strict=True)
    )


def _rhythm(book: Book, fit: GrowthFit, place: IntArray) -> tuple[int, int]:
    """Days until a tank is due, and from visit to visit; the shortest listed where none holds."""
    advice = recommend(book, fit, place, briefly=True)
    [due] = tanks_due(book, fit, advice, place)
    every_d, on = advice[0].next_in_d, as_date(fit.design.on_day)
    return (every_d if due.due_on is None else (due.due_on - on).days), every_d


def forecast_figure(
    book: Book, fit: GrowthFit, tank: int, said: Answer, as_it_is: GrowthFit | None = None
) -> tuple[Figure, Caption]:
    """Draw a tank: one panel for each living area, the first to pass first, and its caption.

    Parameters
    ----------
    book : Book
        The book the fit was made from.
    fit : GrowthFit
        The fit, and with it the day the forecast stands on.
    tank : int
        Place of the tank in the book.
    said : Answer
        The forecast in words, which the caption is of.
    as_it_is : GrowthFit, optional
        The fit without what is supposed, to be drawn beside it.

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
    panels = sorted(
        forecast_panels(book, fit, tank, as_it_is),
        key=lambda panel: panel.area.passes_budget_on[1] or date.max,
    )
    name, day = str(fit.design.tank_id[tank]), as_date(fit.design.on_day)
    if not panels:
        raise UsageError(f"tank {name} has no planted area on {day}, so there is nothing to draw")
    key = sentence("forecast_key", on=day, supposing=as_it_is is not None)
    told = caption(said, f"Height forecast of tank {name}", key)
    columns = 1 if len(panels) <= 2 else 2 if len(panels) <= 10 else 3
    row_mm = {1: 90.0, 2: 66.0 if len(panels) <= 6 else 50.0, 3: 45.0}[columns]
    drawn = [partial(forecast_axes, panel) for panel in panels]
    return sheet_of_panels(told, drawn, columns, row_mm, 277.0 if columns == 3 else A4_MM)
