"""How a tank's rate drifts: an Ornstein-Uhlenbeck path, held by its means over a few windows.

A tank's log rate wanders around its own mean with a memory of a month: filters clog, lamps age,
dosing slips. Following it day by day would cost a parameter a day and tank. A handful of *knots*,
the drift's means over windows that lengthen into the past, carry what the log says on the present;
means, not single days, since a long log averages drift away no faster than its windows do. What a
span's mean drift is beyond its regression on the knots counts as noise of that span (the sparse
Gaussian process approximation known as FITC, with inter-domain inducing variables).

References
----------
Uhlenbeck, G. E. & Ornstein, L. S. (1930). Physical Review 36, 823-841 (from memory).
Snelson, E. & Ghahramani, Z. (2006). Sparse Gaussian processes using pseudo-inputs. Advances in
Neural Information Processing Systems 18 (from memory).
Lazaro-Gredilla, M. & Figueiras-Vidal, A. (2009). Inter-domain Gaussian processes for sparse
inference using inducing features. Advances in Neural Information Processing Systems 22 (from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growthcast.arrays import FloatArray

MEMORY_D = 30.0
"""Days after which a tank remembers a third of its drift: an estimate within 20 to 40."""
KNOT_WINDOWS_D = np.array([[0.0, 1.0], [0.0, 30.0], [30.0, 90.0], [90.0, 210.0], [210.0, 510.0]])
"""Days before the fit (M, 2) between which the drift's means are held; the first is today."""
KNOT_COUNT = KNOT_WINDOWS_D.shape[0]
SHORTEST_SPAN_D = 0.01
LONGER_THAN_ANY_SPAN_D = 2.0**20


@dataclass(frozen=True, slots=True)
class SpanDrift:
    """Mean drift over spans, per unit of its stationary variance.

    It is ``weight @ knots`` (M, n) plus a remainder of variance ``remainder`` (n,).
    """

    weight: FloatArray
    remainder: FloatArray


def knot_precision() -> FloatArray:
    """Work out the prior precision of the knots.

    Returns
    -------
    array (M, M)
        For a stationary variance of one [-].
    """
    ended, began = -KNOT_WINDOWS_D.T / MEMORY_D
    shared = window_covariance(began[:, None], ended[:, None], began[None, :], ended[None, :])
    precision: FloatArray = np.linalg.inv(shared).astype(np.float64)
    return precision


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
    ended, began = -KNOT_WINDOWS_D.T[:, :, None] / MEMORY_D
    covariance = window_covariance(began, ended, start, start + length)
    own = 2.0 * (length + np.expm1(-length)) / length**2
    weight = knot_precision() @ covariance
    explained = np.einsum("mn,mn->n", weight, covariance)
    remainder = np.maximum(own - explained, 0.0)
    return SpanDrift(weight=weight[:, place], remainder=remainder[place])


def today_weight() -> FloatArray:
    """Regression of the drift on the day of the fit on the knots.

    Returns
    -------
    array (M,)
        Weights of the knots [-].
    """
    today = np.zeros(1)
    weight: FloatArray = span_drift(today, today, 0.0).weight[:, 0]
    return weight


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
        integral: FloatArray = np.exp(-apart) + apart
        return integral

    whole = twice(ended - other_began) + twice(began - other_ended)
    whole = whole - twice(ended - other_ended) - twice(began - other_began)
    covariance: FloatArray = whole / ((ended - began) * (other_ended - other_began))
    return covariance
