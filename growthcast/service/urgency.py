"""Which tank needs a visit first: its risk day by day, and its growth against the usual."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.service.living import all_hold
from growthcast.service.recommend import blocks_of_tanks
from growthcast.service.visit.standing import standing_areas

__all__ = ["TankGrowth", "chance_some_area_over", "growth_against_usual"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

Z_80 = 1.2815515655446004
"""Standard normal quantile of 90 %."""


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
        living = standing.living
        found = np.searchsorted(tanks, living.tank)
        for t, days in enumerate(ahead_d.tolist()):
            ended = standing.now + living.growth(float(days))
            chances[found, t] = 1.0 - all_hold(living, standing.within(ended))
    return chances


@dataclass(frozen=True, slots=True)
class TankGrowth:
    """Growth of tanks (R,) as a share of what their conditions and plants say: 1 is as usual.

    ``low`` and ``high`` hold the truth 8 times of 10.
    """

    middle: FloatArray
    low: FloatArray
    high: FloatArray


@finite_answer
def growth_against_usual(fit: GrowthFit, tanks: IntArray) -> TankGrowth:
    """How fast tanks grow on the day against what the table says for their conditions.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tanks : int array (R,)
        Places of the tanks in the book.

    Returns
    -------
    TankGrowth
        ``exp`` of the tank's effect and of its drift on the day, with their joint spread [share].
    """
    design, effects = fit.design, fit.solution.view.effects
    pooling = design.problem.pooling
    borrowed = 0.0 if fit.borrowed is None else fit.borrowed.mean[tanks]
    log_share = effects.tank[tanks, 0] + effects.tank[tanks, 1] + borrowed
    variance = effects.tank_covariance[tanks][:, :2, :2].sum(axis=(1, 2))
    for place, tank in enumerate(tanks.tolist()):
        along = effects.tank_follows(pooling, np.array([tank]))[0, :2].sum(axis=0)
        variance[place] += along @ effects.species_covariance @ along
    spread = Z_80 * np.sqrt(np.maximum(variance, 0.0))
    return TankGrowth(
        middle=np.exp(log_share), low=np.exp(log_share - spread), high=np.exp(log_share + spread)
    )
