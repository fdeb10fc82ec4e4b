"""The growth curve for very many points at once: in single precision, without the care for edges.

A forecast or an advice follows hundreds of nodes or draws of every area; their own doubt is a
thousand times what single precision rounds off, and it is three times as fast. What is done once
for an area, or in a fit, belongs to ``logistic``.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import FloatArray
from growthcast.growth.logistic import height_at_stage, stage

Singles = NDArray[np.float32]

BELOW_CEILING = 1.0 - 1e-6
"""Share of its ceiling that nothing stands above; closer to it single precision sees none left."""
LOWEST_STAGE = np.float32(-80.0)
"""Nothing stands there; keeps exponentials within single precision."""
FAR = np.float32(8.0)
"""Standard deviations beyond which a normal is never found."""


def column(values: FloatArray) -> Singles:
    """Values (...) of areas as (..., 1), beside their nodes or draws.

    Parameters
    ----------
    values : array (...)
        Values of areas [any].

    Returns
    -------
    float32 array (..., 1)
        The same [any].

    Examples
    --------
    >>> column(np.array([1.0, 2.0])).shape
    (2, 1)
    """
    return values[..., None].astype(np.float32)


def quick_height(stages: Singles, ceiling_cm: Singles, shape: Singles) -> Singles:
    """Heights [cm] at stages; the three broadcast, the result is as large as the stages.

    Parameters
    ----------
    stages : float32 array (...)
        Stages [-].
    ceiling_cm : float32 array (...)
        Ceilings [cm].
    shape : float32 array (...)
        Richards exponents [-].

    Returns
    -------
    float32 array (...)
        Heights [cm].

    Examples
    --------
    >>> one = np.ones(1, dtype=np.float32)
    >>> quick_height(0.0 * one, 40.0 * one, one)
    array([20.], dtype=float32)
    """
    if not (shape == 1.0).all():
        return height_at_stage(stages, ceiling_cm, shape).astype(np.float32)
    base = np.maximum(stages, LOWEST_STAGE)
    np.negative(base, out=base)
    np.exp(base, out=base)
    base += 1.0
    np.divide(ceiling_cm, base, out=base)
    return base


def quick_stage(height_cm: Singles, ceiling_cm: Singles, shape: Singles) -> Singles:
    """Stages at heights [cm] of 0 or more, ``inf`` at and above a ceiling; the three broadcast.

    A height of 0 has the lowest stage there is, not ``-inf``: differences of stages stay numbers.

    Parameters
    ----------
    height_cm : float32 array (...)
        Heights [cm].
    ceiling_cm : float32 array (...)
        Ceilings [cm].
    shape : float32 array (...)
        Richards exponents [-].

    Returns
    -------
    float32 array (...)
        Stages [-].

    Examples
    --------
    >>> one = np.ones(1, dtype=np.float32)
    >>> quick_stage(20.0 * one, 40.0 * one, one), quick_stage(41.0 * one, 40.0 * one, one)
    (array([0.], dtype=float32), array([inf], dtype=float32))
    """
    if not (shape == 1.0).all():
        careful: Singles = stage(height_cm, ceiling_cm, shape).astype(np.float32)
        return np.maximum(careful, LOWEST_STAGE, out=careful)
    rest: Singles = ceiling_cm - height_cm
    np.maximum(rest, 0.0, out=rest)
    with np.errstate(divide="ignore"):
        np.divide(height_cm, rest, out=rest)
        np.log(rest, out=rest)
    return np.maximum(rest, LOWEST_STAGE, out=rest)


def quick_normal_below(score: Singles) -> Singles:
    """Chance [0-1] that a standard normal lies at or below each score, to 0.00014.

    Parameters
    ----------
    score : float32 array (...)
        Scores in standard deviations [-].

    Returns
    -------
    float32 array (...)
        Chances [0-1].

    Notes
    -----
    ``1 / (1 + exp(-2 y))`` with ``y = 0.7988 x (1 + 0.04417 x^2)`` (Page 1977, Applied Statistics
    26, 75-76, from memory).

    Examples
    --------
    >>> quick_normal_below(np.array([-9.0, 0.0, 1.2816, 9.0], dtype=np.float32)).round(3)
    array([0. , 0.5, 0.9, 1. ], dtype=float32)
    """
    below = np.clip(score, -FAR, FAR)
    below *= 0.7988 + 0.7988 * 0.04417 * below * below
    np.tanh(below, out=below)
    below *= 0.5
    below += 0.5
    return below


def quick_quantiles(
    values: Singles | FloatArray, levels: Sequence[float] | FloatArray
) -> FloatArray:
    """Quantiles (..., L) along the last axis, which is sorted in place.

    Sorting is several times as fast as picking what lies at a level, of single precision above all.

    Parameters
    ----------
    values : array (..., N)
        Equally likely values [any].
    levels : sequence of float or array (L,)
        Chances [0-1].

    Returns
    -------
    array (..., L)
        Values below which one lies with these chances [any].

    Examples
    --------
    >>> quick_quantiles(np.array([4.0, 0.0, 2.0], dtype=np.float32), (0.25, 0.5))
    array([1., 2.])
    """
    values.sort(axis=-1)
    place = np.array(levels) * (values.shape[-1] - 1)
    below = np.floor(place).astype(np.int64)
    above = np.minimum(below + 1, values.shape[-1] - 1)
    low = values[..., below].astype(np.float64)
    found: FloatArray = low + (place - below) * (values[..., above] - low)
    return found
