"""Living areas of a block of tanks: their bounds, and draws of how they grow.

Arrays over areas are sorted by tank, so that a question that a tank asks of its areas (do all of
them hold?) is a reduction over its run of areas.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.result import GrowthFit
from growthcast.fit.rows.clock import LONGEST_PAUSE_SHARE, pause_after_cut
from growthcast.fit.rows.drift import span_drift
from growthcast.fit.solver.linearise import ErrorModel
from growthcast.growth.logistic import height_at_stage, shape_factor, stage
from growthcast.service.draws import GrowthDraws, draw_growth, span_normals

__all__ = ["HAND_SPREAD", "LivingAreas", "all_hold", "days_between", "living_areas", "living_part"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

ALL = slice(None)
REST_HALVINGS = 10
FAST_QUANTILE = 0.95
HAND_SPREAD = 0.05
"""Scatter of a cut around the height aimed at, as a share of it (common practice, no source)."""


@dataclass(frozen=True)
class LivingAreas:
    """Living areas of a block of tanks: their bounds (A,) and the draws of their growth (A, D).

    ``area`` are their places in the book, sorted by tank; ``run`` (A,) is each area's tank among
    the ``R`` tanks that have a living area, ``first`` (R,) the place of each tank's first area and
    ``tank`` (R,) its place in the book. ``safe_cut_cm`` is the lowest cut an area survives and
    ``pause_d`` the days without growth after a cut to the base.
    """

    area: IntArray
    run: IntArray
    first: IntArray
    tank: IntArray
    budget_cm: FloatArray
    floor_cm: FloatArray
    safe_cut_cm: FloatArray
    pause_d: FloatArray
    shape: FloatArray
    draws: GrowthDraws
    errors: ErrorModel
    on_day: float

    @property
    def size(self) -> int:
        """How many draws there are."""
        return int(self.draws.log_rate.shape[1])

    @cached_property
    def usual_ceiling_cm(self) -> FloatArray:
        """Median ceiling of each area, (A,)."""
        median: FloatArray = np.median(self.draws.ceiling_cm, axis=1)
        return median

    @property
    def least_cut_cm(self) -> FloatArray:
        """Lowest cut that looks right and is survived, (A,)."""
        return np.maximum(self.floor_cm, self.safe_cut_cm)

    def growth(self, interval_d: float, after_d: float = 0.0) -> FloatArray:
        """Stages gained over an interval that begins ``after_d`` days after the fit, (A, D)."""
        draws = self.draws
        start = self.on_day + after_d
        began, ended = np.array([start]), np.array([start + interval_d])
        ahead = span_drift(began, ended, self.on_day)
        drift = np.einsum("m,rmd->rd", ahead.weight[:, 0], draws.knots)
        drift += self.errors.drift * np.sqrt(ahead.remainder[0]) * draws.drift
        pace = shape_factor(self.shape)[:, None] * np.exp(draws.log_rate + drift[self.run])
        own = draws.week if after_d == 0.0 else span_normals(self.area, int(after_d), self.size)
        week = self.errors.span * np.sqrt(7.0 / max(interval_d, 1.0)) * own
        gained: FloatArray = pace * interval_d * np.maximum(1.0 + week, 0.0)
        return gained

    def growth_after_cut(
        self, interval_d: float, after_d: float = 0.0
    ) -> tuple[FloatArray, FloatArray]:
        """Stages gained from one regular visit to the next, (A, D), and the days of rest, (A,).

        How long a single rest truly is stays out: what regular visits bring is in the rates.
        """
        growth = self.growth(interval_d, after_d)
        rest_d = self._rest(interval_d, growth)
        return growth * (1.0 - rest_d / interval_d)[:, None], rest_d

    def _rest(self, interval_d: float, growth: FloatArray) -> FloatArray:
        """Days without growth (A,) after the cut that brings an area back at every visit.

        How hard that cut is depends on how far the area has come up, and so on the rest itself:
        the rest is where the two agree (it falls as the cut rises), for growth at its median and a
        cut that holds in 19 draws of 20.
        """
        median, fast = np.quantile(growth, [0.5, FAST_QUANTILE], axis=1)
        ceiling, shape = self.usual_ceiling_cm, self.shape
        goal = stage(np.minimum(self.budget_cm, ceiling * (1.0 - 1e-9)), ceiling, shape)
        low, high = (
            np.zeros_like(median),
            np.minimum(self.pause_d, LONGEST_PAUSE_SHARE * interval_d),
        )
        for _ in range(REST_HALVINGS):
            tried = 0.5 * (low + high)
            awake = 1.0 - tried / interval_d
            cut = np.maximum(
                height_at_stage(goal - fast * awake, ceiling, shape), self.least_cut_cm
            )
            inside = np.minimum(cut, ceiling * (1.0 - 1e-9))
            end = height_at_stage(stage(inside, ceiling, shape) + median * awake, ceiling, shape)
            follows = pause_after_cut(1.0 - cut / end, self.pause_d)
            low, high = (
                np.where(follows > tried, tried, low),
                np.where(follows > tried, high, tried),
            )
        rest_d: FloatArray = low
        return rest_d

    def highest_cut(self, growth: FloatArray) -> FloatArray:
        """Highest aim of a cut from which each draw stays within the budget, (A, D)."""
        ceiling, shape = self.draws.ceiling_cm, self.shape[:, None]
        budget = self.budget_cm[:, None]
        goal = stage(budget, ceiling, shape)
        outgrown = np.isfinite(goal)  # else the ceiling lies below the budget: any cut holds
        reached = height_at_stage(np.where(outgrown, goal - growth, 0.0), ceiling, shape)
        highest = reached * np.exp(-HAND_SPREAD * self.draws.hand)
        return np.where(outgrown, np.minimum(highest, budget), budget)

    def stage_after_cut(self, cut_cm: FloatArray, rows: IntArray | slice = ALL) -> FloatArray:
        """Stage in each draw after a cut aimed at ``cut_cm``, one for each area of ``rows``."""
        left = cut_cm[:, None] * np.exp(HAND_SPREAD * self.draws.hand[rows])
        ceiling = self.draws.ceiling_cm[rows]
        inside = np.minimum(left, ceiling * (1.0 - 1e-9))  # nothing stands above its ceiling
        return stage(inside, ceiling, self.shape[rows, None])

    def end_height(self, growth: FloatArray, cut_cm: FloatArray) -> FloatArray:
        """Height [cm] in each draw once a cut to ``cut_cm`` (A,) has grown, (A, D)."""
        grown = self.stage_after_cut(cut_cm) + growth
        return height_at_stage(grown, self.draws.ceiling_cm, self.shape[:, None])

    def stage_of(self, height_cm: FloatArray, rows: IntArray | slice = ALL) -> FloatArray:
        """Stage in each draw at a height, one for each area of ``rows``; inf above a ceiling."""
        return stage(height_cm[:, None], self.draws.ceiling_cm[rows], self.shape[rows, None])


def days_between(
    interval_d: float,
    growth: FloatArray,
    start: FloatArray,
    goal: FloatArray,
    rest_d: FloatArray,
) -> FloatArray:
    """Days each draw takes from one stage to another, at most the interval, (A, D).

    ``rest_d`` (A,) are the days without growth that the interval begins with.
    """
    way, rest = goal - start, rest_d[:, None]
    share = np.divide(way, growth, out=np.full(growth.shape, np.inf), where=growth > 0.0)
    days = rest + (interval_d - rest) * np.minimum(share, 1.0)
    taken: FloatArray = np.where(way <= 0.0, 0.0, days)
    return taken


def living_areas(fit: GrowthFit, tanks: IntArray) -> LivingAreas:
    """Draw the growth of the living areas of ``tanks`` (places in the book)."""
    design = fit.design
    chosen = np.flatnonzero(design.alive & np.isin(design.tank, tanks))
    area = chosen[np.argsort(design.tank[chosen], kind="stable")]
    tank, first, run = np.unique(design.tank[area], return_index=True, return_inverse=True)
    return LivingAreas(
        area=area,
        run=run,
        first=first,
        tank=tank,
        budget_cm=design.traits.budget_cm[area],
        floor_cm=design.traits.floor_cm[area],
        safe_cut_cm=design.traits.lowest_cut_cm[area],
        pause_d=design.traits.pause_d[area],
        shape=design.problem.shape[area],
        draws=draw_growth(fit, area, tank),
        errors=design.problem.errors,
        on_day=design.on_day,
    )


def living_part(living: LivingAreas, keep: BoolArray) -> LivingAreas:
    """Return some areas of a block (a mask (A,)), with the tanks that are left."""
    tanks, first, run = np.unique(living.run[keep], return_index=True, return_inverse=True)
    draws = living.draws
    return replace(
        living,
        area=living.area[keep],
        run=run,
        first=first,
        tank=living.tank[tanks],
        budget_cm=living.budget_cm[keep],
        floor_cm=living.floor_cm[keep],
        safe_cut_cm=living.safe_cut_cm[keep],
        pause_d=living.pause_d[keep],
        shape=living.shape[keep],
        draws=replace(
            draws,
            log_rate=draws.log_rate[keep],
            ceiling_cm=draws.ceiling_cm[keep],
            knots=draws.knots[tanks],
            week=draws.week[keep],
            hand=draws.hand[keep],
            drift=draws.drift[tanks],
        ),
    )


def all_hold(living: LivingAreas, holds: BoolArray) -> FloatArray:
    """Share of draws (R,) in which all areas of a tank hold."""
    words = holds.view(np.uint64)  # eight draws at once; their number is a power of two
    together = np.bitwise_and.reduceat(words, living.first, axis=0).view(np.bool_)
    share: FloatArray = together.mean(axis=1)
    return share
