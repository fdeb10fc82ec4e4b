"""Posterior means of log rates against integrals over their exact posterior."""

from __future__ import annotations

import numpy as np

from growthcast.fit.model.posterior import FURTHEST, mean_border
from growthcast.fit.solver.problem import RATE
from growthcast.fit.solver.solve import solve
from tests.unit.fit.small_problem import (
    BEGAN_CM,
    CEILING_CM,
    DAYS,
    ERROR_CM,
    RATE_PER_DAY,
    READ_CM,
    one_reading_problem,
)


def one_reading_each(spread, read_cm=READ_CM):
    """Fit seven areas planted at a known height and read once; only their rates are unsure."""
    solution = solve(one_reading_problem(spread, read_cm))
    assert solution.converged.all()
    return solution


def test_the_mean_is_that_of_the_exact_posterior():
    spread = 0.5
    off = np.linspace(-4.0, 4.0, 4001) * spread
    grown = np.exp(-RATE_PER_DAY * np.exp(off) * DAYS)
    height = CEILING_CM / (1.0 + (CEILING_CM / BEGAN_CM - 1.0) * grown)
    squares = ((READ_CM[:, None] - height) / ERROR_CM) ** 2 + (off / spread) ** 2
    weight = np.exp(-0.5 * squares)
    weight /= weight.sum(axis=1, keepdims=True)
    exact = weight @ off
    sd = np.sqrt((weight * (off - exact[:, None]) ** 2).sum(axis=1))
    solution = one_reading_each(spread)
    mode, mean = solution.point.border[RATE], mean_border(solution.view)[RATE]
    assert (np.abs(mode - np.log(RATE_PER_DAY) - exact) / sd).max() > 0.2
    assert (np.abs(mean - np.log(RATE_PER_DAY) - exact) / sd).max() < 0.05


def test_no_mean_lies_far_from_its_mode():
    """Read at the ceiling, a rate may be any that is high enough."""
    solution = one_reading_each(3.0, np.full(7, CEILING_CM))
    moved = mean_border(solution.view)[RATE] - solution.point.border[RATE]
    sd = 1.0 / np.sqrt(solution.view.pooled.precision[:, 0, 0] + 3.0**-2.0)
    assert (np.abs(moved) <= 1.001 * FURTHEST * sd).all()
    assert (np.abs(moved) > 0.9 * FURTHEST * sd).all()
