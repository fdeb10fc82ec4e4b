"""The whole problem linearised at one point, everything down to the shared effects eliminated."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.fit.solver.hierarchy import Pooled, eliminate
from growthcast.fit.solver.kalman import Filtered, FilterPass, kalman_filter, scatter_of
from growthcast.fit.solver.linearise import Linearised, linearise
from growthcast.fit.solver.problem import BORDER, CEILING, KNOTS, RATE, CannotFit, Point, Problem
from growthcast.nouns import dataclass

MOST_BLOCKS_KEPT, MOST_WITH_SITES = 1, 4
"""Of books with more blocks a view keeps what a step needs: blocks are worked out again where they
are asked for, and sites ask for them at every step."""


@dataclass(frozen=True, slots=True)
class View:
    """The problem linearised at a point.

    ``filtered`` are each block's stages as known by their day, those of starts that nobody read as
    known since, none once they have been let go (see ``known``). ``information`` (A, B, B) and
    ``score`` (B, A) are what the chains say on departures of the borders, ``pooled`` what follows
    for what areas have alone and for what they share.
    ``surprise`` (A,) is twice the negative log likelihood of the readings of each area, each given
    those before it, without constants.
    """

    problem: Problem
    point: Point
    kept: tuple[FilterPass, ...]
    filtered: list[Filtered]
    information: FloatArray
    score: FloatArray
    pooled: Pooled
    surprise: FloatArray

    stored: ClassVar = ("problem", "point")
    """What ``growthcast.cache`` writes of it; the rest follows."""

    @staticmethod
    def again(problem: Problem, point: Point) -> View:
        """Return the view that was stored."""
        return view_of(problem, point)

    def forward(self, number: int) -> FilterPass:
        """Return one block linearised and filtered."""
        return self.kept[number] if self.kept else seen(self.problem, self.point, number)

    def known(self, number: int) -> Filtered:
        """Return one block's stages as known by their day."""
        if self.filtered:
            return self.filtered[number]
        return self.forward(number).known()

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
        known = unheard.kept[number].at if unheard is not None and unheard.kept else None
        forward = seen(problem, point, number, known)
        mine = block.chains.area
        information[mine], score[:, mine] = forward.information()
        surprise[mine] = _surprise(forward)
        filtered.append(forward.known())
        if few:
            kept.append(forward)
    _check_finite(score.T, point.border.T, information)
    pooled = eliminate(information, score, point.border, problem.pooling)
    _check_finite(pooled.own_covariance)
    return View(
        problem=problem,
        point=point,
        kept=tuple(kept),
        filtered=filtered,
        information=information,
        score=score,
        pooled=pooled,
        surprise=surprise,
    )


def _check_finite(*of_areas: FloatArray) -> None:
    if np.isfinite([values.sum() for values in of_areas]).all():
        return
    finite = np.ones(of_areas[0].shape[0], dtype=bool)
    for values in of_areas:
        finite &= np.isfinite(values).all(axis=tuple(range(1, values.ndim)))
    if not finite.all():
        raise CannotFit(np.flatnonzero(~finite))


def _surprise(forward: FilterPass) -> FloatArray:
    chains, precision = forward.chains, forward.innovation_precision
    log_precision = np.log(np.where(precision > 0.0, precision, 1.0))
    twice = precision * forward.innovation_cm**2 - log_precision
    return np.bincount(chains.rank, twice, chains.area.size).astype(np.float64)


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
    pooled = eliminate(view.information, view.score, view.point.border, problem.pooling)
    return replace(view, problem=problem, pooled=pooled)


def seen(
    problem: Problem, point: Point, number: int, unheard: Linearised | None = None
) -> FilterPass:
    """Linearise and filter one block at a point.

    Parameters
    ----------
    problem : Problem
        What a fit is given.
    point : Point
        Where it is linearised: stages and borders.
    number : int
        Which of its blocks.
    unheard : Linearised, optional
        The block at the same point, but for what looks and weights say.

    Returns
    -------
    FilterPass
        Of the block.
    """
    block, where = problem.blocks[number], (point.stages[number], point.border)
    forward = kalman_filter(block.chains, linearise(problem, block, *where, unheard))
    return replace(forward, scatter=scatter_of(problem, block, forward))


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
    pooling, misfit = view.problem.pooling, view.pooled.squares(view.point.border) + view.surprise
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
    pooled, border = view.pooled, view.point.border
    off, knots = pooled.centre - border[RATE], pooled.knots - border[KNOTS:]
    return pooled.departure(pooled.own_mean, pooled.score[:, 0], off, knots)


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
    pooled, pooling = view.pooled, view.problem.pooling
    own_score = score[:RATE].T.copy()
    own_score[~pooling.ceiling_learnt, CEILING] = 0.0
    own_mean = np.einsum("aij,aj->ai", pooled.own_covariance, own_score)
    shared = score[RATE:].T + np.einsum("aik,ai->ak", pooled.own_regression, own_score)
    moved = pooled.given(pooled.on_centre(shared))
    return moved.departure(own_mean, shared[:, 0], moved.centre - pooling.offset, moved.knots)
