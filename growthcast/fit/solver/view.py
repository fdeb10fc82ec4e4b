"""The whole problem linearised at one point, everything down to the shared effects eliminated."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.fit.rows.chains import Chains
from growthcast.fit.solver.hierarchy import (
    AreaInformation,
    Effects,
    area_information,
    score_on_centre,
    solve_effects,
)
from growthcast.fit.solver.kalman import (
    Filtered,
    FilterPass,
    information_of,
    kalman_filter,
    smooth_unread_starts,
)
from growthcast.fit.solver.linearise import Linearised, heard_anew, linearise
from growthcast.fit.solver.problem import (
    BORDER,
    CEILING,
    KNOTS,
    OWN,
    RATE,
    CannotFit,
    Point,
    Pooling,
    Problem,
)
from growthcast.nouns import dataclass

MOST_BLOCKS_KEPT, MOST_WITH_SITES = 1, 4
"""Of books with more blocks a view keeps what a step needs: blocks are worked out again where they
are asked for, and sites ask for them at every step."""


@dataclass(frozen=True, slots=True)
class View:
    """The problem linearised at a point.

    ``filtered`` are each block's stages as known by their day, those of starts that nobody read as
    known since, none once they have been let go (see ``known``). ``information`` (A, B, B) and
    ``score`` (B, A) are what the chains say on departures of the borders, ``area`` what is left of
    that without what an area has alone, and ``effects`` what follows for all they share.
    ``surprise`` (A,) is twice the negative log likelihood of the readings of each area, each given
    those before it, without constants.
    """

    problem: Problem
    point: Point
    kept: tuple[tuple[Linearised, FilterPass], ...]
    filtered: list[Filtered]
    information: FloatArray
    score: FloatArray
    area: AreaInformation
    effects: Effects
    surprise: FloatArray

    stored: ClassVar = ("problem", "point")
    """What ``growthcast.cache`` writes of it; the rest follows."""

    @staticmethod
    def again(problem: Problem, point: Point) -> View:
        """Return the view that was stored."""
        return view_of(problem, point)

    def block(self, number: int) -> tuple[Linearised, FilterPass]:
        """Return one block linearised and filtered."""
        return self.kept[number] if self.kept else seen(self.problem, self.point, number)

    def known(self, number: int) -> Filtered:
        """Return one block's stages as known by their day."""
        if self.filtered:
            return self.filtered[number]
        return smooth_unread_starts(self.problem.blocks[number].chains, *self.block(number))

    def let_go(self) -> list[Filtered]:
        """Return the stages of all blocks and keep none: they are most of a large book's view."""
        of_all = [self.known(number) for number in range(len(self.problem.blocks))]
        self.filtered.clear()
        return of_all


@np.errstate(over="ignore", invalid="ignore", divide="ignore")  # looked for, and raised, below
def view_of(problem: Problem, point: Point, unheard: View | None = None) -> View:
    """Linearise a problem at a point and eliminate everything down to the shared effects.

    Parameters
    ----------
    problem : Problem
        What a fit is given.
    point : Point
        Where it is linearised: stages and borders.
    unheard : View, optional
        A view of the same problem at the same point, but for what looks and weights say.

    Returns
    -------
    View
        With what follows of all that areas share.

    Raises
    ------
    CannotFit
        If the chains of some areas say nothing that is a finite number.
    """
    information = np.zeros((problem.area_count, BORDER, BORDER))
    score, surprise = np.zeros((BORDER, problem.area_count)), np.zeros(problem.area_count)
    kept, filtered = [], []
    few = len(problem.blocks) <= (MOST_WITH_SITES if problem.has_sites else MOST_BLOCKS_KEPT)
    for number, block in enumerate(problem.blocks):
        if unheard is not None and unheard.kept:
            known, stages = unheard.kept[number][0], point.stages[number]
            here = heard_anew(known, problem, block, stages, point.border)
            forward = kalman_filter(block.chains, here)
        else:
            here, forward = seen(problem, point, number)
        mine = block.chains.area
        information[mine], score[:, mine] = information_of(block.chains, forward)
        surprise += _surprise(block.chains, forward, problem.area_count)
        filtered.append(smooth_unread_starts(block.chains, here, forward))
        if few:
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
        filtered=filtered,
        information=information,
        score=score,
        area=area,
        effects=effects,
        surprise=surprise,
    )


def _surprise(chains: Chains, forward: FilterPass, areas: int) -> FloatArray:
    precision = forward.innovation_precision
    log_precision = np.log(np.where(precision > 0.0, precision, 1.0))
    twice = precision * forward.innovation_cm**2 - log_precision
    return np.bincount(chains.nodes.area, twice, areas).astype(np.float64)


def repooled(view: View, problem: Problem) -> View:
    """Return a view under other priors of what areas share and have alone.

    Parameters
    ----------
    view : View
        A problem linearised at a point.
    problem : Problem
        The same problem with another pooling; what the chains say stays as it is.

    Returns
    -------
    View
        At the same point.
    """
    area = area_information(view.information, view.score, view.point.border, problem.pooling)
    effects = solve_effects(area, view.point.border, problem.pooling)
    return replace(view, problem=problem, area=area, effects=effects)


def seen(problem: Problem, point: Point, number: int) -> tuple[Linearised, FilterPass]:
    """Linearise and filter one block at a point.

    Parameters
    ----------
    problem : Problem
        What a fit is given.
    point : Point
        Where it is linearised: stages and borders.
    number : int
        Which of its blocks.

    Returns
    -------
    tuple of Linearised and FilterPass
        Of the block.
    """
    block = problem.blocks[number]
    here = linearise(problem, block, point.stages[number], point.border)
    return here, kalman_filter(block.chains, here)


def misfit_of_tanks(view: View) -> FloatArray:
    """Twice the negative log posterior (K,) of each tank where a view stands, without constants.

    What each reading says beyond what was foreseen, given the readings before it, and how far the
    areas' own parameters lie from their priors: what a step should not make worse.

    Parameters
    ----------
    view : View
        The problem linearised at a point.

    Returns
    -------
    array (K,)
        Misfits [nat].
    """
    pooling, border = view.problem.pooling, view.point.border
    misfit = pooling.area_precision * (border[RATE] - view.effects.centre(pooling)) ** 2
    for parameter, (usual, prior_precision) in zip(OWN, pooling.own_priors(), strict=True):
        misfit = misfit + prior_precision * (border[parameter] - usual) ** 2
    misfit = misfit + view.surprise
    of_tank = np.bincount(pooling.tank, misfit, minlength=pooling.tank_precision.size)
    return of_tank.astype(np.float64)


def departure_of(view: View) -> FloatArray:
    """Step (B, A) of every area's border that goes with the shared effects.

    Parameters
    ----------
    view : View
        The problem linearised at a point.

    Returns
    -------
    array (B, A)
        Departures from the point [log].
    """
    pooling, area, effects = view.problem.pooling, view.area, view.effects
    border = view.point.border
    off = effects.centre(pooling) - border[RATE]
    knots = effects.knots()[:, pooling.tank] - border[KNOTS:]
    return _with_shared(area, pooling, area.own_mean, area.score[:, 0], off, knots)


def follows(view: View, score: FloatArray) -> FloatArray:
    """How the borders would move with other scores of the chains.

    Parameters
    ----------
    view : View
        The problem linearised at a point.
    score : array (B, A)
        Change of the scores [1 / parameter].

    Returns
    -------
    array (B, A)
        Change of the areas' departures from the point [log].
    """
    pooling, area = view.problem.pooling, view.area
    own_score = score[:RATE].T.copy()
    own_score[~pooling.ceiling_learnt, CEILING] = 0.0
    own_mean = np.einsum("aij,aj->ai", area.own_covariance, own_score)
    shared = score[RATE:].T + np.einsum("aik,ai->ak", area.own_regression, own_score)
    effects = view.effects.given(pooling, score_on_centre(area, shared, pooling))
    off, knots = effects.centre(pooling) - pooling.offset, effects.knots()[:, pooling.tank]
    return _with_shared(area, pooling, own_mean, shared[:, 0], off, knots)


def _with_shared(
    area: AreaInformation,
    pooling: Pooling,
    own_mean: FloatArray,
    score: FloatArray,
    off: FloatArray,
    knots: FloatArray,
) -> FloatArray:
    """Departures (B, A) of borders whose rates are centred ``off`` (A,), with those of the knots.

    ``own_mean`` (A, 3) and ``score`` (A,) are what the chains say on what an area has alone and on
    its log rate.
    """
    posterior_precision, _, regression = area.rate_given(pooling.area_precision)
    score, known = score + pooling.area_precision * off, posterior_precision > 0.0
    rate = np.divide(score, posterior_precision, out=np.zeros_like(score), where=known)
    rate = rate + np.einsum("am,ma->a", regression, knots)
    moved = np.concatenate([rate[None], knots])
    own_moved = (own_mean + np.einsum("aik,ka->ai", area.own_regression, moved)).T
    return np.concatenate([own_moved, moved])
