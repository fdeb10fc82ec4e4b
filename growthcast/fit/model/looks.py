"""What a look (short, right, over) says of a height: an ordered probit on the log height.

The eye compares the height with the floor and the budget and errs by a share of the height, so the
chance of each word is that of a normal around the log height falling below, between or above the
logs of the two bounds.

References
----------
McCullagh, P. (1980). Regression models for ordinal data. J. R. Statist. Soc. B 42, 109-142, doi
10.1111/j.2517-6161.1980.tb01109.x (from memory).
"""

from __future__ import annotations

from functools import cache

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.growth.normal import log_normal_cdf
from growthcast.log.visits import Look

JUDGEMENT_ERROR_SHARE = 0.15
"""Error of a judgement by eye, as a share of the height (an estimate)."""
LOWEST_FLOOR_SHARE = 0.05
"""A floor of nothing is judged as this share of the budget."""
LAPSES = 1e-4
"""How often a word is written of another area, or for no reason at all (an estimate)."""
TAIL = np.linspace(-40.0, 10.0, 6401)
"""Standard deviations at which the logarithm of a normal chance is tabled; straight lines between
them are right to 1e-5."""


def look_log_chance(
    look: IntArray, height_cm: FloatArray, floor_cm: FloatArray, budget_cm: FloatArray
) -> FloatArray:
    """Log chance of a look at heights.

    Parameters
    ----------
    look : int array (n,)
        ``Look.SHORT``, ``RIGHT`` or ``OVER``.
    height_cm : array (n, G)
        Heights [cm], above 0.
    floor_cm, budget_cm : array (n,)
        The bounds they are judged against [cm].

    Returns
    -------
    array (n, G)
        Logarithm of the chance of the word [log], the error being that of a log height.

    Examples
    --------
    An area that stands at its budget is judged to be over it every other time, lapses aside:

    >>> over = np.array([3])
    >>> bounds = np.array([6.0]), np.array([15.0])
    >>> float(np.exp(look_log_chance(over, np.array([[15.0]]), *bounds))[0, 0].round(4))
    0.5
    """
    floor_cm = np.maximum(floor_cm, LOWEST_FLOOR_SHARE * budget_cm)
    to_floor = np.log(floor_cm[:, None] / height_cm) / JUDGEMENT_ERROR_SHARE
    to_budget = np.log(budget_cm[:, None] / height_cm) / JUDGEMENT_ERROR_SHARE
    look = look[:, None]
    upper = np.where(look == Look.SHORT, to_floor, np.where(look == Look.RIGHT, to_budget, np.inf))
    lower = np.where(look == Look.OVER, to_budget, np.where(look == Look.RIGHT, to_floor, -np.inf))
    # The mirrored tail keeps its digits where both bounds lie far above.
    flip = lower > 0.0
    upper, lower = np.where(flip, -lower, upper), np.where(flip, -upper, lower)
    log_upper = np.interp(upper, TAIL, _log_chances())
    share = np.exp(np.minimum(np.interp(lower, TAIL, _log_chances(), left=-np.inf) - log_upper, 0))
    chance = np.exp(log_upper) * (1.0 - share)
    log_chance: FloatArray = np.log((1.0 - LAPSES) * chance + LAPSES / 3.0)
    return log_chance


@cache
def _log_chances() -> FloatArray:
    return log_normal_cdf(TAIL)
