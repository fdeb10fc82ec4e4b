"""Heights at a date and the date a budget is passed, from the posterior of a fit.

Given an area's rate and ceiling its stage at a later day is normal: the last stage, plus the growth
since, plus what the model does not know of that span. Rate and ceiling are integrated over on a
fixed even sequence of points, so the same book gives the same answer and no draw is needed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from growthcast.fit.result import AreaPosterior, GrowthFit
from growthcast.fit.rows.drift import span_drift
from growthcast.fit.solver.linearise import CEILING, KNOTS, RATE
from growthcast.growth.logistic import height_and_slope, shape_factor, stage

__all__ = [
    "LEVELS",
    "HeightForecast",
    "Outlook",
    "crossing_days",
    "forecast_heights",
    "outlook",
    "rate_on_day",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEVELS = (0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95)
CROSSING_LEVELS = (0.10, 0.50, 0.90)
NODES = 512
NOISE_PARTS = 4
"""Equally likely parts of what is left open at a node."""
PLASTIC_NUMBER, GOLDEN_RATIO = 1.32471795724474602596, 0.5 * (1.0 + 5.0**0.5)
"""The powers of the root of x^3 = x + 1 make the most even additive sequence in two dimensions, the
golden ratio in one (Roberts 2018, from memory)."""
AREAS_AT_ONCE = 64


@dataclass(frozen=True, slots=True)
class Outlook:
    """Stages of ``A`` areas on ``T`` days at ``Q`` nodes of rate and ceiling.

    ``mean``, ``sd`` and ``ceiling_cm`` are (A, T, Q), ``shape`` is (A, 1, 1).
    """

    mean: FloatArray
    sd: FloatArray
    ceiling_cm: FloatArray
    shape: FloatArray

    def chance_below(self, height_cm: FloatArray) -> FloatArray:
        """Chance (A, T) that an area stands at or below ``height_cm`` (A, T) [cm]."""
        goal = stage(height_cm[..., None], self.ceiling_cm, self.shape)
        apart = goal - self.mean  # a sure stage is below or not: a tiny sd says so too
        below: FloatArray = ndtr(apart / np.maximum(self.sd, 1e-12)).mean(axis=2)
        return below

    def quantile_cm(self, level: float) -> FloatArray:
        """Height (A, T) [cm] below which an area stands with chance ``level``."""
        found: FloatArray = self.quantiles_cm((level,))[..., 0]
        return found

    def quantiles_cm(self, levels: tuple[float, ...]) -> FloatArray:
        """Heights (A, T, L) [cm] below which an area stands with the chances ``levels``."""
        spread = self.sd[..., None] * _even_noise()
        stages = (self.mean[..., None] + spread).reshape(-1)
        ceiling = np.broadcast_to(self.ceiling_cm[..., None], spread.shape).reshape(-1)
        shape = np.broadcast_to(self.shape[..., None], spread.shape).reshape(-1)
        heights, _ = height_and_slope(stages, ceiling, shape)
        by_area = heights.reshape(*self.mean.shape[:2], -1)
        return _quantiles_of_many(by_area, levels)


def _quantiles_of_many(values: FloatArray, levels: tuple[float, ...]) -> FloatArray:
    """Quantiles (..., L) along the last axis; sorting is faster than picking at several levels."""
    ranked = np.sort(values, axis=-1)
    place = np.array(levels) * (ranked.shape[-1] - 1)
    below = np.floor(place).astype(np.int64)
    above = np.minimum(below + 1, ranked.shape[-1] - 1)
    low, high = ranked[..., below], ranked[..., above]
    found: FloatArray = low + (place - below) * (high - low)
    return found


def _even_normals() -> FloatArray:
    """Pairs of standard normals (2, 1, Q) that cover the plane evenly.

    Points of a grid would render a steep distribution as a staircase; here no two points share a
    coordinate.
    """
    return ndtri(_even_points()[:2])[:, None, :]


def _even_noise() -> FloatArray:
    """Standard normals (Q, E): what is left open at each node, in equal parts."""
    part = np.arange(NOISE_PARTS) / NOISE_PARTS
    normals: FloatArray = ndtri((_even_points()[2][:, None] + part) % 1.0)
    return normals


def _even_points() -> FloatArray:
    """Points (3, Q): the first two fill the unit square evenly, the third the unit line."""
    place = np.arange(1, NODES + 1)
    steps = 1.0 / np.array([PLASTIC_NUMBER, PLASTIC_NUMBER**2, GOLDEN_RATIO])
    points: FloatArray = ((0.5 + steps[:, None] * place) % 1.0).astype(np.float64)
    return points


def outlook(fit: GrowthFit, areas: IntArray, days: FloatArray) -> Outlook:
    """Stages of ``areas`` (A,) on ``days`` (T,) or (A, T) [day numbers] without any further cut.

    What is normal is the log of the mean rate over the time since the last stage (its own log rate
    and the drift of its tank by then), the log ceiling, and the last stage. The first two are taken
    at nodes; the stage is normal given them.
    """
    return _outlook(fit, fit.posterior(areas), areas, days)


def _outlook(
    fit: GrowthFit, posterior: AreaPosterior, areas: IntArray, days: FloatArray
) -> Outlook:
    """Stages of areas (A,) whose posterior is at hand."""
    problem = fit.design.problem
    began = posterior.last_day[:, None]
    ended = np.maximum(np.broadcast_to(days, (areas.size, days.shape[-1])), began)
    growth_d, doubt = fit.design.clock.growth_between(
        areas[:, None], began, ended, posterior.last_pause_d[:, None]
    )
    size = ended.shape
    drift = span_drift(np.broadcast_to(began, size).ravel(), ended.ravel(), fit.design.on_day)
    relative = problem.errors.span_variance(ended - began, drift.remainder.reshape(size))
    relative = (relative + doubt**2) * fit.widening**2
    along, variance = _pace_ceiling_stage(
        posterior, drift.weight.reshape(drift.weight.shape[0], *size)
    )

    x, y = _even_normals()
    pace_sd = np.sqrt(variance[..., 0, 0])
    pace_off = pace_sd[..., None] * x
    follows = _over(variance[..., 0, 1], variance[..., 0, 0])
    ceiling_sd = np.sqrt(np.maximum(variance[..., 1, 1] - follows * variance[..., 0, 1], 0.0))
    ceiling_off = follows[..., None] * pace_off + ceiling_sd[..., None] * y
    by_pace, by_ceiling, left = _stage_given(variance)
    shape = problem.shape[areas]
    grown = (
        np.exp(along[..., None] + pace_off) * (shape_factor(shape)[:, None] * growth_d)[..., None]
    )
    stage_mean = posterior.last_stage[:, None, None] + by_pace[..., None] * pace_off
    stage_mean = stage_mean + by_ceiling[..., None] * ceiling_off
    return Outlook(
        mean=stage_mean + grown,
        sd=np.sqrt(left[..., None] + relative[..., None] * grown**2),
        ceiling_cm=np.exp(posterior.border[CEILING][:, None, None] + ceiling_off),
        shape=shape[:, None, None],
    )


def _pace_ceiling_stage(
    posterior: AreaPosterior, weight: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean log pace (A, T), and covariance (A, T, 3, 3) of pace, log ceiling and last stage.

    ``weight`` (M, A, T) regresses the drift over the time ahead on the knots.
    """
    areas, times = weight.shape[1:]
    width = posterior.border.shape[0]
    into = np.zeros((areas, times, 3, width))
    into[:, :, 0, RATE] = 1.0
    into[:, :, 0, KNOTS:] = np.moveaxis(weight, 0, 2)
    into[:, :, 1, CEILING] = 1.0
    into[:, :, 2] = posterior.stage_follows.T[:, None]
    variance = into @ posterior.covariance[:, None] @ into.transpose(0, 1, 3, 2)
    variance[:, :, 2, 2] += posterior.last_stage_variance[:, None]
    drifted = np.einsum("mat,ma->at", weight, posterior.border[KNOTS:])
    return posterior.border[RATE][:, None] + drifted, variance


def _stage_given(variance: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Regression of the last stage on pace and ceiling, and the variance that is left."""
    a, b, d = variance[..., 0, 0], variance[..., 0, 1], variance[..., 1, 1]
    with_pace, with_ceiling = variance[..., 0, 2], variance[..., 1, 2]
    determinant = np.maximum(a * d - b * b, 1e-12 * a * d + 1e-300)
    by_pace = (d * with_pace - b * with_ceiling) / determinant
    by_ceiling = (a * with_ceiling - b * with_pace) / determinant
    left = variance[..., 2, 2] - by_pace * with_pace - by_ceiling * with_ceiling
    return by_pace, by_ceiling, np.maximum(left, 0.0)


def _over(above: FloatArray, below: FloatArray) -> FloatArray:
    return np.divide(above, below, out=np.zeros_like(above), where=below > 0.0)


def rate_on_day(posterior: AreaPosterior) -> tuple[FloatArray, FloatArray]:
    """Log rate of areas (n,) at reference conditions on the day of the fit, and its sd."""
    today = np.zeros(1)
    weight = span_drift(today, today, 0.0).weight[:, 0]
    into = np.concatenate([np.zeros(KNOTS), weight])
    into[RATE] = 1.0
    variance = np.einsum("b,nbc,c->n", into, posterior.covariance, into)
    return into @ posterior.border, np.sqrt(variance)


@dataclass(frozen=True, slots=True)
class HeightForecast:
    """Forecast heights of ``A`` areas on ``T`` days.

    ``height_cm`` (A, T, L) at the chances ``LEVELS``; ``chance_over_budget`` (A, T).
    """

    areas: IntArray
    days: FloatArray
    height_cm: FloatArray
    chance_over_budget: FloatArray


def forecast_heights(fit: GrowthFit, areas: IntArray, days: FloatArray) -> HeightForecast:
    """Forecast the canopy heights of areas when nothing more is cut.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    areas : int array (A,)
        Places of the areas in the book.
    days : float array (T,)
        Day numbers (days since 1970-01-01) [d], on or after the day of the fit.

    Returns
    -------
    HeightForecast
        Quantiles of height [cm, or % cover] and the chance of standing above the budget [0-1].
    """
    heights = np.empty((areas.size, days.size, len(LEVELS)))
    over = np.empty((areas.size, days.size))
    for some in _chunks(areas.size):
        view = outlook(fit, areas[some], days)
        heights[some] = view.quantiles_cm(LEVELS)
        over[some] = _chance_over(fit, areas[some], view)
    return HeightForecast(areas, days, heights, over)


def _chunks(count: int) -> list[slice]:
    """Slices of areas that fit in memory with all their nodes."""
    return [slice(start, start + AREAS_AT_ONCE) for start in range(0, count, AREAS_AT_ONCE)]


def _chance_over(fit: GrowthFit, areas: IntArray, view: Outlook) -> FloatArray:
    """Chance (A, T) of standing above the budget."""
    budget = np.broadcast_to(fit.design.traits.budget_cm[areas][:, None], view.mean.shape[:2])
    over: FloatArray = 1.0 - view.chance_below(budget)
    return over


def crossing_days(fit: GrowthFit, areas: IntArray, from_day: float, horizon_d: int) -> FloatArray:
    """Day numbers (A, 3) at which the chance of being over budget reaches 10, 50 and 90 %.

    NaN where that chance is not reached within ``horizon_d`` days of ``from_day``. The chance only
    grows while nothing is cut, so each day is found by halving the time that is left.
    """
    found = np.full((areas.size, len(CROSSING_LEVELS)), np.nan)
    levels = np.array(CROSSING_LEVELS)
    for some in _chunks(areas.size):
        mine = areas[some]
        posterior = fit.posterior(mine)
        before = np.full((mine.size, levels.size), -1.0)  # the last day on which it falls short
        after = np.full((mine.size, levels.size), float(horizon_d))
        while (after - before > 1.0).any():
            middle = np.maximum(np.floor(0.5 * (before + after)), 0.0)
            view = _outlook(fit, posterior, mine, from_day + middle)
            passed = _chance_over(fit, mine, view) >= levels
            after, before = np.where(passed, middle, after), np.where(passed, before, middle)
        last = _outlook(fit, posterior, mine, np.array([from_day + horizon_d]))
        reached = _chance_over(fit, mine, last) >= levels
        found[some] = np.where(reached, from_day + after, np.nan)
    return found
