"""What readings, lengths, weights and spans are worth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray

SMALLEST_WEIGHT_ERROR_CM = 0.1
LEAST_CUT_SHARE = 0.25
"""A weight is judged as if at least this share of the usual cut height had come off."""


@dataclass(frozen=True, slots=True)
class ErrorModel:
    """What a reading and a span are worth.

    Attributes
    ----------
    height_error_cm, height_error_share : array (A,)
        A reading of height ``h`` is off by ``sqrt(cm^2 + (share h)^2)`` [cm].
    span
        Relative spread of one week's growth, its variance falling as 1/days [-].
    drift
        Spread of a tank's drifting log rate [-].
    weight
        Relative spread of a weight around what the area's density makes of the length [-].
    floor_cm, budget_cm : array (A,)
        What looks are judged against [cm].
    """

    height_error_cm: FloatArray
    height_error_share: FloatArray
    span: float
    drift: float
    weight: float
    floor_cm: FloatArray
    budget_cm: FloatArray

    def span_variance(self, days: FloatArray, drift_remainder: FloatArray) -> FloatArray:
        """Relative variance of the growth over ``days`` [d]; drift beyond the knots included."""
        white = self.span**2 * 7.0 / np.maximum(days, 1.0)
        variance: FloatArray = white + self.drift**2 * drift_remainder
        return variance

    def reading_variance(self, height_cm: FloatArray, area: IntArray) -> FloatArray:
        """Error variance [cm2] of a reading of height ``height_cm`` [cm]."""
        relative = self.height_error_share[area] * height_cm
        variance: FloatArray = self.height_error_cm[area] ** 2 + relative**2
        return variance


def likely_removed(standing_cm: FloatArray, log_habit: FloatArray) -> FloatArray:
    """Work out the length that a cut was expected to take off.

    Parameters
    ----------
    standing_cm : array (n,)
        Heights before the cuts [cm].
    log_habit : array (n,)
        Log heights that the areas are usually cut to [log cm].

    Returns
    -------
    array (n,)
        Lengths [cm].

    Notes
    -----
    A weight's error grows with the length expected, not with the one it tells: taken at their word,
    low weights would be the sharper ones.
    """
    usual_cut = np.exp(log_habit)
    likely: FloatArray = np.maximum(standing_cm - usual_cut, LEAST_CUT_SHARE * usual_cut)
    return likely


def removed_variance(
    taken_cm: FloatArray,
    weighed: BoolArray,
    area: IntArray,
    errors: ErrorModel,
) -> FloatArray:
    """Work out how far lengths cut off may be off.

    Parameters
    ----------
    taken_cm : array (n,)
        Lengths [cm].
    weighed : bool array (n,)
        Whether a length is told by a weight, or else by two readings.
    area : int array (n,)
        Places of the areas.
    errors : ErrorModel
        What readings and weights are worth.

    Returns
    -------
    array (n,)
        Error variances [cm2].
    """
    measured = 2.0 * errors.height_error_cm[area] ** 2
    measured = measured + (errors.height_error_share[area] * taken_cm) ** 2
    by_weight = (errors.weight * taken_cm) ** 2 + SMALLEST_WEIGHT_ERROR_CM**2
    variance: FloatArray = np.where(weighed, by_weight, measured)
    return variance
