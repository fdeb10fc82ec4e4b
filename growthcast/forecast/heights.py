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

from growthcast.fit.result import GrowthFit
from growthcast.growth.logistic import shape_factor, stage

__all__ = ["LEVELS", "HeightForecast", "Outlook", "crossing_days", "forecast_heights", "outlook"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEVELS = (0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95)
CROSSING_LEVELS = (0.10, 0.50, 0.90)
NODES = 512
PLASTIC_NUMBER = 1.32471795724474602596
"""Root of x^3 = x + 1: its powers make the most even additive sequence in two dimensions
(Roberts 2018, from memory)."""
BISECTIONS = 24
"""Halvings of the ceiling that leave a quantile exact to a millionth of it."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """Stages of ``A`` areas on ``T`` days at ``Q`` nodes of rate and ceiling.

    ``mean`` and ``sd`` are (A, T, Q), ``ceiling_cm`` (A, 1, Q), ``shape`` (A, 1, 1).
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
        top = self.ceiling_cm.max(axis=(1, 2), keepdims=True)[..., 0]
        low = np.zeros(self.mean.shape[:2])
        high = np.broadcast_to(top, low.shape).copy()
        for _ in range(BISECTIONS):
            middle = 0.5 * (low + high)
            short = self.chance_below(middle) < level
            low, high = np.where(short, middle, low), np.where(short, high, middle)
        found: FloatArray = 0.5 * (low + high)
        return found


def _even_normals() -> FloatArray:
    """Pairs of standard normals (2, 1, Q) that cover the plane evenly.

    Points of a grid would render a steep distribution as a staircase; here no two points share a
    coordinate.
    """
    place = np.arange(1, NODES + 1)
    steps = np.array([[1.0 / PLASTIC_NUMBER], [1.0 / PLASTIC_NUMBER**2]])
    normals: FloatArray = ndtri((0.5 + steps * place) % 1.0)[:, None, :]
    return normals


def outlook(fit: GrowthFit, areas: IntArray, days: FloatArray) -> Outlook:
    """Stages of ``areas`` (A,) on ``days`` (T,) [day numbers] without any further cut."""
    design, posterior = fit.design, fit.areas
    x, y = _even_normals()

    def column(values: FloatArray) -> FloatArray:
        chosen: FloatArray = values[areas][:, None]
        return chosen

    rate_off = column(posterior.log_rate_sd) * x
    ceiling_off = column(posterior.ceiling_follows) * rate_off
    ceiling_off = ceiling_off + column(posterior.log_ceiling_sd_given_rate) * y
    rate = np.exp(column(posterior.log_rate) + rate_off)
    rate *= column(shape_factor(design.problem.shape))
    last = column(posterior.last_stage) + column(posterior.stage_follows[0]) * rate_off
    last = last + column(posterior.stage_follows[1]) * ceiling_off

    growth_d, span_d = growth_since_last(fit, areas, days)
    grown = growth_d[:, :, None] * rate[:, None, :]
    relative = design.problem.errors.span_variance(span_d)[:, :, None]
    unsure = column(posterior.last_stage_sd)[:, :, None] ** 2
    return Outlook(
        mean=last[:, None, :] + grown,
        sd=np.sqrt(unsure + relative * grown**2),
        ceiling_cm=np.exp(column(posterior.log_ceiling) + ceiling_off)[:, None, :],
        shape=column(design.problem.shape)[:, :, None],
    )


def growth_since_last(
    fit: GrowthFit, areas: IntArray, days: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Reference days and calendar days, both (A, T), from each area's last node to ``days``."""
    design = fit.design
    last = design.problem.chains.last[areas]
    nodes = design.problem.chains.nodes
    began, pause = nodes.day[last][:, None], nodes.pause_d[last][:, None]
    span_d = np.maximum(days[None, :] - began, 0.0)
    growth_d = design.clock.growth_between(areas[:, None], began, began + span_d, pause)
    return growth_d, span_d


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
    view = outlook(fit, areas, days)
    budget = np.broadcast_to(fit.design.traits.budget_cm[areas][:, None], view.mean.shape[:2])
    return HeightForecast(
        areas=areas,
        days=days,
        height_cm=np.stack([view.quantile_cm(level) for level in LEVELS], axis=-1),
        chance_over_budget=1.0 - view.chance_below(budget),
    )


def crossing_days(fit: GrowthFit, areas: IntArray, from_day: float, horizon_d: int) -> FloatArray:
    """Day numbers (A, 3) at which the chance of being over budget reaches 10, 50 and 90 %.

    NaN where that chance is not reached within ``horizon_d`` days of ``from_day``.
    """
    days = from_day + np.arange(horizon_d + 1, dtype=np.float64)
    view = outlook(fit, areas, days)
    budget = np.broadcast_to(fit.design.traits.budget_cm[areas][:, None], view.mean.shape[:2])
    chance = np.maximum.accumulate(1.0 - view.chance_below(budget), axis=1)
    reached = np.stack([(chance >= level) for level in CROSSING_LEVELS], axis=1)
    first = days[np.argmax(reached, axis=2)]
    return np.where(reached.any(axis=2), first, np.nan)
