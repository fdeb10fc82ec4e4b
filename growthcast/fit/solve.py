"""Maximum a posteriori fit of all areas, tanks and species at once.

Gauss-Newton on the joint problem of every stage, rate, ceiling and effect (``sweep`` and
``hierarchy`` hold the two halves of its arrow-shaped system). Weights are those of the current
point; each area halves its own step until its part of the objective no longer rises.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.chains import Chains, Link
from growthcast.fit.hierarchy import (
    AreaInformation,
    EffectPosterior,
    Pooling,
    area_information,
    solve_effects,
)
from growthcast.fit.sweep import ErrorModel, Linearised, linearise, smooth, sweep
from growthcast.growth.logistic import shape_factor, stage

__all__ = ["Problem", "Solution", "solve"]

FloatArray = NDArray[np.float64]

MOST_STEPS = 60
MOST_HALVINGS = 6
TOLERANCE = 1e-7
LONGEST_STEP = np.array([[0.7], [0.4]])
"""Largest change of a log rate and a log ceiling in one step."""
SMALLEST_NOISE = 1e-8
HEADROOM = 1.1
"""A ceiling starts at least this far above the highest reading."""


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything a fit needs, as arrays: chains, priors, errors and the shape (A,) of each area."""

    chains: Chains
    pooling: Pooling
    errors: ErrorModel
    shape: FloatArray

    @property
    def area_count(self) -> int:
        """Number of areas, with or without a log."""
        return int(self.pooling.tank.size)


@dataclass(frozen=True, slots=True)
class Solution:
    """The fitted point and what is needed to say how sure it is.

    ``parameters`` (2, A): log rate and log ceiling. ``area`` and ``effects`` are the curvature
    around it. ``stage`` (N,) the fitted stages; ``last_carry`` (2, A) and ``last_variance`` (A,)
    the last stage of each area given its parameters. ``converged`` (A,) tells whose steps settled.
    """

    parameters: FloatArray
    area: AreaInformation
    effects: EffectPosterior
    stage: FloatArray
    last_carry: FloatArray
    last_variance: FloatArray
    log_likelihood: float
    converged: NDArray[np.bool_]
    steps: int


def solve(problem: Problem) -> Solution:
    """Fit; areas whose steps do not settle within the limit come back as not converged."""
    stages, parameters = _start(problem)
    moved = np.full(problem.area_count, np.inf)
    steps = 0
    while steps < MOST_STEPS and moved.max(initial=0.0) > TOLERANCE:
        stages, parameters, moved = _step(problem, stages, parameters)
        steps += 1
    return _solution(problem, stages, parameters, moved, steps)


def _start(problem: Problem) -> tuple[FloatArray, FloatArray]:
    """Start from the table's rates, ceilings above what was read, stages at the readings."""
    pooling, nodes = problem.pooling, problem.chains.nodes
    known = np.where(np.isfinite(nodes.reading_cm), nodes.reading_cm, nodes.habit_cm)
    highest = np.full(problem.area_count, -np.inf)
    np.maximum.at(highest, nodes.area, np.where(np.isfinite(known), known, -np.inf))
    log_ceiling = np.maximum(
        pooling.log_ceiling,
        np.log(np.maximum(HEADROOM * highest, 1e-9)),
    )
    parameters = np.stack([pooling.offset, log_ceiling])
    ceiling, shape = np.exp(log_ceiling)[nodes.area], problem.shape[nodes.area]
    clipped = np.clip(known, 0.01 * ceiling, 0.99 * ceiling)
    stages = stage(np.where(np.isfinite(clipped), clipped, 0.5 * ceiling), ceiling, shape)
    rate = np.exp(pooling.offset)[nodes.area] * shape_factor(shape)
    grown = np.where(nodes.link == Link.GREW, rate * nodes.growth_d, 0.0)
    for here in problem.chains.positions[1:]:
        # A node that was not read starts where its link predicts it.
        missing = np.flatnonzero(~np.isfinite(known[here])) + here.start
        predicted = stages[problem.chains.previous[missing]] + grown[missing]
        stages[missing] = np.where(nodes.link[missing] == Link.GREW, predicted, stages[missing])
    return stages, parameters


def _step(
    problem: Problem, stages: FloatArray, parameters: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """One Gauss-Newton step; returns the new point and how far each area moved, in sd."""
    at = linearise(problem.chains, stages, parameters, problem.shape, problem.errors)
    swept = sweep(problem.chains, at, problem.area_count)
    area = area_information(swept.information, swept.score, parameters, problem.pooling)
    effects = solve_effects(area, parameters[0], problem.pooling)
    departure = _departure(area, effects, parameters, problem.pooling)
    shrink = np.min(LONGEST_STEP / np.maximum(np.abs(departure), LONGEST_STEP), axis=0)
    full = smooth(problem.chains, at, swept, departure)

    centre = effects.centre(problem.pooling)
    before = _objective(problem, at, stages, parameters, centre)
    share = shrink.copy()
    for _ in range(MOST_HALVINGS):
        new_stages = stages + share[problem.chains.nodes.area] * full
        new_parameters = parameters + share * departure
        after = _objective(problem, at, new_stages, new_parameters, centre)
        worse = ~(after <= before + 1e-9 * (1.0 + np.abs(before)))
        if not worse.any():
            break
        share[worse] *= 0.5
    held = np.sqrt(area.precision + problem.pooling.area_precision)
    held = np.where(held > 0.0, held, 1.0)
    sd_ceiling = np.sqrt(np.where(np.isfinite(area.ceiling_variance), area.ceiling_variance, 1.0))
    moved = np.maximum(np.abs(departure[0]) * held, np.abs(departure[1]) / sd_ceiling)
    return new_stages, new_parameters, moved


def _departure(
    area: AreaInformation, effects: EffectPosterior, parameters: FloatArray, pooling: Pooling
) -> FloatArray:
    """Step (2, A) of every area's parameters that goes with the shared effects."""
    own = pooling.area_precision
    held = area.precision + own
    pulled = area.score + own * (effects.centre(pooling) - parameters[0])
    rate = np.divide(pulled, held, out=np.zeros_like(held), where=held > 0.0)
    return np.stack([rate, area.ceiling_mean + area.ceiling_follows * rate])


def _objective(
    problem: Problem,
    frozen: Linearised,
    stages: FloatArray,
    parameters: FloatArray,
    centre: FloatArray,
) -> FloatArray:
    """Each area's sum of weighted squares (A,) at a new point, with the weights of ``frozen``."""
    chains, pooling = problem.chains, problem.pooling
    nodes = chains.nodes
    there = linearise(chains, stages, parameters, problem.shape, problem.errors)
    target = frozen.residual + frozen.lean[1]
    misread = np.where(frozen.precision > 0.0, target - there.lean[1], 0.0)
    squares = frozen.precision * misread**2
    linked = nodes.link != Link.FRESH
    noise = np.maximum(frozen.noise, SMALLEST_NOISE)  # a span without noise still has to be met
    gap = np.where(nodes.link == Link.CUT, there.gap * _steepness(there, frozen), there.gap)
    squares += np.where(linked, gap**2 / noise, 0.0)
    by_area = np.bincount(nodes.area, weights=squares, minlength=problem.area_count)
    total: FloatArray = by_area.astype(np.float64)
    total += pooling.area_precision * (parameters[0] - centre) ** 2
    total += pooling.ceiling_precision * (parameters[1] - pooling.log_ceiling) ** 2
    return total


def _steepness(there: Linearised, frozen: Linearised) -> FloatArray:
    """Ratio of slopes that puts a cut's gap, measured in stages, on the frozen scale."""
    ratio: FloatArray = np.maximum(there.slope, 1e-12) / np.maximum(frozen.slope, 1e-12)
    return ratio


def _solution(
    problem: Problem,
    stages: FloatArray,
    parameters: FloatArray,
    moved: FloatArray,
    steps: int,
) -> Solution:
    """Curvature and likelihood at the fitted point."""
    chains = problem.chains
    at = linearise(chains, stages, parameters, problem.shape, problem.errors)
    swept = sweep(chains, at, problem.area_count)
    area = area_information(swept.information, swept.score, parameters, problem.pooling)
    last = chains.last
    has_chain = last >= 0
    last_carry = np.where(has_chain, swept.carry[:, last], 0.0) if last.size else np.zeros((2, 0))
    last_variance = np.where(has_chain, swept.variance[last], np.inf) if last.size else np.zeros(0)
    read = int((at.precision > 0.0).sum())
    return Solution(
        parameters=parameters,
        area=area,
        effects=solve_effects(area, parameters[0], problem.pooling),
        stage=stages,
        last_carry=last_carry,
        last_variance=last_variance,
        log_likelihood=float(-0.5 * (swept.misfit.sum() + read * np.log(2.0 * np.pi))),
        converged=moved <= 1e-3,
        steps=steps,
    )
