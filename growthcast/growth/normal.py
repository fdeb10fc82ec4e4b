"""The normal distribution for arrays.

``scipy.special`` has all of this and takes a third of a second to import: more than all else that a
command of the day does before it answers. ``statistics`` of the standard library takes as long to
import as a book to read.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np

from growthcast.arrays import FloatArray

FURTHEST = 9.0
"""Deviations beyond which a chance is 0 or 1 to the last digit shown anywhere."""
STEPS_A_UNIT = 512
FAR_TAIL = -30.0
"""Below this the logarithm of a chance is told by its asymptotic series."""

_ABOVE, _BELOW = (0.010328, 0.802853, 2.515517), (0.001308, 0.189269, 1.432788, 1.0)
"""Coefficients of Hastings' quantile, the highest power first."""

_erfc = np.vectorize(math.erfc, otypes=[np.float64])


def normal_cdf(x: FloatArray) -> FloatArray:
    """Chance that a standard normal lies below ``x`` (no NaN), to within 2e-7.

    A straight line between chances on a fine grid: where thousands of heights are judged against a
    budget, no slower than the function itself.

    Parameters
    ----------
    x : array (...)
        Values in standard deviations [-], no NaN.

    Returns
    -------
    array (...)
        Chances [0-1].

    Examples
    --------
    >>> normal_cdf(np.array([-np.inf, 0.0, 1.959964])).round(6).tolist()
    [0.0, 0.5, 0.975]
    """
    return _between(x, *_chances())


def normal_mean_distance(x: FloatArray) -> FloatArray:
    """Mean absolute value of a normal around ``x`` (no NaN) of deviation 1, to within 4e-7.

    Parameters
    ----------
    x : array (...)
        Means in standard deviations [-], no NaN.

    Returns
    -------
    array (...)
        ``2 phi(x) + x (2 Phi(x) - 1)`` [-].

    Examples
    --------
    >>> normal_mean_distance(np.array([0.0, -1.0, 20.0])).round(6).tolist()
    [0.797885, 1.166631, 20.0]
    """
    far = np.abs(x)
    return np.where(far < FURTHEST, _between(far, *_distances()), far)


def _between(x: FloatArray, known: FloatArray, rise: FloatArray) -> FloatArray:
    """Value at ``x`` (...) on the straight lines between those known on the grid."""
    place = np.clip((x + FURTHEST) * STEPS_A_UNIT, 0.0, 2.0 * FURTHEST * STEPS_A_UNIT - 1e-6)
    below = place.astype(np.int64)
    place -= below
    place *= rise[below]
    place += known[below]
    return place


@cache
def _chances() -> tuple[FloatArray, FloatArray]:
    """Chances on a grid from ``-FURTHEST`` to ``FURTHEST``, and what each step adds."""
    chance = 0.5 * _erfc(-_grid() / math.sqrt(2.0))
    return chance, np.diff(chance)


@cache
def _distances() -> tuple[FloatArray, FloatArray]:
    """Mean distances from 0 of normals around the grid, and what each step adds."""
    x, chance = _grid(), _chances()[0]
    distance = np.sqrt(2.0 / math.pi) * np.exp(-0.5 * x**2) + x * (2.0 * chance - 1.0)
    return distance, np.diff(distance)


def _grid() -> FloatArray:
    return np.arange(round(2.0 * FURTHEST * STEPS_A_UNIT) + 1) / STEPS_A_UNIT - FURTHEST


def normal_quantile(chance: FloatArray) -> FloatArray:
    """Value below which a standard normal lies with some chances (...) between 0 and 1.

    Parameters
    ----------
    chance : array (...)
        Chances above 0 and below 1 [0-1].

    Returns
    -------
    array (...)
        Values in standard deviations [-].

    Examples
    --------
    >>> normal_quantile(np.array([0.5, 0.975])).round(6).tolist()
    [0.0, 1.959964]

    Notes
    -----
    Hastings' rational function (Abramowitz & Stegun, 1964, 26.2.23, from memory) errs by 4.5e-4;
    two steps of Halley's method, with the exact chance, leave what floating point does.
    """
    tail = np.minimum(chance, 1.0 - chance)
    apart = np.sqrt(-2.0 * np.log(tail))
    far = apart - np.polyval(_ABOVE, apart) / np.polyval(_BELOW, apart)
    for _ in range(2):
        off = 0.5 * _erfc(far / math.sqrt(2.0)) - tail
        off *= math.sqrt(2.0 * math.pi) * np.exp(0.5 * far**2)
        far += off / (1.0 - 0.5 * far * off)
    return np.where(chance < 0.5, -far, np.maximum(far, 0.0))


def log_density(departure: FloatArray, variance: FloatArray) -> FloatArray:
    """Log density of normal departures from their mean.

    Parameters
    ----------
    departure : array (...)
        Departures [any].
    variance : array (...)
        Their variances, above 0 [the same, squared].

    Returns
    -------
    array (...)
        Log densities [nat].

    Examples
    --------
    >>> log_density(np.array([0.0, 2.0]), np.array([1.0, 4.0])).round(4).tolist()
    [-0.9189, -2.1121]
    """
    return -0.5 * (departure**2 / variance + np.log(2.0 * math.pi * variance))


def log_normal_cdf(x: FloatArray) -> FloatArray:
    """Logarithm of the chance that a standard normal lies below ``x``, with all its digits.

    Parameters
    ----------
    x : array (...)
        Values in standard deviations [-], no NaN.

    Returns
    -------
    array (...)
        Logarithms of the chances [nat].

    Examples
    --------
    >>> log_normal_cdf(np.array([-40.0, 0.0])).round(4).tolist()
    [-804.6084, -0.6931]
    """
    far = x < FAR_TAIL
    likely = x > 0.0
    beyond = 0.5 * _erfc(np.abs(np.where(far, 0.0, x)) / math.sqrt(2.0)) if x.size else x
    near: FloatArray = np.where(likely, np.log1p(-beyond), np.log(np.where(likely, 1.0, beyond)))
    if not far.any():
        return near
    tail = np.where(far, x, FAR_TAIL)
    inverse = 1.0 / tail**2
    series = np.log1p(-inverse * (1.0 - inverse * (3.0 - 15.0 * inverse)))
    distant = -0.5 * tail**2 - np.log(-tail) - 0.5 * math.log(2.0 * math.pi) + series
    return np.where(far, distant, near)
