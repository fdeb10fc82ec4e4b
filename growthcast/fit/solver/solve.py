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
from growthcast.fit.solver.drift import SpanDrift, span_drift
from growthcast.fit.solver.hierarchy import (
    OWN,
    AreaInformation,
    Effects,
    Pooling,
    area_information,
    solve_effects,
)
from growthcast.fit.solver.linearise import (
    BORDER,
    CEILING,
    HABIT,
    KNOTS,
    RATE,
    ErrorModel,
    Linearised,
    linearise,
)
from growthcast.fit.solver.shares import SharedWeights, shares_of
from growthcast.fit.solver.sweep import (
    Swept,
    filtered,
    smooth,
    sweep,
)
from growthcast.growth.logistic import shape_factor, stage

__all__ = ["Block", "Point", "Problem", "Solution", "View", "departure_of", "solve", "view_of"]

FloatArray = NDArray[np.float64]

MOST_STEPS = 60
TOLERANCE = 1e-6
SHARING_STEPS = 12
"""Steps after which the shares of whole-tank weights are left as they are."""
LONGEST_STEP = np.array([0.7, 0.4, 0.7, 0.4] + [0.5] * (BORDER - KNOTS))[:, None]
LONGEST_STAGE_STEP = 3.0
LOWEST_STAGE, HIGHEST_START, LAST_STAGE = -10.0, 5.0, 60.0
"""Where stages end: no ruler tells them from bare, or from full."""
SETTLED = 1e-3
"""An area has settled when its steps are no longer than this, in standard deviations."""
LENGTHEN, LEAST_SHARE = 1.5, 1.0 / 64.0
HEADROOM = 1.1
"""A ceiling starts at least this far above the highest reading."""


@dataclass(frozen=True, slots=True)
class Block:
    """A block of chains with the regression of its spans on the drift, and its shared weights.

    ``trust`` (N,) is the share of its weight that each reading keeps; ``cut_away`` (N,) tells where
    a span was broken for a cut nobody logged, ``expected_cm`` and ``expected_sd_cm`` (N,) what was
    foreseen there.
    """

    chains: Chains
    drift: SpanDrift
    shares: SharedWeights
    trust: FloatArray
    cut_away: NDArray[np.bool_]
    expected_cm: FloatArray
    expected_sd_cm: FloatArray

    @classmethod
    def of(cls, chains: Chains, on_day: float, shares: SharedWeights) -> Block:
        """Return a block of which nothing is in doubt yet."""
        nodes = chains.nodes
        return cls(
            chains=chains,
            drift=span_drift(nodes.day - nodes.span_d, nodes.day, on_day),
            shares=shares,
            trust=np.ones(nodes.area.size),
            cut_away=np.zeros(nodes.area.size, dtype=bool),
            expected_cm=np.full(nodes.area.size, np.nan),
            expected_sd_cm=np.full(nodes.area.size, np.nan),
        )


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything a fit needs, as arrays: blocks, priors, errors and the shape (A,) of each area.

    ``first_habit`` (A,) is the log cut height a fit starts from.
    """

    blocks: tuple[Block, ...]
    pooling: Pooling
    errors: ErrorModel
    shape: FloatArray
    first_habit: FloatArray

    @property
    def area_count(self) -> int:
        """Number of areas, with or without a log."""
        return int(self.pooling.tank.size)

    def stages_follow(
        self, chains: Chains, at: Linearised, swept: Swept, departure: FloatArray
    ) -> FloatArray:
        """Departure of the stages at which the chains are linearised next.

        Each is taken as known by its day: a later reading must not move the prediction that it is
        compared with. Without noise between readings an area's chain is one curve, and all of its
        readings move it: least squares.
        """
        if self.errors.span == 0.0 and self.errors.drift == 0.0:
            return smooth(chains, at, swept, departure)
        return filtered(chains, swept, departure)

    @property
    def has_shares(self) -> bool:
        """Whether any weight is that of a whole tank."""
        return any((block.chains.nodes.share_of >= 0).any() for block in self.blocks)


@dataclass(frozen=True, slots=True)
class Point:
    """Where a fit stands: stages (N,) of each block, border (B, A), length shares of weights."""

    stages: tuple[FloatArray, ...]
    border: FloatArray
    shared_cm: tuple[FloatArray, ...]


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


def solve(problem: Problem, start: Point | None = None, most_steps: int = MOST_STEPS) -> Solution:
    """Fit; areas whose steps do not settle within the limit come back as not converged."""
    point = start or _start(problem)
    pace = _Pace(np.ones(problem.area_count), np.zeros_like(point.border))
    moved = np.full(problem.area_count, np.inf)
    view, steps = view_of(problem, point), 0
    while steps < most_steps and moved.max(initial=0.0) > TOLERANCE:
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


def _start(problem: Problem) -> Point:
    """Start from the table's rates, ceilings above what was read, stages at the readings."""
    pooling = problem.pooling
    highest = np.full(problem.area_count, 1e-9)
    for block in problem.blocks:
        nodes = block.chains.nodes
        np.fmax.at(highest, nodes.area, nodes.reading_cm)
    border = np.zeros((BORDER, problem.area_count))
    border[RATE] = pooling.offset
    border[HABIT] = problem.first_habit
    border[CEILING] = np.maximum(pooling.log_ceiling, np.log(HEADROOM * highest))
    stages = tuple(_start_stages(problem, block, border) for block in problem.blocks)
    shared = tuple(np.zeros(block.chains.nodes.area.size) for block in problem.blocks)
    return Point(stages, border, shared)


def _start_stages(problem: Problem, block: Block, border: FloatArray) -> FloatArray:
    chains, nodes = block.chains, block.chains.nodes
    usual = np.where(nodes.link >= Link.CUT, np.exp(border[HABIT])[nodes.area], nodes.guess_cm)
    usual = np.where(nodes.link == Link.AIMED, np.exp(border[HABIT])[nodes.area], usual)
    known = np.where(np.isfinite(nodes.reading_cm), nodes.reading_cm, usual)
    ceiling, shape = np.exp(border[CEILING])[nodes.area], problem.shape[nodes.area]
    clipped = np.clip(known, 0.01 * ceiling, 0.99 * ceiling)
    stages = stage(np.where(np.isfinite(clipped), clipped, 0.5 * ceiling), ceiling, shape)
    rate = np.exp(border[RATE])[nodes.area] * shape_factor(shape)
    grown = np.where(nodes.link == Link.GREW, rate * nodes.growth_d, 0.0)
    for here in chains.positions[1:]:
        # A node that was not read starts where its link predicts it.
        missing = np.flatnonzero(~np.isfinite(known[here])) + here.start
        predicted = stages[chains.previous[missing]] + grown[missing]
        stages[missing] = np.where(nodes.link[missing] == Link.GREW, predicted, stages[missing])
    return stages


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
