"""Several problems stepped as one: what a call costs in a small problem is paid once.

Areas, tanks, species and weights of the problems stand one after another, so that none of them
tells another anything. They have the same spreads, each of which is one value of a whole problem.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, TypeVar

import numpy as np

from growthcast.arrays import IntArray
from growthcast.fit.solver.part import OF_AREAS, Taken, given_back, packed
from growthcast.fit.solver.problem import Block, Point, Problem, with_heights_that_count
from growthcast.fit.solver.solve import Solution
from growthcast.fit.solver.view import view_of
from growthcast.nouns import dataclass

Noun = TypeVar("Noun")
SHARED = ("offset", "tank_precision", "grams", "everything", "said", "row")
"""Fields of a problem's nouns, beside those of its areas, that stand one after another."""


@dataclass(frozen=True, slots=True)
class Together:
    """Several problems as one, and what each of its blocks has of theirs."""

    problem: Problem
    several: tuple[Problem, ...]
    taken: tuple[tuple[Taken, ...], ...]

    @property
    def of_weight(self) -> IntArray:
        """Whose each weight of a whole tank is, (W,)."""
        count = [problem.weights.grams.size for problem in self.several]
        return np.repeat(np.arange(len(count)), count)

    def apart(self, solution: Solution) -> list[Solution]:
        """Return the solution of each problem from that of all."""
        if not self.taken:
            return [solution]
        whole, found = solution.problem, []
        blocks = [block for problem in self.several for block in problem.blocks]
        empty = [np.empty(block.trust.size) for block in blocks]
        told, stages = given_back(blocks, empty, self.taken, solution.view)
        areas = _runs([problem.area_count for problem in self.several])
        numbers = _runs([len(problem.blocks) for problem in self.several])
        weighed = _runs([problem.weights.grams.size for problem in self.several])
        for problem, mine, its, rows in zip(self.several, areas, numbers, weighed, strict=True):
            alone = replace(
                problem,
                blocks=told[its],
                pooling=replace(problem.pooling, weighed=whole.pooling.weighed[:, mine]),
                weights=replace(problem.weights, everything=whole.weights.everything[rows]),
            )
            point = Point(stages[its], solution.point.border[:, mine])
            view = view_of(with_heights_that_count(alone), point)
            found.append(Solution(view, solution.converged[mine], solution.steps))
        return found


def together(several: Sequence[Problem]) -> Together:
    """Join problems that have the same spreads.

    Parameters
    ----------
    several : sequence of Problem
        At least one; none of them with rises.

    Returns
    -------
    Together
        One problem, and how its solution comes apart.
    """
    first = several[0]
    if len(several) == 1:
        return Together(first, tuple(several), ())
    pooling = _one_after_another([problem.pooling for problem in several])
    blocks = [
        _moved_on(block, areas.start, rows.start)
        for problem, areas, rows in zip(
            several,
            _runs([problem.area_count for problem in several]),
            _runs([problem.weights.grams.size for problem in several]),
            strict=True,
        )
        for block in problem.blocks
    ]
    made, taken = packed(blocks, np.ones(pooling.offset.size, dtype=bool))
    # Species that nobody has planted keep their priors, and tell nobody anything.
    planted, species = zip(*(problem.pooling.planted for problem in several), strict=True)
    prior = [p.pooling.species_precision[its] for p, its in zip(several, planted, strict=True)]
    tanks = [problem.pooling.tank_precision.size for problem in several]
    problem = replace(
        _one_after_another(several),
        blocks=made,
        pooling=replace(
            pooling,
            tank=_counted_on([problem.pooling.tank for problem in several], tanks),
            species=_counted_on(species, [its.size for its in planted]),
            species_precision=np.concatenate(prior),
        ),
        errors=_one_after_another([problem.errors for problem in several]),
        weights=_one_after_another([problem.weights for problem in several]),
    )
    return Together(problem, tuple(several), taken)


def _one_after_another(nouns: Sequence[Noun]) -> Noun:
    fields: dict[str, Any] = {}
    for name in (*OF_AREAS, *SHARED):
        if getattr(nouns[0], name, None) is not None:
            fields[name] = np.concatenate([getattr(noun, name) for noun in nouns], axis=-1)
    return replace(nouns[0], **fields)  # type: ignore[type-var]


def _counted_on(places: Sequence[IntArray], sizes: Sequence[int]) -> IntArray:
    """Places (A,) among the tanks, or species, of all problems."""
    runs = zip(places, _runs(sizes), strict=True)
    return np.concatenate([place + run.start for place, run in runs])


def _runs(sizes: Sequence[int]) -> list[slice]:
    """Where so many of each stand one after another."""
    return [slice(sum(sizes[:place]), sum(sizes[: place + 1])) for place in range(len(sizes))]


def _moved_on(block: Block, area: int, weight: int) -> Block:
    """Return a block whose areas and weights come after so many others."""
    chains, nodes = block.chains, block.chains.nodes
    bucket = np.where(nodes.bucket >= 0, nodes.bucket + weight, nodes.bucket)
    nodes = replace(nodes, area=nodes.area + area, bucket=bucket)
    return replace(block, chains=replace(chains, nodes=nodes, area=chains.area + area))
