r"""The growth curve: height, stage and time of a canopy that grows towards a ceiling.

Every canopy follows one sigmoid family (Richards 1959), written so that ``shape`` 1 is the
logistic::

    dh/dt = c(m) r h [1 - (h/K)^m] / m        c(m) = m / (2 (1 - 2^-m))

with ``h`` the height, ``K`` the ceiling, ``r`` the rate and ``m`` the shape. The factor ``c(m)``
makes the growth at half of the ceiling ``r K / 4`` for every shape, so a rate means the same
whatever the bend. The *stage* ``z`` straightens the curve: ``h = K (1 + m e^-z)^(-1/m)`` and
``dz/dt = c(m) r``, exact for any course of ``r`` that does not depend on ``h``.

Shapes from -1 to 2 are allowed. 1 is the logistic, 0 the Gompertz curve, -1 the straight approach
to the ceiling. Below 0 a canopy leaves height 0 at the finite stage ``ln|m|``; from 0 upward
height 0 lies at stage ``-inf`` and never grows.

What it leaves out: a canopy above its ceiling neither grows nor shrinks here, and no plant dies.
Every function broadcasts its arguments; NaN in gives NaN out.

References
----------
F. J. Richards, "A flexible growth function for empirical use", Journal of Experimental Botany 10,
1959, 290-301, doi 10.1093/jxb/10.2.290 (from memory). The constant ``c(m)`` is ours.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from growthcast.arrays import FloatArray

LN2 = float(np.log(2.0))
GOMPERTZ_BELOW = 1e-12
"""Shapes closer to 0 than this are taken as 0; the height changes by less than 1e-10 of itself."""


def shape_factor(shape: ArrayLike) -> FloatArray:
    """Return ``c(m)``, the speed of the stage per unit of rate.

    Parameters
    ----------
    shape : array_like
        Richards exponent ``m`` [1], -1 to 2.

    Returns
    -------
    ndarray of float
        ``m / (2 (1 - 2^-m))`` [1]; at 0 its limit ``1 / (2 ln 2)``.

    Raises
    ------
    ValueError
        If a shape lies outside -1 to 2.

    Notes
    -----
    Chosen so that the growth at half of the ceiling is ``r K / 4`` for every shape.

    Examples
    --------
    >>> round(float(shape_factor(1.0)), 6), round(float(shape_factor(2.0)), 6)
    (1.0, 1.333333)
    """
    m = _shape(shape)
    x = np.where(m == 0.0, 1.0, m * LN2)
    factor: FloatArray = np.where(m == 0.0, 1.0, x / -np.expm1(-x)) / (2.0 * LN2)
    return factor[()]


def stage(height_cm: ArrayLike, ceiling_cm: ArrayLike, shape: ArrayLike = 1.0) -> FloatArray:
    """Return the stage ``z`` of a canopy: the growth it has behind it, on a straight scale.

    Parameters
    ----------
    height_cm : array_like
        Canopy height [cm], 0 or more.
    ceiling_cm : array_like
        Height the canopy grows towards [cm], above 0.
    shape : array_like
        Richards exponent ``m`` [1], -1 to 2.

    Returns
    -------
    ndarray of float
        Stage [1]. ``inf`` at and above the ceiling. At height 0: ``-inf`` for shapes of 0 or more,
        ``ln|m|`` for shapes below 0.

    Raises
    ------
    ValueError
        If a height is below 0, a ceiling not above 0 or a shape outside -1 to 2.

    Notes
    -----
    ``z = -ln( ((h/K)^-m - 1) / m )``; for ``m = 1`` the logit ``ln(h / (K - h))``, for ``m = 0``
    ``-ln(ln(K/h))``. Evaluated through ``ln(K/h)`` so that it keeps its digits near 0, near the
    ceiling and for shapes near 0.

    Examples
    --------
    A quarter of the ceiling has the odds 1 to 3, and ln(1/3) = -1.0986:

    >>> round(float(stage(10.0, 40.0)), 4)
    -1.0986
    """
    m = _shape(shape)
    if (m == 1.0).all():
        return _logit(height_cm, ceiling_cm)
    y = _log_shortfall(height_cm, ceiling_cm)
    inner = np.where((y <= 0.0) | np.isinf(y), 1.0, y)
    bottom = np.where(m < 0.0, np.log(np.where(m < 0.0, -m, 1.0)), -np.inf)
    z = np.maximum(-(np.log(inner) + _log_mean_exp(m * inner)), bottom)
    result: FloatArray = np.where(y <= 0.0, np.inf, np.where(np.isinf(y), bottom, z))
    return result[()]


def height_at_stage(stage: ArrayLike, ceiling_cm: ArrayLike, shape: ArrayLike = 1.0) -> FloatArray:
    """Return the canopy height at a stage; the inverse of :func:`stage`.

    Parameters
    ----------
    stage : array_like
        Stage ``z`` [1], any number or infinite.
    ceiling_cm : array_like
        Height the canopy grows towards [cm], above 0.
    shape : array_like
        Richards exponent ``m`` [1], -1 to 2.

    Returns
    -------
    ndarray of float
        Height [cm], 0 to the ceiling. The ceiling at stage ``inf``; 0 at ``-inf`` and, for shapes
        below 0, at every stage up to ``ln|m|``.

    Raises
    ------
    ValueError
        If a ceiling is not above 0 or a shape lies outside -1 to 2.

    Notes
    -----
    ``h = K (1 + m e^-z)^(-1/m)``; for ``m = 0`` ``K exp(-e^-z)``.

    Examples
    --------
    Odds of 3 to 1 are three quarters of the ceiling:

    >>> round(float(height_at_stage(np.log(3.0), 40.0)), 9)
    30.0
    """
    K, m = _positive(ceiling_cm, "ceiling_cm"), _shape(shape)
    if (m == 1.0).all():  # the logistic: a third of the work
        with np.errstate(over="ignore"):  # far below, a height of 0
            logistic: FloatArray = np.asarray(K / (1.0 + np.exp(-np.asarray(stage))))
        return logistic[()]
    height: FloatArray = K * np.exp(-_shortfall_at_stage(stage, m))
    return height[()]


def height_slope(stage: ArrayLike, ceiling_cm: ArrayLike, shape: ArrayLike = 1.0) -> FloatArray:
    """Return ``dh/dz``, the height gained per unit of stage.

    Parameters
    ----------
    stage : array_like
        Stage ``z`` [1], any number or infinite.
    ceiling_cm : array_like
        Height the canopy grows towards [cm], above 0.
    shape : array_like
        Richards exponent ``m`` [1], -1 to 2.

    Returns
    -------
    ndarray of float
        Slope [cm]; 0 at stage ``inf`` and wherever the height is 0.

    Raises
    ------
    ValueError
        If a ceiling is not above 0 or a shape lies outside -1 to 2.

    Notes
    -----
    ``dh/dz = h [1 - (h/K)^m] / m``; for ``m = 1`` ``h (1 - h/K)``.

    Examples
    --------
    The logistic is steepest half-way, at a quarter of the ceiling:

    >>> float(height_slope(0.0, 40.0))
    10.0
    """
    K, m = _positive(ceiling_cm, "ceiling_cm"), _shape(shape)
    return _gain(_shortfall_at_stage(stage, m), K, m, at_zero=np.float64(0.0))


def height_and_slope(
    stage: FloatArray, ceiling_cm: FloatArray, shape: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Height and its slope in the stage in one go, without the care for edges.

    The same as ``height_at_stage`` and ``height_slope`` for finite stages, several times as fast:
    it is what a fit evaluates millions of times.

    Parameters
    ----------
    stage : array (n,)
        Finite stages [-]; for a negative shape, above ``ln|shape|``.
    ceiling_cm : array (n,)
        Ceilings [cm], above 0.
    shape : array (n,)
        Richards exponents [-], from -1 to 2.

    Returns
    -------
    tuple of arrays (n,)
        Height [cm] and slope [cm per unit of stage].

    Notes
    -----
    ``h = K (1 + m e^-z)^(-1/m)`` and ``dh/dz = h e^-z / (1 + m e^-z)``.

    Examples
    --------
    At stage 0 a logistic canopy stands at half its ceiling, where the slope is a quarter of it.

    >>> height_and_slope(np.array([0.0]), np.array([40.0]), np.array([1.0]))
    (array([20.]), array([10.]))
    """
    short = np.exp(-np.clip(stage, -SMALLEST_EXPONENT, SMALLEST_EXPONENT))
    if (shape == 1.0).all():
        base = 1.0 + short
        height = ceiling_cm / base
        return height, height * short / base
    base = np.maximum(1.0 + shape * short, TINY)
    power = np.where(np.abs(shape) < NEARLY_GOMPERTZ, short, np.log(base) / _nonzero(shape))
    height = ceiling_cm * np.exp(-power)
    return height, height * short / base


SMALLEST_EXPONENT = 500.0
"""Stages beyond this are as good as infinite: keeps exponentials finite."""
TINY = 1e-300
NEARLY_GOMPERTZ = 1e-9


def _nonzero(shape: FloatArray) -> FloatArray:
    return np.where(np.abs(shape) < NEARLY_GOMPERTZ, 1.0, shape)


def growth_rate_cm_per_day(
    height_cm: ArrayLike, rate_per_day: ArrayLike, ceiling_cm: ArrayLike, shape: ArrayLike = 1.0
) -> FloatArray:
    """Return the speed of growth at a height.

    Parameters
    ----------
    height_cm : array_like
        Canopy height [cm], 0 or more.
    rate_per_day : array_like
        Rate ``r`` [1/day], 0 or more.
    ceiling_cm : array_like
        Height the canopy grows towards [cm], above 0.
    shape : array_like
        Richards exponent ``m`` [1], -1 to 2.

    Returns
    -------
    ndarray of float
        Growth [cm/day]; 0 at and above the ceiling, and at height 0 (except for shape -1, which
        grows fastest there, at ``r K / 2``).

    Raises
    ------
    ValueError
        If a height or rate is below 0, a ceiling not above 0 or a shape outside -1 to 2.

    Notes
    -----
    ``dh/dt = c(m) r h [1 - (h/K)^m] / m``.

    Examples
    --------
    At half of a 40 cm ceiling growth is r K / 4 = 0.1 x 40 / 4 for the logistic and every other
    shape:

    >>> growth_rate_cm_per_day(20.0, 0.1, 40.0, [-1.0, 0.0, 1.0, 2.0]).round(12).tolist()
    [1.0, 1.0, 1.0, 1.0]
    """
    K, m = _positive(ceiling_cm, "ceiling_cm"), _shape(shape)
    r = _not_negative(rate_per_day, "rate_per_day")
    from_nothing = np.where(m == -1.0, K, 0.0)
    gain = _gain(_log_shortfall(height_cm, K), K, m, at_zero=from_nothing)
    speed: FloatArray = np.asarray(shape_factor(m) * r * gain)
    return speed[()]


def height_after(
    height_cm: ArrayLike,
    days: ArrayLike,
    rate_per_day: ArrayLike,
    ceiling_cm: ArrayLike,
    shape: ArrayLike = 1.0,
) -> FloatArray:
    """Return the height a canopy reaches after some days at a constant rate.

    Parameters
    ----------
    height_cm : array_like
        Height at the start [cm], 0 or more.
    days : array_like
        Days of growth [d]; negative days look back.
    rate_per_day : array_like
        Rate ``r`` [1/day], 0 or more.
    ceiling_cm : array_like
        Height the canopy grows towards [cm], above 0.
    shape : array_like
        Richards exponent ``m`` [1], -1 to 2.

    Returns
    -------
    ndarray of float
        Height [cm]. A canopy at or above its ceiling keeps its height, whatever the days; height 0
        stays 0 for shapes of 0 or more and grows for shapes below 0.

    Raises
    ------
    ValueError
        If a height or rate is below 0, a ceiling not above 0 or a shape outside -1 to 2.

    Notes
    -----
    ``z`` moves on by ``c(m) r t``: for ``m = 1``, ``h(t) = K / (1 + (K/h0 - 1) e^(-r t))``.

    Examples
    --------
    From 10 cm under 40 cm the odds are 1 to 3; nine-fold odds, 3 to 1, are 30 cm:

    >>> round(float(height_after(10.0, np.log(9.0) / 0.1, 0.1, 40.0)), 9)
    30.0
    """
    h, K = _not_negative(height_cm, "height_cm"), _positive(ceiling_cm, "ceiling_cm")
    r, m = _not_negative(rate_per_day, "rate_per_day"), _shape(shape)
    moved = shape_factor(m) * r * np.asarray(days, dtype=np.float64)
    reached = height_at_stage(np.where(h >= K, 0.0, stage(h, K, m)) + moved, K, m)
    height: FloatArray = np.where((h >= K) | (moved == 0.0), h, reached)
    return height[()]


def days_to_height(
    from_cm: ArrayLike,
    to_cm: ArrayLike,
    rate_per_day: ArrayLike,
    ceiling_cm: ArrayLike,
    shape: ArrayLike = 1.0,
) -> FloatArray:
    """Return the days a canopy takes from one height to another at a constant rate.

    Parameters
    ----------
    from_cm, to_cm : array_like
        Heights at the start and wanted [cm], 0 or more.
    rate_per_day : array_like
        Rate ``r`` [1/day], 0 or more.
    ceiling_cm : array_like
        Height the canopy grows towards [cm], above 0.
    shape : array_like
        Richards exponent ``m`` [1], -1 to 2.

    Returns
    -------
    ndarray of float
        Days [d]. 0 where the canopy is already there; ``inf`` where it never gets there: the
        wanted height at or above the ceiling, rate 0, or a start at 0 for shapes of 0 or more.

    Raises
    ------
    ValueError
        If a height or rate is below 0, a ceiling not above 0 or a shape outside -1 to 2.

    Notes
    -----
    ``[z(to) - z(from)] / (c(m) r)``; for ``m = 1`` ``[logit(to/K) - logit(from/K)] / r``.

    Examples
    --------
    From 0.2 to 0.8 of the ceiling the odds grow sixteen-fold; ln(16) / 0.1 = 27.726 days:

    >>> round(float(days_to_height(8.0, 32.0, 0.1, 40.0)), 3)
    27.726
    """
    start, target = _not_negative(from_cm, "from_cm"), _not_negative(to_cm, "to_cm")
    K, m = _positive(ceiling_cm, "ceiling_cm"), _shape(shape)
    speed = np.asarray(shape_factor(m) * _not_negative(rate_per_day, "rate_per_day"))
    growth = np.asarray(accumulated_growth(start, np.maximum(start, target), K, m))
    there = np.broadcast_to(start >= target, growth.shape)
    never = (target >= K) | (speed == 0.0) | np.isinf(growth)
    with np.errstate(over="ignore"):  # a speed near the smallest number: the days are inf
        days = np.where(never, 1.0, growth) / np.where(speed == 0.0, 1.0, speed)
    result: FloatArray = np.where(there, 0.0, np.where(never, np.inf, days))
    unknown = np.isnan(start) | np.isnan(target) | np.isnan(K) | np.isnan(m) | np.isnan(speed)
    result = np.where(unknown, np.nan, result)
    return result[()]


def accumulated_growth(
    from_cm: ArrayLike, to_cm: ArrayLike, ceiling_cm: ArrayLike, shape: ArrayLike = 1.0
) -> FloatArray:
    """Return the growth ``R`` that lies between two heights, in units of stage.

    Parameters
    ----------
    from_cm, to_cm : array_like
        Heights at the start and at the end [cm], 0 or more.
    ceiling_cm : array_like
        Height the canopy grows towards [cm], above 0.
    shape : array_like
        Richards exponent ``m`` [1], -1 to 2.

    Returns
    -------
    ndarray of float
        ``R`` [1], negative where the end is lower. ``inf`` where only the end lies at or above the
        ceiling or the start at stage ``-inf``, ``-inf`` the other way round; 0 where both heights
        are the same. ``nan`` where
        both lie at or above the ceiling and differ: the curve holds no such growth.

    Raises
    ------
    ValueError
        If a height is below 0, a ceiling not above 0 or a shape outside -1 to 2.

    Notes
    -----
    ``R = z(to) - z(from) = c(m) x integral of r dt``; for the logistic simply the integral of r.

    Examples
    --------
    >>> round(float(accumulated_growth(10.0, 30.0, 40.0)), 4)  # ln(9)
    2.1972
    """
    start, end = np.asarray(from_cm, dtype=np.float64), np.asarray(to_cm, dtype=np.float64)
    z0, z1 = np.broadcast_arrays(stage(start, ceiling_cm, shape), stage(end, ceiling_cm, shape))
    undefined = np.isinf(z0) & (z0 == z1)
    between = np.where(undefined, np.nan, np.where(undefined, 0.0, z1) - np.where(undefined, 0, z0))
    growth: FloatArray = np.where((start == end) & ~np.isnan(z0), 0.0, between)
    return growth[()]


def rate_from_speed(cm_per_week: ArrayLike, ceiling_cm: ArrayLike) -> FloatArray:
    """Turn a speed as people tell it ("5 cm a week when it grows best") into a rate.

    Parameters
    ----------
    cm_per_week : array_like
        Fastest growth seen [cm/week], 0 or more.
    ceiling_cm : array_like
        Height the canopy grows towards [cm], above 0.

    Returns
    -------
    ndarray of float
        Rate ``r`` [1/day].

    Raises
    ------
    ValueError
        If a speed is below 0 or a ceiling not above 0.

    Notes
    -----
    The growth at half of the ceiling is ``r K / 4``, hence ``r = 4 v / (7 K)``. That is the fastest
    growth of the logistic, and close to it for other shapes near 1.

    Examples
    --------
    10 cm a week under a 45 cm ceiling:

    >>> round(float(rate_from_speed(10.0, 45.0)), 3)
    0.127
    """
    speed, K = _not_negative(cm_per_week, "cm_per_week"), _positive(ceiling_cm, "ceiling_cm")
    rate: FloatArray = np.asarray(4.0 * speed / (7.0 * K))
    return rate[()]


def _shape(shape: ArrayLike) -> FloatArray:
    """Return the shape as an array, after checking its range."""
    m = np.asarray(shape, dtype=np.float64)
    if np.any((m < -1.0) | (m > 2.0)):
        raise ValueError("shape must lie between -1 and 2")
    return m


def _positive(values: ArrayLike, name: str) -> FloatArray:
    """Return the values as an array, after checking that none is 0 or less."""
    array = np.asarray(values, dtype=np.float64)
    if np.any(array <= 0.0):
        raise ValueError(f"{name} must be above 0")
    return array


def _not_negative(values: ArrayLike, name: str) -> FloatArray:
    """Return the values as an array, after checking that none is below 0."""
    array = np.asarray(values, dtype=np.float64)
    if np.any(array < 0.0):
        raise ValueError(f"{name} must be 0 or more")
    return array


def _logit(height_cm: ArrayLike, ceiling_cm: ArrayLike) -> FloatArray:
    """Return ``ln(h / (K - h))``, the stage of the logistic: a third of the work."""
    h, K = _not_negative(height_cm, "height_cm"), _positive(ceiling_cm, "ceiling_cm")
    with np.errstate(divide="ignore"):  # height 0 lies at -inf, the ceiling at inf
        stages: FloatArray = np.asarray(np.log(h / np.maximum(K - h, 0.0)))
    return stages[()]


def _log_shortfall(height_cm: ArrayLike, ceiling_cm: ArrayLike) -> FloatArray:
    """Return ``y = ln(K/h)``: 0 at and above the ceiling, ``inf`` at height 0."""
    h, K = _not_negative(height_cm, "height_cm"), _positive(ceiling_cm, "ceiling_cm")
    share, gap = np.asarray(h / K), np.asarray((h - K) / K)
    low = share < 0.5
    with np.errstate(divide="ignore"):  # the logarithm of height 0 is meant to be -inf
        far = np.log(np.where(low, share, 0.5))
    near = np.log1p(np.where(low, -0.5, np.minimum(gap, 0.0)))
    return 0.0 - np.where(low, far, near)


def _log_mean_exp(x: FloatArray) -> FloatArray:
    """Return ``ln((e^x - 1) / x)``, the logarithm of the mean of e^s for s from 0 to x."""
    small = np.abs(x) < 1e-5
    size = np.where(small, 1.0, np.abs(x))
    large = np.maximum(x, 0.0) + np.log(-np.expm1(-size) / size)
    return np.where(small, x / 2.0 + x * x / 24.0, large)


def _shortfall_at_stage(stage: ArrayLike, m: FloatArray) -> FloatArray:
    """Return ``y = ln(K/h)`` at a stage: ``ln(1 + m e^-z) / m``, by whichever form keeps digits."""
    z, m = np.broadcast_arrays(np.asarray(stage, dtype=np.float64), m)
    size = np.where(np.abs(m) < GOMPERTZ_BELOW, 1.0, np.abs(m))
    q = np.log(size) - z
    result = (np.maximum(q, 0.0) + np.log1p(np.exp(-np.abs(q)))) / size
    if np.any(m < 0.0):
        inside = np.where(q < 0.0, q, -1.0)
        log_rest = np.where(
            inside > -LN2,
            np.log(-np.expm1(np.maximum(inside, -LN2))),
            np.log1p(-np.exp(np.minimum(inside, -LN2))),
        )
        below = np.where(q < 0.0, -log_rest / size, np.where(np.isnan(q), np.nan, np.inf))
        result = np.where(m < 0.0, below, result)
    if np.any(np.abs(m) < GOMPERTZ_BELOW):
        gompertz = np.where(z < -709.0, np.inf, np.exp(-np.maximum(z, -709.0)))
        result = np.where(np.abs(m) < GOMPERTZ_BELOW, gompertz, result)
    return np.where(np.isnan(m), np.nan, result)


def _gain(y: FloatArray, K: FloatArray, m: FloatArray, *, at_zero: ArrayLike) -> FloatArray:
    """Return ``h (1 - (h/K)^m) / m`` from ``y = ln(K/h)``; ``at_zero`` where the height is 0."""
    inner = np.where(np.isinf(y), 0.0, y)
    a = np.abs(m) * inner
    mean = np.where(a == 0.0, 1.0, -np.expm1(-a) / np.where(a == 0.0, 1.0, a))
    gain = K * np.exp(-(1.0 + np.minimum(m, 0.0)) * inner) * inner * mean
    result: FloatArray = np.where(np.isinf(y), at_zero, gain)
    return result[()]
