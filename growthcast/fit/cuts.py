"""What a fitted log shows of cuts: the unsaid ones, and the lowest that an area has stood."""

from __future__ import annotations

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.fit.model.noise import ErrorModel
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.problem import HABIT, Block, Problem
from growthcast.fit.solver.solve import Solution
from growthcast.log.visits import Look
from growthcast.nouns import dataclass

CLEARLY = 2.0
"""An area has grown on where it is found higher by this many standard deviations of a reading."""


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
    parts = [(np.zeros(0, np.int64), *np.zeros((4, 0)))]
    for number, block in enumerate(solution.problem.blocks):
        nodes, left = block.chains.nodes, block.chains.unsaid
        if not left.size:
            continue
        found, area = block.chains.previous[left], nodes.area[left]
        forward = solution.view.forward(number)
        at, known = forward.at, forward.filtered
        stood = at.height_cm[found] + at.observation[found] * known.mean[found]
        usual = np.exp(solution.point.border[HABIT, area])
        spread = np.sqrt(
            at.observation[found] ** 2 * known.variance[found] + nodes.aim_sd_cm[left] ** 2
        )
        length = np.maximum(stood - usual, 0.0)
        parts.append((area, nodes.day[left], block.sites.cut_chance[left], length, spread))
    return UnsaidCuts(*(np.concatenate(part) for part in zip(*parts, strict=True)))


def lowest_cuts_shown(problem: Problem) -> FloatArray:
    """Return the lowest cut that each area's log shows it to have grown on from.

    Parameters
    ----------
    problem : Problem
        A fitted log, with the rows that were set aside.

    Returns
    -------
    array (A,)
        Height after the cut [cm, or % cover], ``inf`` where the log shows none.

    Notes
    -----
    A cut counts when its height was logged and the next row of the area shows growth: a height
    clearly above it, an amount taken off, or a look that it cannot have had right after the cut.
    Rows set aside as suspect do not count, and of the cuts that do it is the second lowest, so that
    no single slip decides.
    """
    shown = [_shown(block, problem.errors) for block in problem.blocks]
    area, left_cm = (np.concatenate(part) for part in zip(*shown, strict=True))
    order = np.lexsort((left_cm, area))
    area, left_cm = area[order], left_cm[order]
    everyone = np.arange(problem.area_count)
    second = np.searchsorted(area, everyone) + 1
    twice = second < np.searchsorted(area, everyone, side="right")
    lowest = np.full(everyone.size, np.inf)
    lowest[twice] = left_cm[second[twice]]
    return lowest


def _shown(block: Block, errors: ErrorModel) -> tuple[IntArray, FloatArray]:
    """Areas and heights (n,) of the cuts from which growth was seen."""
    nodes, before = block.chains.nodes, block.chains.previous
    read = np.where(block.trust == 1.0, nodes.reading_cm, np.nan)
    weighed_or_measured = nodes.link >= Link.CUT
    taken = np.zeros(before.size)
    taken[before[weighed_or_measured]] = nodes.removed_cm[weighed_or_measured]
    found = np.flatnonzero(nodes.link == Link.GREW)
    cut = before[found]
    told = np.where(nodes.link[cut] == Link.CUT, read[before[cut]] - nodes.removed_cm[cut], np.nan)
    measured = np.isfinite(read[cut]) & np.isnan(nodes.reading_sd_cm[cut])  # not only agreed
    left = np.where(measured, read[cut], told)
    left = np.where(np.isfinite(nodes.aim_sd_cm[cut]), left, np.nan)  # only what a cut has left
    area = nodes.area[found]
    clear = CLEARLY * np.sqrt(errors.reading_variance(np.nan_to_num(left), area))
    look = nodes.look[found]
    grown = (read[found] > left + clear) | (taken[found] > clear) | (look == Look.OVER)
    grown |= (look == Look.RIGHT) & (left < nodes.floor_cm[found])
    grown &= np.isfinite(left)
    return area[grown], left[grown]
