"""What the heights of a log say of the ceilings before anything is fitted.

Only readings that count are asked: those that were set aside as mistakes open no gate.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.fit.solver.problem import Problem

__all__ = ["with_heights_that_count"]

NEAR_CEILING_SHARE, READINGS_NEAR_CEILING = 0.8, 2
"""A ceiling is learnt once this many readings lie above this share of the one expected."""


def with_heights_that_count(problem: Problem) -> Problem:
    """Return a problem whose ceilings know the two highest heights found of each area.

    A ceiling is learnt where both lie near the one expected. Readings that have lost their weight
    do not count.
    """
    pooling, count = problem.pooling, problem.area_count
    highest = np.zeros((2, count))
    for block in problem.blocks:
        nodes = block.chains.nodes
        found = np.isfinite(nodes.reading_cm) & np.isnan(nodes.aim_sd_cm) & (nodes.row >= 0)
        counts = np.flatnonzero(found & (block.trust == 1.0))
        order = counts[np.lexsort((nodes.reading_cm[counts], nodes.area[counts]))]
        area, read = nodes.area[order], nodes.reading_cm[order]
        last = np.flatnonzero(np.append(area[1:] != area[:-1], True)) if area.size else order
        highest[1, area[last]] = read[last]
        before = last[(last > 0) & (area[last - 1] == area[last])] - 1
        highest[0, area[before]] = read[before]
    sd = np.sqrt([problem.errors.reading_variance(read, np.arange(count)) for read in highest])
    near = highest > NEAR_CEILING_SHARE * np.exp(pooling.log_ceiling)
    learnt = replace(
        pooling,
        ceiling_learnt=near.all(axis=0),
        highest_cm=np.where(near, highest, 0.0),
        highest_sd_cm=sd,
    )
    return replace(problem, pooling=learnt)
