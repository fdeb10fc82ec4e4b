"""Heights at a date, from the posterior of a fit.

Given an area's rate and ceiling its stage at a later day is normal: the last stage, plus the growth
since, plus what the model does not know of that span. Rate and ceiling are integrated over on a
fixed even set of points, so the same book gives the same answer and no draw is needed.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.finite import finite_answer
from growthcast.fit.model.noise import span_drift
from growthcast.fit.model.posterior import AreaPosterior
from growthcast.fit.result import GrowthFit
from growthcast.growth.logistic import height_and_slope, height_at_stage, shape_factor, stage
from growthcast.growth.normal import normal_quantile
from growthcast.growth.quick import (
    BELOW_CEILING,
    Singles,
    column,
    quick_height,
    quick_normal_below,
    quick_quantiles,
    quick_stage,
)
from growthcast.nouns import dataclass

LEVELS = (0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95)
NODES = 256
NOISE_PARTS = 4
"""Equally likely parts of what is left open at a node."""
GOLDEN_TURN, ROOT_OF_TWO = 0.5 * (5.0**0.5 - 1.0), 2.0**0.5
AREAS_AT_ONCE = 256
HEADROOM = 1.02
"""A ceiling lies at least this far above a height that stands there."""
STEEPEST = 1e30
"""Height over its slope [-] at which nothing is held any more; single precision ends beyond."""
HELD_SHARE = 1e-12
"""A ceiling of which the pace leaves a smaller share of its variance goes with the pace alone."""
SURE = np.float32(1e-9)
"""A sure stage is below or not: so small a deviation says so too."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """Stages of ``A`` areas on ``T`` days at ``Q`` nodes of rate and ceiling.

    ``mean``, ``sd`` and ``ceiling_cm`` are (A, T, Q), ``shape`` is (A, 1, 1).
    """

    mean: Singles
    sd: Singles
    ceiling_cm: Singles
    shape: Singles

    def chance_below(self, height_cm: FloatArray) -> FloatArray:
        """Chance (A, T) that an area stands at or below ``height_cm`` (A, T) [cm]."""
        goal = quick_stage(height_cm[..., None].astype(np.float32), self.ceiling_cm, self.shape)
        goal -= self.mean
        goal /= np.maximum(self.sd, SURE)
        below: FloatArray = quick_normal_below(goal).mean(axis=2, dtype=np.float64)
        return below

    def quantiles_cm(self, levels: Sequence[float] | FloatArray) -> FloatArray:
        """Heights (A, T, L) [cm] below which an area stands with the chances ``levels``."""
        return quick_quantiles(self.heights_cm(), levels)

    def heights_cm(self) -> Singles:
        """Heights (A, T, S) [cm], each as likely as the others."""
        stages = self.sd[..., None] * _noise()
        stages += self.mean[..., None]
        heights = quick_height(stages, self.ceiling_cm[..., None], self.shape[..., None])
        return heights.reshape(*self.mean.shape[:2], -1)


@cache
def _nodes() -> Singles:
    """Ones, and pairs of standard normals that cover the plane evenly, (3, Q).

    The points lie on a spiral, as seeds in a sunflower (Vogel 1979, from memory): each holds the
    same share of the normal, and unlike a grid's no line across it meets many of them at once,
    which would render a steep distribution as a staircase.
    """
    place = np.arange(NODES)
    far = np.sqrt(-2.0 * np.log1p(-(place + 0.5) / NODES))
    turn = 2.0 * np.pi * GOLDEN_TURN * place
    points = np.stack([np.ones(NODES), far * np.cos(turn), far * np.sin(turn)])
    return points.astype(np.float32)


@cache
def _noise() -> Singles:
    """Standard normals (Q, E): what is left open at each node, in equal parts."""
    at = ROOT_OF_TWO * np.arange(NODES)
    part = (np.arange(NOISE_PARTS) + 0.5) / NOISE_PARTS
    return normal_quantile((at[:, None] + part) % 1.0).astype(np.float32)


def outlook(
    fit: GrowthFit, areas: IntArray, days: FloatArray, posterior: AreaPosterior | None = None
) -> Outlook:
    """Return the stages of areas on some days when nothing more is cut.

    What is normal is the log of the mean rate over the time since the last stage (an area's own log
    rate and the drift of its tank by then), the log ceiling, and the last stage. The first two are
    taken at nodes; the stage is normal given them.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    areas : int array (A,)
        Places of the areas in the book.
    days : array (T,) or (A, T)
        Day numbers (days since 1970-01-01) [d]; before an area's last stage they stand for it.
    posterior : AreaPosterior, optional
        That of the areas, if at hand.

    Returns
    -------
    Outlook
        Of the areas on the days.
    """
    posterior = posterior or fit.posterior(areas)
    problem = fit.design.problem
    began = posterior.last_day[:, None]
    ended = np.maximum(np.broadcast_to(days, (areas.size, days.shape[-1])), began)
    clock, spans = fit.design.clock, (areas[:, None], began, ended, posterior.last_pause_d[:, None])
    growth_d, doubt = clock.growth_between(*spans)
    size = ended.shape
    drift = span_drift(np.broadcast_to(began, size).ravel(), ended.ravel(), fit.design.on_day)
    relative = problem.errors.span_variance(ended - began, drift.remainder.reshape(size))
    relative = (relative + doubt**2) * fit.widening**2
    awake, taken_by_lag = posterior.awake(ended - began)
    growth_d = growth_d * awake
    along, variance = posterior.pace_ceiling_stage(
        drift.weight.reshape(drift.weight.shape[0], *size),
        (taken_by_lag, clock.slowed_by_settling(*spans)),
    )

    # By node: x moves the pace, x and y the ceiling, both of them the stage.
    root = _root(variance)
    shape = problem.shape[areas]
    grown = _at_nodes(along, root[..., 0, :])
    np.exp(grown, out=grown)
    grown *= column(shape_factor(shape)[:, None] * growth_d)
    mean = _at_nodes(np.broadcast_to(posterior.last_stage[:, None], size), root[..., 2, :])
    log_ceiling = np.broadcast_to(posterior.mean.log_ceiling[:, None], size)
    ceiling = np.exp(_at_nodes(log_ceiling, root[..., 1, :]))
    free = np.where(variance[..., 1, 1] > 0.0, variance[..., 1, 1], np.inf)
    bent, ceiling = held_height(posterior, shape, ceiling, variance[..., 1, 2] / free)
    mean += bent
    mean += grown
    np.square(grown, out=grown)
    grown *= column(relative)
    grown += column(root[..., 2, 2] ** 2)
    return Outlook(
        mean=mean, sd=np.sqrt(grown, out=grown), ceiling_cm=ceiling, shape=column(shape[:, None])
    )


def held_height(
    posterior: AreaPosterior, shape: FloatArray, ceiling_cm: Singles, follows: FloatArray
) -> tuple[Singles, Singles]:
    """What keeps a last height that was read in its place, whatever the ceiling.

    A last stage follows the log ceiling along a straight line. Under ceilings far from the
    likeliest that line leaves the height that was read, always downwards: the curve of the stages
    of one height is added in its place, by the share to which the stage follows as that of a held
    height would. A ceiling lies above a height that stands there.

    Parameters
    ----------
    posterior : AreaPosterior
        Of the areas (A,).
    shape : array (A,)
        Bends of their curves [-].
    ceiling_cm : float32 array (A, ..., Q)
        Their ceilings at nodes or draws [cm].
    follows : array (A, ...)
        Slope of each last stage over its log ceiling, everything else moving along [-].

    Returns
    -------
    tuple of float32 arrays (A, ..., Q)
        What to add to the stages, and the ceilings.
    """
    centre = np.exp(posterior.mean.log_ceiling)
    height, slope = height_and_slope(posterior.last_stage, centre, shape)
    spare = (..., *([None] * (follows.ndim - 1)))
    held = np.clip(-follows * (slope / height)[spare], 0.0, 1.0)
    lifted = np.maximum(ceiling_cm, column(held * HEADROOM * height[spare]))
    steep = np.minimum(height / slope, STEEPEST)
    line = np.log(ceiling_cm / column(centre[spare])) * column(steep[spare])
    curve = quick_stage(
        column(height[spare]),
        np.maximum(lifted, column(HEADROOM * height[spare])),
        column(shape[spare]),
    )
    return column(held) * (curve - column(posterior.last_stage[spare]) + line), lifted


def _at_nodes(middle: FloatArray, root: FloatArray) -> Singles:
    """Values (A, T, Q) at the nodes: a middle (A, T), beside it a row (A, T, 3) of the root."""
    factors = np.concatenate([middle[..., None], root[..., :2]], axis=-1).astype(np.float32)
    return factors @ _nodes()


def _root(variance: FloatArray) -> FloatArray:
    """Lower Cholesky roots (..., 3, 3) of covariances.

    What has no variance beside what comes before it, as a ceiling that is held, moves nothing after
    it.
    """
    root, left = np.zeros_like(variance), variance.copy()
    for k in range(3):
        own = left[..., k, k]
        free = own > HELD_SHARE * variance[..., k, k]
        root[..., k] = left[..., k] / np.sqrt(np.where(free, own, np.inf))[..., None]
        left -= root[..., :, None, k] * root[..., None, :, k]
    return np.tril(root)


@finite_answer
def growth_a_week(fit: GrowthFit, areas: IntArray) -> FloatArray:
    """Growth of areas a week, as every command tells it.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    areas : int array (A,)
        Places of the areas in the book.

    Returns
    -------
    array (A, 3)
        What an area gains in the week in the middle of which it stands midway between floor and
        budget, at its rate on the day of the fit (conditions and drift in, the luck of a week, cuts
        and the rests after them out) and its likeliest ceiling: the 10, 50 and 90 % quantiles [cm
        a week, or points of cover a week].
    """
    design, posterior = fit.design, fit.posterior(areas)
    shape = design.problem.shape[areas][:, None]
    ceiling = np.exp(posterior.mean.log_ceiling)[:, None]
    middle = 0.5 * (design.traits.floor_cm + design.traits.budget_cm)[areas][:, None]
    at = stage(np.minimum(middle, ceiling * BELOW_CEILING), ceiling, shape)
    half = 3.5 * shape_factor(shape) * fit.rate_range(areas, posterior)
    later, before = (height_at_stage(at + way * half, ceiling, shape) for way in (1.0, -1.0))
    return later - before


@dataclass(frozen=True, slots=True)
class HeightForecast:
    """Forecast heights of ``A`` areas on ``T`` days.

    ``height_cm`` (A, T, L) at the chances ``LEVELS``; ``chance_over_budget`` (A, T).
    """

    height_cm: FloatArray
    chance_over_budget: FloatArray


def forecast_heights(
    fit: GrowthFit, areas: IntArray, days: FloatArray, posterior: AreaPosterior | None = None
) -> HeightForecast:
    """Forecast the canopy heights of areas when nothing more is cut.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    areas : int array (A,)
        Places of the areas in the book.
    days : float array (T,)
        Day numbers (days since 1970-01-01) [d], on or after the day of the fit.
    posterior : AreaPosterior, optional
        That of the areas, if at hand.

    Returns
    -------
    HeightForecast
        Quantiles of height [cm, or % cover] and the chance of standing above the budget [0-1].
    """
    posterior = posterior or fit.posterior(areas)
    heights = np.empty((areas.size, days.size, len(LEVELS)))
    over = np.empty((areas.size, days.size))
    for some in in_chunks(areas.size, AREAS_AT_ONCE):
        view = outlook(fit, areas[some], days, posterior.part(some))
        heights[some] = view.quantiles_cm(LEVELS)
        over[some] = chance_over(fit, areas[some], view)
    return HeightForecast(heights, over)


def in_chunks(count: int, at_once: int) -> list[slice]:
    """Return slices of areas that fit in memory with all their nodes.

    Parameters
    ----------
    count : int
        Number of areas.
    at_once : int
        How many fit at once.

    Returns
    -------
    list of slice
        That cover all areas in turn.
    """
    return [slice(start, start + at_once) for start in range(0, count, at_once)]


def chance_over(fit: GrowthFit, areas: IntArray, view: Outlook) -> FloatArray:
    """Return the chance of standing above the height budget.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    areas : int array (A,)
        Places of the areas in the book.
    view : Outlook
        How they stand on some days (T,).

    Returns
    -------
    array (A, T)
        Chance [0-1].
    """
    budget = np.broadcast_to(fit.design.traits.budget_cm[areas][:, None], view.mean.shape[:2])
    return 1.0 - view.chance_below(budget)
