"""Shade of floating plants on what stands below: how much of a tank's surface they cover, when.

The light below is ``1 - cover`` of what the book says, the cover constant from one visit to the
next: half of what the last one left and the next one found. Ahead it is the mean of the last year's
spans, or before any log the middle of floor and budget.
"""

from __future__ import annotations

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.log.visits import Visits
from growthcast.nouns import dataclass

LONG_AGO = -1.0e6
"""Day number before every log: the first known condition is taken to have held until then."""
A_YEAR_D = 365.0
MOST_COVER = 0.95
"""Some light comes in at the glass also where floating plants close (an estimate)."""


@dataclass(frozen=True, slots=True)
class Shade:
    """Share of each tank's surface under floating plants, piecewise constant, (K, S).

    ``from_day`` is padded with ``inf``; before the first day nothing floats. ``share`` is 0-1.
    """

    from_day: FloatArray
    share: FloatArray

    def on(self, day: float) -> FloatArray:
        """Share of each tank's surface that is covered on a day, (K,)."""
        column = (self.from_day <= day).sum(axis=1) - 1
        found: FloatArray = self.share[np.arange(column.size), column]
        return found


def floating_shade(
    visits: Visits,
    tanks: int,
    tank: IntArray,
    floats: BoolArray,
    surface_share: FloatArray,
    usual_cover: FloatArray,
    life: tuple[FloatArray, FloatArray],
    on_day: float,
) -> Shade | None:
    """Return the shade of every tank; None where nothing floats in any.

    Parameters
    ----------
    visits : Visits
        What was done to the areas.
    tanks : int
        How many tanks there are, those without areas too.
    tank : int array (A,)
        Tank of each area.
    floats : bool array (A,)
        Whether its plants float.
    surface_share : array (A,)
        Share of the tank's surface that the area takes, NaN where the tank's size is not known [-].
    usual_cover : array (A,)
        Cover where nobody read it [percent of the area].
    life : two arrays (A,)
        When each was planted and removed, NaN where it was not [day number].
    on_day : float
        The day of the fit [day number].

    Returns
    -------
    Shade or None
        Of the tanks (K,).
    """
    shading = np.flatnonzero(floats & (surface_share > 0.0))
    if not shading.size:
        return None
    planted, removed = life
    steps: list[list[tuple[float, float]]] = [[] for _ in range(tanks)]
    for area in shading.tolist():
        mine = np.flatnonzero((visits.area == area) & (visits.day <= on_day))
        begun, cover = _cover(
            visits.keep(mine), float(planted[area]), float(usual_cover[area]), on_day
        )
        share = surface_share[area] * np.append(cover, 0.0) / 100.0
        ends = np.inf if np.isnan(removed[area]) else removed[area]
        days = np.append(np.minimum(begun, ends), ends)
        steps[int(tank[area])] += zip(
            days.tolist(), np.diff(share, prepend=0.0).tolist(), strict=True
        )
    width = 1 + max(len(changes) for changes in steps)
    from_day, change = np.full((tanks, width), np.inf), np.zeros((tanks, width))
    from_day[:, 0] = LONG_AGO
    for k, changes in enumerate(steps):
        for column, (day, by) in enumerate(sorted(changes), start=1):
            from_day[k, column], change[k, column] = day, by
    return Shade(from_day, np.clip(np.cumsum(change, axis=1), 0.0, MOST_COVER))


def _cover(
    visits: Visits, planted: float, usual: float, on_day: float
) -> tuple[FloatArray, FloatArray]:
    """Days from the planting of an area on, and its mean cover from each to the next [percent].

    The last of them is that ahead.
    """
    found, left = visits.found_cm, visits.left_cm
    told = np.isfinite(found) | np.isfinite(left)
    begun = np.append(planted, np.maximum(visits.day[told], planted))
    ends = np.stack([np.append(np.nan, left[told])[:-1], found[told]])
    known = np.isfinite(ends)
    total = np.where(known, ends, 0.0).sum(axis=0)
    cover = np.where(known.any(axis=0), total / np.maximum(known.sum(axis=0), 1), usual)
    lately = known.any(axis=0) & (begun[1:] > on_day - A_YEAR_D)
    ahead = float(cover[lately].mean()) if lately.any() else usual
    return begun, np.append(cover, ahead)
