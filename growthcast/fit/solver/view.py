"""The whole problem linearised at one point, everything down to the shared effects eliminated."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.fit.model.noise import SpanDrift
from growthcast.fit.solver.hierarchy import (
    AreaInformation,
    Effects,
    area_information,
    solve_effects,
)
from growthcast.fit.solver.kalman import (
    Filtered,
    FilterPass,
    information_of,
    kalman_filter,
    smooth_unread_starts,
)
from growthcast.fit.solver.linearise import Linearised, linearise
from growthcast.fit.solver.problem import BORDER, KNOTS, OWN, RATE, CannotFit, Point, Problem

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
    kept: tuple[tuple[Linearised, FilterPass], ...]
    filtered: tuple[Filtered, ...]
    information: FloatArray
    score: FloatArray
    area: AreaInformation
    effects: Effects

    def block(self, number: int) -> tuple[Linearised, FilterPass]:
        """Return one block linearised and filtered."""
        return self.kept[number] if self.kept else seen(self.problem, self.point, number)


@np.errstate(over="ignore", invalid="ignore", divide="ignore")  # looked for, and raised, below
def view_of(problem: Problem, point: Point) -> View:
    """Linearise a problem at a point and eliminate everything down to the shared effects.

    Raises
    ------
    CannotFit
        If the chains of some areas say nothing that is a finite number.
    """
    information = np.zeros((problem.area_count, BORDER, BORDER))
    score = np.zeros((BORDER, problem.area_count))
    kept, filtered = [], []
    for number, block in enumerate(problem.blocks):
        here, forward = seen(problem, point, number)
        mine = block.chains.area
        information[mine], score[:, mine] = information_of(block.chains, forward)
        filtered.append(smooth_unread_starts(block.chains, here, forward))
        if len(problem.blocks) <= MOST_BLOCKS_KEPT:
            kept.append((here, forward))
    area = area_information(information, score, point.border, problem.pooling)
    finite = np.isfinite(score).all(axis=0) & np.isfinite(point.border).all(axis=0)
    for matrix in (information, area.own_covariance):
        finite &= np.isfinite(matrix).all(axis=(1, 2))
    if not finite.all():
        raise CannotFit(np.flatnonzero(~finite))
    effects = solve_effects(area, point.border, problem.pooling)
    return View(
        problem=problem,
        point=point,
        kept=tuple(kept),
        filtered=tuple(filtered),
        information=information,
        score=score,
        area=area,
        effects=effects,
    )


def seen(
    problem: Problem, point: Point, number: int, drift: SpanDrift | None = None
) -> tuple[Linearised, FilterPass]:
    """Linearise and filter one block at a point, with its own drift or another."""
    block = problem.blocks[number]
    here = linearise(problem, block, point.stages[number], point.border, drift)
    return here, kalman_filter(block.chains, here)


def misfit_of_tanks(view: View) -> FloatArray:
    """Twice the negative log posterior (K,) of each tank where a view stands, without constants.

    What each reading says beyond what was foreseen, given the readings before it, and how far the
    areas' own parameters lie from their priors: what a step should not make worse.
    """
    pooling, border = view.problem.pooling, view.point.border
    misfit = pooling.area_precision * (border[RATE] - view.effects.centre(pooling)) ** 2
    for parameter, (usual, prior_precision) in zip(OWN, pooling.own_priors(), strict=True):
        misfit = misfit + prior_precision * (border[parameter] - usual) ** 2
    for number, block in enumerate(view.problem.blocks):
        forward = view.block(number)[1]
        precision = forward.innovation_precision
        log_precision = np.log(np.where(precision > 0.0, precision, 1.0))
        twice = precision * forward.innovation_cm**2 - log_precision
        misfit += np.bincount(block.chains.nodes.area, twice, minlength=misfit.size)
    of_tank = np.bincount(pooling.tank, misfit, minlength=pooling.tank_precision.size)
    return of_tank.astype(np.float64)


def departure_of(view: View) -> FloatArray:
    """Step (B, A) of every area's border that goes with the shared effects."""
    pooling, area, effects = view.problem.pooling, view.area, view.effects
    border, own = view.point.border, pooling.area_precision
    posterior_precision, _, regression = area.rate_given(own)
    knots = effects.knots()[:, pooling.tank] - border[KNOTS:]
    score = area.score[:, 0] + own * (effects.centre(pooling) - border[RATE])
    known = posterior_precision > 0.0
    rate = np.divide(score, posterior_precision, out=np.zeros_like(score), where=known)
    rate = rate + np.einsum("am,ma->a", regression, knots)
    moved = np.concatenate([rate[None], knots])
    own_moved = (area.own_mean + np.einsum("aik,ka->ai", area.own_regression, moved)).T
    return np.concatenate([own_moved, moved])


def departure_given(view: View, score: FloatArray) -> FloatArray:
    """Step of every area's border if the chains' scores were others.

    Parameters
    ----------
    view : View
        The problem linearised at a point.
    score : array (B, A)
        The other scores [1 / parameter].

    Returns
    -------
    array (B, A)
        Departures from the point [log].
    """
    border, pooling = view.point.border, view.problem.pooling
    area = area_information(view.information, score, border, pooling)
    effects = solve_effects(area, border, pooling)
    return departure_of(replace(view, area=area, effects=effects))
