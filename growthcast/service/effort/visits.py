"""How long a visit takes and what a year of visits comes to, with ranges."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.design import Design
from growthcast.service.draws import stratified_normals
from growthcast.service.effort.learn import Timing
from growthcast.service.effort.logged import bulk_per_cm
from growthcast.service.effort.year import DAYS_PER_YEAR, Range
from growthcast.service.interval import IntervalOptions
from growthcast.service.living import HAND_SPREAD, LivingAreas

__all__ = ["VisitEffort", "visit_effort"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

DRAWS = 256
"""Of each area's draws, how many are followed into minutes."""
LEVELS = (0.1, 0.5, 0.9)
SCATTER_KEY = 10
"""Which of a tank's rows of draws scatters its visits (see ``draw_growth``)."""


@dataclass(frozen=True, slots=True)
class VisitEffort:
    """Minutes of the visits of tanks (R,) at one interval, travel and fixed part included.

    ``visit_min`` (R, 3) are the p10, p50 and p90 of one visit, ``year_min`` (R, 3) those of the
    mean visit of a year: from visit to visit scatter evens out, not knowing the plants or the hand
    does not. Of that mean visit, ``mean_min`` (R, D) are the minutes in each draw, ``area_min``
    (A, D) those at each area and ``removed_cm`` (A, D) what comes off there. ``edges`` (R + 1) are
    where a tank's areas begin and end.
    """

    visit_min: FloatArray
    year_min: FloatArray
    mean_min: FloatArray
    area_min: FloatArray
    removed_cm: FloatArray
    edges: IntArray

    def of_visit(self, run: int) -> Range:
        """Return the minutes of one visit of a tank."""
        return Range(*self.visit_min[run].tolist())

    def of_mean_visit(self, run: int) -> Range:
        """Return the minutes of the mean visit of a tank over a year."""
        return Range(*self.year_min[run].tolist())

    def of_areas(self, run: int) -> tuple[FloatArray, FloatArray]:
        """Minutes at a tank's areas on its mean visit, and what comes off [cm]: p10, p50 and p90.

        Both are (n, 3), areas in their order.
        """
        here = slice(int(self.edges[run]), int(self.edges[run + 1]))
        both = (self.area_min[here], self.removed_cm[here])
        minutes, removed_cm = (np.quantile(draws, LEVELS, axis=1).T for draws in both)
        return minutes, removed_cm


def visit_effort(
    living: LivingAreas,
    design: Design,
    timing: Timing,
    option: IntervalOptions,
    fixed_min: FloatArray,
) -> VisitEffort:
    """Work out the minutes of the visits of a block of tanks.

    Parameters
    ----------
    living : LivingAreas
        The areas of the tanks.
    design : Design
        The design they were fitted in, for ground and measure of the areas.
    timing : Timing
        The minutes of trimming.
    option : IntervalOptions
        The interval, and the height to which each area is cut at every visit.
    fixed_min : array (R,)
        Minutes of each visit before any trimming, travel included [min].

    Returns
    -------
    VisitEffort
        At a regular visit each area is taken down from where an interval has brought it to its cut.

    Notes
    -----
    Growth and minutes are drawn together: the draws of the growth of the areas, and as many of the
    minutes. For one visit a week's surprises, the hand and the scatter of timed visits are in; for
    the mean of a year they are left out but for the scatter's share over so many visits.
    """
    interval_d, cut_cm = option.interval_d, option.cut_cm
    few = _first_draws(living)
    set_up, work = timing.draws(living.area, DRAWS)
    bulk = bulk_per_cm(design)[living.area][:, None]
    scatter = stratified_normals(living.tank * 16 + SCATTER_KEY, DRAWS) * timing.scatter
    visits = max(DAYS_PER_YEAR / interval_d, 1.0)

    def trimming(areas: LivingAreas, of_scatter: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Minutes at each area and what comes off there [cm], both (A, D)."""
        growth, _ = areas.growth_after_cut(interval_d)
        left = cut_cm[:, None] * np.exp(HAND_SPREAD * areas.draws.hand)
        removed = np.maximum(areas.end_height(growth, cut_cm) - left, 0.0)
        each = np.where(removed > 0.0, set_up + work * bulk * removed, 0.0)
        return each * np.exp(of_scatter)[living.run], removed

    def whole(each: FloatArray) -> FloatArray:
        minutes: FloatArray = fixed_min[:, None] + np.add.reduceat(each, living.first, axis=0)
        return minutes

    once, _ = trimming(few, scatter)
    area_min, removed_cm = trimming(_even(few), scatter / np.sqrt(visits))
    mean_min = whole(area_min)
    return VisitEffort(
        visit_min=np.quantile(whole(once), LEVELS, axis=1).T,
        year_min=np.quantile(mean_min, LEVELS, axis=1).T,
        mean_min=mean_min,
        area_min=area_min,
        removed_cm=removed_cm,
        edges=np.append(living.first, living.area.size),
    )


def _first_draws(living: LivingAreas) -> LivingAreas:
    """Return the areas with their first draws only."""
    draws = living.draws
    names = ("log_rate", "ceiling_cm", "knots", "week", "hand", "drift")
    kept = {name: getattr(draws, name)[..., :DRAWS] for name in names}
    return replace(living, draws=replace(draws, **kept))


def _even(living: LivingAreas) -> LivingAreas:
    """Return the areas without surprises: only what stays unknown all year differs by draw."""
    draws = living.draws
    still = {name: np.zeros_like(getattr(draws, name)) for name in ("week", "hand", "drift")}
    return replace(living, draws=replace(draws, **still))
