"""Some tanks of a problem as a problem of their own.

Tanks tell of each other only through their species, of which a large book knows much. Where most
areas have settled, the others are fitted alone, their species held where the whole has them, and
put back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.rows.chains import Chains
from growthcast.fit.rows.drift import SpanDrift
from growthcast.fit.solver.areas import Pooling
from growthcast.fit.solver.linearise import ErrorModel
from growthcast.fit.solver.problem import Block, Point, Problem
from growthcast.fit.solver.view import View

__all__ = ["Part", "part_of", "pays_alone", "tanks_of"]

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Values = TypeVar("Values", bound=NDArray[Any])

FEW_TANKS = 0.5
"""Share of the tanks below which some are fitted alone."""
HELD = 1e12
"""Precision of what is taken as known."""


def tanks_of(view: View, areas: BoolArray) -> BoolArray:
    """Tanks (K,) of some areas (A,)."""
    pooling = view.problem.pooling
    count = np.bincount(pooling.tank[areas], minlength=pooling.tank_precision.size)
    return count > 0


def pays_alone(view: View, tanks: BoolArray) -> bool:
    """Whether tanks (K,) are so few of a large book that it pays to fit them alone."""
    return len(view.problem.blocks) > 1 and float(tanks.mean()) < FEW_TANKS


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a problem and where it stands.

    ``areas`` (a,) are the places of its areas in the whole; ``nodes`` holds, for each block of the
    whole, the places of its nodes there.
    """

    problem: Problem
    point: Point
    areas: IntArray
    nodes: tuple[IntArray, ...]

    def put_back(self, whole: View, part: View) -> tuple[Problem, Point]:
        """Return the whole's problem and point with the part's in their place."""
        border = whole.point.border.copy()
        border[:, self.areas] = part.point.border
        stages, shared = list(whole.point.stages), list(whole.point.shared_cm)
        blocks = list(whole.problem.blocks)
        held = [number for number, at in enumerate(self.nodes) if at.size]
        for place, number in enumerate(held):
            at = self.nodes[number]
            stages[number] = _put(stages[number], at, part.point.stages[place])
            shared[number] = _put(shared[number], at, part.point.shared_cm[place])
            blocks[number] = _block_alike(blocks[number], at, part.problem.blocks[place])
        problem = replace(whole.problem, blocks=tuple(blocks))
        return problem, Point(tuple(stages), border, tuple(shared))


def part_of(view: View, tanks: BoolArray) -> Part:
    """Return the part of a problem that holds some of its tanks (K,)."""
    problem, point = view.problem, view.point
    kept = tanks[problem.pooling.tank]
    areas = np.flatnonzero(kept)
    cut = [block.chains.of_areas(kept) for block in problem.blocks]
    held = [n for n, (_, at) in enumerate(cut) if at.size]
    blocks = [_block(problem.blocks[n], *cut[n], areas) for n in held]
    part = Problem(
        blocks=tuple(blocks),
        pooling=_pooling(view, tanks, areas),
        errors=_errors(problem.errors, areas),
        shape=problem.shape[areas],
        first_habit=problem.first_habit[areas],
    )
    began = Point(
        stages=tuple(point.stages[n][cut[n][1]] for n in held),
        border=point.border[:, areas],
        shared_cm=tuple(point.shared_cm[n][cut[n][1]] for n in held),
    )
    return Part(part, began, areas, tuple(at for _, at in cut))


def _block(block: Block, chains: Chains, at: IntArray, areas: IntArray) -> Block:
    return Block(
        chains=chains,
        drift=SpanDrift(block.drift.weight[:, at], block.drift.remainder[at]),
        shares=replace(block.shares, gram_per_cm=block.shares.gram_per_cm[areas]),
        trust=block.trust[at],
        cut_away=block.cut_away[at],
        expected_cm=block.expected_cm[at],
        expected_sd_cm=block.expected_sd_cm[at],
    )


def _block_alike(whole: Block, at: IntArray, part: Block) -> Block:
    """Return a block with what a part of it says of shares and of which nodes are in doubt."""
    nodes, theirs = whole.chains.nodes, part.chains.nodes
    nodes = replace(
        nodes,
        link=_put(nodes.link, at, theirs.link),
        removed_cm=_put(nodes.removed_cm, at, theirs.removed_cm),
    )
    return replace(
        whole,
        chains=replace(whole.chains, nodes=nodes),
        trust=_put(whole.trust, at, part.trust),
        cut_away=_put(whole.cut_away, at, part.cut_away),
        expected_cm=_put(whole.expected_cm, at, part.expected_cm),
        expected_sd_cm=_put(whole.expected_sd_cm, at, part.expected_sd_cm),
    )


def _put(whole: Values, at: IntArray, part: Values) -> Values:
    filled = whole.copy()
    filled[at] = part
    return filled


def _errors(errors: ErrorModel, areas: IntArray) -> ErrorModel:
    return replace(
        errors,
        height_error_cm=errors.height_error_cm[areas],
        height_error_share=errors.height_error_share[areas],
        floor_cm=errors.floor_cm[areas],
        budget_cm=errors.budget_cm[areas],
    )


def _pooling(view: View, tanks: BoolArray, areas: IntArray) -> Pooling:
    """Priors of some areas, what the whole says of their species held."""
    pooling, effects = view.problem.pooling, view.effects
    return replace(
        pooling,
        tank=(np.cumsum(tanks) - 1)[pooling.tank[areas]],
        species=pooling.species[areas],
        offset=(pooling.offset + effects.species[pooling.species])[areas],
        log_ceiling=pooling.log_ceiling[areas],
        ceiling_precision=pooling.ceiling_precision[areas],
        log_habit=pooling.log_habit[areas],
        habit_precision=pooling.habit_precision[areas],
        tank_precision=pooling.tank_precision[tanks],
        species_precision=np.full_like(effects.species, HELD),
        ceiling_learnt=pooling.ceiling_learnt[areas],
    )
