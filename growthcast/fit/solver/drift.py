"""How a tank's rate drifts: an Ornstein-Uhlenbeck path, held at a few days before the forecast.

A tank's log rate wanders around its own mean with a memory of a month: filters clog, lamps age,
dosing slips. Following it day by day would cost a parameter a day and tank; a handful of *knots*,
close together near the day of the fit and further apart before, carry what the past says on the
present. What a span's mean drift is beyond its regression on the knots counts as noise of that span
(the sparse Gaussian process approximation known as FITC).

References
----------
Uhlenbeck, G. E. & Ornstein, L. S. (1930). Physical Review 36, 823-841 (from memory).
Snelson, E. & Ghahramani, Z. (2006). Sparse Gaussian processes using pseudo-inputs. Advances in
Neural Information Processing Systems 18 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["KNOT_AGES_D", "MEMORY_D", "SpanDrift", "knot_precision", "span_drift"]

FloatArray = NDArray[np.float64]

MEMORY_D = 30.0
"""Days after which a tank remembers a third of its drift: an estimate within 20 to 40."""
KNOT_AGES_D = np.array([0.0, 12.0, 26.0, 45.0, 75.0])
"""Days before the fit at which the drift is held."""


@dataclass(frozen=True, slots=True)
class SpanDrift:
    """Mean drift over spans, per unit of its stationary variance.

    It is ``weight @ knots`` (M, n) plus a remainder of variance ``remainder`` (n,).
    """

    weight: FloatArray
    remainder: FloatArray


def knot_precision() -> FloatArray:
    """Prior precision (M, M) of the knots for a stationary variance of one."""
    apart = np.abs(KNOT_AGES_D[:, None] - KNOT_AGES_D[None, :])
    precision: FloatArray = np.linalg.inv(np.exp(-apart / MEMORY_D))
    return precision


def span_drift(began_day: FloatArray, ended_day: FloatArray, on_day: float) -> SpanDrift:
    """Regress the mean drift over spans [day numbers] on the knots.

    Covariances of the mean over a span are integrals of the Ornstein-Uhlenbeck covariance
    ``exp(-|t - s| / memory)``, in closed form.
    """
    start = (began_day - on_day) / MEMORY_D
    length = np.maximum(ended_day - began_day, 1e-6) / MEMORY_D
    knots = -KNOT_AGES_D[:, None] / MEMORY_D
    a, b = start - knots, start + length - knots  # ends as seen from each knot, (M, n)
    before = np.exp(np.minimum(b, 0.0)) - np.exp(np.minimum(a, 0.0))
    after = np.exp(-np.maximum(a, 0.0)) - np.exp(-np.maximum(b, 0.0))
    covariance = (before + after) / length
    small = length < 1e-4
    safe = np.where(small, 1.0, length)
    own = np.where(small, 1.0 - length / 3.0, 2.0 * (safe + np.expm1(-safe)) / safe**2)
    weight = knot_precision() @ covariance
    explained = np.einsum("mn,mn->n", weight, covariance)
    return SpanDrift(weight=weight, remainder=np.maximum(own - explained, 0.0))
