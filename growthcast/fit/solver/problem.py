"""What a fit is given, as arrays, and where it starts from."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from growthcast.arrays import BoolArray, FloatArray
from growthcast.fit.model.drift import SpanDrift, span_drift
from growthcast.fit.model.errors import ErrorModel
from growthcast.fit.rows.chains import Chains, Link
from growthcast.fit.sites.nouns import Members, Sites, Weights, members_of
from growthcast.fit.solver.areas import Pooling
from growthcast.fit.solver.linearise import BORDER, CEILING, HABIT, RATE
from growthcast.growth.logistic import shape_factor, stage

FURTHEST_START = 5.0
"""A rate starts within this factor of the table's."""
HEADROOM = 1.1
"""A ceiling starts at least this far above the highest reading."""
NEAR_CEILING_SHARE, READINGS_NEAR_CEILING = 0.8, 2
"""A ceiling is learnt once this many readings lie above this share of the one expected."""


@dataclass(frozen=True, slots=True)
class Block:
    """A block of chains with the regression of its spans on the drift.

    ``sites`` are what looks and weights of whole tanks say of its nodes, worked out again and again
    while a fit begins; ``members`` are the nodes of which those weights speak. ``trust`` (N,) is
    the share of its weight that each reading keeps; ``cut_away`` (N,) tells where a span was broken
    for a cut nobody logged, ``expected_cm`` and ``expected_sd_cm`` (N,) what was foreseen at
    either.
    """

    chains: Chains
    drift: SpanDrift
    members: Members
    sites: Sites
    trust: FloatArray
    cut_away: BoolArray
    expected_cm: FloatArray
    expected_sd_cm: FloatArray

    @classmethod
    def of(cls, chains: Chains, on_day: float) -> Block:
        """Return a block of which nothing is in doubt yet."""
        nodes, size = chains.nodes, chains.nodes.area.size
        nothing = np.broadcast_to(np.nan, size)
        return cls(
            chains=chains,
            drift=span_drift(nodes.day - nodes.span_d, nodes.day, on_day),
            members=members_of(nodes),
            sites=Sites.to_begin_with(chains),
            trust=np.broadcast_to(1.0, size),
            cut_away=np.broadcast_to(np.False_, size),
            expected_cm=nothing,
            expected_sd_cm=nothing,
        )


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything a fit needs, as arrays: blocks, priors, errors, weights, shapes (A,) of the areas.

    ``first_habit`` (A,) is the log cut height a fit starts from, ``lag_d`` (A,) the days of growth
    lost after a cut [d]. ``rises`` (A,) are areas whose unbroken rises have been found to teach
    bend and ceiling; none where it is None.
    """

    blocks: tuple[Block, ...]
    pooling: Pooling
    errors: ErrorModel
    weights: Weights
    shape: FloatArray
    first_habit: FloatArray
    lag_d: FloatArray
    rises: BoolArray | None = None

    @property
    def area_count(self) -> int:
        """Number of areas, with or without a log."""
        return int(self.pooling.tank.size)

    @property
    def is_exact(self) -> bool:
        """Whether growth between readings has no noise, so that an area's chain is one curve."""
        return self.errors.span == 0.0 and self.errors.drift == 0.0

    @property
    def has_sites(self) -> bool:
        """Whether anything is known by a look or by a whole tank's weight."""
        return any(
            bool(block.members.bucket.size) or bool(block.chains.nodes.look.any())
            for block in self.blocks
        )


@dataclass(frozen=True, slots=True)
class Point:
    """Where a fit stands: stages (N,) of each block, border (B, A)."""

    stages: tuple[FloatArray, ...]
    border: FloatArray


def with_heights_that_count(problem: Problem) -> Problem:
    """Let the heights that were found teach the ceilings, as far as they count.

    Parameters
    ----------
    problem : Problem
        Readings that were set aside as mistakes have lost their trust: they do not count.

    Returns
    -------
    Problem
        Its pooling knows the two highest heights [cm, or % cover] found of each area near the
        ceiling expected; where both lie near it the ceiling is learnt.
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
    near: BoolArray = highest > NEAR_CEILING_SHARE * np.exp(pooling.log_ceiling)
    learnt = replace(
        pooling,
        ceiling_learnt=(near[0] & near[1]) | (False if problem.rises is None else problem.rises),
        highest_cm=np.where(near, highest, 0.0),
        highest_sd_cm=sd,
    )
    return replace(problem, pooling=learnt)


def starting_point(problem: Problem) -> Point:
    """Start from ceilings above what was read, stages at the readings, rates between them."""
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
    border[RATE] += _faster_than_the_table(problem, stages, border)
    return Point(stages, border)


def _faster_than_the_table(
    problem: Problem, stages: tuple[FloatArray, ...], border: FloatArray
) -> FloatArray:
    """How much faster (A,) each area grew from reading to reading than at these rates, as a log."""
    grown, due, spans = np.zeros((3, problem.area_count))
    for block, stage_of_node in zip(problem.blocks, stages, strict=True):
        chains, nodes = block.chains, block.chains.nodes
        read = np.isfinite(nodes.reading_cm)
        told = np.flatnonzero((nodes.link == Link.GREW) & read & read[chains.previous])
        owner = nodes.area[told]
        rate = np.exp(border[RATE, owner]) * shape_factor(problem.shape[owner])
        step = stage_of_node[told] - stage_of_node[chains.previous[told]]
        usual = rate * nodes.growth_d[told] * nodes.awake_share(problem.lag_d, told)
        for total, by in ((grown, step), (due, usual), (spans, None)):
            total += np.bincount(owner, by, minlength=problem.area_count)
    ratio = np.clip(grown / np.where(due > 0.0, due, 1.0), 1.0 / FURTHEST_START, FURTHEST_START)
    faster: FloatArray = np.log(ratio) * spans / (1.0 + spans)
    return faster


def _start_stages(problem: Problem, block: Block, border: FloatArray) -> FloatArray:
    chains, nodes = block.chains, block.chains.nodes
    cut = (nodes.link >= Link.UNSAID) | (nodes.link == Link.AIMED)
    usual = np.where(cut, np.exp(border[HABIT, nodes.area]), nodes.guess_cm)
    known = np.where(np.isfinite(nodes.reading_cm), nodes.reading_cm, usual)
    ceiling, shape = np.exp(border[CEILING, nodes.area]), problem.shape[nodes.area]
    clipped = np.clip(known, 0.01 * ceiling, 0.99 * ceiling)
    stages = stage(np.where(np.isfinite(clipped), clipped, 0.5 * ceiling), ceiling, shape)
    rate = np.exp(border[RATE, nodes.area]) * shape_factor(shape)
    usual = rate * nodes.growth_d * nodes.awake_share(problem.lag_d, slice(None))
    grown = np.where(nodes.link == Link.GREW, usual, 0.0)
    for here in chains.positions[1:]:
        # A node that was not read starts where its link predicts it.
        missing = np.flatnonzero(~np.isfinite(known[here])) + here.start
        predicted = stages[chains.previous[missing]] + grown[missing]
        stages[missing] = np.where(nodes.link[missing] == Link.GREW, predicted, stages[missing])
    return stages
