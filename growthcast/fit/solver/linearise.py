"""The chains linearised at one point: what links and readings say, as straight lines.

A height that was grown into is linearised where its span is *expected* to end, not where the
reading has since pulled it: readings then meet a prediction that does not depend on them, in
centimetres, and rate and ceiling are learnt from what growth is on average. Linearised at the
reading, what is compared would be its stage ``ln(h/(K-h))``, a transform that depends on the
ceiling, and ceilings would run away. Only a fresh start that nobody read lies where later readings
have it: its guess may be too far off for a straight line. The spread of a span bends the
expectation; that is added to second order.
"""

from __future__ import annotations

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.fit.model.noise import ErrorModel, likely_removed, removed_variance
from growthcast.fit.rows.chains import Chains, Link
from growthcast.fit.solver.problem import (
    CEILING,
    DENSITY,
    HABIT,
    KNOTS,
    RATE,
    Block,
    Problem,
)
from growthcast.growth.logistic import height_and_slope, shape_factor
from growthcast.growth.logistic import stage as stage_of
from growthcast.growth.normal import normal_cdf
from growthcast.nouns import dataclass

FRESH_STAGE_VARIANCE = 1e6
"""Variance of a fresh stage around the current one: flat, since it is centred anew every step."""

LEAST_STAND_SHARE, MOST_STAND_SHARE = 0.02, 0.98
"""What may have been cut stood between these shares of its ceiling."""

HIGHEST_AIM_SHARE = 0.95
"""No cut is aimed higher than this share of the ceiling."""

LEAST_GUESS_SPREAD = 0.2
"""Stages between which a guess leaves a start at least."""

SMALLEST_SLOPE_SHARE = 1e-6
"""A cut is linearised through slopes no flatter than this share of the ceiling."""


@dataclass(frozen=True, slots=True)
class Linearised:
    """The chains linearised; all (N,), border (B, N).

    A node's stage is predicted as ``transition * previous + inputs @ border + offset`` with the
    variance ``process_noise``, all as departures from the current point. Its height is observed as
    ``observation * stage + D @ border``, off by ``residual`` [cm], with ``observation_precision``
    [1/cm2], which is 0 where nothing was observed; ``observation`` is the slope dh/dz [cm]. ``D``
    has two rows: a height moves with the ceiling by ``expected_cm``, the height expected, and after
    a cut of known size with the usual cut height that it is compared with by ``-by_usual_cut``
    [cm]. ``height_cm`` is the height at the current point with its second-order term.

    Of ``inputs`` the rows of the knots are the row of the log rate times ``drift`` (M, N), the
    weights of the knots; the rows before them are ``own_inputs``.
    """

    transition: FloatArray
    own_inputs: FloatArray
    drift: FloatArray
    offset: FloatArray
    process_noise: FloatArray
    observation: FloatArray
    expected_cm: FloatArray
    height_cm: FloatArray
    residual: FloatArray
    observation_precision: FloatArray
    by_usual_cut: FloatArray


def linearise(
    problem: Problem,
    block: Block,
    stage: FloatArray,
    border: FloatArray,
    unheard: Linearised | None = None,
) -> Linearised:
    """Linearise a block's links and readings.

    Parameters
    ----------
    problem : Problem
        Its curves, lags and what readings and spans are worth.
    block : Block
        One of its blocks.
    stage : array (N,)
        Current stages [-].
    border : array (B, A)
        Current parameters of all areas of the book [log].
    unheard : Linearised, optional
        The block at the same point with other sites: little else rests on them.

    Returns
    -------
    Linearised
        Departures from these stages and parameters.
    """
    if unheard is None:
        at = _but_for_sites(problem, block, stage, border)
    else:
        at = Linearised(*(getattr(unheard, name).copy() for name in Linearised.__slots__))
    _link_unsaid_cuts(at, problem, block, stage, border)
    _link_known_cuts(at, block.chains, border, problem.errors)
    _observe(at, block, border, problem.errors)
    return at


def _but_for_sites(
    problem: Problem, block: Block, stage: FloatArray, border: FloatArray
) -> Linearised:
    """Linearise a block but for what rests on its sites, and what rests on that."""
    chains, errors, drift = block.chains, problem.errors, block.drift
    nodes, rank, form = chains.nodes, chains.rank, problem.shape[chains.area]
    # A node is a fresh start until more is known of it.
    transition, offset, by_usual_cut = np.zeros((3, rank.size))
    expected_cm, slope, residual, precision = np.empty((4, rank.size))
    inputs, process_noise = np.zeros((KNOTS, rank.size)), np.full(rank.size, FRESH_STAGE_VARIANCE)
    ceiling, at_aim = _aimed(border.take(chains.area, axis=1), form)
    # Aimed: a chain begins at the usual cut height. A stage depends on h/K alone, so it moves with
    # the log usual cut by h / (dh/dz), and with the log ceiling by as much the other way. The cut
    # scatters in height; in stages its mean lies lower where the curve steepens, to second order.
    aimed, other = chains.aimed
    begun, expected_cm[aimed], slope[aimed], by_habit, flat = at_aim.take(rank[aimed], axis=1)
    inputs[HABIT, aimed], inputs[CEILING, aimed] = by_habit, -by_habit
    process_noise[aimed] = (nodes.aim_sd_cm[aimed] / slope[aimed]) ** 2
    lower = 0.5 * flat * process_noise[aimed]
    offset[aimed] = begun - stage[aimed] - lower
    # Grew: z = z_previous + g with g = tau exp(ln r + q.b); dg/d ln r = g and dg/db = g q.
    grew = chains.grew
    weight, owner, place = drift.weight[:, grew], nodes.area[grew], rank[grew]
    drifted = np.einsum("mn,mn->n", weight, border[KNOTS:].take(owner, axis=1))
    grown = np.exp(border[RATE].take(owner) + drifted) * shape_factor(form).take(place)
    grown *= nodes.growth_d[grew] * nodes.awake_share(problem.lag_d, grew)
    # Heights and slopes are taken at the stage expected; a height at the current stage is reached
    # from there along the slope, since the filter sees straight lines only.
    expected_stage = stage.copy()
    expected_stage[grew] = stage.take(chains.previous[grew]) + grown
    curve = ceiling.take(rank[other]), form.take(rank[other])
    expected_cm[other], slope[other] = height_and_slope(expected_stage[other], *curve)
    expected_stage[aimed] = begun
    height_cm = expected_cm + slope * (stage - expected_stage)
    height_cm[aimed] += slope[aimed] * lower
    transition[grew] = 1.0
    inputs[RATE, grew] = grown
    offset[grew] = expected_stage[grew] - stage[grew]
    relative = errors.span_variance(nodes.span_d[grew], drift.remainder[grew])
    process_noise[grew] = (relative + nodes.pause_doubt[grew] ** 2) * grown**2
    # The mean of a curved function of a scattered stage is not its value at the mean stage.
    flat = flattening(expected_cm[grew], slope[grew], form.take(place))
    height_cm[grew] += 0.5 * flat * slope[grew] * process_noise[grew]
    at = Linearised(
        *(transition, inputs, drift.weight, offset, process_noise, slope, expected_cm, height_cm),
        *(residual, precision, by_usual_cut),
    )
    _link_guesses(at, chains, ceiling, form, stage)
    return at


def _link_guesses(
    at: Linearised, chains: Chains, ceiling: FloatArray, bend: FloatArray, stage: FloatArray
) -> None:
    """Fill in starts that nobody read: a guess in centimetres becomes one in stages.

    A low height reaches down over endlessly many stages, so the spread is taken between the guess's
    standard deviation below and above.
    """
    nodes, of = chains.nodes, chains.unread_starts
    if not of.size:
        return
    away = nodes.guess_sd_cm[of] * np.array([[-1.0], [0.0], [1.0]])
    top, bend, heights = ceiling[chains.rank[of]], bend[chains.rank[of]], nodes.guess_cm[of] + away
    heights = np.clip(heights, LEAST_STAND_SHARE * top, HIGHEST_AIM_SHARE * top)
    low, guess, high = stage_of(heights, top, bend)
    at.own_inputs[CEILING, of] = -heights[1] / height_and_slope(guess, top, bend)[1]
    at.process_noise[of] = (0.5 * np.maximum(high - low, LEAST_GUESS_SPREAD)) ** 2
    at.offset[of] = guess - stage[of]


def _link_unsaid_cuts(
    at: Linearised, problem: Problem, block: Block, stage: FloatArray, border: FloatArray
) -> None:
    """Fill in cuts that may have been made: an area stands as it was found, or was cut as usual.

    The mean height lies between the two by the chance of a cut, and the noise is the variance of
    that mixture. No cut leaves more than stood there: ``aim`` is the mean of the lower of two, the
    height that stood and a usual cut that scatters normally; ``lower`` is the chance of the second.
    """
    chains, of = block.chains, block.chains.unsaid
    if not of.size:
        return
    earlier, chance, owner = chains.previous[of], block.sites.cut_chance[of], chains.nodes.area[of]
    top, bend = np.exp(border[CEILING, owner]), problem.shape[owner]
    stood = np.clip(at.height_cm[earlier], LEAST_STAND_SHARE * top, MOST_STAND_SHARE * top)
    usual, scatter = np.exp(border[HABIT, owner]), chains.nodes.aim_sd_cm[of]
    above = (stood - usual) / scatter
    lower = normal_cdf(above)
    dip = scatter * np.exp(-0.5 * above**2) / np.sqrt(2.0 * np.pi)
    aim = np.maximum(lower * usual + (1.0 - lower) * stood - dip, LEAST_STAND_SHARE * top)
    left = (1.0 - chance) * stood + chance * aim
    expected_stage = stage_of(left, top, bend)
    at.expected_cm[of], steep = height_and_slope(expected_stage, top, bend)
    at.observation[of] = steep
    at.height_cm[of] = left + steep * (stage[of] - expected_stage)
    by_habit = chance * lower * usual / steep
    at.transition[of] = (1.0 - chance * lower) * at.observation[earlier] / steep
    at.own_inputs[HABIT, of], at.own_inputs[CEILING, of] = by_habit, -by_habit
    at.offset[of] = expected_stage - stage[of]
    spread = (1.0 - chance) * (stood - aim) ** 2 + lower * scatter**2
    at.process_noise[of] = chance * spread / steep**2


def _link_known_cuts(
    at: Linearised, chains: Chains, border: FloatArray, errors: ErrorModel
) -> None:
    """Fill in cuts by a known length or weight: h(z) = h(z_previous) - l, divided by the slope.

    A length from a weight is m / density, so it falls with the log density by itself; the likely
    length stands in for it.
    """
    nodes, of = chains.nodes, chains.cut
    if not of.size:
        return
    weighed, owner, earlier = nodes.link[of] == Link.WEIGHED, nodes.area[of], chains.previous[of]
    steep = np.maximum(at.observation[of], SMALLEST_SLOPE_SHARE * np.exp(border[CEILING, owner]))
    taken = nodes.removed_cm[of] * np.exp(np.where(weighed, -border[DENSITY, owner], 0.0))
    likely = likely_removed(at.expected_cm[earlier], border[HABIT, owner])
    at.transition[of] = at.observation[earlier] / steep
    at.own_inputs[CEILING, of] = (at.expected_cm[earlier] - at.expected_cm[of]) / steep
    at.own_inputs[DENSITY, of] = np.where(weighed, likely, 0.0) / steep
    at.offset[of] = (at.height_cm[earlier] - at.height_cm[of] - taken) / steep
    at.process_noise[of] = removed_variance(likely, weighed, owner, errors) / steep**2


def _aimed(border: FloatArray, shape: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Ceilings (R,) of areas with some borders (B, R), and where their cuts are aimed, (5, R).

    The latter are the stage, its height and slope there, how far the stage goes with the usual cut
    height, and against the ceiling, and the share by which the slope changes with it.
    """
    ceiling = np.exp(border[CEILING])
    usual = np.minimum(np.exp(border[HABIT]), HIGHEST_AIM_SHARE * ceiling)
    stage = stage_of(usual, ceiling, shape)
    height, slope = height_and_slope(stage, ceiling, shape)
    flat = flattening(height, slope, shape)
    return ceiling, np.stack([stage, height, slope, usual / slope, flat])


def flattening(height: FloatArray, slope: FloatArray, shape: FloatArray) -> FloatArray:
    """By which share a slope changes with its stage: the curve's second derivative over its first.

    Parameters
    ----------
    height : array (n,)
        Heights on the curve [cm].
    slope : array (n,)
        Slopes there [cm per unit of stage].
    shape : array (n,)
        Richards exponents [-].

    Returns
    -------
    array (n,)
        With ``f = slope / h`` it is ``(1 + m) f - 1``: for the logistic ``1 - 2 h/K`` [-].
    """
    return (1.0 + shape) * slope / np.maximum(height, 1e-300) - 1.0


def _observe(linearised: Linearised, block: Block, border: FloatArray, errors: ErrorModel) -> None:
    """Fill in what is known of each height: residual, precision, what rests on the usual cut.

    A reading's error grows with the height expected, not with the reading: weights taken from noisy
    readings would favour the low ones. A guess is one more reading, and so is what a site says.
    """
    nodes, sites, height_cm = block.chains.nodes, block.sites, linearised.height_cm
    residual, precision = linearised.residual, linearised.observation_precision
    by_usual_cut = linearised.by_usual_cut
    error = errors.reading_variance(linearised.expected_cm, nodes.area, nodes.reading_sd_cm)
    precision[:] = np.where(block.chains.read, block.trust / error, 0.0)
    residual[:] = np.where(block.chains.read, nodes.reading_cm - height_cm, 0.0)
    at = block.chains.cut  # cut by a known length, it was aimed as usual
    if at.size:
        usual = np.exp(border[HABIT, nodes.area[at]])
        usual_precision = 1.0 / nodes.aim_sd_cm[at] ** 2
        both = precision[at] + usual_precision
        off = usual_precision * (usual - height_cm[at])
        residual[at] = (precision[at] * residual[at] + off) / both
        by_usual_cut[at] = usual * usual_precision / both
        precision[at] = both
    at = np.flatnonzero(sites.precision)
    if at.size:
        both = precision[at] + sites.precision[at]
        off = sites.precision_mean[at] - sites.precision[at] * height_cm[at]
        by_usual_cut[at] *= precision[at] / both
        residual[at] = (precision[at] * residual[at] + off) / both
        precision[at] = both
