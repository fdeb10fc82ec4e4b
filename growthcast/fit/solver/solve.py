"""Fit of all areas, tanks and species at once.

Gauss-Newton on the joint problem of every stage, rate, ceiling, drift and effect (``sweep`` and
``hierarchy`` hold the two halves of its arrow-shaped system), with the weights of the current
point: quasi-likelihood on what each reading says beyond what was foreseen without it. An area that
begins to swing halves its steps.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.rows.chains import Chains, Link
from growthcast.fit.solver.hierarchy import (
    OWN,
    AreaInformation,
    Effects,
    area_information,
    solve_effects,
)
from growthcast.fit.solver.linearise import BORDER, KNOTS, RATE, Linearised, linearise
from growthcast.fit.solver.problem import Point, Problem, starting_point
from growthcast.fit.solver.shares import shares_of
from growthcast.fit.solver.sweep import Swept, sweep

__all__ = [
    "ROUGHLY",
    "Solution",
    "View",
    "departure_of",
    "solve",
    "view_of",
]

FloatArray = NDArray[np.float64]

MOST_STEPS = 60
TOLERANCE, ROUGHLY = 1e-3, 1e-2
"""A fit ends when no area moves further than this, in standard deviations; and one that is only a
step on the way to another."""
EXACT_TOLERANCE = 1e-6
"""Where spans have no noise of their own a fit is least squares, judged by its digits."""
SHARING_STEPS = 12
"""Steps after which the shares of whole-tank weights are left as they are."""
LONGEST_STEP = np.array([0.7, 0.4, 0.7, 0.4] + [0.5] * (BORDER - KNOTS))[:, None]
LONGEST_STAGE_STEP = 3.0
LOWEST_STAGE, HIGHEST_START, LAST_STAGE = -10.0, 5.0, 60.0
"""Where stages end: no ruler tells them from bare, or from full."""
SETTLED = 1e-2
"""An area has settled when its steps are no longer than this, in standard deviations."""
LENGTHEN, LEAST_SHARE = 1.5, 1.0 / 64.0


@dataclass(frozen=True, slots=True)
class View:
    """The whole problem linearised at a point."""

    at: tuple[Linearised, ...]
    swept: tuple[Swept, ...]
    area: AreaInformation
    effects: Effects


@dataclass(frozen=True, slots=True)
class Solution:
    """The fitted point, the curvature around it, and whose steps settled (A,).

    ``problem`` is the one that was solved: as posed, with whole-tank weights shared out.
    """

    problem: Problem
    point: Point
    view: View
    converged: NDArray[np.bool_]
    steps: int


def solve(
    problem: Problem,
    start: Point | None = None,
    most_steps: int = MOST_STEPS,
    tolerance: float = TOLERANCE,
) -> Solution:
    """Fit; areas whose steps do not settle within the limit come back as not converged."""
    if problem.is_exact:
        tolerance = EXACT_TOLERANCE
    point = start or starting_point(problem)
    pace = _Pace(np.ones(problem.area_count), np.zeros_like(point.border))
    moved = np.full(problem.area_count, np.inf)
    view, steps = view_of(problem, point), 0
    while steps < most_steps and moved.max(initial=0.0) > tolerance:
        if steps < SHARING_STEPS and problem.has_shares:
            problem, point = shared_out(problem, point, view)
            view = view_of(problem, point)
        point, pace, moved = _step(problem, point, view, pace)
        view = view_of(problem, point)
        steps += 1
    return Solution(
        problem=problem,
        point=point,
        view=view,
        converged=moved <= SETTLED,
        steps=steps,
    )


def view_of(problem: Problem, point: Point) -> View:
    """Linearise a problem at a point and eliminate everything down to the shared effects."""
    information = np.zeros((BORDER, BORDER, problem.area_count))
    score = np.zeros((BORDER, problem.area_count))
    at, swept = [], []
    for block, stages, shared in zip(problem.blocks, point.stages, point.shared_cm, strict=True):
        chains = block.chains
        here = linearise(
            chains,
            block.drift,
            stages,
            point.border,
            problem.shape,
            problem.errors,
            block.trust,
            shared,
        )
        done = sweep(chains, here)
        information[:, :, chains.area] = done.information
        score[:, chains.area] = done.score
        at.append(here)
        swept.append(done)
    area = area_information(information, score, point.border, problem.pooling)
    effects = solve_effects(area, point.border, problem.pooling)
    return View(tuple(at), tuple(swept), area, effects)


def shared_out(problem: Problem, point: Point, view: View) -> tuple[Problem, Point]:
    """Share whole-tank weights out over the areas, by what each is expected to have given."""
    blocks, shared = [], []
    for block, here, swept in zip(problem.blocks, view.at, view.swept, strict=True):
        removed, unsure = shares_of(block.shares, block.chains, here, swept, point.border)
        blocks.append(replace(block, chains=block.chains.with_removed(removed)))
        shared.append(unsure)
    return replace(problem, blocks=tuple(blocks)), replace(point, shared_cm=tuple(shared))


@dataclass(frozen=True, slots=True)
class _Pace:
    """Share of its step that each area takes (A,), and the last step in sd (B, A)."""

    share: FloatArray
    last: FloatArray


def _step(
    problem: Problem, point: Point, view: View, pace: _Pace
) -> tuple[Point, _Pace, FloatArray]:
    """One Gauss-Newton step; returns the new point, its pace, and how far each area moved, in sd.

    An area that turns back on its last step takes half as much of the next, and lengthens its
    steps again while it goes straight on.
    """
    departure = departure_of(problem, point, view)
    in_sd = departure / _scale(problem, view.area)
    turned = (in_sd * pace.last).sum(axis=0) < 0.0
    share = np.clip(np.where(turned, 0.5, LENGTHEN) * pace.share, LEAST_SHARE, 1.0)
    tank = problem.pooling.tank
    together = np.full(problem.pooling.tank_precision.size, 1.0)
    np.minimum.at(together, tank, share)  # a tank's drift is one
    taken = departure * share
    taken[KNOTS:] = departure[KNOTS:] * together[tank]
    taken *= np.min(LONGEST_STEP / np.maximum(np.abs(taken), LONGEST_STEP), axis=0)
    stages = tuple(
        _within_reach(block.chains, stages, problem.stages_follow(block.chains, at, swept, taken))
        for block, stages, at, swept in zip(
            problem.blocks, point.stages, view.at, view.swept, strict=True
        )
    )
    new = Point(stages, point.border + taken, point.shared_cm)
    return new, _Pace(share, in_sd), np.max(np.abs(in_sd), axis=0)


def _within_reach(chains: Chains, stages: FloatArray, step: FloatArray) -> FloatArray:
    """Move stages, but not along the flats of the curve, where a step in height has no bound.

    A start or a cut stays where its height still tells of it; only growth leads to the ceiling.
    """
    highest = np.where(chains.nodes.link == Link.GREW, LAST_STAGE, HIGHEST_START)
    moved = stages + np.clip(step, -LONGEST_STAGE_STEP, LONGEST_STAGE_STEP)
    kept: FloatArray = np.clip(moved, LOWEST_STAGE, highest)
    return kept


def _scale(problem: Problem, area: AreaInformation) -> FloatArray:
    """Standard deviations (B, A) given the rest, by which steps are judged."""
    pooling = problem.pooling
    held = area.precision[:, 0, 0] + pooling.area_precision
    rate = 1.0 / np.sqrt(np.where(held > 0.0, held, 1.0))
    own = np.sqrt(np.maximum(np.einsum("aii->ai", area.own_covariance), 0.0))
    scale = np.empty((BORDER, pooling.tank.size))
    scale[RATE] = rate
    scale[OWN] = np.where(own > 0.0, own, 1.0).T
    scale[KNOTS:] = 1.0 / np.sqrt(np.diag(pooling.knot_precision))[:, None]
    return scale


def departure_of(problem: Problem, point: Point, view: View) -> FloatArray:
    """Step (B, A) of every area's border that goes with the shared effects."""
    pooling, area, effects = problem.pooling, view.area, view.effects
    own = pooling.area_precision
    held, _, follows = area.rate_given(own)
    knots = effects.knots()[:, pooling.tank] - point.border[KNOTS:]
    pulled = area.score[:, 0] + own * (effects.centre(pooling) - point.border[RATE])
    rate = np.divide(pulled, held, out=np.zeros_like(held), where=held > 0.0)
    rate = rate + np.einsum("am,ma->a", follows, knots)
    moved = np.concatenate([rate[None], knots])
    own_moved = (area.own_mean + np.einsum("aik,ka->ai", area.own_follows, moved)).T
    return np.concatenate([rate[None], own_moved, knots])
