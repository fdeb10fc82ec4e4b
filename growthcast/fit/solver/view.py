"""The whole problem linearised at one point, everything down to the shared effects eliminated."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.rows.chains import Chains
from growthcast.fit.rows.drift import SpanDrift
from growthcast.fit.solver.areas import AreaInformation, area_information
from growthcast.fit.solver.hierarchy import Effects, solve_effects
from growthcast.fit.solver.linearise import (
    BORDER,
    DENSITY,
    HABIT,
    KNOTS,
    RATE,
    Linearised,
    linearise,
)
from growthcast.fit.solver.problem import Point, Problem, SharedWeights
from growthcast.fit.solver.sweep import Filtered, Swept, said_of, sweep, with_starts

__all__ = ["View", "departure_of", "seen", "shared_out", "view_of"]

FloatArray = NDArray[np.float64]

MOST_BLOCKS_KEPT = 4
"""Of books with more blocks a view keeps what a step needs: keeping all of it would cost more time
in memory than working blocks out again where they are asked for."""


SMALLEST_SHARE = 0.02
"""An area that was there is taken to have given at least this part of the weight."""


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
        mine = block.chains.area
        information[mine], score[:, mine] = said_of(block.chains, swept)
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
        removed, unsure = _shares_of(block.shares, block.chains, *view.block(number), point.border)
        blocks.append(replace(block, chains=block.chains.with_removed(removed)))
        shared.append(unsure)
    return replace(problem, blocks=tuple(blocks)), replace(point, shared_cm=tuple(shared))


def _shares_of(
    shares: SharedWeights, chains: Chains, at: Linearised, swept: Swept, border: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Length (N,) that each node's share comes to [cm], and what the others add to its doubt [cm].

    Each area is told the weight less what the others are expected to have given, and is told it
    with the others' uncertainty: the message that a sum sends to one of its terms. What an area
    gave is expected from the stage it was found at before any reading of its own, and from where it
    is usually cut to. Other nodes keep their length and get 0.
    """
    nodes = chains.nodes
    removed, unsure = nodes.removed_cm.copy(), np.zeros(nodes.area.size)
    part = np.flatnonzero(nodes.share_of >= 0)
    if not part.size:
        return removed, unsure
    weight, area, found = nodes.share_of[part], nodes.area[part], chains.previous[part]
    dense = shares.gram_per_cm[area] * np.exp(border[DENSITY, area])
    usual, usual_sd = np.exp(border[HABIT, area]), nodes.aim_sd_cm[part]
    expected_cm = at.height[found] + at.slope[found] * swept.ahead[0, found]
    given = dense * np.maximum(expected_cm - usual, 0.0)
    spread = at.slope[found] ** 2 * swept.ahead_variance[found] + usual_sd**2
    variance = dense**2 * spread
    total = np.bincount(weight, given, minlength=shares.total_g.size)
    doubt = np.bincount(weight, variance, minlength=shares.total_g.size)
    others = total[weight] - given
    left = np.maximum(shares.total_g[weight] - others, SMALLEST_SHARE * shares.total_g[weight])
    removed[part] = left / shares.gram_per_cm[area]
    unsure[part] = np.sqrt(np.maximum(doubt[weight] - variance, 0.0)) / dense
    return removed, unsure


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
    return np.concatenate([own_moved, moved])
