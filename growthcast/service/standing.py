"""Where every tank stands on the day: its risk day by day, and its growth against the usual."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import outlook
from growthcast.service.interval import living_areas

__all__ = ["TankGrowth", "chance_some_area_over", "growth_against_usual"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

Z_80 = 1.2815515655446004
"""Standard normal quantile of 90 %."""
AREAS_AT_ONCE = 64


def chance_some_area_over(fit: GrowthFit, tanks: IntArray, ahead_d: IntArray) -> FloatArray:
    """Chance that some area of a tank stands above its budget when nothing more is cut.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tanks : int array (R,)
        Places of the tanks in the book, in rising order.
    ahead_d : int array (T,)
        Days after the day of the fit [d], 0 or more.

    Returns
    -------
    array (R, T)
        Chance [0-1]; NaN for a tank in which nothing is planted.

    Notes
    -----
    Each area's own chance is that of its forecast. How areas go together is taken from the joint
    draws of their growth: an area with the chance ``p`` counts as over in the ``p`` fastest of its
    draws. What is unknown of the heights that stand now is thereby taken to go with the growth.
    """
    chances = np.full((tanks.size, ahead_d.size), np.nan)
    living = living_areas(fit, tanks) if tanks.size else None
    if living is None or not living.area.size:
        return chances
    days = fit.design.on_day + ahead_d.astype(np.float64)
    over = np.empty((living.area.size, days.size))
    for start in range(0, living.area.size, AREAS_AT_ONCE):
        some = slice(start, start + AREAS_AT_ONCE)
        view = outlook(fit, living.area[some], days)
        budget = np.broadcast_to(living.budget_cm[some, None], view.mean.shape[:2])
        over[some] = 1.0 - view.chance_below(budget)
    middle = float(np.median(ahead_d)) if ahead_d.size else 0.0
    growth = living.growth(max(middle, 1.0))
    draws = growth.shape[1]
    slowest_first = np.argsort(np.argsort(growth, axis=1, kind="stable"), axis=1, kind="stable")
    place = (slowest_first + 0.5) / draws
    found = np.searchsorted(tanks, living.tank)
    for t in range(days.size):
        is_over = place > 1.0 - over[:, [t]]
        some_over = np.logical_or.reduceat(is_over, living.first, axis=0)
        chances[found, t] = some_over.mean(axis=1)
    return chances


@dataclass(frozen=True, slots=True)
class TankGrowth:
    """Growth of tanks (R,) as a share of what their conditions and plants say: 1 is as usual.

    ``low`` and ``high`` hold the truth 8 times of 10.
    """

    middle: FloatArray
    low: FloatArray
    high: FloatArray


def growth_against_usual(fit: GrowthFit, tanks: IntArray) -> TankGrowth:
    """How fast tanks grow on the day against what the table says for their conditions.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tanks : int array (R,)
        Places of the tanks in the book.

    Returns
    -------
    TankGrowth
        ``exp`` of the tank's effect and of its drift on the day, with their joint spread [share].
    """
    design, effects = fit.design, fit.solution.view.effects
    pooling = design.problem.pooling
    borrowed = 0.0 if fit.borrowed is None else fit.borrowed.mean[tanks]
    log_share = effects.tank[tanks, 0] + effects.tank[tanks, 1] + borrowed
    variance = effects.tank_covariance[tanks][:, :2, :2].sum(axis=(1, 2))
    for place, tank in enumerate(tanks.tolist()):
        along = effects.tank_follows(pooling, np.array([tank]))[0, :2].sum(axis=0)
        variance[place] += along @ effects.species_covariance @ along
    spread = Z_80 * np.sqrt(np.maximum(variance, 0.0))
    return TankGrowth(
        middle=np.exp(log_share), low=np.exp(log_share - spread), high=np.exp(log_share + spread)
    )
