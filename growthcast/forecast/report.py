"""A forecast as dates and plain numbers, and the days on which budgets are passed.

While nothing is cut that chance only grows, so the day is found by halving.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from datetime import date
from typing import ClassVar

import numpy as np

from growthcast.arrays import FloatArray, IntArray, rows_of
from growthcast.finite import finite_answer
from growthcast.fit.design import COVER_CEILING, day_number
from growthcast.fit.model.posterior import RANGE_80, AreaPosterior, Basis
from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import (
    AREAS_AT_ONCE,
    LEVELS,
    chance_over,
    forecast_heights,
    in_chunks,
    outlook,
)
from growthcast.frames import Framed
from growthcast.nouns import dataclass
from growthcast.plain import BY_QUANTILE, HIDDEN

CROSSING_LEVELS = (0.10, 0.50, 0.90)


def crossing_days(
    fit: GrowthFit,
    areas: IntArray,
    from_day: float,
    horizon_d: int,
    posterior: AreaPosterior | None = None,
    levels: Sequence[float] = CROSSING_LEVELS,
) -> FloatArray:
    """Find the days on which the chance of being over budget reaches 10, 50 and 90 %.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    areas : int array (A,)
        Places of the areas in the book.
    from_day : float
        First day that is asked about [day number].
    horizon_d : int
        Days after it within which a crossing is looked for [d].
    posterior : AreaPosterior, optional
        That of the areas, if at hand.
    levels : sequence of float (L,), optional
        Other chances [0-1].

    Returns
    -------
    array (A, L)
        Days since 1970-01-01 [d], ``nan`` where a chance is not reached within the horizon.
    """
    posterior = posterior or fit.posterior(areas)
    low, high = (np.full((areas.size, len(levels)), day) for day in (-1.0, horizon_d + 1.0))
    while (left := np.flatnonzero((high - low > 1.0).any(axis=1))).size:
        for some in in_chunks(left.size, AREAS_AT_ONCE):
            rows = left[some]
            day = np.ceil(0.5 * (low[rows] + high[rows]))
            view = outlook(fit, areas[rows], from_day + day, posterior.part(rows))
            reached = chance_over(fit, areas[rows], view) >= levels
            low[rows], high[rows] = (
                np.where(reached, low[rows], day),
                np.where(reached, day, high[rows]),
            )
    return np.where(high <= horizon_d, from_day + high, np.nan)


Passing = tuple[date | None, date | None, date | None]
"""Days by which something has happened with chances of 10, 50 and 90 %; None where it does not."""
LEVEL_NAMES = tuple(f"p{round(100 * level):02d}" for level in LEVELS)
EPOCH = date(1970, 1, 1).toordinal()


@dataclass(frozen=True, slots=True, repr=False)
class AreaForecast(Framed):
    """One area's outlook if nothing more is cut; heights in cm, or % cover for floating plants.

    ``rate_per_day``, ``ceiling_cm`` and ``height_cm_now`` are (3,): the 10, 50 and 90 % quantiles;
    ``passes_budget_on`` the dates by which the budget is passed with those chances, ``None`` beyond
    the horizon. ``height_cm`` is (T, 7) at ``heights.LEVELS``, ``chance_over_budget`` (T,).
    """

    area_id: str
    tank_id: str
    species_id: str
    is_cover: bool = field(metadata=HIDDEN)
    observations: int
    basis: Basis
    rate_per_day: FloatArray = field(metadata=BY_QUANTILE)
    ceiling_cm: FloatArray = field(metadata=BY_QUANTILE)
    floor_cm: float
    budget_cm: float
    height_cm_now: FloatArray = field(metadata=BY_QUANTILE)
    passes_budget_on: Passing = field(metadata=BY_QUANTILE)
    at: tuple[date, ...] = field(metadata=HIDDEN)
    height_cm: FloatArray = field(metadata=HIDDEN)
    chance_over_budget: FloatArray = field(metadata=HIDDEN)

    json_with: ClassVar = ("heights",)

    @property
    def heights(self) -> list[dict[str, date | float]]:
        """What is forecast for each day, rounded: heights by quantile, chance over the budget."""
        days = zip(self.at, self.height_cm.tolist(), self.chance_over_budget.tolist(), strict=True)
        return [
            {"at": day}
            | {name: round(height, 2) for name, height in zip(LEVEL_NAMES, heights, strict=True)}
            | {"chance_over_budget": round(chance, 4)}
            for day, heights, chance in days
        ]


def as_date(day: float) -> date:
    """Return the date of a day number.

    Parameters
    ----------
    day : float
        Days since 1970-01-01 [d]; a part of a day is dropped.

    Returns
    -------
    date
        The day.
    """
    return date.fromordinal(int(day) + EPOCH)


@finite_answer
def forecast_growth(
    fit: GrowthFit,
    at: tuple[date, ...],
    horizon_d: int,
    tanks: IntArray | None = None,
    first: int | None = None,
) -> list[AreaForecast]:
    """Forecast every living area's height and the date it passes its budget, with nothing cut.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book; forecasts start on the day it was fitted for.
    at : tuple of date
        Days to forecast, none before that day.
    horizon_d : int
        How many days ahead a crossing is looked for [d].
    tanks : int array (R,), optional
        Places of the tanks to include; all of them when not given.
    first : int, optional
        How many areas, those that pass first, are told in whole; of others only the height now and
        the day that is as likely too early as too late. All of them when not given.

    Returns
    -------
    list of AreaForecast
        In the order of the book.
    """
    design = fit.design
    kept = design.alive if tanks is None else design.alive & np.isin(design.tank, tanks)
    areas = np.flatnonzero(kept)
    if first is None:
        return _told(fit, areas, at, horizon_d, CROSSING_LEVELS)
    told = _told(fit, areas, (), horizon_d, (0.5,))
    soonest = sorted(range(areas.size), key=lambda n: told[n].passes_budget_on[1] or date.max)
    whole = np.array(soonest[:first], np.int64)
    whole_told = _told(fit, areas[whole], at, horizon_d, CROSSING_LEVELS)
    for n, area in zip(whole.tolist(), whole_told, strict=True):
        told[n] = area
    return told


def _told(
    fit: GrowthFit,
    areas: IntArray,
    at: tuple[date, ...],
    horizon_d: int,
    levels: Sequence[float],
) -> list[AreaForecast]:
    """Forecast areas (A,), and the dates by which they pass their budgets with some chances."""
    design, posterior, basis = fit.design, fit.posterior(areas), fit.basis
    days = np.array([design.on_day, *(day_number(day) for day in at)])
    seen = forecast_heights(fit, areas, days, posterior)
    crossing = np.full((areas.size, len(CROSSING_LEVELS)), np.nan)
    asked = [CROSSING_LEVELS.index(level) for level in levels]
    crossing[:, asked] = crossing_days(fit, areas, design.on_day, horizon_d, posterior, levels)
    rate = fit.rate_range(areas, posterior)
    log_ceiling, ceiling_sd = posterior.mean.log_ceiling, np.sqrt(posterior.log_ceiling_variance)
    ceiling = np.exp(log_ceiling[:, None] + RANGE_80 * ceiling_sd[:, None])
    middle = [LEVELS.index(level) for level in CROSSING_LEVELS]
    most = np.where(design.is_cover[areas], COVER_CEILING, np.inf)[:, None]  # a cover ends there
    ceiling = np.minimum(ceiling, most)
    height = np.minimum(seen.height_cm, most[:, None])
    columns = {
        "area_id": design.area_id[areas],
        "tank_id": design.tank_id[design.tank[areas]],
        "species_id": design.species_id[design.species[areas]],
        "is_cover": design.is_cover[areas],
        "observations": design.observations[areas],
        "basis": [basis[area] for area in areas.tolist()],
        "rate_per_day": [*rate],
        "ceiling_cm": [*ceiling],
        "floor_cm": design.traits.floor_cm[areas],
        "budget_cm": design.traits.budget_cm[areas],
        "height_cm_now": [*height[:, 0, middle]],
        "passes_budget_on": [*map(passing_on, crossing.tolist())],
        "height_cm": [*height[:, 1:]],
        "chance_over_budget": [*seen.chance_over_budget[:, 1:]],
    }
    return [AreaForecast(at=at, **row) for row in rows_of(columns)]


def passing_on(days: list[float]) -> Passing:
    """Return the days on which something has happened with chances of 10, 50 and 90 % as dates.

    Parameters
    ----------
    days : list of float
        Day numbers [d], NaN where it does not happen.

    Returns
    -------
    tuple of date or None
        A date each, None where it does not happen.
    """
    first, middle, late = (None if day != day else as_date(day) for day in days)  # NaN: none
    return first, middle, late
