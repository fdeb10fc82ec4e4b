"""The chances of a plan's visits: each tank followed from visit to visit, cut as its sheet says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from growthcast.fit.result import GrowthFit
from growthcast.service.recommend import blocks_of_tanks
from growthcast.service.rounds.windows import TankWindow
from growthcast.service.visit.standing import Standing, cut_to_last, only_areas, standing_areas


@dataclass(frozen=True, slots=True)
class Stop:
    """What a tank comes to by a visit, or by the end of the plan.

    ``over`` is the chance that some area stands over its budget then, ``over_when_due`` that on its
    due day, if it comes later. ``cuts`` are the heights [cm, or % cover] by area that last until
    the next visit in the plan, none at its last and at the end.
    """

    over: float
    over_when_due: float
    cuts: Mapping[str, float]


def follow_visits(
    fit: GrowthFit, windows: list[TankWindow], visits: list[list[int]], first_d: int, days: int
) -> list[list[Stop]]:
    """Follow every tank of a book through its visits, up to the end of the plan.

    Parameters
    ----------
    fit : GrowthFit
        The fit of the book.
    windows : list of TankWindow
        Every tank, in the book's order.
    visits : list of lists of int
        Days of the plan on which each is visited, ascending [d].
    first_d : int
        Days from the fit to the first day of the plan [d].
    days : int
        Days of the plan [d].

    Returns
    -------
    list of lists of Stop
        One a visit and one for the end of the plan, for each tank. Nothing is cut before the first
        visit; each cuts to last until the next (``cut_to_last``), the last to last an interval.
    """
    found = [[Stop(0.0, 0.0, {})] * (len(its) + 1) for its in visits]
    for block in blocks_of_tanks(fit, np.arange(len(windows))):
        standing = standing_areas(fit, block)
        for run, tank in enumerate(standing.living.tank.tolist()):
            alone = only_areas(standing, standing.living.run == run)
            names = fit.design.area_id[alone.living.area].tolist()
            found[tank] = _follow(alone, windows[tank], visits[tank], first_d, days, names)
    return found


def _follow(
    standing: Standing,
    window: TankWindow,
    visits: list[int],
    first_d: int,
    days: int,
    names: list[str],
) -> list[Stop]:
    found: list[Stop] = []
    due, confidence = max(window.due_d, 0), np.array([window.confidence])
    for n, day in enumerate((*visits, days)):
        since = first_d - standing.after_d
        over, over_when_due = (
            1.0 - float(standing.later(since + at).chance[0]) for at in (day, min(due, day))
        )
        cuts: dict[str, float] = {}
        if n < len(visits):
            due, planned = day + window.interval_d, n + 1 < len(visits)
            until = visits[n + 1] if planned else due
            lasting = cut_to_last(standing.later(since + day), until - day, confidence)
            standing = lasting.began
            cuts = dict(zip(names, lasting.cut_cm.tolist(), strict=True)) if planned else {}
        found.append(Stop(over, over_when_due, cuts))
    return found
