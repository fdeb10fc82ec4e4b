"""The likelihood of what was read, with everything else integrated out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.fit.model.noise import likely_removed, removed_variance
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.hierarchy import Pooled
from growthcast.fit.solver.linearise import Linearised
from growthcast.fit.solver.problem import CEILING, HABIT, RATE, Block, Problem
from growthcast.fit.solver.view import View, departure_of


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
        forward = view.forward(number)
        here = forward.at
        own = departure[:, block.chains.nodes.area]
        off = forward.innovation[0] + (forward.innovation[1:] * own).sum(axis=0)
        at_point = (here.observation_precision * here.residual**2).sum()
        squares += float((forward.innovation_precision * off**2).sum() - at_point)
        squares += misfit(problem, block, here, view.point.border)
        determinant += forward.log_determinant()
    return -0.5 * (squares + determinant)


def _prior_squares(pooled: Pooled, border: FloatArray) -> float:
    """Squares of all parameters against their priors."""
    pooling, knots = pooled.pooling, pooled.tank[:, 1:]
    shared = (pooling.tank_precision * pooled.tank[:, 0] ** 2).sum()
    shared += (pooling.species_precision * pooled.species**2).sum()
    shared += np.einsum("km,mj,kj->", knots, pooling.knot_precision, knots)
    return float(pooled.squares(border).sum() + shared)


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


def noise_slopes(
    view: View, number: int, departure: FloatArray
) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
    """Differentiate the likelihood of a linear problem by its noise, exactly, in one pass back.

    The derivative of a log likelihood is the posterior mean of that of everything together (R. A.
    Fisher's identity): squares over their variance, less one each. Means are held, and what scatter
    says of borders.

    Parameters
    ----------
    view : View
        The problem linearised at a point.
    number : int
        Which of its blocks.
    departure : array (B, A)
        Departures of the borders to the linear problem's own solution [log].

    Returns
    -------
    tuple of two pairs of arrays (N,)
        By the noise of each link, and by the error of each reading: the derivative, and how
        precisely all the others foretell it. Half the square of that is the derivative's expected
        fall with that variance (Fisher information).
    """
    problem, block, forward = view.problem, view.problem.blocks[number], view.forward(number)
    here, nodes, mine = forward.at, block.chains.nodes, block.chains.area
    (link, by_link), (reading, by_reading) = forward.backward()
    # A ceiling that is not learnt has no part in the likelihood; nor has what follows it.
    without = replace(view.pooled, rate_by_ceiling=np.zeros(problem.area_count))
    root = without.covariance_root(mine, bends=False)
    root[~problem.pooling.ceiling_learnt[mine], CEILING] = 0.0
    own = departure[:, nodes.area]
    foretold = by_link - forward.variance_along(root, link[1:])
    mean = link[0] - (link[1:] * own).sum(axis=0)
    of_links = 0.5 * (mean**2 - foretold), foretold
    foretold = by_reading - forward.variance_along(root, reading[1:])
    mean = reading[0] - (reading[1:] * own).sum(axis=0)
    precision, read = here.observation_precision, block.chains.read
    error = np.divide(1.0, precision, out=np.ones_like(mean), where=precision > 0.0)
    off = np.where(read, nodes.reading_cm - here.height_cm, 0.0) - here.residual + error * mean
    square = off**2 + error - error**2 * foretold
    precision = block.trust / problem.errors.reading_variance(
        here.expected_cm, nodes.area, nodes.reading_sd_cm
    )
    slope = np.where(read, 0.5 * precision * (precision * square - 1.0), 0.0)
    share = precision * error  # of what is observed there; a look says the rest
    precision = np.where(read, share**2 * foretold + (1.0 - share) * precision, 0.0)
    return of_links, (slope, precision)


def effect_squares(view: View, departure: FloatArray) -> dict[str, tuple[FloatArray, FloatArray]]:
    """What the variances of shared effects are measured by, the linear problem's means held.

    Parameters
    ----------
    view : View
        The problem linearised at a point.
    departure : array (B, A)
        Departures of the borders to the linear problem's own solution [log].

    Returns
    -------
    dict of pairs of arrays
        Mean squares over the posterior, and posterior variances: of each ``area`` (A,) around its
        centre, ``tank`` (K,) and ``species`` (S,); of the ``drift`` (K,), in units of its prior,
        with covariances (K, M, M).
    """
    pooled, drift_prior = view.pooled, view.pooled.pooling.knot_precision
    tank, species = pooled.whole_tank_covariance(), np.diag(pooled.species_covariance)
    effect, knots = pooled.tank[:, 0], pooled.tank[:, 1:]
    drift = np.einsum("km,mj,kj->k", knots, drift_prior, knots)
    of_drift, area = drift_prior @ tank[:, 1:, 1:], _area_variance(pooled)
    off = view.point.border[RATE] + departure[RATE] - pooled.centre
    return {
        "area": (off**2 + area, area),
        "tank": (effect**2 + tank[:, 0, 0], tank[:, 0, 0]),
        "species": (pooled.species**2 + species, species),
        "drift": (drift + np.trace(of_drift, axis1=1, axis2=2), of_drift),
    }


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
    squared = np.where(nodes.link == Link.GREW, at.own_inputs[RATE], 0.0) ** 2
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
