"""What looks say of the heights, and how the stages are known beside weights of whole tanks.

Each look is compared with what is known without it, and turned into the normal of the same mean and
variance by sums over a grid.
"""

from __future__ import annotations

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.fit.model.noise import JUDGEMENT_ERROR_SHARE, look_log_chance
from growthcast.fit.solver.problem import CEILING, Sites, cut_chance_before
from growthcast.fit.solver.view import View
from growthcast.growth.logistic import height_and_slope
from growthcast.nouns import dataclass

GRID = np.linspace(-5.0, 5.0, 61)
"""Standard deviations at which a look is heard."""

LEAST_WORD = 1e-4
"""A look that narrows the variance by less than this share says nothing."""


@dataclass(frozen=True, slots=True)
class Cavity:
    """Stages of a block as departures from where they stand, mean and variance (N,)."""

    mean: FloatArray
    variance: FloatArray


def sites_of_looks(view: View, number: int, *, border_known: bool = False) -> tuple[Sites, Cavity]:
    """What looks say, and the stages of a block as known without weights of whole tanks.

    Parameters
    ----------
    view : View
        The problem linearised at a point.
    number : int
        Which of its blocks.
    border_known : bool
        Whether the areas' parameters are taken as they stand.

    Returns
    -------
    tuple of Sites and Cavity
        Of the nodes (N,).
    """
    problem, forward = view.problem, view.forward(number)
    block, at = problem.blocks[number], forward.at
    chains, nodes, sites = block.chains, block.chains.nodes, block.sites
    predicted_variance = forward.predicted_variance
    if not border_known:
        root = view.pooled.covariance_root(chains.area)
        unsure = forward.variance_along(root, forward.predicted[1:])
        predicted_variance = predicted_variance + unsure
    # The node's own reading or guess, without what the sites add to it.
    own = np.maximum(at.observation_precision - sites.precision, 0.0)
    standing = at.height_cm
    of_sites = sites.precision_mean - sites.precision * standing
    own_score = at.observation * (at.observation_precision * at.residual - of_sites)
    posterior_precision = 1.0 / predicted_variance + at.observation**2 * own
    mean = (forward.predicted[0] / predicted_variance + own_score) / posterior_precision
    known = Cavity(mean, 1.0 / posterior_precision)

    # Beside a height that was read a look adds nothing but its own, larger error.
    read = chains.read & (block.trust == 1.0)
    seen = np.flatnonzero((nodes.look > 0) & ~read)
    precision, precision_mean = np.zeros((2, nodes.area.size))
    if seen.size:
        owner = nodes.area[seen]
        ceiling, shape = np.exp(view.point.border[CEILING, owner]), problem.shape[owner]
        spread = np.sqrt(known.variance[seen])
        grid = view.point.stages[number][seen] + known.mean[seen]
        grid = grid[:, None] + spread[:, None] * GRID
        height = height_and_slope(grid, ceiling[:, None], shape[:, None])[0]
        bounds = nodes.floor_cm[seen], nodes.budget_cm[seen]
        mean, variance = _moments(look_log_chance(nodes.look[seen], height, *bounds))
        # In stages, then as a height through the slope there.
        narrower = np.maximum(1.0 / variance - 1.0, LEAST_WORD) / spread**2
        narrower = np.where(variance < 1.0 - LEAST_WORD, narrower, 0.0)
        moved = mean / variance / spread  # of the natural parameter, beyond the cavity's own
        moved = moved + known.mean[seen] * narrower
        steep = at.observation[seen]
        # Where the curve is flat a stage says next to nothing: no eye is sharper than its error.
        sharpest = 1.0 / (JUDGEMENT_ERROR_SHARE * np.maximum(standing[seen], 0.1 * bounds[1])) ** 2
        kept = np.minimum(1.0, sharpest * steep**2 / np.maximum(narrower, 1e-300))
        precision[seen] = kept * narrower / steep**2
        precision_mean[seen] = np.where(narrower > 0.0, kept * moved / steep, 0.0)
        precision_mean[seen] += precision[seen] * standing[seen]
    heard = Sites(
        precision_mean=precision_mean, precision=precision, cut_chance=cut_chance_before(chains)
    )
    narrower = precision * at.observation**2
    posterior_precision = 1.0 / known.variance + narrower
    score = at.observation * (precision_mean - precision * standing)
    mean = (known.mean / known.variance + score) / posterior_precision
    return heard, Cavity(mean, 1.0 / posterior_precision)


def _moments(log_chance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and variance (n,) of a standard normal once it is weighted by chances (n, G)."""
    weight = log_chance - 0.5 * GRID**2
    weight = np.exp(weight - weight.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    mean = weight @ GRID
    return mean, weight @ GRID**2 - mean**2
