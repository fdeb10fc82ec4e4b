"""Posterior means of log rates against integrals over their exact posterior."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.fit.model.noise import knot_precision
from growthcast.fit.model.posterior import FURTHEST, mean_border
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.problem import RATE
from growthcast.fit.solver.solve import solve
from tests.unit.fit.small_problem import problem_of, small_nodes, small_problem

KNOWN = 1e8
"""Precision of what is taken as known."""
RATE_PER_DAY, CEILING_CM, BEGAN_CM, DAYS, ERROR_CM = 0.08, 20.0, 5.0, 20.0, 1.5
READ_CM = np.linspace(9.0, 14.0, 7)


def one_reading_each(spread, read_cm=READ_CM):
    """Fit seven areas planted at a known height and read once; only their rates are unsure."""
    grew = np.tile([False, True], 7)
    nodes = replace(
        small_nodes(np.random.default_rng(3)).take(np.full(14, -1)),
        area=np.repeat(np.arange(7), 2),
        day=np.where(grew, DAYS, 0.0),
        link=np.where(grew, Link.GREW, Link.FRESH).astype(np.int64),
        growth_d=np.where(grew, DAYS, 0.0),
        span_d=np.where(grew, DAYS, 0.0),
        reading_cm=np.where(grew, np.repeat(read_cm, 2), np.nan),
        guess_cm=np.where(grew, np.nan, BEGAN_CM),
        guess_sd_cm=np.where(grew, np.nan, 1e-3),
    )
    whole, nothing = small_problem(), np.zeros(7)
    pooling = replace(
        whole.pooling,
        offset=np.full(7, np.log(RATE_PER_DAY)),
        area_precision=spread**-2.0,
        ceiling_precision=np.full(7, KNOWN),
        tank_precision=np.full(3, KNOWN),
        species_precision=np.full(3, KNOWN),
        knot_precision=KNOWN * knot_precision(),
    )
    errors = replace(
        whole.errors,
        height_error_cm=nothing + ERROR_CM,
        height_error_share=nothing,
        span=1e-3,
        drift=1e-3,
    )
    solution = solve(problem_of(nodes, pooling, errors, np.ones(7), whole.first_habit))
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
    sd = 1.0 / np.sqrt(solution.view.area.precision[:, 0, 0] + 3.0**-2.0)
    assert (np.abs(moved) <= 1.001 * FURTHEST * sd).all()
    assert (np.abs(moved) > 0.9 * FURTHEST * sd).all()
