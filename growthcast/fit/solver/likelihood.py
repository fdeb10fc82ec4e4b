"""The likelihood of what was read, with everything else integrated out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.fit.model.noise import likely_removed, removed_variance
from growthcast.fit.rows.chains import Chains, Link
from growthcast.fit.solver.hierarchy import Pooled
from growthcast.fit.solver.kalman import disturbance_smoother, log_determinant, variance_along
from growthcast.fit.solver.linearise import Linearised
from growthcast.fit.solver.problem import CEILING, HABIT, OWN, RATE, Block, Problem
from growthcast.fit.solver.view import View, departure_of
from growthcast.nouns import dataclass


def log_likelihood(view: View) -> float:
    """Log likelihood of what was read, everything else integrated out, as linearised at a point.

    Exact for the linear problem wherever the point lies: the squares are those at the linear
    problem's own solution, the determinants those of its curvature.

    Parameters
    ----------
    view : View
        The problem linearised at a point.

    Returns
    -------
    float
        Log likelihood [nat].
    """
    problem, departure = view.problem, departure_of(view)
    squares = _prior_squares(view.pooled, view.point.border + departure)
    determinant = _prior_determinants(view.pooled)
    for number, block in enumerate(problem.blocks):
        here, forward = view.block(number)
        own = departure[:, block.chains.nodes.area]
        off = forward.innovation[0] + (forward.innovation[1:] * own).sum(axis=0)
        at_point = (here.observation_precision * here.residual**2).sum()
        squares += float((forward.innovation_precision * off**2).sum() - at_point)
        squares += misfit(problem, block, here, view.point.border)
        determinant += log_determinant(block.chains, here, forward)
    return -0.5 * (squares + determinant)


def _prior_squares(pooled: Pooled, border: FloatArray) -> float:
    """Squares of all parameters against their priors."""
    pooling, knots = pooled.pooling, pooled.tank[:, 1:]
    squares = pooling.area_precision * (border[RATE] - pooled.centre) ** 2
    for parameter, (usual, precision) in zip(OWN, pooling.own_priors(), strict=True):
        squares = squares + precision * (border[parameter] - usual) ** 2
    shared = (pooling.tank_precision * pooled.tank[:, 0] ** 2).sum()
    shared += (pooling.species_precision * pooled.species**2).sum()
    shared += np.einsum("km,mj,kj->", knots, pooling.knot_precision, knots)
    return float(squares.sum() + shared)


def _prior_determinants(pooled: Pooled) -> float:
    """Log determinant of the parameters' posterior precision, less that of their priors."""
    pooling = pooled.pooling
    areas, tanks = pooling.tank.size, pooling.tank_precision.size
    determinant = _log_sum(pooled.rate_precision)
    determinant -= float(np.linalg.slogdet(pooled.tank_covariance)[1].sum())
    determinant -= float(np.linalg.slogdet(pooled.species_covariance)[1])
    determinant -= _log_sum(np.linalg.det(pooled.own_covariance))
    determinant -= _log_sum(pooling.tank_precision) + _log_sum(pooling.species_precision)
    determinant -= tanks * float(np.linalg.slogdet(pooling.knot_precision)[1])
    determinant -= areas * float(np.log(pooling.area_precision or 1.0))
    return determinant - sum(_log_sum(precision) for _, precision in pooling.own_priors())


def _log_sum(values: FloatArray) -> float:
    positive = values > 0.0
    return float(np.log(np.where(positive, values, 1.0)).sum())


@dataclass(frozen=True, slots=True)
class VarianceSlopes:
    """How the log likelihood changes with each variance, the linear problem's means held.

    ``link`` and ``reading`` are its derivatives by the noise of each link and the error of each
    reading, an array (N,) a block; ``link_precision`` and ``reading_precision`` how precisely all
    the others foretell it: half the square is the derivative's expected fall with that variance
    (Fisher information). Of the shared effects it holds what their variances are measured by, mean
    squares over the posterior: ``area`` (A,) around their centres, ``tank`` (K,), ``species`` (S,),
    and ``knots`` (K,), the drift's in units of its prior; and of each their posterior variances,
    of the knots (K, M, M) in those units.
    """

    link: tuple[FloatArray, ...]
    reading: tuple[FloatArray, ...]
    link_precision: tuple[FloatArray, ...]
    reading_precision: tuple[FloatArray, ...]
    area: FloatArray
    area_variance: FloatArray
    tank: FloatArray
    tank_variance: FloatArray
    species: FloatArray
    species_variance: FloatArray
    knots: FloatArray
    knots_covariance: FloatArray


def variance_slopes(view: View) -> VarianceSlopes:
    """Differentiate the likelihood of a linear problem, exactly, in one pass back.

    The derivative of a log likelihood is the posterior mean of that of everything together (R. A.
    Fisher's identity): squares over their variance, less one each. What scatter says of borders is
    held.

    Parameters
    ----------
    view : View
        The problem linearised at a point.

    Returns
    -------
    VarianceSlopes
        By links, readings and shared effects.
    """
    problem, pooled, departure = view.problem, view.pooled, departure_of(view)
    # A ceiling that is not learnt has no part in the likelihood; nor has what follows it.
    without = replace(pooled, rate_by_ceiling=np.zeros(problem.area_count))
    links, readings, of_links, of_readings = [], [], [], []
    for number, block in enumerate(problem.blocks):
        here, forward = view.block(number)
        nodes, mine = block.chains.nodes, block.chains.area
        root = without.covariance_root(mine, bends=False)
        root[~problem.pooling.ceiling_learnt[mine], CEILING] = 0.0
        own = departure[:, nodes.area]
        back = disturbance_smoother(block.chains, here, forward)
        mean, variance = _mean_and_variance(block.chains, back.state_score, root, own)
        of_links.append(back.state_curvature - variance)
        links.append(0.5 * (mean**2 - of_links[-1]))
        mean, variance = _mean_and_variance(block.chains, back.observation_score, root, own)
        precision = here.observation_precision
        error = np.divide(1.0, precision, out=np.ones_like(mean), where=precision > 0.0)
        read = block.chains.read
        off = np.where(read, nodes.reading_cm - here.height_cm, 0.0) - here.residual + error * mean
        foretold = back.observation_curvature - variance
        square = off**2 + error - error**2 * foretold
        reading_precision = block.trust / problem.errors.reading_variance(
            here.expected_cm, nodes.area, nodes.reading_sd_cm
        )
        readings.append(
            np.where(read, 0.5 * reading_precision * (reading_precision * square - 1.0), 0.0)
        )
        share = reading_precision * error  # of what is observed there; a look says the rest
        of_readings.append(
            np.where(read, share**2 * foretold + (1.0 - share) * reading_precision, 0.0)
        )
    tank, prior = pooled.whole_tank_covariance(), problem.pooling.knot_precision
    of_tank, knots = pooled.tank[:, 0], pooled.tank[:, 1:]
    knots_covariance = prior @ tank[:, 1:, 1:]
    area_variance = _area_variance(pooled)
    off = view.point.border[RATE] + departure[RATE] - pooled.centre
    return VarianceSlopes(
        link=tuple(links),
        reading=tuple(readings),
        link_precision=tuple(of_links),
        reading_precision=tuple(of_readings),
        area=off**2 + area_variance,
        area_variance=area_variance,
        tank=of_tank**2 + tank[:, 0, 0],
        tank_variance=tank[:, 0, 0],
        species=pooled.species**2 + np.diag(pooled.species_covariance),
        species_variance=np.diag(pooled.species_covariance),
        knots=np.einsum("km,mj,kj->k", knots, prior, knots)
        + np.trace(knots_covariance, axis1=1, axis2=2),
        knots_covariance=knots_covariance,
    )


def _mean_and_variance(
    chains: Chains, rows: FloatArray, root: FloatArray, own: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Posterior mean and variance (N,) of what the rows (1 + B, N) make of the border."""
    mean: FloatArray = rows[0] - (rows[1:] * own).sum(axis=0)
    return mean, variance_along(chains, root, rows[1:])


def _area_variance(pooled: Pooled) -> FloatArray:
    """Posterior variance (A,) of each log rate around its centre."""
    row = pooled.rate_by_shared.copy()
    row[:, 0] -= 1.0
    shared = pooled.joint_covariance(np.arange(row.shape[0]))
    variance = np.einsum("ak,akl,al->a", row, shared, row)
    held = np.where(pooled.rate_precision > 0.0, pooled.rate_precision, np.inf)
    whole: FloatArray = variance + 1.0 / held
    return whole


def misfit(problem: Problem, block: Block, at: Linearised, border: FloatArray) -> float:
    """Twice the negative log likelihood of what is known of the nodes' heights where they stand.

    Parameters
    ----------
    problem : Problem
        What a fit is given.
    block : Block
        One of its blocks.
    at : Linearised
        Its links and readings as straight lines.
    border : array (B, A)
        The areas' parameters [log].

    Returns
    -------
    float
        Without constants [nat].
    """
    nodes, sites = block.chains.nodes, block.sites
    read = np.flatnonzero(block.chains.read)
    variance = problem.errors.reading_variance(
        at.expected_cm[read], nodes.area[read], nodes.reading_sd_cm[read]
    )
    variance = variance / block.trust[read]
    off = nodes.reading_cm[read] - at.height_cm[read]
    cut = block.chains.cut
    usual = (np.exp(border[HABIT, nodes.area[cut]]) - at.height_cm[cut]) / nodes.aim_sd_cm[cut]
    at_sites = np.flatnonzero(sites.precision)
    beside = sites.precision_mean[at_sites] / sites.precision[at_sites] - at.height_cm[at_sites]
    twice = (off**2 / variance + np.log(variance)).sum()
    twice += (sites.precision[at_sites] * beside**2).sum()
    return float(twice + (usual**2).sum())


def error_parts(
    problem: Problem, block: Block, at: Linearised, border: FloatArray
) -> dict[str, tuple[FloatArray, FloatArray]]:
    """What each spread of an error model adds to the variance of each link and of each reading.

    Parameters
    ----------
    problem : Problem
        What a fit is given.
    block : Block
        One of its blocks.
    at : Linearised
        Its links and readings as straight lines.
    border : array (B, A)
        The areas' parameters [log].

    Returns
    -------
    dict of pairs of arrays (N,)
        By the names of the spreads, to links [1] and to readings [cm2]. The doubt about pauses is
        given, not learnt: in none of them.
    """
    chains, errors = block.chains, problem.errors
    nodes, owner = chains.nodes, chains.nodes.area
    nothing = np.zeros(owner.size)
    squared = np.where(nodes.link == Link.GREW, at.inputs[RATE], 0.0) ** 2
    within = errors.span_variance(nodes.span_d, nothing)
    beyond = errors.span_variance(nodes.span_d, block.drift.remainder) - within
    weighed = nodes.link == Link.WEIGHED
    likely = likely_removed(at.expected_cm[chains.previous], border[HABIT, owner])
    whole = removed_variance(likely, weighed, owner, errors)
    by_length = np.where(nodes.link == Link.CUT, at.process_noise / whole, 0.0)
    by_weight = np.where(weighed, at.process_noise / whole, 0.0)
    fixed = errors.height_error_cm[owner] ** 2
    relative = errors.height_error_share[owner] ** 2
    trust = np.where(np.isnan(nodes.reading_sd_cm), block.trust, np.inf)  # a ruler's alone teach
    return {
        "span": (within * squared, nothing),
        "drift": (beyond * squared, nothing),
        "height_error_cm": (2.0 * fixed * by_length, fixed / trust),
        "height_error_share": (
            relative * likely**2 * by_length,
            relative * at.expected_cm**2 / trust,
        ),
        "weight": ((errors.weight * likely) ** 2 * by_weight, nothing),
    }
