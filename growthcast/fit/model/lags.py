"""The days of growth that every cut costs, by form, and how a practice's log teaches them.

With equal gaps a lag cannot be told from a slower rate: the log speaks of ``rate * (gap - lag)``.
The lag of each form is therefore an unknown of the linear-Gaussian problem beside the shared
effects, though not a row of the border: areas of a form share it, so what the chains say on it is
had from one more pass of the filter (``FilterPass`` along the lag) instead of a wider one at every
step. What is known of the lags is a normal of which only the part above zero counts; rates follow
it, and so forecasts over gaps that the log does not have widen by themselves.

References
----------
Kass, R. E. & Steffey, D. (1989). Approximate Bayesian inference in conditionally independent
hierarchical models. Journal of the American Statistical Association 84, 717-726 (from memory): the
uncertainty of a shared parameter, carried on by the slopes of what follows it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import FloatArray, IntArray, TextArray
from growthcast.growth.normal import normal_cdf, normal_quantile
from growthcast.species import read_forms

FORMS = tuple(read_forms())
"""The growth forms, in the order of all arrays (F,)."""
SHARED = 0.5
"""Correlation of the lags of two forms in one practice: hands, water and light are the same (an
estimate)."""


@dataclass(frozen=True, slots=True)
class Lags:
    """Days of growth lost after a cut, by form: a normal of which the part above zero counts.

    ``centre_d`` (F,) and ``covariance`` (F, F) [d, d2] are those of the whole normal.
    """

    centre_d: FloatArray
    covariance: FloatArray

    @property
    def spread_d(self) -> FloatArray:
        """Standard deviation (F,) of the whole normal [d]."""
        spread: FloatArray = np.sqrt(np.diag(self.covariance))
        return spread

    @property
    def mean_d(self) -> FloatArray:
        """Mean lag (F,) [d]."""
        mean: FloatArray = self.centre_d + self.spread_d * self._ratio()
        return mean

    @property
    def sd_d(self) -> FloatArray:
        """Standard deviation (F,) of the lag [d]."""
        at, ratio = self.centre_d / self.spread_d, self._ratio()
        sd: FloatArray = self.spread_d * np.sqrt(np.maximum(1.0 - ratio * (at + ratio), 1e-6))
        return sd

    def drawn(self, normals: NDArray[np.floating[Any]]) -> FloatArray:
        """Lags (F, D) [d] for standard normals (F, D), independent by row.

        Each form's normal is cut at zero; forms stay as alike as the whole normals are.
        """
        spread, size = self.spread_d[:, None], len(self.spread_d)
        alike = self.covariance / spread / spread.T + 1e-9 * np.eye(size)
        chance = normal_cdf(np.linalg.cholesky(alike) @ normals)
        least = normal_cdf(np.maximum(-self.centre_d[:, None] / spread, -8.0))
        within = np.clip(least + chance * (1.0 - least), 1e-9, 1.0 - 1e-9)
        lags: FloatArray = np.maximum(
            self.centre_d[:, None] + spread * normal_quantile(within), 0.0
        )
        return lags

    def _ratio(self) -> FloatArray:
        """Density at zero over the chance of more, of the normal in its own units (F,)."""
        at = np.maximum(self.centre_d / self.spread_d, -8.0)
        density = np.exp(-0.5 * at**2) / np.sqrt(2.0 * np.pi)
        ratio: FloatArray = density / normal_cdf(at)
        return ratio


@dataclass(frozen=True, slots=True)
class Settling:
    """How many times as long as in the table plants take to settle, by form: log normal.

    ``centre`` (F,) and ``covariance`` (F, F) are those of the logs of the factors.
    """

    centre: FloatArray
    covariance: FloatArray

    @property
    def factor(self) -> FloatArray:
        """Median factors (F,)."""
        factor: FloatArray = np.exp(self.centre)
        return factor

    @property
    def sd(self) -> FloatArray:
        """Standard deviation (F,) of the logs."""
        sd: FloatArray = np.sqrt(np.diag(self.covariance))
        return sd

    def drawn(self, normals: NDArray[np.floating[Any]]) -> FloatArray:
        """Log factors (F, D), less their centres, for standard normals (F, D)."""
        drawn: FloatArray = np.linalg.cholesky(self.covariance) @ normals
        return drawn


def forms_of(names: TextArray) -> IntArray:
    """Place of each form in ``FORMS``.

    Parameters
    ----------
    names : array (n,)
        Names of forms.

    Returns
    -------
    int array (n,)
        Their places.
    """
    return np.array([FORMS.index(form) for form in names.tolist()], dtype=np.int64)


@cache
def prior_lags() -> Lags:
    """Return what is believed of the lags before any log.

    Returns
    -------
    Lags
        Half normal with the spreads of ``species/forms.toml``, shared by the forms in part.
    """
    spread = np.array([form.lag_spread_d for form in read_forms().values()])
    alike = np.where(np.eye(spread.size) > 0.0, 1.0, SHARED)
    return Lags(np.zeros(spread.size), alike * spread[:, None] * spread)


@cache
def prior_settling() -> Settling:
    """Return what is believed of settling before any log.

    Returns
    -------
    Settling
        The species table's days, with the spreads of ``species/forms.toml``, shared in part.
    """
    spread = np.array([form.settle_spread for form in read_forms().values()])
    alike = np.where(np.eye(spread.size) > 0.0, 1.0, SHARED)
    return Settling(np.zeros(spread.size), alike * spread[:, None] * spread)
