"""How sure a recommended interval is; the advice in full, with what the next longer one costs.

A recommendation weighs two kinds of not knowing: how fast this tank grows on average, and what each
fortnight does on its own. Held against each draw of the first kind alone, the rule gives the
interval one would recommend if one knew.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.book.book import Book
from growthcast.fit.model.noise import span_drift
from growthcast.fit.result import GrowthFit
from growthcast.growth.logistic import shape_factor, stage
from growthcast.growth.normal import normal_cdf, normal_quantile
from growthcast.growth.quick import BELOW_CEILING
from growthcast.service.advice import Certainty, TankAdvice
from growthcast.service.living import HAND_SPREAD, LivingAreas
from growthcast.service.mends import mends_for

HANDS, DRIFTS = 6, 6


def certainty_of(
    living: LivingAreas,
    intervals_d: tuple[int, ...],
    recommended_d: int | None,
    confidence: float,
) -> Certainty:
    """Work out how sure the recommendation for a tank is.

    Parameters
    ----------
    living : LivingAreas
        The areas of the tank.
    intervals_d : tuple of int
        The intervals it may get [d], ascending.
    recommended_d : int or None
        The one recommended.
    confidence : float
        Wanted chance that every area stays inside [0-1].

    Returns
    -------
    Certainty
        Chances that each interval is the best.

    Notes
    -----
    For each posterior draw of rates, ceilings and the tank's drift the chance that all areas last
    an interval from their least cuts is worked out anew, over what is left open once these are
    known: each area's own span noise, the scatter of its cut, and the drift to come. The best
    interval of a draw is the longest whose chance is at least the wanted one.
    """

    def chances(areas: LivingAreas) -> dict[int, float]:
        best = np.zeros(areas.size, dtype=np.int64)
        for days in intervals_d:
            best = np.where(chance_if_known(areas, days) >= confidence, days, best)
        return {days: float((best == days).mean()) for days in (0, *intervals_d)}

    best = chances(living)
    to_floor = np.minimum(living.safe_cut_cm, living.floor_cm)
    limited = (to_floor < living.safe_cut_cm).any()
    return Certainty(
        chance_best=best[recommended_d or 0],
        best=best,
        best_from_floor=chances(replace(living, safe_cut_cm=to_floor)) if limited else None,
    )


def chance_if_known(living: LivingAreas, interval_d: int) -> FloatArray:
    """Work out the chance that a tank lasts an interval, growth being known.

    Parameters
    ----------
    living : LivingAreas
        The areas of one tank.
    interval_d : int
        Days between visits [d].

    Returns
    -------
    array (D,)
        For each draw of rates, ceilings and drift, taken as known, the chance that all areas last
        from their least cuts [0-1].
    """
    shape, ceiling_cm = living.shape[:, None], living.draws.ceiling_cm.astype(np.float64)
    began = np.array([living.on_day])
    ahead = span_drift(began, began + interval_d, living.on_day)
    drift = ahead.weight[:, 0] @ living.draws.knots[0].astype(np.float64)
    log_rate = living.draws.log_rate.astype(np.float64)
    usual = shape_factor(shape) * np.exp(log_rate + drift) * interval_d
    draws = living.draws
    rest = living.rest(living.unrested(interval_d), living.budget_cm)
    rest_d = rest.days(usual.astype(np.float32), draws.ceiling_cm, draws.lag_d)
    usual *= 1.0 - rest_d / interval_d
    week = living.errors.span * np.sqrt(7.0 / max(interval_d, 1.0))
    goal = stage(living.budget_cm[:, None], ceiling_cm, shape)
    cut = living.least_cut_cm[:, None]
    aims = []
    for hand in _even(HANDS):
        left = np.minimum(cut * np.exp(HAND_SPREAD * hand), ceiling_cm * BELOW_CEILING)
        aims.append((goal - stage(left, ceiling_cm, shape)) / usual)
    chance = np.zeros(usual.shape[1])
    off = living.errors.drift * np.sqrt(ahead.remainder[0])
    for drifted in _even(DRIFTS):
        room = np.array(aims) * np.exp(-off * drifted) - 1.0
        each = np.where(room <= -1.0, 0.0, normal_cdf(room / max(week, 1e-9))).mean(axis=0)
        chance += each.prod(axis=0) / DRIFTS
    return chance


def _even(count: int) -> FloatArray:
    """Equally likely values (count,) of a standard normal, scaled to a variance of one."""
    values = normal_quantile((np.arange(count) + 0.5) / count)
    scaled: FloatArray = values / np.sqrt(np.mean(values**2))
    return scaled


def in_full(book: Book, fit: GrowthFit, living: LivingAreas, advice: TankAdvice) -> TankAdvice:
    """Return the advice with what would allow the next longer interval and how sure it is.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    living : LivingAreas
        The areas of the tank.
    advice : TankAdvice
        What ``recommend`` says of it.

    Returns
    -------
    TankAdvice
        With ``mends`` (for the next longer interval, or the shortest where none is feasible) and
        ``certainty``.
    """
    allowed = tuple(
        option.interval_d
        for option in advice.options
        if option.interval_d <= advice.longest_interval_d
    )
    if not allowed:
        return advice
    chosen = advice.recommended_interval_d
    certainty = certainty_of(living, allowed, chosen, advice.confidence)
    return replace(advice, certainty=certainty, mends=mends_for(book, fit, living, advice))
