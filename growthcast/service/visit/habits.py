"""Usual cuts: how many visits each lasts, and what leaving areas at the visits between saves."""

from __future__ import annotations

import numpy as np

from growthcast.arrays import FloatArray, IntArray, distinct
from growthcast.growth.quick import column
from growthcast.service.effort.visits import DAYS_PER_YEAR, Hands, Saving, saving
from growthcast.service.interval import FOLLOWED_DRAWS, IntervalOptions, lasts_from
from growthcast.service.living import share_of_draws
from growthcast.service.visit.standing import Standing

MOST_VISITS = 4
"""Visits over which a usual cut is followed."""
WORTH_SAVING_H = 0.5
"""Hours a year from which leaving areas is worth a word (a choice of ours)."""


def visits_lasted(
    standing: Standing, interval_d: int, usual_cm: FloatArray, confidence: float
) -> IntArray:
    """Count the visits that usual cuts last, made today and made at every visit so far apart.

    Parameters
    ----------
    standing : Standing
        The areas (A,) of one tank on the day.
    interval_d : int
        Days between visits [d].
    usual_cm : array (A,)
        Usual cuts [cm, or % cover], nan where none is known.
    confidence : float
        Wanted chance that all areas stay inside [0-1].

    Returns
    -------
    int array (A,)
        Visits, 0 to ``MOST_VISITS``: 1 is the next one. Each area must stay inside with its part of
        the wanted chance, which multiplied up over the areas is that chance.
    """
    needed = confidence ** (1.0 / usual_cm.size)
    usual = np.where(np.isnan(usual_cm), standing.living.budget_cm, usual_cm)
    cut, lasted = standing.cut(usual), np.zeros(usual_cm.size, np.int64)
    for visits in range(1, MOST_VISITS + 1):
        days = visits * interval_d
        now = share_of_draws(cut.later(days).within())
        steady = share_of_draws(lasts_from(standing.living, usual, days))
        lasted += (lasted == visits - 1) & (np.minimum(now, steady) >= needed)
    return np.where(np.isnan(usual_cm), 0, lasted)


def saved_by_leaving(
    standing: Standing,
    option: IntervalOptions,
    usual_cm: FloatArray,
    lasted: IntArray,
    hands: Hands,
    labour_rate_per_h: float,
) -> Saving | None:
    """Work out what usual cuts save in a year where areas are left at the visits they last.

    Parameters
    ----------
    standing : Standing
        The areas (A,) of one tank.
    option : IntervalOptions
        What the rhythm asks of them at every visit.
    usual_cm : array (A,)
        Usual cuts [cm, or % cover].
    lasted : int array (A,)
        Visits that each lasts (:func:`visits_lasted`).
    hands : Hands
        Minutes of trimming.
    labour_rate_per_h : float
        Price of an hour [currency/h].

    Returns
    -------
    Saving or None
        Hours [h] and cost [currency] a year against a cut of the same areas at every visit; None
        where that is less than ``WORTH_SAVING_H``. What a deeper cut takes off counts.
    """
    left, living = lasted > 1, standing.living
    visits = DAYS_PER_YEAR / option.interval_d
    removed = np.maximum(option.end_cm - column(option.cut_cm), 0.0)
    minutes = visits * hands.minutes(removed.astype(np.float32), visits)
    habit = minutes.copy()
    aim = np.where(left, usual_cm, option.cut_cm)
    for times in distinct(lasted[left]).tolist():
        growth, _ = living.growth_after_cut(times * option.interval_d)
        end = living.end_height(growth, aim)[:, :FOLLOWED_DRAWS]
        removed = np.maximum(end - column(aim), 0.0)
        at = lasted == times
        fewer = visits / times
        habit[at] = (fewer * hands.minutes(removed.astype(np.float32), fewer))[at]
    now_h, then_h = (each[left].sum(axis=0, dtype=np.float64) / 60 for each in (minutes, habit))
    saved = saving(now_h, then_h, labour_rate_per_h)
    return saved if saved.hours.p50 >= WORTH_SAVING_H else None
