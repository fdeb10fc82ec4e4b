"""Ways to a day: which visit's cut is an area's last, and to what height it goes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growthcast.growth.quick import quick_quantiles
from growthcast.service.visit.standing import Standing

__all__ = ["REGROWN_SHARE", "Route", "routes_to"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
Cut = tuple[int, FloatArray, FloatArray, FloatArray, str]
"""Days after the fit, height to cut to (A,) [cm], middle of what comes off (A,) [cm], chance (A,)
that anything does, and the cut's purpose."""

REGROWN_SHARE = 0.15
"""Share of a height that must be new growth for a cut not to show (common practice, no source)."""
BARELY_CUT_SHARE = 0.02
"""A cut that takes less than this share of the height does not show anyhow."""


@dataclass(frozen=True, slots=True)
class Route:
    """One way of all areas of a tank to the day.

    ``ended`` (A, D) are the stages on the day, ``hidden`` (A,) tells where the last cut will not
    show, ``regrown`` (A,) is the share of the height that has grown since it (None: no last cut).
    """

    cuts: tuple[Cut, ...]
    ended: FloatArray
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
        Chance with which an area is held inside its budget from visit to visit before its last cut.

    Returns
    -------
    list of Route
        The first leaves everything uncut. The last cut of each other goes to the height from which
        the middle forecast stands at the target on the day, no lower than looks right; at earlier
        visits areas are only held inside their budgets.
    """
    living = standing.living
    least = living.least_cut_cm
    grown = standing.now + living.growth(float(day_d))
    routes = [Route((), grown, np.ones(least.size, dtype=np.bool_), None)]
    held, at = standing.now, 0
    cuts: tuple[Cut, ...] = ()
    for n, visit in enumerate(visits_d):
        arrived = held + living.growth(float(visit - at), float(at)) if visit > at else held
        ahead = living.growth(float(day_d - visit), float(visit))
        aim = np.median(standing.heights(standing.stages(target_cm[:, None]) - ahead), axis=1)
        aim = np.minimum(np.maximum(aim, least), living.budget_cm)
        began = standing.cut(arrived, aim)
        ended = began + ahead
        off, often = _taken_off(standing, arrived, began)
        height = np.median(standing.heights(ended), axis=1)
        start = np.median(standing.heights(began), axis=1)
        regrown = np.maximum(height - start, 0.0) / np.maximum(height, 1e-9)
        hidden = (regrown >= REGROWN_SHARE) | (off < BARELY_CUT_SHARE * start)
        last: Cut = (visit, aim, off, often, "shape")
        routes.append(Route((*cuts, last), ended, hidden, regrown))
        until = visits_d[n + 1] if n + 1 < len(visits_d) else day_d
        after = living.growth(float(until - visit), float(visit))
        hold = quick_quantiles(living.highest_cut(after), (1.0 - confidence,))[:, 0]
        hold = np.minimum(np.maximum(hold, least), living.budget_cm)
        held = standing.cut(arrived, hold)
        cuts, at = (*cuts, (visit, hold, *_taken_off(standing, arrived, held), "hold")), visit
    return routes


def _taken_off(
    standing: Standing, before: FloatArray, after: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Middle of what comes off each area (A,) [cm], and the chance that anything worth it does."""
    stood = standing.heights(before)
    off = np.maximum(stood - standing.heights(after), 0.0)
    return np.median(off, axis=1), (off > BARELY_CUT_SHARE * stood).mean(axis=1)
