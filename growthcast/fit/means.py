"""Posterior means of the areas' parameters, which a fit gives the mode of.

A fit ends where nothing is left to gain as seen from there. The mean of a posterior that is not
symmetric lies elsewhere. For a rate it is found where nothing is left to gain on average over the
width of what is known of it; for a ceiling by a formula, since averages over their width make
ceilings too high on books drawn from the model.

References
----------
Opper, M. & Archambeau, C. (2009). The variational Gaussian approximation revisited. Neural
Computation 21, 786-792 (from memory).
"""

from __future__ import annotations

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.fit.solver.hierarchy import border_covariance
from growthcast.fit.solver.kalman import score_of
from growthcast.fit.solver.linearise import CEILING, RATE
from growthcast.fit.solver.problem import Point
from growthcast.fit.solver.view import View, departure_given, departure_of, seen

FURTHEST = 0.5
"""A mean is moved no further for its rate than this, in sd: what is not small is no correction."""
SKEWNESS_OF_CEILING = 3.0
"""Third derivative of what growth says on a log ceiling, in units of its information."""


def mean_border(view: View) -> FloatArray:
    """Posterior mean (B, A) of every area's border; least squares are left as they are."""
    if view.problem.is_exact:
        return view.point.border
    pooling = view.problem.pooling
    areas = np.arange(view.problem.area_count)
    covariance = border_covariance(view.area, view.effects, pooling, areas)
    by_ceiling = _moved_by_ceilings(covariance, pooling.ceiling_prior[1])
    mean: FloatArray = view.point.border + _moved_by_rates(view, covariance) + by_ceiling
    return mean


def _moved_by_rates(view: View, covariance: FloatArray) -> FloatArray:
    """Departure (B, A) that makes up for the bend of what the chains say along the log rates.

    The slope of the log likelihood is averaged over a standard deviation to both sides, with
    whatever goes with the rate moving along, and what that changes is fitted: to second order.
    """
    rate_sd = np.sqrt(covariance[:, RATE, RATE])
    along = (covariance[:, :, RATE] / rate_sd[:, None]).T
    averaged = 0.5 * (_score(view, along) + _score(view, -along))
    moved = departure_given(view, averaged) - departure_of(view)
    in_sd = np.abs(moved) / np.sqrt(np.einsum("aii->ia", covariance))
    moved *= FURTHEST / np.maximum(np.max(in_sd, axis=0), FURTHEST)
    return moved


def _score(view: View, departure: FloatArray) -> FloatArray:
    """Score (B, A) of all chains, the borders a departure (B, A) off."""
    problem, point = view.problem, view.point
    stages = tuple(
        begun + known.departure(block.chains.nodes, departure)
        for block, known, begun in zip(problem.blocks, view.filtered, point.stages, strict=True)
    )
    there = Point(stages, point.border + departure)
    score = np.zeros_like(point.border)
    for number, block in enumerate(problem.blocks):
        score[:, block.chains.area] = score_of(block.chains, seen(problem, there, number)[1])
    return score


def _moved_by_ceilings(covariance: FloatArray, ceiling_precision: FloatArray) -> FloatArray:
    """Departure (B, A) of the mean from the mode for the ceilings, which are skewed upwards.

    Growth speaks of a ceiling through its inverse (``r h - r h^2 / K``): normal in ``1/K`` with
    information ``m`` on ``log K``, its log likelihood has the third derivative ``3 m``, and a mean
    lies ``3 m var^2 / 2`` above its mode to leading order. Whatever goes with the ceiling moves
    along.
    """
    variance = covariance[:, CEILING, CEILING]
    told = np.maximum(1.0 / variance - ceiling_precision, 0.0)
    shift = 0.5 * SKEWNESS_OF_CEILING * told * variance**2
    moved: FloatArray = (covariance[:, :, CEILING] / variance[:, None]).T * shift
    return moved
