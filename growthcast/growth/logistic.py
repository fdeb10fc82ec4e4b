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

from growthcast.arrays import FloatArray, checked

LN2 = float(np.log(2.0))
SMALLEST_EXPONENT = 500.0
"""Stages beyond this are as good as infinite: keeps exponentials finite."""
LEAST_LEFT = 1e-12
"""Under a negative shape nothing stands below the stage at which ``1 + m e^-z`` is this."""
LEAST_SHAPE = 1e-15
"""Shapes closer to 0 are the Gompertz curve to the last digit; products with them underflow."""


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
    h, K = checked("height_cm", height_cm), checked("ceiling_cm", ceiling_cm, above_zero=True)
    m = _shape(shape)
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):  # height 0, the ceiling
        rest = np.maximum(K - h, 0.0)
        if (m == 1.0).all():  # the logistic: a third of the work
            return np.asarray(np.log(h / rest))[()]
        y = np.log1p(rest / h)
        short = np.where(m == 0.0, y, np.expm1(m * y) / np.where(m == 0.0, 1.0, m))
        return np.asarray(-np.log(short))[()]


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
    K, m = checked("ceiling_cm", ceiling_cm, above_zero=True), _shape(shape)
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):  # far below, a height of 0
        rest = np.exp(-np.asarray(stage))
        if (m == 1.0).all():  # the logistic: a third of the work
            return np.asarray(K / (1.0 + rest))[()]
        y = np.log1p(np.maximum(m * rest, -1.0)) / np.where(m == 0.0, 1.0, m)
        return np.asarray(K * np.exp(-np.where(m == 0.0, rest, y)))[()]


def height_and_slope(
    stage: FloatArray, ceiling_cm: FloatArray, shape: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Height and its slope in the stage in one go, without the care for edges.

    The height is that of ``height_at_stage`` for finite stages, several times as fast: it is what a
    fit evaluates millions of times.

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
    bent = np.maximum(shape * short, LEAST_LEFT - 1.0)
    flat = np.abs(shape) < LEAST_SHAPE
    power = np.where(flat, short, np.log1p(bent) / np.where(flat, 1.0, shape))
    height = ceiling_cm * np.exp(-power)
    return height, height * short / (1.0 + bent)


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
    speed = checked("cm_per_week", cm_per_week)
    K = checked("ceiling_cm", ceiling_cm, above_zero=True)
    return np.asarray(4.0 * speed / (7.0 * K))[()]


def _shape(shape: ArrayLike) -> FloatArray:
    """Return the shape as an array, after checking its range; next to 0 it is 0."""
    m = np.asarray(shape, dtype=np.float64)
    if np.any((m < -1.0) | (m > 2.0)):
        raise ValueError("shape must lie between -1 and 2")
    return np.where(np.abs(m) < LEAST_SHAPE, 0.0, m)
