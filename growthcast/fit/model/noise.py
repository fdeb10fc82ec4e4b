"""What readings, looks, weights and spans are worth, and how a tank's rate drifts.

**Readings** are off by a fixed part and a share of the height; a span's growth by a relative spread
that averages out with its days.

**Looks** (short, right, over) are an ordered probit on the log height: the eye compares the height
with the floor and the budget and errs by a share of the height, so the chance of each word is that
of a normal around the log height falling below, between or above the logs of the two bounds.

**Drift** is an Ornstein-Uhlenbeck path, held by its means over a few windows. A tank's log rate
wanders around its own mean with a memory of a month: filters clog, lamps age, dosing slips.
Following it day by day would cost a parameter a day and tank. A handful of *knots*, the drift's
means over windows that lengthen into the past, carry what the log says on the present; means, not
single days, since a long log averages drift away no faster than its windows do. What a span's mean
drift is beyond its regression on the knots counts as noise of that span (the sparse Gaussian
process approximation known as FITC, with inter-domain inducing variables).

References
----------
McCullagh, P. (1980). Regression models for ordinal data. J. R. Statist. Soc. B 42, 109-142, doi
10.1111/j.2517-6161.1980.tb01109.x (from memory).
Uhlenbeck, G. E. & Ornstein, L. S. (1930). Physical Review 36, 823-841 (from memory).
Snelson, E. & Ghahramani, Z. (2006). Sparse Gaussian processes using pseudo-inputs. Advances in
Neural Information Processing Systems 18 (from memory).
Lazaro-Gredilla, M. & Figueiras-Vidal, A. (2009). Inter-domain Gaussian processes for sparse
inference using inducing features. Advances in Neural Information Processing Systems 22 (from
memory).
"""

from __future__ import annotations

from functools import cache

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.growth.normal import log_normal_cdf
from growthcast.log.visits import Look
from growthcast.nouns import dataclass

SMALLEST_WEIGHT_ERROR_CM = 0.1

LEAST_CUT_SHARE = 0.25
"""A weight is judged as if at least this share of the usual cut height had come off."""

JUDGEMENT_ERROR_SHARE = 0.15
"""Error of a judgement by eye, as a share of the height (an estimate)."""

LOWEST_FLOOR_SHARE = 0.05
"""A floor of nothing is judged as this share of the budget."""

LAPSES = 1e-4
"""How often a word is written of another area, or for no reason at all (an estimate)."""

TAIL = np.linspace(-40.0, 10.0, 6401)
"""Standard deviations at which the logarithm of a normal chance is tabled; straight lines between
them are right to 1e-5."""

MEMORY_D = 30.0
"""Days after which a tank remembers a third of its drift: an estimate within 20 to 40."""

KNOT_WINDOWS_D = np.array([[0.0, 1.0], [0.0, 30.0], [30.0, 90.0], [90.0, 210.0], [210.0, 510.0]])
"""Days before the fit (M, 2) between which the drift's means are held; the first is today."""

KNOT_COUNT = KNOT_WINDOWS_D.shape[0]

SHORTEST_SPAN_D = 0.01

LONGER_THAN_ANY_SPAN_D = 2.0**20


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
    """

    height_error_cm: FloatArray
    height_error_share: FloatArray
    span: float
    drift: float
    weight: float

    def span_variance(self, days: FloatArray, drift_remainder: FloatArray) -> FloatArray:
        """Relative variance of the growth over ``days`` [d]; drift beyond the knots included."""
        white = self.span**2 * 7.0 / np.maximum(days, 1.0)
        return white + self.drift**2 * drift_remainder

    def reading_variance(
        self, height_cm: FloatArray, area: IntArray, own_sd_cm: FloatArray | None = None
    ) -> FloatArray:
        """Error variance [cm2] of a reading of height ``height_cm`` [cm].

        ``own_sd_cm`` is the error that a reading brings itself, nan where a ruler read it.
        """
        relative = self.height_error_share.take(area) * height_cm
        variance: FloatArray = self.height_error_cm.take(area) ** 2 + relative**2
        if own_sd_cm is not None:
            own = np.isfinite(own_sd_cm)
            variance[own] = own_sd_cm[own] ** 2
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
    return np.maximum(standing_cm - usual_cut, LEAST_CUT_SHARE * usual_cut)


def removed_variance(
    taken_cm: FloatArray, weighed: BoolArray, area: IntArray, errors: ErrorModel
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
    return np.where(weighed, by_weight, measured)


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
    return np.log((1.0 - LAPSES) * chance + LAPSES / 3.0)


@cache
def _log_chances() -> FloatArray:
    return log_normal_cdf(TAIL)


@dataclass(frozen=True, slots=True)
class SpanDrift:
    """Mean drift over spans, per unit of its stationary variance.

    It is ``weight @ knots`` (M, n) plus a remainder of variance ``remainder`` (n,).
    """

    weight: FloatArray
    remainder: FloatArray


@cache
def knot_precision() -> FloatArray:
    """Work out the prior precision of the knots.

    Returns
    -------
    array (M, M)
        For a stationary variance of one [-].
    """
    ended, began = -KNOT_WINDOWS_D.T / MEMORY_D
    shared = window_covariance(began[:, None], ended[:, None], began[None, :], ended[None, :])
    return np.linalg.inv(shared).astype(np.float64)


def span_drift(began_day: FloatArray, ended_day: FloatArray, on_day: float) -> SpanDrift:
    """Regress the mean drift over spans on the knots.

    Parameters
    ----------
    began_day, ended_day : array (n,)
        Where spans begin and end [day numbers].
    on_day : float
        Day before which the windows of the knots lie [day number].

    Returns
    -------
    SpanDrift
        Weights of the knots, and the variance they leave open, for each span.
    """
    # Visits share their days: the same few spans come again and again.
    key = began_day * LONGER_THAN_ANY_SPAN_D + (ended_day - began_day)
    _, first, place = np.unique(key, return_index=True, return_inverse=True)
    start = (began_day[first] - on_day) / MEMORY_D
    length = np.maximum((ended_day - began_day)[first], SHORTEST_SPAN_D) / MEMORY_D
    weight, covariance = on_knots(start, start + length)
    own = 2.0 * (length + np.expm1(-length)) / length**2
    explained = np.einsum("mn,mn->n", weight, covariance)
    remainder = np.maximum(own - explained, 0.0)
    return SpanDrift(weight=weight.take(place, axis=1), remainder=remainder[place])


def on_knots(began: FloatArray, ended: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Regress the drift's means over windows on the knots.

    Parameters
    ----------
    began, ended : array (n,)
        Ends of the windows [memories of ``MEMORY_D`` days since the day of the fit].

    Returns
    -------
    tuple of array (M, n)
        Weights of the knots, and covariances with them, for a stationary variance of one [-].
    """
    knot_ended, knot_began = -KNOT_WINDOWS_D.T[:, :, None] / MEMORY_D
    covariance = window_covariance(knot_began, knot_ended, began, ended)
    return knot_precision() @ covariance, covariance


def today_weight() -> FloatArray:
    """Regression of the drift on the day of the fit on the knots.

    Returns
    -------
    array (M,)
        Weights of the knots [-].
    """
    today = np.zeros(1)
    return span_drift(today, today, 0.0).weight[:, 0]


def window_covariance(
    began: FloatArray, ended: FloatArray, other_began: FloatArray, other_ended: FloatArray
) -> FloatArray:
    """Work out the covariance of the drift's means over two windows.

    Parameters
    ----------
    began, ended, other_began, other_ended : array (...)
        Ends of both windows, which broadcast [memories of ``MEMORY_D`` days].

    Returns
    -------
    array (...)
        Covariance for a stationary variance of one [-].

    Notes
    -----
    The double integral of ``exp(-|t - s|)``, whose second antiderivative is ``exp(-|x|) + |x|``.
    """

    def twice(apart: FloatArray) -> FloatArray:
        apart = np.abs(apart)
        return np.exp(-apart) + apart

    whole = twice(ended - other_began) + twice(began - other_ended)
    whole = whole - twice(ended - other_ended) - twice(began - other_began)
    return whole / ((ended - began) * (other_ended - other_began))
