"""The spreads of the model, and the days of growth that every cut costs, by form.

Spreads say how far tanks, areas, spans and readings differ from their means (``fit.learning``
learns them).

**Lags.** With equal gaps a lag cannot be told from a slower rate: the log speaks of
``rate * (gap - lag)``. The lag of each form is therefore an unknown of the linear-Gaussian problem
beside the shared effects, though not a row of the border: areas of a form share it, so what the
chains say on it is had from one more pass of the filter (``filter_along``) instead of a wider one
at every step. What is known of the lags is a normal of which only the part above zero counts; rates
follow it, and so forecasts over gaps that the log does not have widen by themselves.

References
----------
Kass, R. E. & Steffey, D. (1989). Approximate Bayesian inference in conditionally independent
hierarchical models. Journal of the American Statistical Association 84, 717-726 (from memory): the
uncertainty of a shared parameter, carried on by the slopes of what follows it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import FloatArray, IntArray, TextArray
from growthcast.fit.model.clock import LEAST_AWAKE_SHARE
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.kalman import filter_along, score_of
from growthcast.fit.solver.problem import RATE
from growthcast.fit.solver.view import View, departure_of, follows, repooled
from growthcast.growth.normal import normal_cdf, normal_quantile
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

TABLE_SPREAD = 0.5
"""How far the table's rates may be off all together, as a log (an estimate)."""

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

    def drawn(self, normals: NDArray[np.floating[Any]]) -> FloatArray:
        """Lags (F, D) [d] for standard normals (F, D), independent by row.

        Each form's normal is cut at zero; forms stay as alike as the whole normals are.
        """
        spread, size = self.spread_d[:, None], len(self.spread_d)
        alike = self.covariance / spread / spread.T + 1e-9 * np.eye(size)
        chance = normal_cdf(np.linalg.cholesky(alike) @ normals)
        least = normal_cdf(np.maximum(-self.centre_d[:, None] / spread, -8.0))
        within = np.clip(least + chance * (1.0 - least), 1e-9, 1.0 - 1e-9)
        return np.maximum(self.centre_d[:, None] + spread * normal_quantile(within), 0.0)

    def _ratio(self) -> FloatArray:
        """Density at zero over the chance of more, of the normal in its own units (F,)."""
        at = np.maximum(self.centre_d / self.spread_d, -8.0)
        density = np.exp(-0.5 * at**2) / np.sqrt(2.0 * np.pi)
        ratio: FloatArray = density / normal_cdf(at)
        return ratio


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

    def as_dict(self) -> dict[str, float]:
        """Return the spreads by name."""
        return {f.name: getattr(self, f.name) for f in fields(self) if f.type == "float"}


@dataclass(frozen=True, slots=True)
class _Along:
    """What the chains say along the lag of each area (A,): score, information, and with the border.

    ``border_score`` (B, A) is how the scores of the borders change with a day of lag.
    """

    score: FloatArray
    information: FloatArray
    border_score: FloatArray


def _along(view: View) -> _Along:
    """Filter all chains along their area's lag."""
    problem = view.problem
    areas = problem.area_count
    score, information = np.zeros((2, areas))
    border_score = np.zeros_like(view.score)
    for number, block in enumerate(problem.blocks):
        at, forward = view.block(number)
        chains, nodes = block.chains, block.chains.nodes
        loss = nodes.lag_per_d * at.inputs[RATE]
        left = 1.0 - nodes.lag_per_d * problem.lag_d[nodes.area]
        counts = (nodes.link == Link.GREW) & (left > LEAST_AWAKE_SHARE)
        moved = np.where(counts, -loss / np.maximum(left, LEAST_AWAKE_SHARE), 0.0)
        innovation = filter_along(chains, at, forward, moved)
        mine, weighted = chains.area, forward.innovation_precision * innovation
        score += np.bincount(nodes.area, -weighted * forward.innovation[0], areas)
        information += np.bincount(nodes.area, weighted * innovation, areas)
        border_score[:, mine] = score_of(chains, forward, innovation)
    return _Along(score, information, border_score)


def by_lag(view: View) -> FloatArray:
    """How the borders of a fit follow the lags, all of which grow together.

    Parameters
    ----------
    view : View
        The fitted problem.

    Returns
    -------
    array (B, A)
        Departures of the areas' borders per day of lag [1/d]. With gaps that are all alike a log
        rate goes up by ``1 / (gap - lag)``, and growth over such a gap stays as it was.
    """
    return follows(view, _along(view).border_score)


def lags_told(view: View, form: IntArray, lags: Lags) -> Lags:
    """What a log says of the lags of its forms, as linearised at the fitted point.

    Parameters
    ----------
    view : View
        A fitted problem.
    form : int array (A,)
        Each area's place in ``FORMS``.
    lags : Lags
        Those that the problem was linearised at (their means).

    Returns
    -------
    Lags
        The posterior: the prior, and the likelihood with rates, ceilings, effects and stages
        integrated out. Forms that the book does not hold follow those it holds.
    """
    along, departure, prior = _along(view), departure_of(view), prior_lags()
    size = len(FORMS)
    by_area = along.score + (along.border_score * departure).sum(axis=0)
    slope: FloatArray = np.bincount(form, by_area, size).astype(np.float64)
    own = np.bincount(form, along.information, size).astype(np.float64)
    curvature: FloatArray = own * np.eye(size)
    for one in np.unique(form):
        moved = follows(view, np.where(form == one, along.border_score, 0.0))
        curvature[:, one] -= np.bincount(form, (along.border_score * moved).sum(axis=0), size)
    slope, curvature = _without_the_table(view, form, along, departure, slope, curvature)
    curvature = _positive(0.5 * (curvature + curvature.T))
    precision = np.linalg.inv(prior.covariance) + curvature
    covariance: FloatArray = np.linalg.inv(precision).astype(np.float64)
    return Lags(covariance @ (slope + curvature @ lags.mean_d), covariance)


def _without_the_table(
    view: View,
    form: IntArray,
    along: _Along,
    departure: FloatArray,
    slope: FloatArray,
    curvature: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Take out of slope and curvature what only the level of the table's rates says.

    A lag would otherwise be read off rates that are all higher or lower than the table's. What all
    rates have in common is an unknown of its own, with the spread ``TABLE_SPREAD``.
    """
    pooling, effects = view.problem.pooling, view.effects
    raised = replace(pooling, offset=pooling.offset + 1.0)
    there = repooled(view, replace(view.problem, pooling=raised))
    moved, species = departure_of(there) - departure, pooling.species_precision
    own = TABLE_SPREAD**-2 - float(species @ (there.effects.species - effects.species))
    across = np.bincount(form, (along.border_score * moved).sum(axis=0), slope.size)
    off = float(species @ effects.species)
    return slope + across * off / own, curvature - np.outer(across, across) / own


def _positive(curvature: FloatArray) -> FloatArray:
    """Return a curvature (F, F) without the directions that rounding made negative."""
    values, axes = np.linalg.eigh(curvature)
    positive: FloatArray = (axes * np.maximum(values, 0.0)) @ axes.T
    return positive
