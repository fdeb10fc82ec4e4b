"""The chains linearised at one point: what links and readings say, as straight lines.

A height that was grown into is linearised where its span is *expected* to end, not where the
reading has since pulled it: readings then meet a prediction that does not depend on them, in
centimetres, and rate and ceiling are learnt from what growth is on average. Linearised at the
reading, what is compared would be its stage ``ln(h/(K-h))``, a transform that depends on the
ceiling, and ceilings would run away. Only a fresh start that nobody read lies where later readings
have it: its guess may be too far off for a straight line. The spread of a span bends the
expectation; that is added to second order.

The *border* of an area's chain are the parameters it depends on: its log ceiling, log usual cut
height, log density and log rate, and the knots of its tank's drift, in this order: arrays (B, ...).
Those that an area has alone come first, and before all the two that a start depends on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.rows.chains import Chains, Link, Nodes
from growthcast.fit.rows.drift import KNOT_COUNT, SpanDrift
from growthcast.fit.sites.nouns import Sites
from growthcast.fit.solver.errors import ErrorModel, likely_removed, removed_variance
from growthcast.growth.logistic import height_and_slope, shape_factor
from growthcast.growth.logistic import stage as stage_of
from growthcast.growth.normal import normal_cdf

__all__ = [
    "BORDER",
    "CEILING",
    "DENSITY",
    "HABIT",
    "KNOTS",
    "OF_STARTS",
    "RATE",
    "Linearised",
    "error_parts",
    "linearise",
    "misfit",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

CEILING, HABIT, DENSITY, RATE, KNOTS = range(5)
BORDER = KNOTS + KNOT_COUNT
OF_STARTS = DENSITY
"""How many parameters of the border, its first ones, a start depends on."""

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
    """

    transition: FloatArray
    inputs: FloatArray
    offset: FloatArray
    process_noise: FloatArray
    observation: FloatArray
    expected_cm: FloatArray
    residual: FloatArray
    observation_precision: FloatArray
    by_usual_cut: FloatArray
    height_cm: FloatArray


def linearise(
    chains: Chains,
    drift: SpanDrift,
    stage: FloatArray,
    border: FloatArray,
    shape: FloatArray,
    errors: ErrorModel,
    trust: FloatArray,
    sites: Sites,
) -> Linearised:
    """Linearise a block's links and readings.

    Parameters
    ----------
    chains : Chains
        The block.
    drift : SpanDrift
        Regression of each node's span on the knots, (M, N) and (N,).
    stage : array (N,)
        Current stages.
    border : array (B, A)
        Current parameters of all areas of the book.
    shape : array (A,)
        Bend of each area's curve.
    errors : ErrorModel
        What readings and spans are worth.
    trust : array (N,)
        Share of its weight that a reading keeps, 1 for one not in doubt.
    sites : Sites
        What looks and weights of whole tanks say of the nodes.
    """
    nodes, area, rank = chains.nodes, chains.nodes.area, chains.rank
    aim = _aimed(border.take(chains.area, axis=1), shape[chains.area])
    ceiling, bend, count = aim.ceiling[rank], shape[area], area.size
    transition, offset = np.zeros((2, count))
    process_noise = np.full(count, FRESH_STAGE_VARIANCE)
    inputs, (expected_cm, slope) = np.zeros((BORDER, count)), np.empty((2, count))

    # A cut scatters around the height it was aimed at; its stage is bent the other way round.
    aimed, other = _places(nodes.link == Link.AIMED), _places(nodes.link != Link.AIMED)
    of = rank[aimed]
    expected_cm[aimed], slope[aimed] = aim.height[of], aim.slope[of]
    inputs[HABIT, aimed], inputs[CEILING, aimed] = aim.by_habit[of], -aim.by_habit[of]
    process_noise[aimed] = (nodes.aim_sd_cm[aimed] / slope[aimed]) ** 2
    offset[aimed] = aim.stage[of] - stage[aimed] - 0.5 * aim.flattening[of] * process_noise[aimed]

    # A start that nobody read is guessed, in stages: low heights take no end of them.
    guessed = np.flatnonzero(nodes.unread_start)
    if guessed.size:
        top = ceiling[guessed]
        away = nodes.guess_sd_cm[guessed] * np.array([[-1.0], [0.0], [1.0]])
        heights = nodes.guess_cm[guessed] + away
        heights = np.clip(heights, LEAST_STAND_SHARE * top, HIGHEST_AIM_SHARE * top)
        low, at_guess, high = stage_of(heights, top, bend[guessed])
        steep = height_and_slope(at_guess, top, bend[guessed])[1]
        inputs[CEILING, guessed] = -heights[1] / steep
        process_noise[guessed] = (0.5 * np.maximum(high - low, LEAST_GUESS_SPREAD)) ** 2
        offset[guessed] = at_guess - stage[guessed]

    grew = _places(nodes.link == Link.GREW)
    weight, owner = drift.weight[:, grew], area[grew]
    pace = border[RATE, owner] + (weight * border[KNOTS:].take(owner, axis=1)).sum(axis=0)
    grown = np.exp(pace) * shape_factor(shape[chains.area])[rank[grew]] * nodes.growth_d[grew]
    foreseen = stage.copy()
    foreseen[grew] = stage[chains.previous[grew]] + grown
    expected_cm[other], slope[other] = height_and_slope(
        foreseen[other], ceiling[other], bend[other]
    )
    foreseen[aimed] = aim.stage[of]
    height_cm = expected_cm + slope * (stage - foreseen)
    height_cm[aimed] += 0.5 * aim.flattening[of] * slope[aimed] * process_noise[aimed]
    transition[grew] = 1.0
    inputs[RATE, grew], inputs[KNOTS:, grew] = grown, grown * weight
    offset[grew] = foreseen[grew] - stage[grew]
    relative = errors.span_variance(nodes.span_d[grew], drift.remainder[grew])
    process_noise[grew] = (relative + nodes.pause_doubt[grew] ** 2) * grown**2
    # The mean of a curved function of a scattered stage is not its value at the mean stage.
    curvature = slope_bend(expected_cm[grew], slope[grew], bend[grew])
    height_cm[grew] += 0.5 * curvature * process_noise[grew]

    unsaid = np.flatnonzero(nodes.link == Link.UNSAID)
    if unsaid.size:
        # It stands as it was found, or was cut as usual: between the two, as likely as that is.
        earlier, owner, chance = chains.previous[unsaid], area[unsaid], sites.cut_chance[unsaid]
        top = ceiling[unsaid]
        stood = np.clip(height_cm[earlier], LEAST_STAND_SHARE * top, MOST_STAND_SHARE * top)
        # No cut leaves more than stood there: the mean of the lower of the two, as cuts scatter.
        usual, scatter = np.exp(border[HABIT, owner]), nodes.aim_sd_cm[unsaid]
        above = (stood - usual) / scatter
        lower = normal_cdf(above)
        dip = scatter * np.exp(-0.5 * above**2) / np.sqrt(2.0 * np.pi)
        aim = np.maximum(lower * usual + (1.0 - lower) * stood - dip, LEAST_STAND_SHARE * top)
        left = (1.0 - chance) * stood + chance * aim
        foreseen[unsaid] = stage_of(left, top, bend[unsaid])
        expected_cm[unsaid], slope[unsaid] = height_and_slope(foreseen[unsaid], top, bend[unsaid])
        steep = slope[unsaid]
        height_cm[unsaid] = left + steep * (stage[unsaid] - foreseen[unsaid])
        by_habit = chance * lower * usual / steep
        transition[unsaid] = (1.0 - chance * lower) * slope[earlier] / steep
        inputs[HABIT, unsaid], inputs[CEILING, unsaid] = by_habit, -by_habit
        offset[unsaid] = foreseen[unsaid] - stage[unsaid]
        spread = (1.0 - chance) * (stood - aim) ** 2 + lower * scatter**2
        process_noise[unsaid] = chance * spread / steep**2

    cut = np.flatnonzero(nodes.link >= Link.CUT)
    if cut.size:
        weighed = nodes.link[cut] == Link.WEIGHED
        owner, earlier = area[cut], chains.previous[cut]
        steep = np.maximum(slope[cut], SMALLEST_SLOPE_SHARE * ceiling[cut])
        taken = nodes.removed_cm[cut] * np.exp(np.where(weighed, -border[DENSITY, owner], 0.0))
        likely = likely_removed(expected_cm[earlier], border[HABIT, owner])
        transition[cut] = slope[earlier] / steep
        inputs[CEILING, cut] = (expected_cm[earlier] - expected_cm[cut]) / steep
        inputs[DENSITY, cut] = np.where(weighed, likely, 0.0) / steep
        offset[cut] = (height_cm[earlier] - height_cm[cut] - taken) / steep
        process_noise[cut] = removed_variance(likely, weighed, owner, errors) / steep**2
    residual, precision, by_usual_cut = _observed(
        nodes, height_cm, expected_cm, border, errors, trust, sites
    )
    return Linearised(
        transition=transition,
        inputs=inputs,
        offset=offset,
        process_noise=process_noise,
        observation=slope,
        expected_cm=expected_cm,
        residual=residual,
        observation_precision=precision,
        by_usual_cut=by_usual_cut,
        height_cm=height_cm,
    )


def _places(mask: NDArray[np.bool_]) -> slice | IntArray:
    """Where a mask (N,) holds: a slice, which needs no gathering, where that is one run."""
    at = np.flatnonzero(mask)
    run = at.size > 0 and int(at[-1] - at[0]) + 1 == at.size
    return slice(int(at[0]), int(at[-1]) + 1) if run else at


@dataclass(frozen=True, slots=True)
class _Aimed:
    """Where cuts of areas (R,) are aimed: the stage, its height and slope there.

    ``by_habit`` is how far the stage goes with the usual cut height, and against the ceiling;
    ``flattening`` how the slope changes along the height, per unit of it.
    """

    ceiling: FloatArray
    stage: FloatArray
    height: FloatArray
    slope: FloatArray
    by_habit: FloatArray
    flattening: FloatArray


def _aimed(border: FloatArray, shape: FloatArray) -> _Aimed:
    """Where cuts of areas (R,) with some borders (B, R) are aimed."""
    ceiling = np.exp(border[CEILING])
    usual = np.minimum(np.exp(border[HABIT]), HIGHEST_AIM_SHARE * ceiling)
    stage = stage_of(usual, ceiling, shape)
    height, slope = height_and_slope(stage, ceiling, shape)
    flattening = slope_bend(height, slope, shape) / slope
    return _Aimed(ceiling, stage, height, slope, usual / slope, flattening)


def error_parts(
    chains: Chains,
    drift: SpanDrift,
    at: Linearised,
    border: FloatArray,
    errors: ErrorModel,
    trust: FloatArray,
) -> dict[str, tuple[FloatArray, FloatArray]]:
    """What each spread of an error model adds to the variance of each link and of each reading.

    Parameters are those of ``linearise``, with what it returned. The values are pairs of arrays
    (N,) by the names of the spreads. The doubt about pauses is given, not learnt: in none of them.
    """
    nodes, owner = chains.nodes, chains.nodes.area
    nothing = np.zeros(owner.size)
    squared = np.where(nodes.link == Link.GREW, at.inputs[RATE], 0.0) ** 2
    within = errors.span_variance(nodes.span_d, nothing)
    beyond = errors.span_variance(nodes.span_d, drift.remainder) - within
    weighed = nodes.link == Link.WEIGHED
    likely = likely_removed(at.expected_cm[chains.previous], border[HABIT, owner])
    whole = removed_variance(likely, weighed, owner, errors)
    by_length = np.where(nodes.link == Link.CUT, at.process_noise / whole, 0.0)
    by_weight = np.where(weighed, at.process_noise / whole, 0.0)
    fixed = errors.height_error_cm[owner] ** 2
    relative = errors.height_error_share[owner] ** 2
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


def slope_bend(height: FloatArray, slope: FloatArray, shape: FloatArray) -> FloatArray:
    """Change of a slope with its stage: the second derivative of the curve.

    With ``f = slope / h`` it is ``slope ((1 + m) f - 1)``: for the logistic ``slope (1 - 2 h/K)``.
    """
    fraction = slope / np.maximum(height, 1e-300)
    bend: FloatArray = slope * ((1.0 + shape) * fraction - 1.0)
    return bend


def _observed(
    nodes: Nodes,
    height_cm: FloatArray,
    expected_cm: FloatArray,
    border: FloatArray,
    errors: ErrorModel,
    trust: FloatArray,
    sites: Sites,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What is known of each node's height: residual, precision, what rests on the usual cut height.

    A reading's error grows with the height expected, not with the reading: weights taken from noisy
    readings would favour the low ones. A guess is one more reading, and so is what a site says.
    """
    read = np.isfinite(nodes.reading_cm)
    precision = np.where(read, trust / errors.reading_variance(expected_cm, nodes.area), 0.0)
    residual = np.where(read, nodes.reading_cm - height_cm, 0.0)
    by_usual_cut = np.zeros(height_cm.size)
    at = np.flatnonzero(nodes.link >= Link.CUT)  # cut by a known length, it was aimed as usual
    if at.size:
        usual = np.exp(border[HABIT, nodes.area[at]])
        told = 1.0 / nodes.aim_sd_cm[at] ** 2
        both = precision[at] + told
        residual[at] = (precision[at] * residual[at] + told * (usual - height_cm[at])) / both
        by_usual_cut[at] = usual * told / both
        precision[at] = both
    at = np.flatnonzero(sites.precision)
    if at.size:
        both = precision[at] + sites.precision[at]
        off = sites.pulled[at] - sites.precision[at] * height_cm[at]
        by_usual_cut[at] *= precision[at] / both
        residual[at] = (precision[at] * residual[at] + off) / both
        precision[at] = both
    return residual, precision, by_usual_cut


def misfit(
    nodes: Nodes,
    at: Linearised,
    border: FloatArray,
    errors: ErrorModel,
    trust: FloatArray,
    sites: Sites,
) -> float:
    """Twice the negative log likelihood of what is known of the nodes' heights where they stand.

    Without constants.
    """
    read = np.flatnonzero(np.isfinite(nodes.reading_cm))
    variance = errors.reading_variance(at.expected_cm[read], nodes.area[read]) / trust[read]
    off = nodes.reading_cm[read] - at.height_cm[read]
    cut = np.flatnonzero(nodes.link >= Link.CUT)
    usual = (np.exp(border[HABIT, nodes.area[cut]]) - at.height_cm[cut]) / nodes.aim_sd_cm[cut]
    told = np.flatnonzero(sites.precision)
    beside = sites.pulled[told] / sites.precision[told] - at.height_cm[told]
    twice = (off**2 / variance + np.log(variance)).sum()
    twice += (sites.precision[told] * beside**2).sum()
    return float(twice + (usual**2).sum())
