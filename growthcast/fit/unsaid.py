"""Cuts of which no row tells, as a fit takes them to have been."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.linearise import HABIT
from growthcast.fit.solver.solve import Solution


@dataclass(frozen=True, slots=True)
class UnsaidCuts:
    """Visits (n,) at which an area may have been cut without a word.

    ``area`` and ``day`` are its place and the day number, ``chance`` is how likely it was cut,
    ``length_cm`` with ``sd_cm`` what came off if it was [cm].
    """

    area: IntArray
    day: FloatArray
    chance: FloatArray
    length_cm: FloatArray
    sd_cm: FloatArray


def unsaid_cuts(solution: Solution) -> UnsaidCuts:
    """Return the cuts of which no row tells, given all looks, weights and readings of the log.

    Parameters
    ----------
    solution : Solution
        A fit.

    Returns
    -------
    UnsaidCuts
        In no order.
    """
    parts = []
    for number, block in enumerate(solution.problem.blocks):
        nodes = block.chains.nodes
        left = np.flatnonzero(nodes.link == Link.UNSAID)
        found, area = block.chains.previous[left], nodes.area[left]
        at, forward = solution.view.block(number)
        known = forward.filtered
        stood = at.height_cm[found] + at.observation[found] * known.mean[found]
        usual = np.exp(solution.point.border[HABIT, area])
        spread = np.sqrt(
            at.observation[found] ** 2 * known.variance[found] + nodes.aim_sd_cm[left] ** 2
        )
        length = np.maximum(stood - usual, 0.0)
        parts.append((area, nodes.day[left], block.sites.cut_chance[left], length, spread))
    area, day, chance, length, spread = (np.concatenate(p) for p in zip(*parts, strict=True))
    return UnsaidCuts(area=area, day=day, chance=chance, length_cm=length, sd_cm=spread)
