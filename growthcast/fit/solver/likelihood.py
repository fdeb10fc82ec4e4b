"""The likelihood of what was read, with everything else integrated out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.solver.hierarchy import OWN, Effects, Pooling
from growthcast.fit.solver.linearise import CEILING, HABIT, RATE
from growthcast.fit.solver.problem import Point, Problem
from growthcast.fit.solver.solve import View, departure_of
from growthcast.fit.solver.sweep import log_determinant

__all__ = ["log_likelihood"]

FloatArray = NDArray[np.float64]


def log_likelihood(problem: Problem, point: Point, view: View) -> float:
    """Log likelihood of what was read, everything else integrated out, as linearised at a point.

    Exact for the linear problem wherever the point lies: the squares are those at the linear
    problem's own solution, the determinants those of its curvature.
    """
    departure = departure_of(problem, point, view)
    border, effects = point.border + departure, view.effects
    squares = _prior_squares(problem.pooling, border, effects)
    determinant = _prior_determinants(problem.pooling, view)
    for block, here, swept in zip(problem.blocks, view.at, view.swept, strict=True):
        own = departure[:, block.chains.nodes.area]
        lean = here.slope * np.einsum("bn,bn->n", swept.ahead_carry, own)
        lean += here.height * own[CEILING] - here.habit * own[HABIT]
        squares += float((swept.weight * (swept.innovation - lean) ** 2).sum())
        squares += float((here.misfit - here.precision * here.residual**2).sum())
        determinant += float(here.log_error.sum()) + log_determinant(block.chains, here, swept)
    return -0.5 * (squares + determinant)


def _prior_squares(pooling: Pooling, border: FloatArray, effects: Effects) -> float:
    """Squares of all parameters against their priors."""
    squares = pooling.area_precision * (border[RATE] - effects.centre(pooling)) ** 2
    for parameter, (usual, held) in zip(OWN, pooling.own_priors(), strict=True):
        squares = squares + held * (border[parameter] - usual) ** 2
    knots = effects.tank[:, 1:]
    shared = (pooling.tank_precision * effects.tank[:, 0] ** 2).sum()
    shared += (pooling.species_precision * effects.species**2).sum()
    shared += np.einsum("km,mj,kj->", knots, pooling.knot_precision, knots)
    return float(squares.sum() + shared)


def _prior_determinants(pooling: Pooling, view: View) -> float:
    """Log determinant of the parameters' posterior precision, less that of their priors."""
    areas, tanks = pooling.tank.size, pooling.tank_precision.size
    held = view.area.rate_given(pooling.area_precision)[0]
    determinant = _log_sum(held)
    determinant -= float(np.linalg.slogdet(view.effects.tank_covariance)[1].sum())
    determinant -= float(np.linalg.slogdet(view.effects.species_covariance)[1])
    determinant -= _log_sum(np.linalg.det(view.area.own_covariance))
    determinant -= _log_sum(pooling.tank_precision) + _log_sum(pooling.species_precision)
    determinant -= tanks * float(np.linalg.slogdet(pooling.knot_precision)[1])
    determinant -= areas * float(np.log(pooling.area_precision or 1.0))
    return determinant - sum(_log_sum(held) for _, held in pooling.own_priors())


def _log_sum(values: FloatArray) -> float:
    positive = values > 0.0
    return float(np.log(np.where(positive, values, 1.0)).sum())
