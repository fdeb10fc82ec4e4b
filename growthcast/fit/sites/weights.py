"""What weights of whole tanks say of the heights and of the densities.

A weight is a sum over areas: each area is told the weight less what the others are expected to have
given, with their uncertainty; areas whose lengths were measured are told about their densities
instead, all of a tank at once.
"""

from __future__ import annotations

from dataclasses import replace
from math import log, log1p

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, distinct
from growthcast.fit.rows.chains import Link
from growthcast.fit.sites.looks import Cavity, sites_of_looks
from growthcast.fit.solver.problem import DENSITY, HABIT, Block, Problem, Sites, cut_chance_before
from growthcast.fit.solver.view import View
from growthcast.nouns import dataclass

LEAST_WEIGHT_ERROR_G = 5.0

MISWEIGHED_SHARE, MISWEIGHED_WIDTH = 0.05, 5.0
"""How often a weight does not belong, and by how much it is then wider (estimates)."""

LONGEST_MOVE = 1.0
"""A log density is taken no further at a time."""

CHANCE_ROUNDS, ALMOST_SURE = 8, 1.0 - 1e-9


@dataclass(frozen=True, slots=True)
class Parts:
    """What each member (M,) of weights is expected to have given, before they are heard.

    ``length_cm`` with ``variance`` [cm2] came off, if anything did; ``chance`` is how likely that
    is, 1 where it was measured. ``sure_g`` is what single weights tell [g]. ``usual_cm`` with
    ``usual_variance`` is the height that an unsaid cut would have left.
    """

    area: IntArray
    bucket: IntArray
    length_cm: FloatArray
    variance: FloatArray
    chance: FloatArray
    sure_g: FloatArray
    usual_cm: FloatArray
    usual_variance: FloatArray
    gram_per_cm: FloatArray
    density_variance: FloatArray

    @property
    def mass_g(self) -> FloatArray:
        """Mean mass of what was measured or may have come off, (M,)."""
        return np.where(self.sure_g > 0.0, self.sure_g, self.gram_per_cm * self.length_cm)

    @property
    def mass_variance(self) -> FloatArray:
        """Its variance, (M,); a single weight is off by what another would be."""
        known = self.gram_per_cm**2 * self.variance + self.mass_g**2 * self.density_variance
        return np.where(self.sure_g > 0.0, 0.0, known)

    @property
    def given(self) -> tuple[FloatArray, FloatArray]:
        """Mean and variance (M,) of what came off, whether anything did included."""
        doubt = self.chance * (1.0 - self.chance) * self.mass_g**2
        return self.chance * self.mass_g, self.chance * self.mass_variance + doubt

    def left_of(
        self, grams: FloatArray, error: FloatArray, counts: BoolArray
    ) -> tuple[FloatArray, FloatArray]:
        """What is left (M,) of weights (W,) for each without the others' part, with variance."""
        mean, variance = (np.where(counts, values, 0.0) for values in self.given)
        total, doubt = (np.bincount(self.bucket, v, grams.size) for v in (mean, variance))
        rest = (grams - total)[self.bucket] + mean
        unsure = np.maximum(doubt[self.bucket] - variance, 0.0) + error[self.bucket]
        return rest, unsure


def _parts_of(view: View, number: int, known: Cavity) -> Parts:
    """What the members of a block are expected to have given."""
    problem, forward, border = view.problem, view.forward(number), view.point.border
    block, at = problem.blocks[number], forward.at
    members, nodes, weights = block.members, block.chains.nodes, problem.weights
    found, left, area = members.found, members.left, members.area
    unsaid = nodes.link[left] == Link.UNSAID
    filtered = forward.filtered

    def height(at_node: IntArray, mean: FloatArray) -> FloatArray:
        return np.maximum(at.height_cm[at_node] + at.observation[at_node] * mean[at_node], 0.0)

    gone = weights.removed_day[area] <= nodes.day[left]
    usual = np.where(gone, 0.0, np.exp(border[HABIT, area]))
    usual_sd = np.where(gone, 0.0, nodes.aim_sd_cm[left])
    open_cm = np.maximum(height(found, known.mean) - usual, 0.0)
    open_variance = at.observation[found] ** 2 * known.variance[found] + usual_sd**2
    read_cm = np.maximum(height(found, filtered.mean) - height(left, filtered.mean), 0.0)
    read_variance = at.observation[found] ** 2 * filtered.variance[found]
    read_variance = read_variance + at.observation[left] ** 2 * filtered.variance[left]
    told = nodes.link[left] == Link.CUT
    read_cm = np.where(told, nodes.removed_cm[left], read_cm)
    read_variance = np.where(told, 2.0 * problem.errors.height_error_cm[area] ** 2, read_variance)
    single = nodes.link[left] == Link.WEIGHED
    return Parts(
        area=area,
        bucket=members.bucket,
        length_cm=np.where(unsaid, open_cm, read_cm),
        variance=np.where(unsaid, open_variance, read_variance),
        chance=np.where(unsaid, cut_chance_before(block.chains)[left], 1.0),
        sure_g=np.where(single, nodes.removed_cm[left] * weights.gram_per_cm[area], 0.0),
        usual_cm=usual,
        usual_variance=usual_sd**2,
        gram_per_cm=weights.gram_per_cm[area] * np.exp(border[DENSITY, area]),
        density_variance=view.pooled.own_covariance[area, DENSITY, DENSITY],
    )


def _sites_of_weights(
    problem: Problem, block: Block, part: Parts, heard: Sites
) -> tuple[Sites, Parts]:
    """What weights say of areas that may have been cut, beside what looks say.

    Also, for the densities, the parts with the chances heard.
    """
    weights = problem.weights
    unsaid = block.chains.nodes.link[block.members.left] == Link.UNSAID
    counts = unsaid | weights.everything[part.bucket]
    error, chance = _error_variance(problem), part.chance
    mass, mass_variance = part.mass_g, part.mass_variance
    odds = np.log(part.chance) - np.log1p(-np.minimum(part.chance, ALMOST_SURE))
    for _ in range(CHANCE_ROUNDS):
        rest, variance = replace(part, chance=chance).left_of(weights.grams, error, counts)
        off, spread = np.stack([rest - mass, rest]), np.stack([variance + mass_variance, variance])
        cut, not_cut = _log_chance(off, spread)
        heard_chance = 1.0 / (1.0 + np.exp(np.clip(not_cut - cut - odds, -50.0, 50.0)))
        chance = np.where(unsaid, 0.5 * (chance + heard_chance), 1.0)
    # The height found: where a usual cut leaves it, and what the weight says came off above.
    length = np.maximum(rest, 0.0) / part.gram_per_cm
    spread = variance / part.gram_per_cm**2 + length**2 * part.density_variance
    spread = spread + part.usual_variance
    precision = np.where(unsaid & (part.length_cm > 0.0), chance, 0.0) / spread
    at = block.members.found
    sites = Sites(
        precision_mean=heard.precision_mean.copy(),
        precision=heard.precision.copy(),
        cut_chance=heard.cut_chance.copy(),
    )
    np.add.at(sites.precision, at, precision)
    np.add.at(sites.precision_mean, at, precision * (part.usual_cm + length))
    sites.cut_chance[block.members.left[unsaid]] = chance[unsaid]
    return sites, replace(part, chance=np.where(counts, chance, 0.0))


def _error_variance(problem: Problem) -> FloatArray:
    """Error variance (W,) of the weights themselves [g2]."""
    variance: FloatArray = (problem.errors.weight * problem.weights.grams) ** 2
    return variance + LEAST_WEIGHT_ERROR_G**2


def _log_chance(off: FloatArray, variance: FloatArray) -> FloatArray:
    """Log density of an error that is now and then several times as wide."""
    squares, logs = -0.5 * off**2 / variance, -0.5 * np.log(variance)
    rare = squares / MISWEIGHED_WIDTH**2 + (log(MISWEIGHED_SHARE) - log(MISWEIGHED_WIDTH))
    either: FloatArray = logs + np.logaddexp(squares + log1p(-MISWEIGHED_SHARE), rare)
    return either


def _densities(view: View, whole: list[Parts]) -> FloatArray:
    """What weights say of log densities, (2, A): precision, and precision times log density.

    All areas of a tank at once, since they are weighed together again and again: a linear
    regression of what a weight leaves unexplained on what each area gave.
    """
    tank, prior = view.problem.pooling.tank, view.problem.pooling.density_precision
    said, grams = np.zeros((2, tank.size)), view.problem.weights.grams
    # Densities are what is asked for: the noise is that of lengths and chances.
    parts = [replace(part, density_variance=np.zeros(part.area.size)) for part in whole]
    told = zip(*((p.area, p.bucket, *p.given, p.sure_g > 0.0) for p in parts), strict=True)
    area, bucket, mass, noise, sure = (np.concatenate(values) for values in told)
    members = distinct(area[mass > 0.0])
    if not members.size:
        return said
    unsure = _error_variance(view.problem) + np.bincount(bucket, noise, minlength=grams.size)
    off = grams - np.bincount(bucket, mass, minlength=grams.size)
    run = tank[members]
    place, order = np.zeros_like(tank), np.argsort(run, kind="stable")
    place[members[order]] = np.arange(members.size) - np.searchsorted(run[order], run[order])
    tanks, width = int(tank.max()) + 1, int(place.max()) + 1
    home = np.zeros(grams.size, dtype=np.int64)
    home[bucket] = tank[area]
    gave = np.zeros((grams.size, width))
    np.add.at(gave, (bucket, place[area]), np.where(sure, 0.0, mass))
    scaled = gave / unsure[:, None]
    precision = np.tile(prior * np.eye(width), (tanks, 1, 1))
    np.add.at(precision, home, gave[:, :, None] * scaled[:, None, :])
    score, current = np.zeros((2, tanks, width))
    np.add.at(score, home, scaled * off[:, None])
    current[run, place[members]] = view.point.border[DENSITY, members]
    covariance = np.linalg.inv(precision)
    moved = np.einsum("kij,kj->ki", covariance, score - prior * current)
    mean = current + np.clip(moved, -LONGEST_MOVE, LONGEST_MOVE)
    variance = np.einsum("kii->ki", covariance)[run, place[members]]
    said[0, members] = np.maximum(1.0 / variance - prior, 0.0)
    said[1, members] = mean[run, place[members]] / variance
    return said


def evidence_for_everything(view: View) -> float:
    """Log likelihood that weights hold everything, less that they hold the rest alone.

    Only weights whose row does not say it are asked.

    Parameters
    ----------
    view : View
        The problem linearised at a point.

    Returns
    -------
    float
        Above 0 where everything is the likelier [nat].
    """
    weights, problem = view.problem.weights, view.problem
    size = weights.grams.size
    error, totals = _error_variance(problem), np.zeros((4, size))
    for number, block in enumerate(problem.blocks):
        part = _parts_of(view, number, sites_of_looks(view, number)[1])
        unsaid = block.chains.nodes.link[block.members.left] == Link.UNSAID
        mean, variance = part.given
        for row, values in enumerate(
            (mean, variance, np.where(unsaid, mean, 0.0), np.where(unsaid, variance, 0.0))
        ):
            totals[row] += np.bincount(part.bucket, values, minlength=size)
    asked = ~weights.said & (totals[0] > totals[2])
    everything = _log_chance(weights.grams - totals[0], error + totals[1])
    rest = _log_chance(weights.grams - totals[2], error + totals[3])
    return float((everything - rest)[asked].sum())


def propagate(view: View, *, border_known: bool = False) -> Problem:
    """Return the problem with its looks and weights heard at the point of a view.

    With ``border_known`` the parameters of the areas are taken as they stand.

    Parameters
    ----------
    view : View
        The problem linearised at a point.
    border_known : bool
        Whether the areas' parameters are taken as they stand.

    Returns
    -------
    Problem
        With the sites of its blocks anew, and what weights say of densities.
    """
    problem, blocks, parts = view.problem, [], []
    for number, block in enumerate(problem.blocks):
        look, known = sites_of_looks(view, number, border_known=border_known)
        part = _parts_of(view, number, known)
        if border_known:
            part = replace(part, density_variance=np.zeros(part.area.size))
        sites, part = _sites_of_weights(problem, block, part, look)
        blocks.append(replace(block, sites=sites))
        parts.append(part)
    pooling = problem.pooling
    if problem.weights.grams.size and not border_known:
        pooling = pooling.but_for(weighed=_densities(view, parts))
    return replace(problem, blocks=tuple(blocks), pooling=pooling)
