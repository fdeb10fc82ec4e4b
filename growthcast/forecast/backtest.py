"""How often forecasts were right: each visit of a log forecast from the visits before it.

Rolling origin: on each of a number of split days the book as it was known the evening before is
fitted anew, and the next reading of every area is forecast from it. A reading counts once, from the
latest split after the area's visit before it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.book.book import Book
from growthcast.finite import finite
from growthcast.fit.growth import fit_growth
from growthcast.fit.result import GrowthFit
from growthcast.fit.spreads import Spreads
from growthcast.forecast.baselines import (
    Start,
    last_rate,
    line,
    only_starts,
    start_heights,
    unpooled,
)
from growthcast.forecast.crossings import crossing_days
from growthcast.forecast.heights import outlook
from growthcast.forecast.hindsight import known_before, log_visits
from growthcast.forecast.report import as_date
from growthcast.forecast.scores import CHANCES, Forecasts, Predictive
from growthcast.forecast.verdict import BacktestResult, Crossings, Readings
from growthcast.growth.logistic import stage
from growthcast.log.visits import Visits

__all__ = [
    "BASELINES",
    "DEFAULT_SPLITS",
    "backtest",
]


DEFAULT_SPLITS = 24
LONGEST_AHEAD_D = 35.0
"""A reading this long after a split is still forecast from it, a later one is not."""
MOST_READINGS = 5000
"""Of a larger book's readings this many, evenly spread over splits and areas, are forecast."""
UNTESTED_SHARE = 1.0 / 3.0
"""First share of the log's visit days that is only learnt from."""
BASELINES = ("last_rate", "line", "unpooled", "table_only")
CROSSING_HORIZON_D = 60
HEIGHT_STEPS = 64
OUTERMOST = 0.0005

RELEARN_EVERY = 4
"""Splits after which the spreads are learnt anew."""


def backtest(
    book: Book,
    splits: int = DEFAULT_SPLITS,
    spreads: Spreads | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> BacktestResult:
    """Forecast each visit of a log from the visits before it, and keep what was forecast.

    Parameters
    ----------
    book : Book
        A checked book.
    splits : int
        Days, spread evenly over the log's visit days after their first third, on which the book as
        known the day before is fitted.
    spreads : Spreads, optional
        Spreads of the model in every fit; by default learnt anew from what is known at every
        fourth split.
    progress : callable, optional
        Called with the number of splits done and their total.

    Returns
    -------
    BacktestResult
        Forecast are heights read before any cut (``before_cm``) at an area's first visit on or
        after a split, at most 35 days after it, each by the latest split only. A forecast reading
        is the forecast height and the error with which it is read; readings that look mistaken
        count like any other.
    """
    visits = log_visits(book)
    days = np.unique(visits.day)
    chosen = _split_days(days, splits)
    targets = _targets(book, visits, chosen)
    used = np.unique(targets.split_day)
    parts: list[_Part] = []
    known = spreads
    for number, split in enumerate(used.tolist()):
        here = targets.keep(targets.split_day == split)
        again = spreads is None and number % RELEARN_EVERY == 0
        parts.append(_forecast_from(book, here, split, None if again else known))
        known = parts[-1].spreads
        if progress is not None:
            progress(number + 1, used.size)
    return BacktestResult(
        readings=targets,
        model=finite(_beside(targets, [part.model for part in parts]), "backtest"),
        baselines={
            name: _beside(targets, [part.baselines[name] for part in parts]) for name in BASELINES
        },
        crossings=Crossings(np.concatenate([np.zeros(0), *(part.crossing_d for part in parts)])),
        split_days=tuple(used.tolist()),
        visit_days=int(days.size),
        applied_widening=book.practice.widening,
    )


@dataclass(frozen=True, slots=True)
class _Part:
    """Forecasts made from one split, and the spreads they were made with."""

    spreads: Spreads
    model: Predictive
    baselines: dict[str, Predictive]
    crossing_d: FloatArray


def _beside(targets: Readings, parts: list[Predictive]) -> Forecasts:
    return Forecasts.of(Predictive.joined(parts), targets.reading_cm)


def _split_days(days: FloatArray, splits: int) -> FloatArray:
    """Spread splits evenly over the visit days after their first third."""
    tested = days[int(np.ceil(UNTESTED_SHARE * days.size)) :]
    if tested.size <= splits:
        return tested
    even: FloatArray = tested[np.round(np.linspace(0, tested.size - 1, splits)).astype(np.int64)]
    return even


def _targets(book: Book, visits: Visits, split_days: FloatArray) -> Readings:
    """Readings to forecast, by split and area, each from the latest split it can be.

    A split can forecast an area's first visit on or after it: the visit before lies before it.
    """
    areas = book.areas
    tank_index = {name: place for place, name in enumerate(book.tanks.text("tank_id").tolist())}
    tank = np.array([tank_index[name] for name in areas.text("tank_id").tolist()], dtype=np.int64)
    cover_ids = book.species.text("species_id")[book.species.text("measure") == "cover_pct"]
    before_day = np.full(visits.day.size, np.nan)
    follows = visits.follows
    before_day[follows] = visits.day[np.flatnonzero(follows) - 1]
    planted = areas.date("planted_on").astype("datetime64[D]").astype(np.int64)[visits.area]
    at = np.searchsorted(split_days, visits.day, side="right") - 1
    split = np.where(at >= 0, split_days[np.maximum(at, 0)], np.inf) if split_days.size else None
    if split is None:
        split = np.full(visits.day.size, np.inf)
    kept = np.isfinite(visits.before_cm) & ~(before_day >= split) & (planted < split)
    kept &= np.isfinite(split) & (visits.day - split <= LONGEST_AHEAD_D)
    rows = np.flatnonzero(kept)
    rows = rows[np.lexsort((visits.area[rows], split[rows]))]
    if rows.size > MOST_READINGS:
        rows = rows[np.linspace(0, rows.size - 1, MOST_READINGS).astype(np.int64)]
    area = visits.area[rows]
    return Readings(
        area=area,
        tank=tank[area],
        split_day=split[rows],
        start_day=before_day[rows],
        day=visits.day[rows],
        reading_cm=visits.before_cm[rows],
        budget_cm=areas.number("budget_cm")[area],
        is_cover=np.isin(areas.text("species_id")[area].astype(str), cover_ids.astype(str)),
    )


def _forecast_from(book: Book, readings: Readings, split: float, spreads: Spreads | None) -> _Part:
    """Forecast the readings of one split by the model and by every baseline."""
    earlier = known_before(book, split)
    on = as_date(split - 1.0)
    fit = replace(fit_growth(earlier, on, spreads), widening=1.0)
    design = fit.design
    place = {name: i for i, name in enumerate(design.area_id.tolist())}
    ids = book.areas.text("area_id")[readings.area].tolist()
    areas = np.array([place[name] for name in ids], dtype=np.int64)
    past = log_visits(earlier)
    start = start_heights(past, design.traits.cut_cm)
    table = fit_growth(only_starts(earlier, start), on, Spreads())
    days = readings.day - start.day[areas]
    ceiling, budget = np.exp(design.problem.pooling.log_ceiling), design.traits.budget_cm
    errors = design.problem.errors
    return _Part(
        spreads=design.spreads,
        model=_foreseen(fit, areas, readings.day),
        baselines={
            "last_rate": last_rate(past, start, areas, days, ceiling),
            "line": line(past, start, areas, days, budget),
            "unpooled": unpooled(past, start, areas, days, ceiling, errors),
            "table_only": _foreseen(table, areas, readings.day),
        },
        crossing_d=_crossing_errors(fit, areas, readings, start, ceiling),
    )


def _foreseen(fit: GrowthFit, areas: IntArray, days: FloatArray) -> Predictive:
    """Forecast the reading of each area (n,) on its day (n,)."""
    made = Predictive.blank(areas.size)
    for day, rows in _by_day(days):
        view = outlook(fit, areas[rows], np.array([day]))
        low, high = view.quantile_cm(OUTERMOST), view.quantile_cm(1.0 - OUTERMOST)
        steps = low + (high - low) * np.linspace(0.0, 1.0, HEIGHT_STEPS)
        below = np.stack(
            [view.chance_below(steps[:, [i]])[:, 0] for i in range(HEIGHT_STEPS)], axis=1
        )
        for row, height, chance in zip(rows.tolist(), steps, below, strict=True):
            made.height_cm[row] = np.interp(CHANCES, chance, height)
    variance = fit.design.problem.errors.reading_variance(made.height_cm, areas[:, None])
    return Predictive(made.height_cm, np.sqrt(variance))


def _by_day(days: FloatArray) -> Iterator[tuple[float, IntArray]]:
    for day in np.unique(days).tolist():
        yield day, np.flatnonzero(days == day)


def _crossing_errors(
    fit: GrowthFit, areas: IntArray, readings: Readings, start: Start, ceiling_cm: FloatArray
) -> FloatArray:
    """Forecast minus observed crossing of the areas that passed their budget since their visit."""
    height, began = start.height_cm[areas], start.day[areas]
    passed = (height <= readings.budget_cm) & (readings.reading_cm > readings.budget_cm)
    if not passed.any():
        return np.zeros(0)
    height, began, areas = height[passed], began[passed], areas[passed]
    reading, budget = readings.reading_cm[passed], readings.budget_cm[passed]
    top = np.maximum(ceiling_cm[areas], 1.1 * reading)
    begin, end, at_budget = (stage(h, top) for h in (height, reading, budget))
    share = (at_budget - begin) / (end - begin)
    observed = np.ceil(began + share * (readings.day[passed] - began))
    first = float(began.min())
    horizon = int(readings.day[passed].max() - first) + CROSSING_HORIZON_D
    foreseen = crossing_days(fit, areas, first, horizon)[:, 1]
    return np.maximum(foreseen, began) - observed
