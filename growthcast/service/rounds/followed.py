"""The chances of a plan's visits: each tank followed from visit to visit, cut as its sheet says."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.result import GrowthFit
from growthcast.service.recommend import blocks_of_tanks
from growthcast.service.visit.standing import Standing, cut_to_last, only_areas, standing_areas

__all__ = ["Followed", "TankDays", "follow_visits"]


@dataclass(frozen=True, slots=True)
class TankDays:
    """One tank's planned visits, and the days on which its chances are asked for.

    All are days after the fit, ascending; after the last planned visit the next is expected
    ``interval_d`` later.
    """

    visits_d: tuple[int, ...]
    asked_d: tuple[int, ...]
    interval_d: int
    confidence: float


@dataclass(frozen=True, slots=True)
class Followed:
    """What comes of one tank's ``days``.

    ``over`` are the chances that some area stands over its budget, by day; ``cuts`` the heights
    [cm, or % cover] that the sheet for a visit says for the next one in the plan, by day of the
    visit and area.
    """

    days: TankDays
    over: dict[int, float]
    cuts: dict[int, dict[str, float]]


def follow_visits(fit: GrowthFit, tanks: list[TankDays]) -> list[Followed]:
    """Follow every tank of a book (in its order) through its planned visits.

    Nothing is cut before the first one; each cuts to last until the next (``cut_to_last``).
    """
    found = [Followed(days, dict.fromkeys(days.asked_d, 0.0), {}) for days in tanks]
    for block in blocks_of_tanks(fit, np.arange(len(tanks))):
        standing = standing_areas(fit, block)
        for run, tank in enumerate(standing.living.tank.tolist()):
            alone = only_areas(standing, standing.living.run == run)
            names = fit.design.area_id[alone.living.area].tolist()
            found[tank] = _follow(alone, tanks[tank], names)
    return found


def _follow(standing: Standing, days: TankDays, names: list[str]) -> Followed:
    over: dict[int, float] = {}
    cuts: dict[int, dict[str, float]] = {}
    wanted: NDArray[np.float64] = np.array([days.confidence])
    asked = list(days.asked_d)
    for visit, until in pairwise((*days.visits_d, None, None)):
        while asked and (visit is None or asked[0] <= visit):
            day = asked.pop(0)
            over[day] = 1.0 - float(standing.later(day - standing.after_d).chance[0])
        if visit is not None:
            arrived = standing.later(visit - standing.after_d)
            lasting = cut_to_last(arrived, (until or visit + days.interval_d) - visit, wanted)
            standing = lasting.began
            if until is not None:
                cuts[visit] = dict(zip(names, lasting.cut_cm.tolist(), strict=True))
    return Followed(days, over, cuts)
