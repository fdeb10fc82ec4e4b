"""The spreads of the model, and what is known by form of lags after cuts and of settling.

Spreads say how far tanks, areas, spans and readings differ from their means (``fit.learning``
learns them); lags and settling stand beside the border (``fit.beside``).
"""

from __future__ import annotations

from dataclasses import field, fields
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import FloatArray, IntArray, TextArray, distinct
from growthcast.growth.normal import normal_cdf, normal_quantile
from growthcast.nouns import dataclass
from growthcast.species import read_forms

LEARNT = (
    "species",
    "tank",
    "area",
    "span",
    "drift",
    "height_error_cm",
    "height_error_share",
    "weight",
)
"""The spreads that a log teaches."""

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
        return np.sqrt(np.diag(self.covariance))

    @property
    def mean_d(self) -> FloatArray:
        """Mean lag (F,) [d]."""
        return self.centre_d + self.spread_d * self._ratio()

    @property
    def sd_d(self) -> FloatArray:
        """Standard deviation (F,) of the lag [d]."""
        at, ratio = self.centre_d / self.spread_d, self._ratio()
        return self.spread_d * np.sqrt(np.maximum(1.0 - ratio * (at + ratio), 1e-6))

    def drawn(self, normals: NDArray[np.floating[Any]], form: IntArray) -> FloatArray:
        """Lags (A, D) [d] of areas' forms (A,) for standard normals (F, D), independent by row.

        Each form's normal is cut at zero; forms stay as alike as the whole normals are.
        """
        spread, size = self.spread_d[:, None], len(self.spread_d)
        alike = self.covariance / spread / spread.T + 1e-9 * np.eye(size)
        forms = distinct(form)  # the others need no quantiles
        chance = normal_cdf((np.linalg.cholesky(alike) @ normals)[forms])
        centre, spread = self.centre_d[forms, None], spread[forms]
        least = normal_cdf(np.maximum(-centre / spread, -8.0))
        within = np.clip(least + chance * (1.0 - least), 1e-9, 1.0 - 1e-9)
        lags: FloatArray = np.maximum(centre + spread * normal_quantile(within), 0.0)
        return lags[np.searchsorted(forms, form)]

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
        return np.exp(self.centre)

    @property
    def sd(self) -> FloatArray:
        """Standard deviation (F,) of the logs."""
        return np.sqrt(np.diag(self.covariance))

    def drawn(self, normals: NDArray[np.floating[Any]]) -> FloatArray:
        """Log factors (F, D), less their centres, for standard normals (F, D)."""
        return np.linalg.cholesky(self.covariance) @ normals


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


def _shared(spread: FloatArray) -> FloatArray:
    """Covariance (F, F) of what forms share in part."""
    alike: FloatArray = SHARED + (1.0 - SHARED) * np.eye(spread.size)
    return alike * spread[:, None] * spread


@cache
def prior_lags() -> Lags:
    """Return what is believed of the lags before any log.

    Returns
    -------
    Lags
        Half normal with the spreads of ``species/forms.toml``, shared by the forms in part.
    """
    spread = np.array([form.lag_spread_d for form in read_forms().values()])
    return Lags(np.zeros(spread.size), _shared(spread))


@cache
def prior_settling() -> Settling:
    """Return what is believed of settling before any log.

    Returns
    -------
    Settling
        The species table's days, with the spreads of ``species/forms.toml``, shared in part.
    """
    spread = np.array([form.settle_spread for form in read_forms().values()])
    return Settling(np.zeros(spread.size), _shared(spread))


@dataclass(frozen=True, slots=True)
class Spreads:
    """Standard deviations of the model's random parts, on the log rate unless said otherwise.

    The defaults are estimates (common practice, no source): two tanks under the same conditions
    differ by about a third, two patches of a species in one tank by a fifth, and one week's growth
    from the next by a fifth. They are where learning starts from and what it leans on.

    Attributes
    ----------
    species
        Multiplies each species' own ``rate_spread`` [-]; 1 takes the table at its word.
    tank, area
        Spread of the log rate between tanks and between areas of a tank [-].
    span
        Relative spread of one week's growth; its variance falls as 1/days [-].
    drift
        Spread of the log rate with which a tank drifts around its own mean [-].
    height_error_cm, height_error_share
        Error of a reading: fixed part [cm] and share of the height [-].
    density, weight
        Spread of areas' log densities around the table's, and relative spread of one weight [-].
    habit
        Scatter of the heights an area is cut to, as a share, before its log says otherwise [-].
    sd
        Standard deviation of the logarithm of each spread that was learnt; empty when none was.
    lags
        What is known of the days of growth lost after a cut.
    settling
        What is known of how long plants take to settle.
    """

    species: float = 1.0
    tank: float = 0.30
    area: float = 0.20
    span: float = 0.20
    drift: float = 0.15
    height_error_cm: float = 0.5
    height_error_share: float = 0.05
    density: float = 0.50
    weight: float = 0.20
    habit: float = 0.15
    sd: dict[str, float] = field(default_factory=dict)
    lags: Lags = field(default_factory=prior_lags, compare=False)
    settling: Settling = field(default_factory=prior_settling, compare=False)

    def as_dict(self) -> dict[str, float]:
        """Return the spreads by name."""
        return {f.name: getattr(self, f.name) for f in fields(self) if f.type == "float"}
