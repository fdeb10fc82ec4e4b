"""How often a tank must be visited, and to what height each area is cut for that.

This is the chance of a *rhythm*: of a visit that finds each area where an interval has brought it
from the same cut, as it grows just now. From where areas stand on a given day, the chance of that
visit follows instead (``service.visit.standing``).

All tanks of a block are worked out at once: arrays over areas are sorted by tank, and a question
that a tank asks of its areas (do all of them hold?) is a reduction over its run of areas.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np

from growthcast.arrays import BoolArray, FloatArray
from growthcast.growth.quick import Singles, column, quick_quantiles
from growthcast.nouns import dataclass
from growthcast.service.living import FOLLOWED_DRAWS, LivingAreas, living_part

MOST_BUDGETS, CLOSE_CM = 12, 0.01
"""How often a budget is sought anew at most, and how near two of them are the same."""
LEAST_GROWTH = np.float32(1e-6)
"""Stages; what gains less in an interval gets nowhere."""


@dataclass(frozen=True)
class IntervalOptions:
    """One interval for every tank (R,) of a block, and what it asks of every area (A,).

    What is asked is worked out when it is read. ``growth`` and ``rest_d`` (A, D) are the stages
    gained from one regular visit to the next and the days of rest; ``given_cm`` (A,) are cuts to
    judge instead of those that the interval asks for [cm, or % cover].
    """

    living: LivingAreas
    interval_d: int
    confidence: FloatArray
    growth: Singles
    rest_d: Singles
    given_cm: FloatArray | None

    def part(self, tanks: BoolArray) -> IntervalOptions:
        """Return the same for some of the tanks (R,)."""
        if tanks.all():
            return self
        keep = tanks[self.living.run]
        living, given = living_part(self.living, keep), self.given_cm
        made = replace(
            self,
            living=living,
            confidence=self.confidence[tanks],
            growth=self.growth[keep],
            rest_d=self.rest_d[keep],
            given_cm=None if given is None else given[keep],
        )
        known = {"_highest", "_ranked", "cut_cm", "_needed_cm"} & vars(self).keys()
        vars(made).update((name, vars(self)[name][keep]) for name in known)
        return made

    @cached_property
    def _highest(self) -> Singles:
        """Highest cut from which each draw holds, (A, D)."""
        return self.living.highest_cut(self.growth)

    @cached_property
    def _ranked(self) -> Singles:
        return np.sort(self._highest, axis=1)

    @cached_property
    def _reach_cm(self) -> FloatArray:
        return np.minimum(self.living.budget_cm, self.living.usual_ceiling_cm)

    def _share_within(self, cut_cm: FloatArray) -> FloatArray:
        return self.living.all_hold(self._highest >= column(cut_cm))

    @cached_property
    def feasible(self) -> BoolArray:
        """Whether the wanted chance is held, (R,).

        It is where the least cuts hold it: if any common rank does, so do they.
        """
        if self.given_cm is not None:
            return self.chance_all_within >= self.confidence
        lowest = np.minimum(self.living.least_cut_cm, self._reach_cm)
        return self._share_within(lowest) >= self.confidence

    @cached_property
    def cut_cm(self) -> FloatArray:
        """Cuts (A,), no lower than ``LivingAreas.least_cut_cm`` [cm, or % cover]."""
        least = self.living.least_cut_cm
        if self.given_cm is not None:
            return np.minimum(self.given_cm, self._reach_cm)
        found = common_cuts(self.living, self._ranked, self._highest, least, self.confidence)
        return np.minimum(np.maximum(found, least), self._reach_cm)

    @cached_property
    def chance_all_within(self) -> FloatArray:
        """Chance (R,) that all areas of a tank stay within their budgets [0-1]."""
        return self._share_within(self.cut_cm)

    @cached_property
    def chance_at_least_cut(self) -> FloatArray:
        """That chance (R,) when every area is taken down to its least cut [0-1]."""
        return self._share_within(self.living.least_cut_cm)

    @cached_property
    def chance_within(self) -> FloatArray:
        """Chance (A,) that an area stays within its budget [0-1]."""
        share: FloatArray = (self._highest >= column(self.cut_cm)).mean(axis=1)
        return share

    @cached_property
    def _needed_cm(self) -> FloatArray:
        """Cuts (A,) that would hold the wanted chance whatever the look [cm, or % cover]."""
        needed, short = self.cut_cm.copy(), ~self.feasible[self.living.run]
        if short.any():
            part, ranked = living_part(self.living, short), self._ranked[short]
            wanted = self.confidence[~self.feasible]
            needed[short] = needed_cuts(part, ranked, self._highest[short], wanted)
        return needed

    @cached_property
    def cut_needed_cm(self) -> FloatArray:
        """Those cuts, NaN where not even the lowest safe cut does, (A,)."""
        return np.where(self._needed_cm < self.living.safe_cut_cm, np.nan, self._needed_cm)

    @cached_property
    def falls_short(self) -> BoolArray:
        """Whether an area does not hold the wanted chance from a cut that looks right, (A,)."""
        needed = self.cut_needed_cm
        return np.isnan(needed) | (needed < self.living.least_cut_cm)

    @cached_property
    def _left(self) -> Singles:
        """Stages after the cut, (A, D)."""
        return self.living.stage_after_cut(self.cut_cm)

    @cached_property
    def _ends(self) -> tuple[Singles, FloatArray]:
        end = self.living.height_at(self._left + self.growth)
        return end[:, :FOLLOWED_DRAWS].copy(), quick_quantiles(end, (0.1, 0.5, 0.9))

    @property
    def end_cm(self) -> Singles:
        """Heights (A, F) that the cuts have grown to by the next visit in the first draws [cm]."""
        return self._ends[0]

    @property
    def found_cm(self) -> FloatArray:
        """Their p10, p50 and p90 (A, 3) over all draws [cm, or % cover]."""
        return self._ends[1]

    @property
    def removed_share(self) -> FloatArray:
        """What usually comes off as a share of the usual height (A,) [0-1]."""
        usual = self.found_cm[:, 1]
        share: FloatArray = np.maximum(usual - self.cut_cm, 0.0) / np.maximum(usual, 1e-9)
        return share

    def _days_to(self, goal: Singles) -> Singles:
        return _days_between(self.interval_d, self.growth, self._left, goal, self.rest_d)

    @cached_property
    def _bare_d(self) -> Singles:
        """Days (R, D) on which some area looks bare."""
        return self.living.by_tank(np.maximum, self._days_to(self.living.bare_stage))

    @cached_property
    def share_of_days_bare(self) -> FloatArray:
        """Days (R,) on which some area looks bare."""
        share: FloatArray = self._bare_d.mean(axis=1, dtype=np.float64) / self.interval_d
        return share

    @cached_property
    def share_of_days_presentable(self) -> FloatArray:
        """Days (R,) on which no area looks bare (``bare_below``) or stands above its budget."""
        over = self.living.by_tank(np.minimum, self._days_to(self.living.budget_stage))
        days = np.maximum(over - self._bare_d, 0.0)
        share: FloatArray = days.mean(axis=1, dtype=np.float64) / self.interval_d
        return share

    @property
    def days_below_floor(self) -> FloatArray:
        """Days (A,) that an area looks bare after the cut it needs, 0 where that looks right."""
        living, needed = self.living, self._needed_cm
        days, rows = np.zeros(needed.size), np.flatnonzero(needed < living.least_cut_cm)
        if rows.size:
            start = living.stage_after_cut(np.maximum(needed, living.safe_cut_cm)[rows], rows)
            of_rows = (self.growth[rows], start, living.bare_stage[rows], self.rest_d[rows])
            taken = _days_between(self.interval_d, *of_rows)
            days[rows] = quick_quantiles(taken, (0.5,))[:, 0]
        return days


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
    return IntervalOptions(living, interval_d, confidence, growth, rest_d, cut_cm)


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
        depth[at_least] = np.inf  # it holds whatever the budget
        needed = np.where(short, -common_cuts(living, ranked, depth, lowest, confidence), -np.inf)
        before, budget = budget, np.maximum(needed, living.budget_cm)
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
    enough = np.where(highest >= column(least), np.inf, highest)  # these hold from the least cut
    found = common_cuts(living, ranked, enough, np.zeros_like(least), confidence)
    return np.minimum(found, least)


def common_cuts(
    living: LivingAreas,
    ranked: Singles,
    highest: Singles,
    least: FloatArray,
    confidence: FloatArray,
) -> FloatArray:
    """Find the cuts at the highest common rank of a tank's areas that holds the wanted chance.

    Parameters
    ----------
    living : LivingAreas
        The areas of a block of tanks.
    ranked : array (A, D)
        Cuts to choose from, sorted [cm, or % cover].
    highest : array (A, D)
        Highest cut that holds in each draw [cm, or % cover], inf where any does.
    least : array (A,)
        Cuts below which none is made [cm, or % cover].
    confidence : array (R,)
        Wanted chance of each tank [0-1].

    Returns
    -------
    array (A,)
        Cuts of that rank, the lowest to choose from where none holds it [cm, or % cover].
    """
    areas = np.arange(living.run.size)
    low = np.full(living.tank.size, -1)
    high = np.full(living.tank.size, ranked.shape[1] - 1)
    while (low < high).any():
        middle = (low + high + 1) // 2
        cut = np.maximum(ranked[areas, np.maximum(middle, 0)[living.run]], least)
        enough = living.all_hold(highest >= column(cut)) >= confidence
        low, high = np.where(enough, middle, low), np.where(enough, high, middle - 1)
    found: FloatArray = ranked[areas, np.maximum(low, 0)[living.run]].astype(np.float64)
    return found
