"""How often forecasts were right: each visit of a log forecast from the visits before it.

Rolling origin: on each of a number of split days the book as it was known the evening before is
fitted anew, and the next reading of every area is forecast from it. A reading counts once, from the
latest split after the area's visit before it.

References
----------
Tashman, L. J. (2000). Out-of-sample tests of forecasting accuracy: an analysis and review.
International Journal of Forecasting 16, 437-450, doi:10.1016/S0169-2070(00)00065-0 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Literal

import numpy as np

from growthcast.arrays import FloatArray, IntArray, TextArray, day_numbers, distinct
from growthcast.book.book import Book, bounds_on
from growthcast.errors import UsageError
from growthcast.finite import finite
from growthcast.fit.growth import fit_growth, known_before
from growthcast.fit.model.spreads import Spreads
from growthcast.fit.result import GrowthFit
from growthcast.forecast.baselines import (
    Past,
    last_rate,
    line,
    only_starts,
    own_spans,
    start_heights,
    unpooled,
)
from growthcast.forecast.heights import outlook
from growthcast.forecast.report import as_date, crossing_days
from growthcast.forecast.scores import CHANCES, Forecasts, Predictive
from growthcast.forecast.verdict import BacktestResult, Readings
from growthcast.growth.logistic import stage
from growthcast.log.visits import Visits, log_visits
from growthcast.nouns import dataclass
from growthcast.steps import steps

DEFAULT_SPLITS = 24
LONGEST_AHEAD_D = 35.0
"""A reading this long after a split is still forecast from it, a later one is not."""
MOST_READINGS = 5000
"""Of a larger book's readings this many, evenly spread over splits and areas, are forecast."""
UNTESTED_SHARE = 1.0 / 3.0
"""First share of the log's visit days that is only learnt from."""
BASELINES = ("last_rate", "line", "unpooled", "table_only")
CROSSING_HORIZON_D = 60
MOST_GROUPS = 10
"""Fits of one split at most when tanks are left out."""
RELEARN_EVERY = 8
"""Splits, about, after which the spreads are learnt anew."""


def backtest(
    book: Book,
    splits: int = DEFAULT_SPLITS,
    leave_out: Literal["tank"] | None = None,
) -> BacktestResult:
    """Forecast each visit of a log from the visits before it, and keep what was forecast.

    Parameters
    ----------
    book : Book
        A checked book.
    splits : int
        Days, spread evenly over the log's visit days after their first third, on which the book as
        known the day before is fitted. The model's spreads are learnt anew from what is known at
        about every eighth of them.
    leave_out : "tank", optional
        Forecast each tank as a new client's: of its log a fit sees nothing but where its areas last
        stood. In a book of more than ten tanks one fit leaves several out.

    Returns
    -------
    BacktestResult
        Forecast are heights read before any cut (``before_cm``) at an area's first visit on or
        after a split, at most 35 days after it, each by the latest split only. A forecast reading
        is the forecast height and the error with which it is read; readings that look mistaken
        count like any other. With ``leave_out`` the baselines are ``own_log``, the model with the
        tank's own log, and the table alone.

    Raises
    ------
    UsageError
        What is to be left out is not a tank.
    """
    if leave_out not in (None, "tank"):
        raise UsageError(f'leave_out="tank" is what can be left out, not {leave_out!r}')
    visits = log_visits(book)
    tank = book.areas.places("tank_id", book.tanks.text("tank_id"))
    days, (_, gaps_d) = distinct(visits.day), visits.gaps(tank)
    readings = _readings(book, visits, tank, _split_days(days, splits))
    used = distinct(readings.split_day)
    against = BASELINES if leave_out is None else ("own_log", "table_only")
    made: dict[str, list[Predictive]] = {name: [] for name in ("model", *against)}
    crossing_d, not_fitted = [np.zeros(0)], dict[str, str]()
    for origin in _origins(book, readings):
        parts, errors_d = _forecast_from(origin, leave_out is not None)
        not_fitted |= origin.fit.not_fitted
        for name, part in parts.items():
            made[name].append(part)
        crossing_d.append(errors_d)
    joined = {name: Predictive.joined(parts) for name, parts in made.items()}
    forecasts = {name: Forecasts.of(one, readings.reading_cm) for name, one in joined.items()}
    return BacktestResult(
        readings=readings,
        model=finite(forecasts.pop("model"), "backtest"),
        baselines=forecasts,
        crossing_error_d=np.concatenate(crossing_d),
        split_days=tuple(used.tolist()),
        visit_days=int(days.size),
        not_fitted=not_fitted,
        applied_widening=book.practice.widening,
        usual_gap_d=float(np.median(gaps_d)) if gaps_d.size else 0.0,
        longest_gap_d=float(gaps_d.max(initial=0.0)),
        whose=_whose(book, readings.area),
    )


def foreseen_readings(book: Book, splits: int) -> tuple[Readings, Predictive]:
    """Forecast each visit from the visits before it, by the model alone.

    Parameters
    ----------
    book : Book
        A checked book.
    splits : int
        As ``backtest`` has it.

    Returns
    -------
    tuple of Readings and Predictive
        The readings, and what ``backtest`` forecasts of them.
    """
    visits = log_visits(book)
    tank = book.areas.places("tank_id", book.tanks.text("tank_id"))
    readings = _readings(book, visits, tank, _split_days(distinct(visits.day), splits))
    made = [
        _foreseen(origin.fit, origin.areas, origin.readings) for origin in _origins(book, readings)
    ]
    return readings, Predictive.joined(made)


def _whose(book: Book, area: IntArray) -> dict[str, TextArray]:
    """Return tank, area, plant and form of each reading by the place of its area (n,)."""
    plant = book.areas.places("species_id", book.species.text("species_id"))[area]
    whose = {name: book.areas.text(name)[area] for name in ("tank_id", "area_id", "species_id")}
    return whose | {"form": book.species.text("form")[plant]}


def _split_days(days: FloatArray, splits: int) -> FloatArray:
    """Spread splits evenly over the visit days after their first third."""
    tested = days[int(np.ceil(UNTESTED_SHARE * days.size)) :]
    if tested.size <= splits:
        return tested
    return tested[np.round(np.linspace(0, tested.size - 1, splits)).astype(np.int64)]


def _readings(book: Book, visits: Visits, tank: IntArray, split_days: FloatArray) -> Readings:
    """Readings to forecast, by split and area, each from the latest split it can be.

    A split can forecast an area's first visit on or after it: the visit before lies before it.
    """
    areas = book.areas
    cover_ids = book.species.text("species_id")[book.species.text("measure") == "cover_pct"]
    follows = np.flatnonzero(visits.follows)
    before_day = np.full(visits.day.size, -np.inf)
    before_day[follows] = visits.day[follows - 1]
    planted = day_numbers(areas.date("planted_on"))[visits.area]
    latest = np.searchsorted(split_days, visits.day, side="right")
    split = np.append(-np.inf, split_days)[latest]
    kept = np.isfinite(visits.before_cm) & (before_day < split) & ~(planted >= split)
    kept &= visits.day - split <= LONGEST_AHEAD_D
    rows = np.flatnonzero(kept)
    rows = rows[np.lexsort((visits.area[rows], split[rows]))]
    if rows.size > MOST_READINGS:
        rows = rows[np.linspace(0, rows.size - 1, MOST_READINGS).astype(np.int64)]
    area = visits.area[rows]
    return Readings(
        area=area,
        tank=tank[area],
        split_day=split[rows],
        day=visits.day[rows],
        reading_cm=visits.before_cm[rows],
        own_sd_cm=visits.before_sd_cm[rows],
        budget_cm=bounds_on(areas, book.bounds, area, visits.day[rows]).budget_cm,
        is_cover=np.isin(areas.text("species_id")[area].astype(str), cover_ids.astype(str)),
    )


@dataclass(frozen=True, slots=True)
class _Origin:
    """The book as known on the evening before a split, its fit, and the readings forecast from it.

    ``areas`` (n,) are places of the readings' areas in that book.
    """

    book: Book
    on: date
    fit: GrowthFit
    readings: Readings
    areas: IntArray


def _origins(book: Book, readings: Readings) -> Iterator[_Origin]:
    """Fit the book before each split; spreads are those of the latest split that learnt them."""
    used = distinct(readings.split_day)
    parts = np.array_split(used, max(round(used.size / RELEARN_EVERY), 1))
    learns = [part[0] for part in parts if part.size]
    spreads: Spreads | None = None
    for split in steps(used.tolist()):
        earlier, on = known_before(book, split), as_date(split - 1.0)
        fit = fit_growth(earlier, on, None if split in learns else spreads)
        spreads = fit.design.spreads
        here = readings.keep(readings.split_day == split)
        ids = book.areas.text("area_id")[here.area].tolist()
        place = {name: i for i, name in enumerate(fit.design.area_id.tolist())}
        areas = np.array([place[name] for name in ids], dtype=np.int64)
        yield _Origin(earlier, on, fit.but_for(widening=1.0), here, areas)


def _past(origin: _Origin) -> Past:
    """Return what the baselines see of the book before a split."""
    earlier, design = origin.book, origin.fit.design
    visits = log_visits(earlier)
    every, last = np.arange(len(earlier.areas)), np.full(len(earlier.areas), np.nan)
    last[visits.area] = visits.day  # later visits overwrite earlier ones
    return Past(
        spans=own_spans(visits),
        start=start_heights(visits, bounds_on(earlier.areas, earlier.bounds, every, last).cut_cm),
        ceiling_cm=np.exp(design.problem.pooling.log_ceiling),
        budget_cm=design.traits.budget_cm,
        errors=design.problem.errors,
    )


def _forecast_from(origin: _Origin, new_tanks: bool) -> tuple[dict[str, Predictive], FloatArray]:
    """Forecast the readings of one split by the model and by every baseline.

    Also returned are the errors of the model's crossings.
    """
    fit, areas, readings, past = origin.fit, origin.areas, origin.readings, _past(origin)
    table = fit_growth(only_starts(origin.book, past.start), origin.on, Spreads())
    days = readings.day - past.start.day[areas]
    made = {
        "model": _foreseen(fit, areas, readings),
        "table_only": _foreseen(table, areas, readings),
    }
    if not new_tanks:
        made |= {
            "last_rate": last_rate(past, areas, days),
            "line": line(past, areas, days),
            "unpooled": unpooled(past, areas, days, readings.own_sd_cm),
        }
        return made, _crossing_errors(fit, areas, readings, past)
    made["own_log"], made["model"], errors_d = made["model"], Predictive.blank(areas.size), []
    tanks = distinct(readings.tank)  # in groups, each of them left out in one fit
    groups = np.array_split(tanks, min(tanks.size, MOST_GROUPS))
    for group in groups:
        left_out = only_starts(origin.book, past.start, group)
        apart = fit_growth(left_out, origin.on, fit.design.spreads).but_for(widening=1.0)
        mine = np.isin(readings.tank, group)
        here = readings.keep(mine)
        found = _foreseen(apart, areas[mine], here)
        made["model"].height_cm[mine] = found.height_cm
        made["model"].error_cm[mine] = found.error_cm
        errors_d.append(_crossing_errors(apart, areas[mine], here, past))
    return made, np.concatenate(errors_d)


def _foreseen(fit: GrowthFit, areas: IntArray, readings: Readings) -> Predictive:
    """Forecast the reading of each area (n,) on its day."""
    height = outlook(fit, areas, readings.day[:, None]).quantiles_cm(CHANCES)[:, 0]
    own_sd = np.broadcast_to(readings.own_sd_cm[:, None], height.shape)
    variance = fit.design.problem.errors.reading_variance(height, areas[:, None], own_sd)
    return Predictive(height, np.sqrt(variance))


def _crossing_errors(fit: GrowthFit, areas: IntArray, readings: Readings, past: Past) -> FloatArray:
    """Forecast minus observed crossing of the areas that passed their budget since their visit."""
    height, began = past.start.height_cm[areas], past.start.day[areas]
    budget = past.budget_cm[areas]  # that which a forecast from the split is of
    passed = (height <= budget) & (readings.reading_cm > budget)
    if not passed.any():
        return np.zeros(0)
    height, began, areas = height[passed], began[passed], areas[passed]
    budget = budget[passed]
    found = readings.keep(passed)
    top = np.maximum(past.ceiling_cm[areas], 1.1 * found.reading_cm)
    begin, end, at_budget = (stage(h, top) for h in (height, found.reading_cm, budget))
    share = (at_budget - begin) / (end - begin)
    observed = np.ceil(began + share * (found.day - began))
    first = float(began.min())
    horizon = int(found.day.max() - first) + CROSSING_HORIZON_D
    foreseen = crossing_days(fit, areas, first, horizon)[:, 1]
    return np.maximum(foreseen, began) - observed
