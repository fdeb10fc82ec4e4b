"""Fit of all areas, tanks and species at once.

Gauss-Newton on the joint problem of every stage, rate, ceiling, drift and effect (``kalman`` and
``hierarchy`` hold the two halves of its arrow-shaped system), with the weights of the current
point: quasi-likelihood on what each reading says beyond what was foreseen without it. An area that
begins to swing halves its steps.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.arrays import BoolArray, FloatArray
from growthcast.fit.rows.chains import Chains, Link
from growthcast.fit.sites.weights import propagate
from growthcast.fit.solver.part import fitted_alone, pays_alone, tanks_of
from growthcast.fit.solver.problem import (
    BORDER,
    CEILING,
    DENSITY,
    HABIT,
    KNOTS,
    OWN,
    RATE,
    Block,
    CannotFit,
    Point,
    Problem,
)
from growthcast.fit.solver.view import View, departure_of, misfit_of_tanks, view_of
from growthcast.growth.logistic import shape_factor, stage
from growthcast.nouns import dataclass

MOST_STEPS = 60

TOLERANCE, ROUGHLY = 1e-3, 1e-2
"""A fit ends when no area moves further than this, in standard deviations; and one that is only a
step on the way to another."""

EXACT_TOLERANCE = 1e-8
"""Where spans have no noise of their own a fit is least squares, judged by its digits."""

SITE_STEPS = 12
"""Steps after which what looks and weights of whole tanks say is left as it is."""

LONGEST_STEP = np.full((BORDER, 1), 0.5)
LONGEST_STEP[[RATE, DENSITY]], LONGEST_STEP[[CEILING, HABIT]] = 0.7, 0.4

LONGEST_STAGE_STEP = 3.0

LOWEST_STAGE, HIGHEST_START, LAST_STAGE = -10.0, 5.0, 60.0
"""Where stages end: no ruler tells them from bare, or from full."""

LOOSER = 0.1
"""Stages may be off by so much more, in standard deviations, than parameters."""

SETTLED = 1e-2
"""An area has settled when its steps are no longer than this, in standard deviations."""

MUCH_WORSE, SHORTEN, MOST_SHORTENINGS = 10.0, 0.25, 4
"""A step that raises a tank's twice negative log posterior by more is shortened, so often."""

LENGTHEN, LEAST_SHARE = 1.5, 1.0 / 64.0

FURTHEST_START = 5.0
"""A rate starts within this factor of the table's."""

HEADROOM = 1.1
"""A ceiling starts at least this far above the highest reading."""

Way = tuple[Point, BoolArray] | None
"""Where a step took all tanks, and those (K,) that are to take less of it."""


@dataclass(frozen=True, slots=True)
class Solution:
    """The problem at the fitted point, and whose steps settled (A,)."""

    view: View
    converged: BoolArray
    steps: int

    @property
    def problem(self) -> Problem:
        """The problem that was solved: as posed, with what looks and weights say."""
        return self.view.problem

    @property
    def point(self) -> Point:
        """The fitted point."""
        return self.view.point


def solve(
    problem: Problem,
    start: Point | None = None,
    most_steps: int = MOST_STEPS,
    tolerance: float = TOLERANCE,
) -> Solution:
    """Fit; areas whose steps do not settle within the limit come back as not converged.

    Parameters
    ----------
    problem : Problem
        What a fit is given.
    start : Point, optional
        Where it begins; ``starting_point`` when not given.
    most_steps : int
        Steps at most.
    tolerance : float
        How far areas may still move, in standard deviations [-].

    Returns
    -------
    Solution
        Where it ended.
    """
    closer = EXACT_TOLERANCE if problem.is_exact else tolerance
    # No name holds the view here: it is let go once a step has been taken from it.
    return go_on(view_of(problem, start or starting_point(problem)), 0, most_steps, closer)


def go_on(
    view: View, steps: int = 0, most_steps: int = MOST_STEPS, tolerance: float = TOLERANCE
) -> Solution:
    """Step on from a view, ``steps`` taken already, until no area moves beyond the tolerance.

    Parameters
    ----------
    view : View
        The problem linearised at a point.
    steps : int
        Steps taken already.
    most_steps : int
        Steps at most.
    tolerance : float
        How far areas may still move, in standard deviations [-].

    Returns
    -------
    Solution
        Where it ended.
    """
    problem = view.problem
    share, last = np.ones(problem.area_count), np.zeros_like(view.point.border)
    together = False  # after some tanks were fitted alone, all take a step

    def closer(problem: Problem, point: Point) -> View:
        nonlocal steps
        half = 0.5 * tolerance  # room for what all then move
        alone = go_on(view_of(problem, point), steps, most_steps, half)
        steps = alone.steps
        return alone.view

    while True:
        if steps < SITE_STEPS and view.problem.has_sites:
            view = view_of(propagate(view), view.point, view)
        departure = departure_of(view)
        in_sd = departure / _scale(view)
        moved = np.max(np.abs(in_sd), axis=0)
        follow = _stages_follow(view, departure)
        if not problem.is_exact:  # without noise stages follow from the parameters
            moved = np.maximum(moved, LOOSER * _stages_moved(view, follow))
        if steps >= most_steps or moved.max(initial=0.0) <= tolerance:
            return Solution(view, moved <= SETTLED, steps)
        if not together and pays_alone(view, moving := tanks_of(view, moved > tolerance)):
            view, together = fitted_alone(view, moving, closer), True
            continue
        # An area that turns back on its last step takes half as much of the next, and lengthens its
        # steps again while it goes straight on.
        turned = (in_sd * last).sum(axis=0) < 0.0
        share = np.clip(np.where(turned, 0.5, LENGTHEN) * share, LEAST_SHARE, 1.0)
        view, last = _shortened_step(view, departure, follow, share), in_sd
        steps, together = steps + 1, False


def _stages_follow(view: View, departure: FloatArray) -> list[FloatArray]:
    """Departures of the stages (N,) of each block, as known by their day, with the borders'."""
    return [
        view.known(number).departure(block.chains, departure)
        for number, block in enumerate(view.problem.blocks)
    ]


def _stages_moved(view: View, follow: list[FloatArray]) -> FloatArray:
    """How far (A,) the stages of each area are about to move at most, in standard deviations.

    A stage that stands where stages end does not move, wherever a step would take it.
    """
    moved, blocks = np.zeros(view.problem.area_count), view.problem.blocks
    each = zip(blocks, view.point.stages, follow, strict=True)
    for number, (block, stage_of_node, step) in enumerate(each):
        taken = np.abs(_within_reach(block.chains, stage_of_node, step) - stage_of_node)
        in_sd = taken / np.sqrt(view.known(number).variance)
        np.maximum.at(moved, block.chains.nodes.area, in_sd)
    return moved


def _shortened_step(
    view: View, departure: FloatArray, follow: list[FloatArray], share: FloatArray
) -> View:
    """Return the view a step further.

    Tanks whose areas cannot be linearised there, or fit worse, take a shorter step. Raises
    ``CannotFit`` where the shortest does not help.
    """
    tank, was = view.problem.pooling.tank, misfit_of_tanks(view)
    everyone = np.ones(was.size, dtype=bool)
    cut, stepping, ahead, shortenings = np.ones(was.size), everyone, view, 0
    sent: Way = None
    while True:
        point = _stepped(view, departure, follow, share * cut[tank], sent)
        view.filtered.clear()  # large, and seldom asked for again
        try:
            if pays_alone(view, stepping):  # the others stand where they stood
                ahead = fitted_alone(replace(ahead, point=point), stepping, view_of)
            else:
                ahead = view  # what was seen is let go
                ahead = view_of(view.problem, point)
        except CannotFit as fault:
            if shortenings == MOST_SHORTENINGS:
                raise
            cut[tank[fault.areas]] *= SHORTEN
            stepping = everyone
        else:
            stepping = misfit_of_tanks(ahead) - was > MUCH_WORSE
            if shortenings == MOST_SHORTENINGS or not stepping.any():
                return ahead
            cut[stepping] *= SHORTEN
        sent, shortenings = (point, stepping), shortenings + 1


def _stepped(
    view: View, departure: FloatArray, follow: list[FloatArray], share: FloatArray, sent: Way = None
) -> Point:
    """Return the point a step further; each area (A,) takes a share of its departure (B, A).

    Once all were ``sent`` and some take less, blocks without such tanks stay where they are.

    Each stage is taken as known by its day: a later reading must not move the prediction that it is
    compared with. A start that nobody read is the exception: its guess may be far off, and the
    curve would be straight in the wrong place. It goes where the later readings show it to have
    been, by its area's share of the way. Without noise between readings an area's chain is one
    curve, and all of its readings move it: least squares.
    """
    problem, point, tank = view.problem, view.point, view.problem.pooling.tank
    together = np.ones(problem.pooling.tank_precision.size)
    np.minimum.at(together, tank, share)  # a tank's drift is one
    taken = departure * share
    taken[KNOTS:] = departure[KNOTS:] * together[tank]
    taken *= np.min(LONGEST_STEP / np.maximum(np.abs(taken), LONGEST_STEP), axis=0)
    shorter, stages = (taken != departure).any(axis=0), []
    for number, (block, begun) in enumerate(zip(problem.blocks, point.stages, strict=True)):
        chains, nodes = block.chains, block.chains.nodes
        if sent and not sent[1][tank[chains.area]].any():
            stages.append(sent[0].stages[number])
            continue
        if problem.is_exact:
            step = view.forward(number).smoothed(taken)
        else:  # as far as it was judged, but where areas take less of it
            step, unread = follow[number], chains.unread_starts
            if shorter[chains.area].any():
                step = view.known(number).departure(chains, taken)
            if unread.size:
                step = step.copy()
                step[unread] *= share[nodes.area[unread]]
        stages.append(_within_reach(chains, begun, step))
    return Point(tuple(stages), point.border + taken)


def _within_reach(chains: Chains, stages: FloatArray, step: FloatArray) -> FloatArray:
    """Move stages, but not along the flats of the curve, where a step in height has no bound.

    A start or a cut stays where its height still tells of it; only growth leads to the ceiling.
    """
    highest = np.where(chains.nodes.link == Link.GREW, LAST_STAGE, HIGHEST_START)
    moved = stages + np.clip(step, -LONGEST_STAGE_STEP, LONGEST_STAGE_STEP)
    return np.clip(moved, LOWEST_STAGE, highest)


def _scale(view: View) -> FloatArray:
    """Standard deviations (B, A) given the rest, by which steps are judged."""
    pooling, pooled = view.problem.pooling, view.pooled
    own = np.sqrt(np.maximum(np.einsum("aii->ai", pooled.own_covariance), 0.0))
    scale = np.empty((BORDER, pooling.tank.size))
    scale[RATE] = 1.0 / np.sqrt(np.where(pooled.rate_precision > 0.0, pooled.rate_precision, 1.0))
    scale[OWN] = np.where(own > 0.0, own, 1.0).T
    scale[KNOTS:] = 1.0 / np.sqrt(np.diag(pooling.knot_precision))[:, None]
    return scale


def starting_point(problem: Problem) -> Point:
    """Start from ceilings above what was read, stages at the readings, rates between them.

    Parameters
    ----------
    problem : Problem
        What a fit is given.

    Returns
    -------
    Point
        Where a fit may begin.
    """
    pooling = problem.pooling
    ceiling = np.exp(pooling.log_ceiling)
    for block in problem.blocks:
        nodes = block.chains.nodes
        np.fmax.at(ceiling, nodes.area, HEADROOM * nodes.reading_cm)
    border = np.zeros((BORDER, problem.area_count))
    border[RATE] = pooling.offset
    border[HABIT] = problem.first_habit
    border[CEILING] = np.log(ceiling)
    stages = tuple(_start_stages(problem, block, border) for block in problem.blocks)
    border[RATE] += _faster_than_the_table(problem, stages, border)
    return Point(stages, border)


def _faster_than_the_table(
    problem: Problem, stages: tuple[FloatArray, ...], border: FloatArray
) -> FloatArray:
    """How much faster (A,) each area grew from reading to reading than at these rates, as a log."""
    rate = np.exp(border[RATE]) * shape_factor(problem.shape)
    grown, due, spans = np.zeros((3, problem.area_count))
    for block, stage_of_node in zip(problem.blocks, stages, strict=True):
        chains, nodes = block.chains, block.chains.nodes
        read = chains.read & chains.read[chains.previous]
        told = np.flatnonzero((nodes.link == Link.GREW) & read)
        owner = nodes.area[told]
        step = stage_of_node[told] - stage_of_node[chains.previous[told]]
        usual = rate[owner] * nodes.growth_d[told] * nodes.awake_share(problem.lag_d, told)
        for total, by in ((grown, step), (due, usual), (spans, None)):
            total[chains.area] += np.bincount(chains.rank[told], by, chains.area.size)
    ratio: FloatArray = np.divide(grown, due, out=np.ones_like(due), where=due > 0.0)
    within: FloatArray = np.clip(ratio, 1.0 / FURTHEST_START, FURTHEST_START)
    return np.log(within) * spans / (1.0 + spans)


def _start_stages(problem: Problem, block: Block, border: FloatArray) -> FloatArray:
    """Stages of what was read, else of the usual cut or the guess, off both ends of the curve."""
    nodes = block.chains.nodes
    cut = (nodes.link >= Link.UNSAID) | (nodes.link == Link.AIMED)
    usual = np.where(cut, np.exp(border[HABIT, nodes.area]), nodes.guess_cm)
    known = np.where(block.chains.read, nodes.reading_cm, usual)
    ceiling = np.exp(border[CEILING, nodes.area])
    within = np.clip(known, 0.01 * ceiling, 0.99 * ceiling)
    return stage(within, ceiling, problem.shape[nodes.area])
