"""Eliminating every canopy stage of every area: a Kalman filter with the border along.

Given an area's border (rate, ceiling, density, drift knots) its chain is a linear-Gaussian state
space once it is linearised at the current stages. The filter carries the mean of a stage as a
linear function of the border, so one pass forward leaves the information the whole chain holds on
it, and one pass back gives the stages for any change of it: together an exact Gauss-Newton step on
the joint problem, in time linear in rows, for all areas at once. Spans without any noise need no
special case, since predictions work on variances.

References
----------
de Jong, P. (1991). The diffuse Kalman filter. Annals of Statistics 19, 1073-1083 (from memory).
Bell, B. M. (1994). The iterated Kalman smoother as a Gauss-Newton method. SIAM Journal on
Optimization 4, 626-636 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.rows.chains import Chains, Link
from growthcast.fit.solver.linearise import BORDER, CEILING, HABIT, Linearised

__all__ = ["Swept", "filtered", "log_determinant", "smooth", "sweep"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Swept:
    """Result of the forward pass over a block of R areas and N nodes.

    ``information`` (B, B, R) and ``score`` (B, R) are what the chains say on departures of the
    border; ``mean`` (N,), ``carry`` (B, N) and ``variance`` (N,) give each filtered stage as
    ``mean + carry @ departure``; ``ahead_*`` the same before a node's own reading.
    ``innovation`` (N,) is what each reading says beyond what was foreseen without it [cm], and
    ``weight`` (N,) the inverse of its variance, 0 where nothing was read.
    """

    information: FloatArray
    score: FloatArray
    innovation: FloatArray
    weight: FloatArray
    mean: FloatArray
    carry: FloatArray
    variance: FloatArray
    ahead_mean: FloatArray
    ahead_carry: FloatArray
    ahead_variance: FloatArray


def sweep(chains: Chains, at: Linearised) -> Swept:
    """Filter all chains of a block forward, one position a step."""
    count, areas = at.pull.size, chains.area.size
    ahead_mean, ahead_carry = at.gap.copy(), at.drive.copy()
    ahead_variance = at.noise.copy()
    mean, carry, variance = np.empty(count), np.empty((BORDER, count)), np.empty(count)
    information = np.zeros((BORDER, BORDER, areas))
    score = np.zeros((BORDER, areas))
    innovations, weights = np.empty(count), np.empty(count)
    earlier: slice | None = None
    for here in chains.positions:
        width = here.stop - here.start
        if earlier is not None:
            behind = slice(earlier.start, earlier.start + width)
            pull = at.pull[here]
            ahead_mean[here] += pull * mean[behind]
            ahead_carry[:, here] += pull * carry[:, behind]
            ahead_variance[here] += pull * pull * variance[behind]
        slope, precision, before = at.slope[here], at.precision[here], ahead_variance[here]
        gathered = 1.0 + slope * slope * before * precision
        weight = precision / gathered
        innovation = at.residual[here] - slope * ahead_mean[here]
        lean = slope * ahead_carry[:, here]
        lean[CEILING] += at.height[here]
        lean[HABIT] -= at.habit[here]
        weighted = weight * lean
        information[:, :, :width] += weighted[:, None] * lean[None, :]
        score[:, :width] += innovation * weighted
        innovations[here], weights[here] = innovation, weight
        gain = before * slope * weight
        mean[here] = ahead_mean[here] + gain * innovation
        carry[:, here] = ahead_carry[:, here] - gain * lean
        variance[here] = before / gathered
        earlier = here
    return Swept(
        information,
        score,
        innovations,
        weights,
        mean,
        carry,
        variance,
        ahead_mean,
        ahead_carry,
        ahead_variance,
    )


def filtered(chains: Chains, swept: Swept, departure: FloatArray) -> FloatArray:
    """Departure (N,) of every stage as known by its day, for a departure (B, A) of the borders."""
    own = departure[:, chains.nodes.area]
    step: FloatArray = swept.mean + np.einsum("bn,bn->n", swept.carry, own)
    return step


def smooth(chains: Chains, at: Linearised, swept: Swept, departure: FloatArray) -> FloatArray:
    """Departure of every stage, (N,), that goes with a departure (B, A) of the borders."""
    step, own = filtered(chains, swept, departure), departure[:, chains.nodes.area]
    ahead = swept.ahead_mean + np.einsum("bn,bn->n", swept.ahead_carry, own)
    for behind, later in _backwards(chains):
        step[behind] += _gain(at, swept, behind, later) * (step[later] - ahead[later])
    return step


def _backwards(chains: Chains) -> list[tuple[slice, slice]]:
    """Pairs of (nodes before, nodes), from the ends of the chains to their starts."""
    positions = chains.positions
    return [
        (slice(here.start, here.start + later.stop - later.start), later)
        for here, later in zip(positions[-2::-1], positions[:0:-1], strict=True)
    ]


def _gain(at: Linearised, swept: Swept, behind: slice, later: slice) -> FloatArray:
    spread = swept.ahead_variance[later]
    gain = at.pull[later] * swept.variance[behind]
    quotient: FloatArray = np.divide(gain, spread, out=np.zeros_like(gain), where=spread > 0.0)
    return quotient


def log_determinant(chains: Chains, at: Linearised, swept: Swept) -> float:
    """Log determinant of the chains' curvature, its starts being flat in height.

    A start is flat in the stage as far as the filter goes; flat in height, which is how a person
    reads it, leaves out the slope.
    """
    gathered = 1.0 + at.slope**2 * swept.ahead_variance * at.precision
    fresh = chains.nodes.link == Link.FRESH
    starts = 2.0 * np.log(np.maximum(at.slope[fresh], 1e-300)).sum()
    return float(np.log(gathered).sum() - starts)
