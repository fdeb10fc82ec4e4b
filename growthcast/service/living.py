"""Living areas of a block of tanks: their bounds, and draws of how they grow.

Arrays over areas are sorted by tank, so that a question that a tank asks of its areas (do all of
them hold?) is a reduction over its run of areas.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import BoolArray, FloatArray, IntArray, distinct
from growthcast.finite import finite_answer
from growthcast.fit.model.clock import LONGEST_PAUSE_SHARE, days_lost
from growthcast.fit.model.noise import JUDGEMENT_ERROR_SHARE, ErrorModel, span_drift
from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import in_chunks
from growthcast.growth.logistic import shape_factor
from growthcast.growth.quick import (
    BELOW_CEILING,
    Singles,
    column,
    quick_height,
    quick_quantiles,
    quick_stage,
)
from growthcast.nouns import dataclass
from growthcast.service.draws import GrowthDraws, draw_growth, span_normals

AREAS_AT_ONCE = 400
"""Areas whose draws are held in memory together."""
FOLLOWED_DRAWS = 256
"""Of each area's draws, how many are followed into minutes."""
ALL = slice(None)
_OF_AREAS = {"usual_ceiling_cm", "_usual_lag_d", "_pace", "hand_share", "budget_stage"}
_OF_AREAS |= {"_highest_top"}
"""What follows from the draws of areas by themselves: some of them have what all had."""
REST_HALVINGS = 10
IN_CACHE = 64
"""Areas of so many draws that what is worked out of them step by step stays near the processor."""
SHORT_D = np.float32(0.1)
FAST_QUANTILE = 0.95
HAND_SPREAD = 0.05
"""Scatter of a cut around the height aimed at, as a share of it (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Unrested:
    """Stages that areas would gain over an interval if no cut cost them any growth.

    ``usual`` (A, D) in each draw but for what the interval does on its own, ``growth`` (A, D) with
    it; ``median`` and ``fast`` (A, 1) are what half and 19 of 20 draws of ``growth`` stay below.
    """

    interval_d: float
    usual: Singles
    growth: Singles
    median: Singles
    fast: Singles


@dataclass(frozen=True)
class LivingAreas:
    """Living areas of a block of tanks: their bounds (A,) and the draws of their growth (A, D).

    ``area`` are their places in the book, sorted by tank; ``run`` (A,) is each area's tank among
    the ``R`` tanks that have a living area and ``tank`` (R,) the place of each of these in the
    book. ``safe_cut_cm`` is the lowest cut an area survives and ``pause_d`` the days without growth
    after a cut to the base. ``doubt`` is that about supposed conditions, as a share of growth.
    """

    area: IntArray
    run: IntArray
    tank: IntArray
    budget_cm: FloatArray
    floor_cm: FloatArray
    safe_cut_cm: FloatArray
    pause_d: FloatArray
    doubt: FloatArray
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
        return quick_quantiles(self.draws.ceiling_cm.copy(), (0.5,))[:, 0]

    @cached_property
    def _usual_lag_d(self) -> Singles:
        """Median lag of each area (A, 1), beside draws [d]."""
        return column(quick_quantiles(self.draws.lag_d.copy(), (0.5,))[:, 0])

    @property
    def least_cut_cm(self) -> FloatArray:
        """Lowest cut that looks right and is survived, (A,)."""
        return np.maximum(self.floor_cm, self.safe_cut_cm)

    @cached_property
    def _bend(self) -> Singles:
        """Shape of each area (A, 1), beside draws."""
        return column(self.shape)

    @cached_property
    def _pace(self) -> Singles:
        """Stages gained a day in each draw, the tank's drift aside, (A, D)."""
        pace: Singles = np.exp(self.draws.log_rate)
        return np.multiply(pace, column(shape_factor(self.shape)), out=pace)

    @cached_property
    def hand_share(self) -> Singles:
        """What each draw's hand leaves, as a share of the height aimed at, (A, D)."""
        share = np.float32(HAND_SPREAD) * self.draws.hand
        np.exp(share, out=share)
        return share

    @cached_property
    def budget_stage(self) -> Singles:
        """Stage in each draw at the budget, (A, D)."""
        return self.stage_of(self.budget_cm)

    @cached_property
    def bare_stage(self) -> Singles:
        """Stage in each draw below which an area looks bare, (A, D)."""
        return self.stage_of(bare_below(self.floor_cm))

    @cached_property
    def _edges(self) -> list[int]:
        """Where the areas of each tank begin, and where the last end, (R + 1,)."""
        edges: list[int] = np.searchsorted(self.run, np.arange(self.tank.size + 1)).tolist()
        return edges

    @cached_property
    def even(self) -> LivingAreas:
        """The first draws of what stays unknown all year, without what evens out over visits."""
        names = ("log_rate", "ceiling_cm", "knots", "lag_d", "settling", "week", "hand", "drift")
        first = {name: getattr(self.draws, name)[..., :FOLLOWED_DRAWS] for name in names}
        first |= {name: np.zeros_like(first[name]) for name in names[-3:]}
        return replace(self, draws=GrowthDraws(**first))

    def of_tank(self, run: int) -> slice:
        """Return where the areas of a tank are."""
        return slice(self._edges[run], self._edges[run + 1])

    def by_tank(self, reduced: np.ufunc, values: NDArray[Any]) -> NDArray[Any]:
        """Minima, maxima or sums (R, D) over the areas of each tank; faster than ``reduceat``."""
        found = np.empty((self.tank.size, values.shape[1]), values.dtype)
        for run in range(self.tank.size):
            reduced.reduce(values[self.of_tank(run)], axis=0, out=found[run])
        return found

    def all_hold(self, holds: BoolArray) -> FloatArray:
        """Share (R,) of the draws in which all areas of a tank hold, from those of each (A, D)."""
        share: FloatArray = self.by_tank(np.logical_and, holds).mean(axis=1)
        return share

    @cached_property
    def _highest_top(self) -> Singles:
        """Aim that reaches each draw's ceiling, (A, D); inf where the budget lies above it."""
        top = self.draws.ceiling_cm / self.hand_share
        return np.where(np.isfinite(self.budget_stage), top, np.inf)

    def taken(self, places: IntArray, tanks: IntArray, sizes: IntArray) -> LivingAreas:
        """Return areas (n,) by their places here, as many of each tank (R,) as ``sizes`` says."""
        per_area = ("area", "budget_cm", "floor_cm", "safe_cut_cm", "pause_d", "doubt", "shape")
        drawn = ("log_rate", "ceiling_cm", "week", "hand", "lag_d", "settling")
        draws = {name: getattr(self.draws, name)[places] for name in drawn}
        draws |= {name: getattr(self.draws, name)[tanks] for name in ("knots", "drift")}
        areas: dict[str, Any] = {name: getattr(self, name)[places] for name in per_area}
        made = replace(
            self,
            **areas,
            run=np.repeat(np.arange(sizes.size), sizes),
            tank=self.tank[tanks],
            draws=replace(self.draws, **draws),
        )
        known = _OF_AREAS & vars(self).keys()
        vars(made).update((name, vars(self)[name][places]) for name in known)
        return made

    def growth(self, interval_d: float, after_d: float = 0.0) -> Singles:
        """Stages gained over an interval that begins ``after_d`` days after the fit, (A, D)."""
        usual = self._usual_growth(interval_d, after_d)
        return np.multiply(usual, self._luck(interval_d, after_d), out=usual)

    def _usual_growth(self, interval_d: float, after_d: float) -> Singles:
        """Stages gained (A, D) but for what an interval does on its own."""
        draws = self.draws
        start = self.on_day + after_d
        began, ended = np.array([start]), np.array([start + interval_d])
        ahead = span_drift(began, ended, self.on_day)
        along = np.einsum("m,rmd->rd", ahead.weight[:, 0].astype(np.float32), draws.knots)
        along += draws.drift * np.float32(self.errors.drift * np.sqrt(ahead.remainder[0]))
        gained: Singles = (np.float32(interval_d) * np.exp(along))[self.run]
        gained *= self._pace
        return gained

    def _luck(self, interval_d: float, after_d: float) -> Singles:
        """Factors (A, D) of what an interval does on its own."""
        draws = self.draws
        own = draws.week if after_d == 0.0 else span_normals(self.area, int(after_d), self.size)
        span = self.errors.span * np.sqrt(7.0 / max(interval_d, 1.0))
        luck: Singles = own * column(np.hypot(span, self.doubt))
        luck += 1.0
        return np.maximum(luck, 0.0, out=luck)

    def growth_after_cut(self, interval_d: float) -> tuple[Singles, Singles]:
        """Stages gained from one regular visit to the next and the days of rest, both (A, D)."""
        return self.rested(self.unrested(interval_d), self.budget_cm)

    def unrested(self, interval_d: float) -> Unrested:
        """Return what areas would gain from one visit to the next if no cut cost them any growth.

        Whatever the budgets: what is worked out once where several are tried.
        """
        usual = self._usual_growth(interval_d, 0.0)
        growth = self._luck(interval_d, 0.0)
        growth *= usual
        of_area = quick_quantiles(growth.copy(), (0.5, FAST_QUANTILE)).T
        return Unrested(interval_d, usual, growth, *map(column, of_area))

    def rested(self, ahead: Unrested, budget_cm: FloatArray) -> tuple[Singles, Singles]:
        """Stages gained under budgets (A,) and the days of rest, both (A, D).

        Each draw rests as its lasting growth asks: the luck of one interval says nothing of how far
        the area had come up before it. How long a single rest truly is stays out: what regular
        visits bring is in the rates.
        """
        rest_d = self.rest_d(ahead, budget_cm, ahead.usual)
        left = rest_d / np.float32(-ahead.interval_d)
        left += 1.0
        return np.multiply(left, ahead.growth, out=left), rest_d

    def rest_d(self, ahead: Unrested, budget_cm: FloatArray, growth: Singles) -> Singles:
        """Rest of each area at regular visits where each draw would gain ``growth``, both (A, D).

        Visits cut as deep as holds in 19 draws of 20. How hard such a cut is depends on how far the
        area has come up, and so on the rest itself: the usual rest is where the two agree (it falls
        as the cut rises), for growth at its median. What grows faster comes up further, is cut
        harder and rests longer: a Newton step from the usual rest to the one that leads to itself,
        by how much shorter the next rest of what grows fast gets with a day more (usual growth may
        bring no pause at all).
        """
        ceiling, lag_d, pause_d = (
            column(self.usual_ceiling_cm),
            self._usual_lag_d,
            column(self.pause_d),
        )
        least, interval_d = column(self.least_cut_cm), np.float32(ahead.interval_d)
        longest = np.float32(LONGEST_PAUSE_SHARE * ahead.interval_d)
        goal = np.minimum(column(budget_cm), ceiling * BELOW_CEILING)
        goal = quick_stage(goal, ceiling, self._bend)

        def next_d(
            rest_d: Singles, growth: Singles, ceiling: Singles, lag_d: Singles, of: slice = ALL
        ) -> Singles:
            """Rest after the cut of the visit that ends an interval begun with a rest."""
            left = np.minimum(cut[of], ceiling[of] * BELOW_CEILING)
            grown = growth[of] * (1.0 - rest_d[of] / interval_d)
            grown += quick_stage(left, ceiling[of], self._bend[of])
            left /= quick_height(grown, ceiling[of], self._bend[of])
            return days_lost(1.0 - left, lag_d[of], pause_d[of])

        low, high = np.zeros_like(pause_d), np.minimum(pause_d + lag_d, longest)
        for _ in range(REST_HALVINGS):
            tried = np.float32(0.5) * (low + high)
            risen = ahead.fast * (1.0 - tried / interval_d)
            cut = np.maximum(quick_height(goal - risen, ceiling, self._bend), least)
            more = next_d(tried, ahead.median, ceiling, lag_d) > tried
            low, high = np.where(more, tried, low), np.where(more, high, tried)
        later = next_d(low + SHORT_D, ahead.fast, ceiling, lag_d)
        falls = (next_d(low, ahead.fast, ceiling, lag_d) - later) / SHORT_D
        days = np.empty_like(growth)
        for of in in_chunks(len(days), IN_CACHE):
            days[of] = next_d(low, growth, self.draws.ceiling_cm, self.draws.lag_d, of)
        days -= low
        days /= 1.0 + falls
        days += low
        return np.clip(days, 0.0, longest, out=days)

    def highest_cut(self, growth: Singles) -> Singles:
        """Highest aim of a cut from which each draw stays within the budget, (A, D).

        A ceiling below the budget cannot be outgrown: there any cut holds.
        """
        highest = quick_height(self.budget_stage - growth, self._highest_top, self._bend)
        return np.minimum(highest, column(self.budget_cm), out=highest)

    def stage_after_cut(self, cut_cm: FloatArray, rows: IntArray | slice = ALL) -> Singles:
        """Stage in each draw after a cut aimed at ``cut_cm``, one for each area of ``rows``."""
        ceiling = self.draws.ceiling_cm[rows]
        left = column(cut_cm) * self.hand_share[rows]
        np.minimum(left, ceiling * BELOW_CEILING, out=left)  # nothing stands above its ceiling
        return quick_stage(left, ceiling, self._bend[rows])

    def end_height(self, growth: Singles, cut_cm: FloatArray) -> Singles:
        """Height [cm] in each draw once a cut to ``cut_cm`` (A,) has grown, (A, D)."""
        return self.height_at(self.stage_after_cut(cut_cm) + growth)

    def height_at(self, stages: Singles) -> Singles:
        """Height [cm] in each draw at stages (A, D)."""
        return quick_height(stages, self.draws.ceiling_cm, self._bend)

    def stage_of(self, height_cm: FloatArray) -> Singles:
        """Stage in each draw at a height, one for each area; inf above a ceiling."""
        return quick_stage(column(height_cm), self.draws.ceiling_cm, self._bend)


@finite_answer
def bare_below(floor_cm: FloatArray) -> FloatArray:
    """Return the heights below which areas look bare to the eye.

    Parameters
    ----------
    floor_cm : array (A,)
        Their floors [cm, or % cover].

    Returns
    -------
    array (A,)
        The height that five of six judgements by eye call too low [cm, or % cover]: such a look
        errs by ``JUDGEMENT_ERROR_SHARE``, so that at the floor itself half of them do.

    Examples
    --------
    >>> round(float(bare_below(np.array(10.0))), 2)
    8.61
    """
    seen: FloatArray = floor_cm * np.exp(-JUDGEMENT_ERROR_SHARE)
    return seen


def blocks_of_tanks(fit: GrowthFit, tanks: IntArray) -> Iterator[IntArray]:
    """Split tanks so that a block's draws fit in memory.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tanks : int array (R,)
        Places of the tanks in the book, in rising order.

    Returns
    -------
    iterator of int array (n,)
        Tanks that follow each other; those in which nothing grows may be left out.
    """
    design = fit.design
    sizes = np.bincount(design.tank[design.stays], minlength=design.tank_id.size)[tanks]
    block = (np.cumsum(sizes) - sizes) // AREAS_AT_ONCE
    for number in distinct(block):
        if sizes[block == number].sum() > 0:
            yield tanks[block == number]


def living_areas(fit: GrowthFit, tanks: IntArray) -> LivingAreas:
    """Draw the growth of the living areas of some tanks.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tanks : int array (K,)
        Places of the tanks in the book.

    Returns
    -------
    LivingAreas
        Sorted by tank; tanks in which nothing grows are left out.
    """
    design = fit.design
    chosen = np.flatnonzero(design.stays & np.isin(design.tank, tanks))
    area = chosen[np.argsort(design.tank[chosen], kind="stable")]
    tank, run = np.unique(design.tank[area], return_inverse=True)
    return LivingAreas(
        area=area,
        run=run,
        tank=tank,
        budget_cm=design.traits.budget_cm[area],
        floor_cm=design.traits.floor_cm[area],
        safe_cut_cm=fit.lowest_cut_cm[area],
        pause_d=design.traits.pause_d[area],
        doubt=np.zeros(area.size) if design.clock.doubt is None else design.clock.doubt[area],
        shape=design.problem.shape[area],
        draws=draw_growth(fit, area, tank),
        errors=design.problem.errors,
        on_day=design.on_day,
    )


def living_part(living: LivingAreas, keep: BoolArray) -> LivingAreas:
    """Return some areas of a block, with the tanks that are left.

    Parameters
    ----------
    living : LivingAreas
        A block of tanks.
    keep : bool array (A,)
        Which areas to keep.

    Returns
    -------
    LivingAreas
        Their draws are those that they had.
    """
    if keep.all():
        return living
    tanks, sizes = np.unique(living.run[keep], return_counts=True)
    return living.taken(np.flatnonzero(keep), tanks, sizes)
