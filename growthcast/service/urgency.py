"""Which tank needs a visit first: its risk day by day."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.service.recommend import blocks_of_tanks
from growthcast.service.visit.standing import standing_areas

__all__ = ["chance_some_area_over"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@finite_answer
def chance_some_area_over(fit: GrowthFit, tanks: IntArray, ahead_d: IntArray) -> FloatArray:
    """Chance that some area of a tank stands above its budget when nothing more is cut.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tanks : int array (R,)
        Places of the tanks in the book, in rising order.
    ahead_d : int array (T,)
        Days after the day of the fit [d], 0 or more.

    Returns
    -------
    array (R, T)
        Chance [0-1]; 0 for a tank in which nothing is planted.

    Notes
    -----
    Counted over joint draws of heights and growth, so that what a tank's areas share counts as
    shared. A chance over many days is not summed up: each day stands for itself.
    """
    chances = np.zeros((tanks.size, ahead_d.size))
    for block in blocks_of_tanks(fit, tanks):
        standing = standing_areas(fit, block)
        found = np.searchsorted(tanks, standing.living.tank)
        for t, days in enumerate(ahead_d.tolist()):
            chances[found, t] = 1.0 - standing.later(days).chance
    return chances
