"""The whole problem linearised at one point, everything down to the shared effects eliminated."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.rows.drift import SpanDrift
from growthcast.fit.solver.hierarchy import (
    AreaInformation,
    Effects,
    area_information,
    solve_effects,
)
from growthcast.fit.solver.linearise import BORDER, KNOTS, RATE, Linearised, linearise
from growthcast.fit.solver.problem import Point, Problem
from growthcast.fit.solver.shares import shares_of
from growthcast.fit.solver.sweep import Filtered, Swept, sweep, with_starts

__all__ = ["View", "departure_of", "seen", "shared_out", "view_of"]

FloatArray = NDArray[np.float64]

MOST_BLOCKS_KEPT = 4
"""Of books with more blocks a view keeps what a step needs: keeping all of it would cost more time
in memory than working blocks out again where they are asked for."""


@dataclass(frozen=True, slots=True)
class View:
    """The problem linearised at a point.

    ``filtered`` are each block's stages as known by their day, those of starts that nobody read as
    known since. ``information`` (A, B, B) and ``score`` (B, A) are what the chains say on
    departures of the borders, ``area`` what is left of that without what an area has alone, and
    ``effects`` what follows for all they share.
    """

    problem: Problem
    point: Point
    kept: tuple[tuple[Linearised, Swept], ...]
    filtered: tuple[Filtered, ...]
    information: FloatArray
    score: FloatArray
    area: AreaInformation
    effects: Effects

    def block(self, number: int) -> tuple[Linearised, Swept]:
        """Return one block linearised and swept."""
        return self.kept[number] if self.kept else seen(self.problem, self.point, number)


def view_of(problem: Problem, point: Point) -> View:
    """Linearise a problem at a point and eliminate everything down to the shared effects."""
    information = np.zeros((problem.area_count, BORDER, BORDER))
    score = np.zeros((BORDER, problem.area_count))
    kept, filtered = [], []
    for number, block in enumerate(problem.blocks):
        here, swept = seen(problem, point, number)
        information[block.chains.area] = swept.information
        score[:, block.chains.area] = swept.score
        filtered.append(with_starts(block.chains, here, swept))
        if len(problem.blocks) <= MOST_BLOCKS_KEPT:
            kept.append((here, swept))
    area = area_information(information, score, point.border, problem.pooling)
    effects = solve_effects(area, point.border, problem.pooling)
    seen_so = tuple(kept), tuple(filtered), information, score
    return View(problem, point, *seen_so, area, effects)


def seen(
    problem: Problem, point: Point, number: int, drift: SpanDrift | None = None
) -> tuple[Linearised, Swept]:
    """Linearise and sweep one block at a point, with its own drift or another."""
    block = problem.blocks[number]
    here = linearise(
        block.chains,
        drift or block.drift,
        point.stages[number],
        point.border,
        problem.shape,
        problem.errors,
        block.trust,
        point.shared_cm[number],
    )
    return here, sweep(block.chains, here)


def shared_out(view: View) -> tuple[Problem, Point]:
    """Share whole-tank weights out over the areas, by what each is expected to have given."""
    problem, point = view.problem, view.point
    blocks, shared = [], []
    for number, block in enumerate(problem.blocks):
        removed, unsure = shares_of(block.shares, block.chains, *view.block(number), point.border)
        blocks.append(replace(block, chains=block.chains.with_removed(removed)))
        shared.append(unsure)
    return replace(problem, blocks=tuple(blocks)), replace(point, shared_cm=tuple(shared))


def departure_of(view: View) -> FloatArray:
    """Step (B, A) of every area's border that goes with the shared effects."""
    pooling, area, effects = view.problem.pooling, view.area, view.effects
    border, own = view.point.border, pooling.area_precision
    held, _, follows = area.rate_given(own)
    knots = effects.knots()[:, pooling.tank] - border[KNOTS:]
    pulled = area.score[:, 0] + own * (effects.centre(pooling) - border[RATE])
    rate = np.divide(pulled, held, out=np.zeros_like(held), where=held > 0.0)
    rate = rate + np.einsum("am,ma->a", follows, knots)
    moved = np.concatenate([rate[None], knots])
    own_moved = (area.own_mean + np.einsum("aik,ka->ai", area.own_follows, moved)).T
    return np.concatenate([rate[None], own_moved, knots])
