"""How often a tank must be visited, and to what height each area is cut for that.

All tanks of a block are worked out at once: arrays over areas are sorted by tank, and a question
that a tank asks of its areas (do all of them hold?) is a reduction over its run of areas.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.result import GrowthFit
from growthcast.fit.solver.drift import span_drift
from growthcast.fit.solver.linearise import ErrorModel
from growthcast.growth.logistic import height_at_stage, shape_factor, stage
from growthcast.service.draws import GrowthDraws, draw_growth, span_normals

__all__ = [
    "HAND_SPREAD",
    "IntervalOptions",
    "LivingAreas",
    "all_hold",
    "at_rank",
    "highest_rank",
    "interval_options",
    "living_areas",
    "living_part",
    "needed_cuts",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

HAND_SPREAD = 0.05
"""Scatter of a cut around the height aimed at, as a share of it (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class LivingAreas:
    """Living areas of a block of tanks: their bounds (A,) and the draws of their growth (A, D).

    ``area`` are their places in the book, sorted by tank; ``run`` (A,) is each area's tank among
    the ``R`` tanks that have a living area, ``first`` (R,) the place of each tank's first area and
    ``tank`` (R,) its place in the book. ``safe_cut_cm`` is the lowest cut an area survives.
    """

    area: IntArray
    run: IntArray
    first: IntArray
    tank: IntArray
    budget_cm: FloatArray
    floor_cm: FloatArray
    safe_cut_cm: FloatArray
    shape: FloatArray
    draws: GrowthDraws
    errors: ErrorModel
    on_day: float

    @property
    def size(self) -> int:
        """How many draws there are."""
        return int(self.draws.log_rate.shape[1])

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

    def highest_cut(self, growth: FloatArray) -> FloatArray:
        """Highest aim of a cut from which each draw stays within the budget, (A, D)."""
        ceiling, shape = self.draws.ceiling_cm, self.shape[:, None]
        budget = self.budget_cm[:, None]
        goal = stage(budget, ceiling, shape)
        outgrown = np.isfinite(goal)  # else the ceiling lies below the budget: any cut holds
        reached = height_at_stage(np.where(outgrown, goal - growth, 0.0), ceiling, shape)
        highest = reached * np.exp(-HAND_SPREAD * self.draws.hand)
        return np.where(outgrown, np.minimum(highest, budget), budget)

    def end_height(self, growth: FloatArray, cut_cm: FloatArray) -> FloatArray:
        """Height after the interval when cut to ``cut_cm`` (A,), in each draw, (A, D)."""
        left = cut_cm[:, None] * np.exp(HAND_SPREAD * self.draws.hand)
        ceiling, shape = self.draws.ceiling_cm, self.shape[:, None]
        inside = np.minimum(left, ceiling * (1.0 - 1e-9))  # nothing stands above its ceiling
        return height_at_stage(stage(inside, ceiling, shape) + growth, ceiling, shape)

    def days_to(
        self, interval_d: float, growth: FloatArray, from_cm: FloatArray, to_cm: FloatArray
    ) -> FloatArray:
        """Days each draw takes from one height (A,) to another, at most the interval, (A, D)."""
        ceiling, shape = self.draws.ceiling_cm, self.shape[:, None]
        left = np.minimum(from_cm[:, None] * np.exp(HAND_SPREAD * self.draws.hand), ceiling)
        way = stage(to_cm[:, None], ceiling, shape) - stage(
            np.minimum(left, ceiling * (1.0 - 1e-9)), ceiling, shape
        )
        share = np.divide(way, growth, out=np.full(growth.shape, np.inf), where=growth > 0.0)
        return interval_d * np.clip(np.where(way <= 0.0, 0.0, share), 0.0, 1.0)


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


@dataclass(frozen=True, slots=True)
class IntervalOptions:
    """One interval for every tank (R,) of a block, and what it asks of every area (A,).

    ``cut_cm`` keeps to ``LivingAreas.least_cut_cm``; ``cut_needed_cm`` is the cut that would hold
    the wanted chance whatever the look (``cut_cm`` where that does), NaN where not even the lowest
    safe cut does.
    ``share_of_days_presentable`` counts the days on which every area of a tank stands between its
    floor and its budget, what lies within the scatter of a cut below the floor still counting as
    at it. ``needed_budget_cm`` is the budget that would make the interval feasible
    from the least cut;
    ``chance_at_least_cut`` the chance when every area is taken down to its least cut.
    """

    interval_d: int
    feasible: BoolArray
    chance_all_within: FloatArray
    chance_at_least_cut: FloatArray
    share_of_days_presentable: FloatArray
    cut_cm: FloatArray
    removed_share: FloatArray
    removed_cm: FloatArray
    chance_within: FloatArray
    cm_over_budget_p90: FloatArray
    cut_needed_cm: FloatArray
    days_below_floor: FloatArray
    needed_budget_cm: FloatArray


def interval_options(
    living: LivingAreas, interval_d: int, confidence: FloatArray
) -> IntervalOptions:
    """Work out what one interval asks of each tank and what it gives.

    Parameters
    ----------
    living : LivingAreas
        The areas of a block of tanks.
    interval_d : int
        Days between visits [d].
    confidence : array (R,)
        Wanted chance of each tank that all its areas stay within their budgets until the next
        visit [0-1].

    Returns
    -------
    IntervalOptions
        Every area's cut is the highest that holds the wanted chance for the whole tank, all areas
        of a tank being taken down to the same quantile of their own growth.

    Notes
    -----
    For each draw there is a highest cut ``c_d`` from which an area stays within its budget; cut to
    ``c`` it holds in the draws with ``c_d >= c``. Taking every area's cut at the same rank among
    its own ``c_d`` leaves one number a tank to find: the rank at which the share of draws that hold
    in all its areas at once is the wanted chance. The pause after a hard cut is not counted on.
    """
    growth = living.growth(interval_d)
    highest = living.highest_cut(growth)
    ranked = np.sort(highest, axis=1)
    least = living.least_cut_cm
    rank = highest_rank(living, ranked, highest, least, confidence)
    reach = np.minimum(living.budget_cm, np.median(living.draws.ceiling_cm, axis=1))
    cut = np.minimum(np.maximum(at_rank(ranked, rank[living.run]), least), reach)
    holds = highest >= cut[:, None]
    chance_all = all_hold(living, holds)
    end = living.end_height(growth, cut)
    usual_end = np.median(end, axis=1)
    removed_cm = np.maximum(usual_end - cut, 0.0)
    over = living.days_to(interval_d, growth, cut, living.budget_cm)
    bare = living.days_to(interval_d, growth, cut, living.floor_cm * np.exp(-HAND_SPREAD))
    first_over = np.minimum.reduceat(over, living.first, axis=0)
    last_bare = np.maximum.reduceat(bare, living.first, axis=0)
    presentable_d = np.maximum(first_over - last_bare, 0.0)

    at_least = highest >= least[:, None]
    feasible = chance_all >= confidence
    needed = np.where(feasible[living.run], cut, needed_cuts(living, ranked, highest, confidence))
    short = needed < least
    sunk = np.where(short, np.maximum(needed, living.safe_cut_cm), living.budget_cm)
    below = np.median(living.days_to(interval_d, growth, sunk, living.floor_cm), axis=1)
    # The budgets that would do are found like the cuts, on heights counted downwards.
    depth = -living.end_height(growth, least)
    depth_ranked = np.sort(depth, axis=1)
    held, anything = np.where(at_least, np.inf, depth), np.full_like(least, -np.inf)
    depth_rank = highest_rank(living, depth_ranked, held, anything, confidence)
    return IntervalOptions(
        interval_d=interval_d,
        feasible=feasible,
        chance_all_within=chance_all,
        chance_at_least_cut=all_hold(living, at_least),
        share_of_days_presentable=presentable_d.mean(axis=1) / interval_d,
        cut_cm=cut,
        removed_share=removed_cm / np.maximum(usual_end, 1e-9),
        removed_cm=removed_cm,
        chance_within=holds.mean(axis=1),
        cm_over_budget_p90=np.maximum(np.quantile(end, 0.9, axis=1) - living.budget_cm, 0.0),
        cut_needed_cm=np.where(needed < living.safe_cut_cm, np.nan, needed),
        days_below_floor=np.where(short, below, 0.0),
        needed_budget_cm=np.maximum(
            -at_rank(depth_ranked, depth_rank[living.run]), living.budget_cm
        ),
    )


def needed_cuts(
    living: LivingAreas, ranked: FloatArray, highest: FloatArray, confidence: FloatArray
) -> FloatArray:
    """Cuts (A,) no higher than the least ones that hold a tank's wanted chance, whatever the look.

    ``ranked`` are the sorted cuts to choose from, ``highest`` (A, D) those that hold. An area that
    holds from its least cut is cut no lower than that.
    """
    least = living.least_cut_cm
    held = np.where(highest >= least[:, None], np.inf, highest)
    rank = highest_rank(living, ranked, held, np.zeros_like(least), confidence)
    needed: FloatArray = np.minimum(at_rank(ranked, rank[living.run]), least)
    return needed


def at_rank(ranked: FloatArray, rank: IntArray) -> FloatArray:
    """Value of each row (A,) at its rank, the lowest where the rank is negative."""
    value: FloatArray = np.take_along_axis(ranked, np.maximum(rank, 0)[:, None], axis=1)[:, 0]
    return value


def all_hold(living: LivingAreas, holds: BoolArray) -> FloatArray:
    """Share of draws (R,) in which all areas of a tank hold."""
    share: FloatArray = np.logical_and.reduceat(holds, living.first, axis=0).mean(axis=1)
    return share


def highest_rank(
    living: LivingAreas,
    ranked: FloatArray,
    highest: FloatArray,
    least: FloatArray,
    confidence: FloatArray,
) -> IntArray:
    """Highest common rank (R,) of a tank's cuts that holds the wanted chance, -1 if none does."""
    low = np.full(living.first.size, -1)
    high = np.full(living.first.size, ranked.shape[1] - 1)
    while (low < high).any():
        middle = (low + high + 1) // 2
        cut = np.maximum(at_rank(ranked, middle[living.run]), least)
        enough = all_hold(living, highest >= cut[:, None]) >= confidence
        low, high = np.where(enough, middle, low), np.where(enough, high, middle - 1)
    return low
