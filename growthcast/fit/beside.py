"""What stands beside the border: lags after cuts and settling after planting, taught by form.

With equal gaps a lag cannot be told from a slower rate: the log speaks of ``rate * (gap - lag)``.
The lag of each form is therefore an unknown of the linear-Gaussian problem beside the shared
effects, though not a row of the border: areas of a form share it, so what the chains say on it is
had from one more pass of the filter (``FilterPass.along``) instead of a wider one at every step.
What is known of the lags is a normal of which only the part above zero counts; rates follow it, and
so forecasts over gaps that the log does not have widen by themselves. The log of the factor by
which plants take longer to settle than the table says is such an unknown, too: first spans teach
it.

References
----------
Kass, R. E. & Steffey, D. (1989). Approximate Bayesian inference in conditionally independent
hierarchical models. Journal of the American Statistical Association 84, 717-726 (from memory): the
uncertainty of a shared parameter, carried on by the slopes of what follows it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.arrays import FloatArray, IntArray, distinct
from growthcast.fit.model.clock import LEAST_AWAKE_SHARE
from growthcast.fit.model.spreads import FORMS, Lags, Settling, prior_lags, prior_settling
from growthcast.fit.rows.chains import Nodes
from growthcast.fit.solver.kalman import LEAST_GROWTH
from growthcast.fit.solver.linearise import Linearised
from growthcast.fit.solver.problem import RATE
from growthcast.fit.solver.view import View, departure_of, follows, repooled
from growthcast.nouns import dataclass

LAG, SETTLING = range(2)
TABLE_SPREAD = 0.5
"""How far the table's rates may be off all together, as a log (an estimate)."""
LONGEST_LOG_FACTOR = 1.5
"""No log makes plants settle more than 4.5 times as slowly, or as fast, as the table says."""


@dataclass(frozen=True, slots=True)
class _Along:
    """What the chains say along the lag of each area and its log factor of settling (2, A).

    Score, ``information`` (2, 2, A), and ``border_score`` (2, B, A): how the scores of the borders
    change with either.
    """

    score: FloatArray
    information: FloatArray
    border_score: FloatArray


def _along(view: View) -> _Along:
    """Filter all chains along their area's lag, and along its settling where first spans stand."""
    problem = view.problem
    areas = problem.area_count
    score, information = np.zeros((2, areas)), np.zeros((2, 2, areas))
    border_score = np.zeros((2, *view.score.shape))
    for number, block in enumerate(problem.blocks):
        forward, nodes = view.forward(number), block.chains.nodes
        at = forward.at
        innovation = np.zeros((2, nodes.area.size))
        along = np.stack(_moved(nodes, at, problem.lag_d))
        # What takes growth from a span changes its scatter as a slower rate does.
        scatter, owner = forward.scatter, nodes.area[forward.scatter.place]
        grown = np.maximum(at.own_inputs[RATE, scatter.place], LEAST_GROWTH)
        changed = along[:, scatter.place] / grown * scatter.follows[RATE]
        for kind, moved in enumerate(along):
            if not moved.any():
                continue
            innovation[kind] = forward.along(moved)
            border_score[kind][:, block.chains.area] = forward.score(innovation[kind])
        weighted = forward.innovation_precision * innovation
        for kind in range(2):
            told = -weighted[kind] * forward.innovation[0]
            score[kind] += np.bincount(nodes.area, told, areas)
            score[kind] += np.bincount(owner, 0.5 * scatter.surprise * changed[kind], areas)
            np.add.at(border_score[kind].T, owner, (-0.5 * changed[kind] * scatter.follows).T)
            for other in range(2):
                both = weighted[kind] * innovation[other]
                information[kind, other] += np.bincount(nodes.area, both, areas)
                both = 0.5 * changed[kind] * changed[other]
                information[kind, other] += np.bincount(owner, both, areas)
    return _Along(score, information, border_score)


def _moved(nodes: Nodes, at: Linearised, lag_d: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How far each stage's prediction (N,) moves by itself with a day of lag, and with settling."""
    grown = at.own_inputs[RATE]  # 0 where nothing grew
    left = 1.0 - nodes.lag_per_d * lag_d[nodes.area]
    by_lag = -nodes.lag_per_d * grown / np.maximum(left, LEAST_AWAKE_SHARE)
    return np.where(left > LEAST_AWAKE_SHARE, by_lag, 0.0), -nodes.by_settling * grown


def by_beside(view: View) -> FloatArray:
    """How the borders of a fit follow the lags, and the log factors of settling, of all forms.

    Parameters
    ----------
    view : View
        The fitted problem.

    Returns
    -------
    array (2, B, A)
        Departures of the areas' borders per day of lag [1/d], and per unit of the log factors. With
        gaps that are all alike a log rate goes up by ``1 / (gap - lag)``, and growth over such a
        gap stays as it was.
    """
    return np.stack([follows(view, of) for of in _along(view).border_score])


def beside_told(
    view: View, form: IntArray, lags: Lags, settling: Settling
) -> tuple[Lags, Settling]:
    """What a log says of the lags of its forms and of their settling, linearised where it stands.

    Parameters
    ----------
    view : View
        A fitted problem.
    form : int array (A,)
        Each area's place in ``FORMS``.
    lags, settling : Lags, Settling
        Those that the problem was linearised at (means of lags, medians of factors).

    Returns
    -------
    tuple of Lags and Settling
        The posterior: the prior, and the likelihood with rates, ceilings, effects and stages
        integrated out. Forms that the book does not hold follow those it holds.
    """
    along, departure = _along(view), departure_of(view)
    size = len(FORMS)
    of = np.stack([form, form + size])  # the place of each area's two unknowns
    slope = _summed(of, along.score + (along.border_score * departure).sum(axis=1))
    curvature = np.zeros((2 * size, 2 * size))
    for kind in range(2):
        np.add.at(curvature, (of[kind], of), along.information[kind])
    for one in distinct(of):
        only = np.where((of == one)[:, None], along.border_score, 0.0).sum(axis=0)
        if only.any():
            moved = follows(view, only)
            curvature[:, one] -= _summed(of, (along.border_score * moved).sum(axis=1))
    across, off, own = _of_the_table(view, of, along, departure)
    slope, curvature = slope + across * off / own, curvature - np.outer(across, across) / own
    # Without the directions that rounding made negative.
    values, axes = np.linalg.eigh(0.5 * (curvature + curvature.T))
    curvature = (axes * np.maximum(values, 0.0)) @ axes.T
    precision = curvature.copy()
    precision[:size, :size] += np.linalg.inv(prior_lags().covariance)
    precision[size:, size:] += np.linalg.inv(prior_settling().covariance)
    covariance: FloatArray = np.linalg.inv(precision).astype(np.float64)
    centre = covariance @ (slope + curvature @ np.concatenate([lags.mean_d, settling.centre]))
    longer = np.clip(centre[size:], -LONGEST_LOG_FACTOR, LONGEST_LOG_FACTOR)
    return (
        Lags(centre[:size], covariance[:size, :size]),
        Settling(longer, covariance[size:, size:]),
    )


def _summed(of: IntArray, values: FloatArray) -> FloatArray:
    """Sum values (2, A) over the areas of each unknown."""
    return np.bincount(of.ravel(), values.ravel(), 2 * len(FORMS)).astype(np.float64)


def _of_the_table(
    view: View, of: IntArray, along: _Along, departure: FloatArray
) -> tuple[FloatArray, float, float]:
    """What the level of all rates says: how unknowns go with it, its score and its precision.

    A lag would otherwise be read off rates that are all higher or lower than the table's. What all
    rates have in common is an unknown of its own, with the spread ``TABLE_SPREAD``.
    """
    pooling, effect = view.problem.pooling, view.pooled.species
    raised = pooling.but_for(offset=pooling.offset + 1.0)
    there = repooled(view, replace(view.problem, pooling=raised))
    moved = departure_of(there) - departure
    species = pooling.species_precision
    own = TABLE_SPREAD**-2 - float(species @ (there.pooled.species - effect))
    across = _summed(of, (along.border_score * moved).sum(axis=1))
    return across, float(species @ effect), own
