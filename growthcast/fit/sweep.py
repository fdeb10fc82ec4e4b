"""Eliminating every canopy stage of every area: a Kalman filter with two parameters along.

Given an area's log rate and log ceiling, its chain is a linear-Gaussian state space once it is
linearised at the current stages. The filter carries the mean of a stage as a linear function of the
parameters, so one pass forward leaves the information the whole chain holds on them, and one pass
back gives the stages for any change of them: together an exact Gauss-Newton step on the joint
problem, in time linear in rows, for all areas at once. Spans without any noise need no special
case, since predictions work on variances.

The parameters of an area are held in arrays (2, A): log rate, log ceiling.

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

from growthcast.fit.chains import Chains, Link
from growthcast.growth.logistic import height_at_stage, height_slope, shape_factor

__all__ = ["ErrorModel", "Linearised", "Swept", "linearise", "smooth", "sweep"]

FloatArray = NDArray[np.float64]

FRESH_STAGE_VARIANCE = 1e6
"""Variance of a fresh stage around the current one: flat, since it is centred anew every step."""

SMALLEST_SLOPE_SHARE = 1e-6
"""A cut is linearised through slopes no flatter than this share of the ceiling."""


@dataclass(frozen=True, slots=True)
class ErrorModel:
    """What a reading and a span are worth.

    ``height_error_cm`` (A,) and ``height_error_share`` (A,) make the error of a reading,
    ``sqrt(cm^2 + (share h)^2)``. A span of ``d`` days grows ``R (1 + e)``, the variance of ``e``
    being ``span_spread^2 * 7 / d + drift_spread^2``: what a week does on its own, and what does not
    average out within one span.
    """

    height_error_cm: FloatArray
    height_error_share: FloatArray
    span_spread: float
    drift_spread: float

    def span_variance(self, days: FloatArray) -> FloatArray:
        """Relative variance of the growth over ``days`` [d]."""
        white = self.span_spread**2 * 7.0 / np.maximum(days, 1.0)
        variance: FloatArray = white + self.drift_spread**2
        return variance


@dataclass(frozen=True, slots=True)
class Linearised:
    """The chains linearised at one set of stages and parameters; all (N,), parameters (2, N).

    A node is predicted as ``pull * previous + drive @ parameters + gap`` with variance ``noise``,
    all as departures from the current point; it is observed as ``slope * stage + lean @
    parameters``, off by ``residual``, with precision ``precision`` (0 = not observed).
    """

    pull: FloatArray
    drive: FloatArray
    gap: FloatArray
    noise: FloatArray
    slope: FloatArray
    lean: FloatArray
    residual: FloatArray
    precision: FloatArray


def linearise(
    chains: Chains,
    stage: FloatArray,
    parameters: FloatArray,
    shape: FloatArray,
    errors: ErrorModel,
) -> Linearised:
    """Linearise links and readings at ``stage`` (N,) and ``parameters`` (2, A)."""
    nodes = chains.nodes
    area = nodes.area
    rate, ceiling = np.exp(parameters)
    ceiling, bend = ceiling[area], shape[area]
    height = height_at_stage(stage, ceiling, bend)
    slope = height_slope(stage, ceiling, bend)
    count = area.size

    pull, gap = np.zeros(count), np.zeros(count)
    noise, drive = np.full(count, FRESH_STAGE_VARIANCE), np.zeros((2, count))
    before = chains.previous

    grew = nodes.link == Link.GREW
    grown = (rate * shape_factor(shape))[area[grew]] * nodes.growth_d[grew]
    pull[grew] = 1.0
    drive[0, grew] = grown
    gap[grew] = stage[before[grew]] + grown - stage[grew]
    noise[grew] = errors.span_variance(nodes.span_d[grew]) * grown**2

    cut = nodes.link == Link.CUT
    earlier = before[cut]
    steep = np.maximum(slope[cut], SMALLEST_SLOPE_SHARE * ceiling[cut])
    fallen = height[earlier] - height[cut]
    pull[cut] = slope[earlier] / steep
    drive[1, cut] = fallen / steep
    gap[cut] = (fallen - nodes.removed_cm[cut]) / steep
    noise[cut] = removed_variance(nodes.removed_cm[cut], area[cut], errors) / steep**2

    precision, target = _observed(chains, height, errors)
    lean = np.zeros((2, count))
    lean[1] = height
    residual = np.where(precision > 0.0, target - height, 0.0)
    return Linearised(pull, drive, gap, noise, slope, lean, residual, precision)


def removed_variance(
    removed_cm: FloatArray, area: NDArray[np.int64], errors: ErrorModel
) -> FloatArray:
    """Error variance [cm2] of a length cut off: that of the difference of two readings."""
    variance: FloatArray = (
        2.0 * errors.height_error_cm[area] ** 2
        + (errors.height_error_share[area] * removed_cm) ** 2
    )
    return variance


def _observed(
    chains: Chains, height: FloatArray, errors: ErrorModel
) -> tuple[FloatArray, FloatArray]:
    """Precision [1/cm2] and height [cm] of what is known directly of each node.

    A reading's error grows with the height itself, not with the reading: weights taken from noisy
    readings would favour the low ones. A habit is one more reading.
    """
    nodes = chains.nodes
    area = nodes.area
    variance = errors.height_error_cm[area] ** 2 + (errors.height_error_share[area] * height) ** 2
    read = np.isfinite(nodes.reading_cm)
    reading_precision = np.where(read, 1.0 / variance, 0.0)
    habit = np.isfinite(nodes.habit_cm)
    habit_sd = np.where(habit, nodes.habit_sd_cm, 1.0)
    habit_precision = np.where(habit, 1.0 / habit_sd**2, 0.0)
    precision = reading_precision + habit_precision
    total = np.where(read, nodes.reading_cm, 0.0) * reading_precision
    total += np.where(habit, nodes.habit_cm, 0.0) * habit_precision
    target = np.divide(total, precision, out=np.zeros_like(total), where=precision > 0.0)
    return precision, target


@dataclass(frozen=True, slots=True)
class Swept:
    """Result of the forward pass.

    ``information`` (2, 2, A) and ``score`` (2, A) are what the chains say on departures of the
    parameters; ``mean`` (N,), ``carry`` (2, N) and ``variance`` (N,) give each filtered stage as
    ``mean + carry @ departure``; ``ahead_*`` the same before a node's own reading.
    ``misfit`` (A,) is twice the negative log likelihood of the linearised chain at no departure,
    without its constant.
    """

    information: FloatArray
    score: FloatArray
    misfit: FloatArray
    mean: FloatArray
    carry: FloatArray
    variance: FloatArray
    ahead_mean: FloatArray
    ahead_carry: FloatArray
    ahead_variance: FloatArray


def sweep(chains: Chains, at: Linearised, area_count: int) -> Swept:
    """Filter all chains forward, one position a step."""
    count = at.pull.size
    ahead_mean, ahead_carry = at.gap.copy(), at.drive.copy()
    ahead_variance = at.noise.copy()
    mean, carry, variance = np.empty(count), np.empty((2, count)), np.empty(count)
    information = np.zeros((2, 2, area_count))
    score, misfit = np.zeros((2, area_count)), np.zeros(area_count)
    earlier: slice | None = None
    for here in chains.positions:
        width = here.stop - here.start
        if earlier is not None:
            behind = slice(earlier.start, earlier.start + width)
            pull = at.pull[here]
            ahead_mean[here] += pull * mean[behind]
            ahead_carry[:, here] += pull * carry[:, behind]
            ahead_variance[here] += pull * pull * variance[behind]
        slope, precision = at.slope[here], at.precision[here]
        before = ahead_variance[here]
        weight = precision / (1.0 + slope * slope * before * precision)
        innovation = at.residual[here] - slope * ahead_mean[here]
        lean = slope * ahead_carry[:, here] + at.lean[:, here]
        information[:, :, :width] += weight * lean[:, None] * lean[None, :]
        score[:, :width] += weight * innovation * lean
        with np.errstate(divide="ignore"):
            misfit[:width] += weight * innovation**2 - np.where(weight > 0, np.log(weight), 0.0)
        gain = before * slope * weight
        mean[here] = ahead_mean[here] + gain * innovation
        carry[:, here] = ahead_carry[:, here] - gain * lean
        variance[here] = before / (1.0 + slope * slope * before * precision)
        earlier = here
    by_area = np.empty(area_count, dtype=np.int64)
    by_area[chains.area_at_rank] = np.arange(area_count)
    return Swept(
        information[:, :, by_area],
        score[:, by_area],
        misfit[by_area],
        mean,
        carry,
        variance,
        ahead_mean,
        ahead_carry,
        ahead_variance,
    )


def smooth(chains: Chains, at: Linearised, swept: Swept, departure: FloatArray) -> FloatArray:
    """Departure of every stage, (N,), that goes with a departure (2, A) of the parameters."""
    own = departure[:, chains.nodes.area]
    step: FloatArray = swept.mean + np.einsum("pn,pn->n", swept.carry, own)
    ahead = swept.ahead_mean + np.einsum("pn,pn->n", swept.ahead_carry, own)
    positions = chains.positions
    for here, later in zip(positions[-2::-1], positions[:0:-1], strict=True):
        width = later.stop - later.start
        behind = slice(here.start, here.start + width)
        spread = swept.ahead_variance[later]
        gain = at.pull[later] * swept.variance[behind]
        gain = np.divide(gain, spread, out=np.zeros(width), where=spread > 0.0)
        step[behind] += gain * (step[later] - ahead[later])
    return step
