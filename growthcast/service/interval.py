"""How often a tank must be visited, and to what height each area is cut for that.

All tanks of a block are worked out at once: arrays over areas are sorted by tank, and a question
that a tank asks of its areas (do all of them hold?) is a reduction over its run of areas.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growthcast.service.living import HAND_SPREAD, LivingAreas, all_hold, days_between

__all__ = ["IntervalOptions", "at_rank", "highest_rank", "interval_options", "needed_cuts"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


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
    in all its areas at once is the wanted chance. Growth begins after the pause that the cut of a
    regular visit brings: the fit has counted such pauses out of the rates, too.
    """
    growth, rest_d = living.growth_after_cut(interval_d)
    highest = living.highest_cut(growth)
    ranked = np.sort(highest, axis=1)
    least = living.least_cut_cm
    rank = highest_rank(living, ranked, highest, least, confidence)
    reach = np.minimum(living.budget_cm, living.usual_ceiling_cm)
    cut = np.minimum(np.maximum(at_rank(ranked, rank[living.run]), least), reach)
    holds = highest >= cut[:, None]
    chance_all = all_hold(living, holds)
    end = living.end_height(growth, cut)
    usual_end, late_end = np.quantile(end, (0.5, 0.9), axis=1)
    removed_cm = np.maximum(usual_end - cut, 0.0)
    presentable_d = _presentable_days(living, interval_d, growth, cut, rest_d)

    at_least = highest >= least[:, None]
    feasible = chance_all >= confidence
    needed = np.where(feasible[living.run], cut, needed_cuts(living, ranked, highest, confidence))
    short = needed < least
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
        cm_over_budget_p90=np.maximum(late_end - living.budget_cm, 0.0),
        cut_needed_cm=np.where(needed < living.safe_cut_cm, np.nan, needed),
        days_below_floor=_days_below_floor(
            living, interval_d, growth, np.where(short, needed, np.nan), rest_d
        ),
        needed_budget_cm=np.maximum(
            -at_rank(depth_ranked, depth_rank[living.run]), living.budget_cm
        ),
    )


def _presentable_days(
    living: LivingAreas,
    interval_d: int,
    growth: FloatArray,
    cut_cm: FloatArray,
    rest_d: FloatArray,
) -> FloatArray:
    """Days (R, D) on which every area of a tank stands between its floor and its budget."""
    left = living.stage_after_cut(cut_cm)
    floor = living.stage_of(living.floor_cm * np.exp(-HAND_SPREAD))
    over = days_between(interval_d, growth, left, living.stage_of(living.budget_cm), rest_d)
    bare = days_between(interval_d, growth, left, floor, rest_d)
    first_over = np.minimum.reduceat(over, living.first, axis=0)
    last_bare = np.maximum.reduceat(bare, living.first, axis=0)
    days: FloatArray = np.maximum(first_over - last_bare, 0.0)
    return days


def _days_below_floor(
    living: LivingAreas,
    interval_d: int,
    growth: FloatArray,
    sunk_cm: FloatArray,
    rest_d: FloatArray,
) -> FloatArray:
    """Days (A,) that an area looks bare after a cut below its floor, 0 where that is NaN."""
    days, rows = np.zeros(sunk_cm.size), np.flatnonzero(np.isfinite(sunk_cm))
    if rows.size:
        cut = np.maximum(sunk_cm[rows], living.safe_cut_cm[rows])
        start = living.stage_after_cut(cut, rows)
        floor = living.stage_of(living.floor_cm[rows], rows)
        days[rows] = np.median(
            days_between(interval_d, growth[rows], start, floor, rest_d[rows]), axis=1
        )
    return days


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
