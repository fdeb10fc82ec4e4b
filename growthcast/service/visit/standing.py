"""How areas stand on a day, drawn together with how they grow, and carried from visit to visit.

Heights are held as stages (A, D): growth adds to a stage, a cut lowers it. Draw ``d`` of a stage
goes with draw ``d`` of the rates and ceilings, so an area that stands high because it grows fast
also grows on fast.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.result import AreaPosterior, GrowthFit
from growthcast.fit.rows.drift import span_drift
from growthcast.fit.solver.linearise import CEILING, KNOTS, RATE
from growthcast.growth.logistic import height_at_stage, shape_factor, stage
from growthcast.growth.quick import BELOW_CEILING
from growthcast.service.draws import span_normals
from growthcast.service.living import HAND_SPREAD, LivingAreas, all_hold, living_areas, living_part

__all__ = ["Standing", "days_that_hold", "only_areas", "standing_areas"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

ROUNDING = 1e-5
"""Stages that single precision may be off by: at a budget is within it."""
OF_STAGE, OF_SPAN = -2, -3
"""Numbers of the normals for what is not known of a last reading, and of the time since."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Living areas of a block of tanks and draws of their stage (A, D) on the day of the fit."""

    living: LivingAreas
    now: FloatArray

    def heights(self, stages: FloatArray) -> FloatArray:
        """Heights (A, D) [cm, or % cover] of stages (A, D)."""
        living = self.living
        return height_at_stage(stages, living.draws.ceiling_cm, living.shape[:, None])

    def stages(self, height_cm: FloatArray) -> FloatArray:
        """Stages (A, D) of heights (A, D) or (A, 1) [cm], held below each draw's ceiling."""
        living = self.living
        inside = np.minimum(height_cm, living.draws.ceiling_cm * BELOW_CEILING)
        return stage(inside, living.draws.ceiling_cm, living.shape[:, None])

    def goals(self, height_cm: FloatArray) -> FloatArray:
        """Stages (A, D) at which heights (A,) are passed; ``inf`` where a ceiling lies below."""
        living = self.living
        return stage(height_cm[:, None], living.draws.ceiling_cm, living.shape[:, None])

    def cut(self, stages: FloatArray, cut_cm: FloatArray) -> FloatArray:
        """Stages after whatever stands above ``cut_cm`` (A,) was cut, by a hand that scatters.

        ``nan`` leaves an area uncut.
        """
        aim = np.where(np.isnan(cut_cm), np.inf, cut_cm)
        left = aim[:, None] * np.exp(HAND_SPREAD * self.living.draws.hand)
        return np.minimum(stages, self.stages(left))

    def within(self, ended: FloatArray) -> NDArray[np.bool_]:
        """Whether stages (A, D) lie at or below the areas' budgets."""
        return ended <= self.goals(self.living.budget_cm) + ROUNDING

    def days_until(
        self, began: FloatArray, growth: FloatArray, span_d: float, height_cm: FloatArray
    ) -> FloatArray:
        """Days (A, D) until heights (A,) are passed, ``inf`` where not within the span."""
        way = self.goals(height_cm) - began
        share = np.divide(way, growth, out=np.full(growth.shape, np.inf), where=growth > 0.0)
        days: FloatArray = np.where(way <= 0.0, 0.0, np.where(share <= 1.0, span_d * share, np.inf))
        return days


def standing_areas(fit: GrowthFit, tanks: IntArray) -> Standing:
    """Draw how the living areas of ``tanks`` (places in the book) stand on the day of the fit.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tanks : int array
        Places of the tanks in the book; those without a living area drop out.

    Returns
    -------
    Standing
        Draws of growth as in ``living_areas``, and of every area's stage on the day of the fit:
        its last stage given the drawn rate, ceiling and drift (all jointly normal), grown since.
    """
    living = living_areas(fit, tanks)
    if not living.area.size:
        return Standing(living, np.zeros((0, living.size)))
    posterior = fit.posterior(living.area)
    speed = np.log(fit.design.clock.speed(fit.design.on_day)[living.area])
    rate = living.draws.log_rate.astype(np.float64) - speed[:, None]
    last = _last_stages(living, posterior, rate)
    return Standing(living, last + _grown_since(fit, living, posterior, rate))


def only_areas(standing: Standing, keep: NDArray[np.bool_]) -> Standing:
    """Return some areas (A,) of a block, with the tanks that are left."""
    return Standing(living_part(standing.living, keep), standing.now[keep])


def days_that_hold(
    standing: Standing, began: FloatArray, after_d: float, longest_d: int, confidence: float
) -> int:
    """Most whole days [d] for which all areas of one tank stay within their budgets.

    ``began`` (A, D) are the stages ``after_d`` days after the fit; the chance of all areas at once
    is at least ``confidence``. 0 where not even one day holds, at most ``longest_d``.
    """
    low, high = 0, longest_d
    while low < high:
        middle = (low + high + 1) // 2
        ended = began + standing.living.growth(float(middle), after_d)
        holds = all_hold(standing.living, standing.within(ended))[0] >= confidence
        low, high = (middle, high) if holds else (low, middle - 1)
    return low


def _last_stages(living: LivingAreas, posterior: AreaPosterior, rate: FloatArray) -> FloatArray:
    """Last stages (A, D) given the drawn log rate at reference conditions, ceiling and drift."""
    drawn = [RATE, CEILING, *range(KNOTS, posterior.border.shape[0])]
    covariance, follows = posterior.covariance, posterior.stage_follows
    with_stage = np.einsum("nbc,cn->nb", covariance, follows)
    total = np.einsum("nb,bn->n", with_stage, follows) + posterior.last_stage_variance
    known = covariance[:, drawn][:, :, drawn] + 1e-12 * np.eye(len(drawn))
    weight = np.linalg.solve(known, with_stage[:, drawn, None])[..., 0]
    left = np.maximum(total - (weight * with_stage[:, drawn]).sum(axis=1), 0.0)
    off = np.concatenate(
        [
            (rate - posterior.border[RATE][:, None])[:, None],
            (np.log(living.draws.ceiling_cm) - posterior.border[CEILING][:, None])[:, None],
            living.draws.knots[living.run] - posterior.border[KNOTS:].T[:, :, None],
        ],
        axis=1,
    )
    own = np.sqrt(left)[:, None] * span_normals(living.area, OF_STAGE, living.size)
    stages: FloatArray = posterior.last_stage[:, None] + np.einsum("nb,nbd->nd", weight, off) + own
    return stages


def _grown_since(
    fit: GrowthFit, living: LivingAreas, posterior: AreaPosterior, rate: FloatArray
) -> FloatArray:
    """Stages gained (A, D) between each area's last stage and the day of the fit."""
    clock, on_day = fit.design.clock, fit.design.on_day
    began, ended = posterior.last_day, np.maximum(on_day, posterior.last_day)
    grown_d, doubt = clock.growth_between(living.area, began, ended, posterior.last_pause_d)
    drift = span_drift(began, ended, on_day)
    along = np.einsum("mn,nmd->nd", drift.weight, living.draws.knots[living.run])
    relative = np.sqrt(living.errors.span_variance(ended - began, drift.remainder) + doubt**2)
    noise = relative[:, None] * span_normals(living.area, OF_SPAN, living.size)
    pace = shape_factor(living.shape)[:, None] * np.exp(rate + along)
    gained: FloatArray = pace * grown_d[:, None] * np.maximum(1.0 + noise, 0.0)
    return gained
