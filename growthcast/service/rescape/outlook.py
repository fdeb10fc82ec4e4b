"""What candidates would do on their own: days between cuts, days to the look."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.fit.model.drift import span_drift
from growthcast.growth.logistic import shape_factor, stage
from growthcast.growth.quick import BELOW_CEILING, Singles, column
from growthcast.service.living import LivingAreas
from growthcast.service.rescape.variants import Stand, combined

LONGEST_D = 365
"""Days beyond which it is only said that they are more."""
LEVELS = (0.1, 0.5, 0.9)
Days = tuple[float | None, ...]
"""p10, p50 and p90 of a number of days [d], None where never."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """Areas (A,) on their own; ranges are (A, 3), the 10, 50 and 90 % quantiles.

    Attributes
    ----------
    allowed_d : int array (A,)
        Most whole days between visits at which an area stays inside with the wanted chance when
        cut to its floor [d]; 0 where not even one, ``LONGEST_D`` where as many or more.
    days : array (A, 3)
        Days from the floor to the budget [d], ``LONGEST_D`` where as many or more.
    look_d : array (A, 3)
        Days from planting to the floor, settling-in included [d]; inf where never.
    reaches_look : array (A,)
        Chance that it grows up to the floor at all [0-1].
    """

    allowed_d: IntArray
    days: FloatArray
    look_d: FloatArray
    reaches_look: FloatArray


def outlooks(stand: Stand, places: IntArray, planted_cm: FloatArray) -> Outlook:
    """Work out what areas of a tank would do on their own.

    Parameters
    ----------
    stand : Stand
        The tank.
    places : int array (A,)
        Places of the stand.
    planted_cm : array (A,)
        Height at planting [cm].

    Returns
    -------
    Outlook
        Growth under the conditions of the day of the fit; the pause after a hard cut is left out.
        After planting it ramps up from nothing over the species' days of settling in.
    """
    living, confidence = combined(stand.living, [places]), stand.confidence
    allowed = _allowed_days(living, confidence)
    usual = np.maximum(allowed, 1).astype(np.float64)
    growth = _growth(living, usual)
    pace = growth / usual[:, None]
    way = _way(living, living.least_cut_cm, living.budget_cm)
    days = np.divide(way, pace, out=np.full(pace.shape, np.inf), where=pace > 0.0)
    up = _way(living, planted_cm, living.floor_cm)
    settled = np.divide(up, pace, out=np.full(pace.shape, np.inf), where=pace > 0.0)
    settled = np.where(up <= 0.0, 0.0, settled)
    ramp = column(stand.fit.design.clock.settle_d[living.area]) * np.exp(living.draws.settling)
    look = np.where(
        settled < 0.5 * ramp, np.sqrt(2.0 * ramp * np.minimum(settled, ramp)), settled + 0.5 * ramp
    )
    return Outlook(
        allowed_d=allowed,
        days=_range(np.minimum(days, LONGEST_D)),
        look_d=_range(np.where(up <= 0.0, 0.0, look)),
        reaches_look=np.isfinite(look).mean(axis=1),
    )


def days_or_never(days: FloatArray) -> Days:
    """Return days as numbers, None where endless.

    Parameters
    ----------
    days : array (3,)
        p10, p50 and p90 [d], inf where never.

    Returns
    -------
    tuple of float or None
        The same [d].
    """
    return tuple(day if np.isfinite(day) else None for day in days.tolist())


def _range(values: FloatArray) -> FloatArray:
    """Quantiles (A, 3) of draws (A, D) that may be endless."""
    ranked = np.sort(values, axis=1)
    at = [round(level * (values.shape[1] - 1)) for level in LEVELS]
    return ranked[:, at]


def _growth(living: LivingAreas, interval_d: FloatArray) -> Singles:
    """Stages (A, D) gained over an interval of each area's own, as ``LivingAreas.growth``."""
    draws, began = living.draws, np.full(interval_d.size, living.on_day)
    ahead = span_drift(began, began + interval_d, living.on_day)
    drift = np.einsum("ma,amd->ad", ahead.weight, draws.knots[living.run])
    drift += living.errors.drift * np.sqrt(ahead.remainder)[:, None] * draws.drift[living.run]
    pace = shape_factor(living.shape)[:, None] * np.exp(draws.log_rate + drift)
    week = living.errors.span * np.sqrt(7.0 / np.maximum(interval_d, 1.0))[:, None] * draws.week
    gained = pace * interval_d[:, None] * np.maximum(1.0 + week, 0.0)
    found: Singles = gained.astype(np.float32)
    return found


def _way(living: LivingAreas, from_cm: FloatArray, to_cm: FloatArray) -> FloatArray:
    """Stages (A, D) from one height (A,) to another; inf where the ceiling lies below it."""
    ceiling, shape = living.draws.ceiling_cm, living.shape[:, None]
    start = np.minimum(from_cm[:, None], ceiling * BELOW_CEILING)
    way: FloatArray = stage(to_cm[:, None], ceiling, shape) - stage(start, ceiling, shape)
    return way


def _allowed_days(living: LivingAreas, confidence: float) -> IntArray:
    """Most whole days (A,) at which each area alone holds, by halving."""
    least = living.least_cut_cm[:, None]
    low, high = np.zeros(least.size), np.full(least.size, float(LONGEST_D))
    while (low < high).any():
        middle = np.ceil(0.5 * (low + high))
        holds = living.highest_cut(_growth(living, middle)) >= least
        enough = holds.mean(axis=1) >= confidence
        low, high = np.where(enough, middle, low), np.where(enough, high, middle - 1.0)
    return low.astype(np.int64)
