"""How often a tank must be visited, and to what height each area is cut for that.

This is the chance of a *rhythm*: of a visit that finds each area where an interval has brought it
from the same cut, as it grows just now. From where areas stand on a given day, the chance of that
visit follows instead (``service.visit.standing``).

All tanks of a block are worked out at once: arrays over areas are sorted by tank, and a question
that a tank asks of its areas (do all of them hold?) is a reduction over its run of areas.
"""

from __future__ import annotations

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.growth.quick import Singles, column, quick_quantiles
from growthcast.nouns import dataclass
from growthcast.service.living import LivingAreas, all_hold, living_part, share_of_draws

FOLLOWED_DRAWS = 256
"""Of each area's draws, how many are followed into minutes."""
MOST_BUDGETS, CLOSE_CM = 12, 0.01
"""How often a budget is sought anew at most, and how near two of them are the same."""
LEAST_GROWTH = np.float32(1e-6)
"""Stages; what gains less in an interval gets nowhere."""


@dataclass(frozen=True, slots=True)
class IntervalOptions:
    """One interval for every tank (R,) of a block, and what it asks of every area (A,).

    ``cut_cm`` keeps to ``LivingAreas.least_cut_cm``; ``cut_needed_cm`` is the cut that would hold
    the wanted chance whatever the look (``cut_cm`` where that does), NaN where not even the lowest
    safe cut does.
    ``share_of_days_presentable`` counts the days on which no area of a tank looks bare
    (``bare_below``) or stands above its budget; ``share_of_days_bare`` those on which some area
    looks bare.
    ``chance_at_least_cut`` is the chance when every area is taken down to its least cut.
    ``end_cm`` (A, F) are the heights to which the cuts have grown by the next visit in each of the
    first draws, ``found_cm`` (A, 3) their p10, p50 and p90 over all draws, ``rest_d`` (A, F)
    the days without growth after the cut.
    """

    interval_d: int
    feasible: BoolArray
    chance_all_within: FloatArray
    chance_at_least_cut: FloatArray
    share_of_days_presentable: FloatArray
    share_of_days_bare: FloatArray
    cut_cm: FloatArray
    removed_share: FloatArray
    removed_cm: FloatArray
    chance_within: FloatArray
    found_cm: FloatArray
    cut_needed_cm: FloatArray
    days_below_floor: FloatArray
    end_cm: Singles
    rest_d: Singles

    def falls_short(self, living: LivingAreas) -> BoolArray:
        """Tell which areas (A,) do not hold the wanted chance from a cut that looks right."""
        needed = self.cut_needed_cm
        return np.isnan(needed) | (needed < living.least_cut_cm)


def interval_options(
    living: LivingAreas, interval_d: int, confidence: FloatArray, cut_cm: FloatArray | None = None
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
    cut_cm : array (A,), optional
        Cuts to judge instead of those that the interval asks for [cm, or % cover].

    Returns
    -------
    IntervalOptions
        Every area's cut is the highest that holds the wanted chance for the whole tank, all areas
        of a tank being taken down to the same quantile of their own growth.

    Notes
    -----
    For each draw there is a highest cut ``c(d)`` from which an area stays within its budget; cut to
    ``c`` it holds in the draws with ``c(d) >= c``. Taking every area's cut at the same rank among
    its own ``c(d)`` leaves one number a tank to find: the rank at which the share of draws that
    hold in all its areas at once is the wanted chance. Growth begins after the pause that the cut
    of a regular visit brings, longer in draws that grow faster and so are cut harder: the fit has
    counted such pauses out of the rates, too.
    """
    growth, rest_d = living.growth_after_cut(interval_d)
    highest = living.highest_cut(growth)
    ranked = np.sort(highest, axis=1)
    least = living.least_cut_cm
    rank = highest_rank(living, ranked, highest, least, confidence)
    reach = np.minimum(living.budget_cm, living.usual_ceiling_cm)
    cut = np.minimum(np.maximum(at_rank(ranked, rank[living.run]), least), reach)
    cut = cut if cut_cm is None else np.minimum(cut_cm, reach)
    holds, at_least = highest >= column(cut), highest >= column(least)
    chance_all = all_hold(living, holds)
    left = living.stage_after_cut(cut)
    presentable, bare = _days_that_look_right(living, interval_d, growth, left, rest_d)
    end = living.height_at(left + growth)
    first_ends = end[:, :FOLLOWED_DRAWS].copy()
    found_cm = quick_quantiles(end, (0.1, 0.5, 0.9))
    usual_end = found_cm[:, 1]
    removed_cm = np.maximum(usual_end - cut, 0.0)
    feasible = chance_all >= confidence
    needed, short = cut.copy(), ~feasible[living.run]
    if short.any():
        part = living_part(living, short)
        needed[short] = needed_cuts(part, ranked[short], highest[short], confidence[~feasible])
    return IntervalOptions(
        interval_d=interval_d,
        feasible=feasible,
        chance_all_within=chance_all,
        chance_at_least_cut=all_hold(living, at_least),
        share_of_days_presentable=presentable,
        share_of_days_bare=bare,
        cut_cm=cut,
        removed_share=removed_cm / np.maximum(usual_end, 1e-9),
        removed_cm=removed_cm,
        chance_within=share_of_draws(holds),
        found_cm=found_cm,
        cut_needed_cm=np.where(needed < living.safe_cut_cm, np.nan, needed),
        days_below_floor=_days_below_floor(living, interval_d, growth, needed, rest_d),
        end_cm=first_ends,
        rest_d=rest_d[:, :FOLLOWED_DRAWS].copy(),
    )


def lasts_from(living: LivingAreas, cut_cm: FloatArray, interval_d: float) -> BoolArray:
    """Tell whether areas stay inside from one regular visit to the next.

    Parameters
    ----------
    living : LivingAreas
        The areas.
    cut_cm : array (A,)
        Height that each is cut to [cm, or % cover].
    interval_d : float
        Days between visits [d].

    Returns
    -------
    bool array (A, D)
        For each draw what ``interval_options`` counts for its own cuts.
    """
    growth, _ = living.growth_after_cut(interval_d)
    return living.highest_cut(growth) >= column(cut_cm)


def _days_between(
    interval_d: float, growth: Singles, start: Singles, goal: Singles, rest_d: Singles
) -> Singles:
    """Days each draw takes from one stage to another, at most the interval, (A, D).

    ``rest_d`` (A, D) are the days without growth that the interval begins with.
    """
    way = goal - start
    some = way > 0.0
    way /= np.maximum(growth, LEAST_GROWTH)
    np.minimum(way, 1.0, out=way)
    way *= np.float32(interval_d) - rest_d
    way += rest_d
    way *= some
    return way


def _days_that_look_right(
    living: LivingAreas, interval_d: int, growth: Singles, left: Singles, rest_d: Singles
) -> tuple[FloatArray, FloatArray]:
    """Share (R,) of days on which no area of a tank looks bare or stands above its budget.

    Beside it the share (R,) on which some area looks bare. ``left`` (A, D) are the stages after
    the cut.
    """
    over = _days_between(interval_d, growth, left, living.budget_stage, rest_d)
    bare = _days_between(interval_d, growth, left, living.bare_stage, rest_d)
    some_bare = living.by_tank(np.maximum, bare)
    days = living.by_tank(np.minimum, over) - some_bare
    share: FloatArray = np.maximum(days, 0.0).mean(axis=1, dtype=np.float64) / interval_d
    bare_share: FloatArray = some_bare.mean(axis=1, dtype=np.float64) / interval_d
    return share, bare_share


def _days_below_floor(
    living: LivingAreas, interval_d: int, growth: Singles, needed_cm: FloatArray, rest_d: Singles
) -> FloatArray:
    """Days (A,) that an area looks bare after the cut it needs, 0 where that looks right."""
    days, rows = np.zeros(needed_cm.size), np.flatnonzero(needed_cm < living.least_cut_cm)
    if rows.size:
        cut = np.maximum(needed_cm[rows], living.safe_cut_cm[rows])
        start = living.stage_after_cut(cut, rows)
        bare = living.bare_stage[rows]
        taken = _days_between(interval_d, growth[rows], start, bare, rest_d[rows])
        days[rows] = quick_quantiles(taken, (0.5,))[:, 0]
    return days


def needed_budgets(
    living: LivingAreas, interval_d: int, confidence: FloatArray, short: BoolArray
) -> FloatArray:
    """Find the budgets that would make an interval feasible from the least cuts.

    Parameters
    ----------
    living : LivingAreas
        The areas of a block of tanks.
    interval_d : int
        Days between visits [d].
    confidence : array (R,)
        Wanted chance of each tank [0-1].
    short : bool array (A,)
        Areas whose budgets may go up.

    Returns
    -------
    array (A,)
        Budgets, none lower than now [cm, or % cover]; found like the cuts, on heights counted
        downwards. Under a higher budget visits cut less hard, so that an area rests less and grows
        further: a budget is sought at which the growth under it ends.
    """
    least, budget, ahead = living.least_cut_cm, living.budget_cm, living.unrested(interval_d)
    left = living.stage_after_cut(least)
    lowest = np.where(short, -np.inf, np.inf)  # no other area's budget makes it hold
    for _ in range(MOST_BUDGETS):
        growth, _ = living.rested(ahead, budget)
        at_least = living.highest_cut(growth) >= column(least)
        growth += left
        depth = living.height_at(growth)
        np.negative(depth, out=depth)
        ranked = np.sort(depth, axis=1)
        rank = highest_rank(living, ranked, depth, lowest, confidence, at_least)
        needed = np.maximum(-at_rank(ranked, rank[living.run]), living.budget_cm)
        before, budget = budget, np.where(short, needed, living.budget_cm)
        if (budget <= before + CLOSE_CM).all():
            break
    return budget


def needed_cuts(
    living: LivingAreas, ranked: Singles, highest: Singles, confidence: FloatArray
) -> FloatArray:
    """Find the cuts that hold a tank's wanted chance, whatever the look.

    Parameters
    ----------
    living : LivingAreas
        The areas of a block of tanks.
    ranked : array (A, D)
        Cuts to choose from, sorted [cm, or % cover].
    highest : array (A, D)
        Highest cut that holds in each draw [cm, or % cover].
    confidence : array (R,)
        Wanted chance of each tank [0-1].

    Returns
    -------
    array (A,)
        Cuts no higher than the least ones that look right [cm, or % cover]. An area that holds from
        its least cut is cut no lower than that.
    """
    least = living.least_cut_cm
    at_least = highest >= column(least)
    rank = highest_rank(living, ranked, highest, np.zeros_like(least), confidence, at_least)
    return np.minimum(at_rank(ranked, rank[living.run]), least)


def at_rank(ranked: Singles, rank: IntArray) -> FloatArray:
    """Take the value of each row at its rank.

    Parameters
    ----------
    ranked : array (A, D)
        Rows sorted upwards, in any unit [-].
    rank : int array (A,)
        Rank in each row.

    Returns
    -------
    array (A,)
        Values in that unit [-], the lowest where the rank is negative.
    """
    return ranked[np.arange(rank.size), np.maximum(rank, 0)].astype(np.float64)


def highest_rank(
    living: LivingAreas,
    ranked: Singles,
    highest: Singles,
    least: FloatArray,
    confidence: FloatArray,
    anyhow: BoolArray | None = None,
) -> IntArray:
    """Find the highest common rank of a tank's cuts that holds the wanted chance.

    Parameters
    ----------
    living : LivingAreas
        The areas of a block of tanks.
    ranked : array (A, D)
        Cuts to choose from, sorted [cm, or % cover].
    highest : array (A, D)
        Highest cut that holds in each draw [cm, or % cover].
    least : array (A,)
        Cuts below which none is made [cm, or % cover].
    confidence : array (R,)
        Wanted chance of each tank [0-1].
    anyhow : bool array (A, D), optional
        Draws that hold whatever the cut.

    Returns
    -------
    int array (R,)
        Ranks from 0; -1 where none holds it.
    """
    draws = ranked.shape[1]
    low, high = np.full(living.first.size, -1), np.full(living.first.size, draws - 1)
    # At this rank one area alone uses up all that may fail: the answer mostly lies just below.
    middle = np.minimum(((1.0 - confidence) * draws).astype(np.int64) + 1, high)
    while (low < high).any():
        cut = np.maximum(at_rank(ranked, middle[living.run]), least)
        holds = highest >= column(cut)
        holds = holds if anyhow is None else np.logical_or(holds, anyhow, out=holds)
        enough = all_hold(living, holds) >= confidence
        low, high = np.where(enough, middle, low), np.where(enough, high, middle - 1)
        middle = (low + high + 1) // 2
    return low
