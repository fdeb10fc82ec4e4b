"""Ways to a day: which visit's cut is an area's last, and to what height it goes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from growthcast.arrays import BoolArray, FloatArray
from growthcast.service.living import share_of_draws
from growthcast.service.visit.standing import Standing, cut_to_last

Cut = tuple[int, FloatArray, FloatArray, FloatArray, FloatArray, str]
"""Days after the fit, height to cut to (A,) [cm], middle of what comes off (A,) [cm], chance (A,)
that anything does, chance (A,) to stay inside until the next visit, and the cut's purpose."""

REGROWN_SHARE = 0.15
"""Share of a height that must be new growth for a cut not to show (common practice, no source)."""
BARELY_CUT_SHARE = 0.02
"""A cut that takes less than this share of the height does not show anyhow."""


@dataclass(frozen=True, slots=True)
class Route:
    """One way of all areas of a tank to the day.

    ``ended`` are the areas on the day, ``hidden`` (A,) tells where the last cut will not
    show, ``regrown`` (A,) is the share of the height that has grown since it (None: no last cut).
    """

    cuts: tuple[Cut, ...]
    ended: Standing
    hidden: BoolArray
    regrown: FloatArray | None


def routes_to(
    standing: Standing,
    visits_d: Sequence[int],
    day_d: int,
    target_cm: FloatArray,
    confidence: float,
) -> list[Route]:
    """List the ways to a day: no cut at all, or the last cut at each of the visits.

    Parameters
    ----------
    standing : Standing
        The areas of one tank as they stand.
    visits_d : sequence of int
        Days after the fit on which cuts can be made, ascending, before ``day_d``.
    day_d : int
        Days after the fit of the day to shine.
    target_cm : array (A,)
        Height aimed at on the day [cm].
    confidence : float
        Chance with which all areas are held inside from visit to visit before their last cuts
        [0-1].

    Returns
    -------
    list of Route
        The first leaves everything uncut. The last cut of each other goes to the height from which
        the middle forecast stands at the target on the day, no lower than looks right; at earlier
        visits areas are only held inside their budgets, by the cuts of ``cut_to_last``.
    """
    living, wanted = standing.living, np.array([confidence])
    least, target = living.least_cut_cm, living.stage_of(target_cm)
    uncut = standing.later(day_d - standing.after_d)
    routes = [Route((), uncut, np.ones(least.size, dtype=np.bool_), None)]
    held, cuts = standing, tuple[Cut, ...]()
    for visit, until in zip(visits_d, (*visits_d[1:], day_d), strict=True):
        arrived = held.later(visit - held.after_d)
        middle = np.median(arrived.aims(target, day_d - visit), axis=1)
        aim = np.minimum(np.maximum(middle, least), living.budget_cm)
        began = arrived.cut(aim)
        ended = began.later(day_d - visit)
        off, often = _taken_off(arrived, began)
        height, start = (np.median(one.height_cm, axis=1) for one in (ended, began))
        regrown = np.maximum(height - start, 0.0) / np.maximum(height, 1e-9)
        hidden = (regrown >= REGROWN_SHARE) | (off < BARELY_CUT_SHARE * start)
        last: Cut = (visit, aim, off, often, share_of_draws(ended.within()), "shape")
        routes.append(Route((*cuts, last), ended, hidden, regrown))
        lasting = cut_to_last(arrived, until - visit, wanted)
        held, inside = lasting.began, share_of_draws(lasting.ended.within())
        cuts = (*cuts, (visit, lasting.cut_cm, *_taken_off(arrived, held), inside, "hold"))
    return routes


def _taken_off(before: Standing, after: Standing) -> tuple[FloatArray, FloatArray]:
    """Middle of what comes off each area (A,) [cm], and the chance that anything worth it does."""
    stood = before.height_cm
    off = np.maximum(stood - after.height_cm, 0.0)
    return np.median(off, axis=1), share_of_draws(off > BARELY_CUT_SHARE * stood)
