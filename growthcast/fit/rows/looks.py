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

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.rows.chains import Look
from growthcast.growth.normal import log_normal_cdf

__all__ = ["JUDGEMENT_ERROR_SHARE", "look_information"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

JUDGEMENT_ERROR_SHARE = 0.15
"""Error of a judgement by eye, as a share of the height (an estimate)."""
STEEPEST = 30.0
LOWEST_FLOOR_SHARE = 0.05
"""A floor of nothing is judged as this share of the budget."""


def look_information(
    look: IntArray, height_cm: FloatArray, floor_cm: FloatArray, budget_cm: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log likelihood of looks, and its slope and curvature in the height.

    Parameters
    ----------
    look : int array (n,)
        ``Look.SHORT``, ``RIGHT`` or ``OVER``.
    height_cm, floor_cm, budget_cm : array (n,)
        Height and the bounds it is judged against [cm].

    Returns
    -------
    tuple of arrays (n,)
        Log likelihood; its derivative [1/cm]; minus its second derivative in the log height, per
        squared height [1/cm2], never negative since an ordered probit is log-concave there.
    """
    spread = JUDGEMENT_ERROR_SHARE
    floor_cm = np.maximum(floor_cm, LOWEST_FLOOR_SHARE * budget_cm)
    to_floor = np.log(floor_cm / height_cm) / spread
    to_budget = np.log(budget_cm / height_cm) / spread
    upper = np.where(look == Look.SHORT, to_floor, np.where(look == Look.RIGHT, to_budget, np.inf))
    lower = np.where(look == Look.OVER, to_budget, np.where(look == Look.RIGHT, to_floor, -np.inf))
    # The mirrored tail keeps its digits where both bounds lie far above.
    flip = lower > 0.0
    upper, lower = np.where(flip, -lower, upper), np.where(flip, -upper, lower)
    log_upper = log_normal_cdf(upper)
    share = np.exp(np.minimum(log_normal_cdf(lower) - log_upper, -1e-12))
    log_chance = log_upper + np.log1p(-share)
    top = _ratio(upper, log_chance)
    bottom = _ratio(lower, log_chance)
    sign = np.where(flip, -1.0, 1.0)
    slope = sign * (bottom - top) / spread
    bend = (_times(lower, bottom) - _times(upper, top)) / spread**2
    curvature = np.maximum(slope**2 - bend, 0.0)
    return log_chance, slope / height_cm, curvature / height_cm**2


def _ratio(x: FloatArray, log_chance: FloatArray) -> FloatArray:
    """Normal density at ``x`` over a chance given by its log; 0 at infinite ``x``."""
    finite = np.isfinite(x)
    safe = np.where(finite, x, 0.0)
    log_density = -0.5 * safe**2 - 0.5 * np.log(2.0 * np.pi)
    ratio: FloatArray = np.where(
        finite, np.exp(np.minimum(log_density - log_chance, STEEPEST)), 0.0
    )
    return ratio


def _times(x: FloatArray, ratio: FloatArray) -> FloatArray:
    """``x * ratio`` with 0 at infinite ``x``."""
    product: FloatArray = np.where(np.isfinite(x), x, 0.0) * ratio
    return product
