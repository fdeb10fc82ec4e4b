"""What a fit is given, as arrays: the nouns of the solver.

The *border* of an area's chain are the parameters it depends on: its log ceiling, log usual cut
height, log density and log rate, and the knots of its tank's drift, in this order: arrays (B, ...).
Those that an area has alone come first, and before all the two that a start depends on.

A *site* is what a look or a whole tank's weight says of a height, as one more Gaussian reading.
Neither is a reading with an error of its own. What a look (short, right, over) says depends on what
was known of the height without it, and what a bucket says of one area depends on what the others
are expected to have given. Each is worked out against what is known without it (the *cavity*), as
the Gaussian that changes mean and variance alike: expectation propagation. Of an area that may have
been cut without a word, a bucket also tells how likely that is.

References
----------
Minka, T. P. (2001). Expectation propagation for approximate Bayesian inference. Proc. 17th Conf.
Uncertainty in Artificial Intelligence, 362-369 (from memory).
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, numbered
from growthcast.fit.model.noise import KNOT_COUNT, ErrorModel, SpanDrift, span_drift
from growthcast.fit.rows.chains import Chains, Nodes
from growthcast.growth.normal import normal_cdf
from growthcast.log.visits import Look
from growthcast.nouns import dataclass

CEILING, HABIT, DENSITY, RATE, KNOTS = range(5)

BORDER = KNOTS + KNOT_COUNT

OF_STARTS = DENSITY
"""How many parameters of the border, its first ones, a start depends on."""

CUT_CHANCE = {Look.NONE: 0.6, Look.SHORT: 0.05, Look.RIGHT: 0.6, Look.OVER: 0.95}
"""How likely an area was cut without a word, by how it stood (common practice, no source): what is
found right at most visits was cut at most of them, or it would be over by the next."""


MISTAKEN_SHARE = 0.02
"""How often a height that nothing speaks against was not there."""

OWN = [CEILING, HABIT, DENSITY]
"""Parameters that an area shares with nobody and that are eliminated first: before the rate."""

NEAR_CEILING_SHARE = 0.8
"""A ceiling is learnt once two readings lie above this share of the one expected."""


@dataclass(frozen=True, slots=True)
class Sites:
    """Readings that stand for looks and weights at the nodes of a block, all (N,).

    ``precision`` [1/cm2] is 0 where there is none; ``precision_mean`` is precision times height
    [1/cm]. ``cut_chance`` is how likely a cut was made that nobody tells of.
    """

    precision_mean: FloatArray
    precision: FloatArray
    cut_chance: FloatArray


@dataclass(frozen=True, slots=True)
class Weights:
    """Weights of whole tanks (W,), and what turns lengths into them.

    Attributes
    ----------
    grams
        What was weighed [g], (W,).
    everything
        Whether it is all that came out that day, or what areas without amounts gave, (W,).
    said
        Whether row or practice say which of the two it is, (W,).
    row
        Index of the log row, (W,).
    gram_per_cm
        What one centimetre off an area weighs at the table's density [g/cm], (A,).
    removed_day
        Day number on which an area was taken out, nan where it was not, (A,).
    """

    grams: FloatArray
    everything: BoolArray
    said: BoolArray
    row: IntArray
    gram_per_cm: FloatArray
    removed_day: FloatArray

    def as_rest(self) -> Weights:
        """Return weights read as the rest's where nobody says that they are everything."""
        return replace(self, everything=self.everything & self.said)


@dataclass(frozen=True, slots=True)
class Members:
    """Areas of a block that may have given part of a weight, all (M,).

    ``found`` and ``left`` are the nodes before and after what may have been a cut.
    """

    bucket: IntArray
    area: IntArray
    found: IntArray
    left: IntArray


NOBODY = Members(*np.zeros((4, 0), dtype=np.int64))
"""No area: of weights that are not heard."""


def cut_chance_before(chains: Chains) -> FloatArray:
    """How likely an unsaid cut was made, (N,), before any weight is heard.

    Parameters
    ----------
    chains : Chains
        The block.

    Returns
    -------
    array (N,)
        Chances, 0 where no cut may have been made [0-1].
    """
    nodes = chains.nodes
    if not chains.unsaid.size:
        return np.broadcast_to(0.0, nodes.area.size)
    chance = np.zeros(nodes.area.size)
    by_look = np.array([CUT_CHANCE[look] for look in Look])
    chance[chains.unsaid] = by_look[nodes.look[chains.previous[chains.unsaid]]]
    return chance


def members_of(nodes: Nodes) -> Members:
    """Find the nodes of a block, in any order, that weights of whole tanks speak of.

    Parameters
    ----------
    nodes : Nodes
        The nodes (N,).

    Returns
    -------
    Members
        All that may have given part of a weight (M,).
    """
    left = np.flatnonzero(nodes.bucket >= 0)
    if not left.size:
        return NOBODY
    # The node before a cut is the latest one of its area and day that is none.
    order = np.lexsort((nodes.bucket >= 0, nodes.day, nodes.area))
    rank = np.empty_like(order)
    rank[order] = np.arange(order.size)
    found = order[rank[left] - 1]
    return Members(bucket=nodes.bucket[left], area=nodes.area[left], found=found, left=left)


class CannotFit(ArithmeticError):
    """What the logs of some areas (n,), by their places, say is not a finite number."""

    def __init__(self, areas: IntArray) -> None:
        super().__init__(f"the logs of {areas.size} areas say nothing finite")
        self.areas = areas


@dataclass(frozen=True)
class Pooling:
    """Who shares what, and how tightly.

    ``tank`` and ``species`` (A,) index areas into tanks and species; ``offset`` (A,) is the table's
    log rate; ``log_ceiling`` and ``ceiling_precision`` (A,) the prior of the ceiling;
    ``density_precision`` and ``area_precision`` those of an area's own density and rate;
    ``weighed`` (2, A) is what whole tanks' weights add to the density's: precision, and precision
    times log density;
    ``log_habit`` and ``habit_precision`` (A,) the prior of its usual cut height;
    ``tank_precision`` (K,) and ``species_precision`` (S,) of the shared effects;
    ``knot_precision`` (M, M) of a tank's drift. A precision of 0 switches a prior off.

    ``near_ceiling`` (A,) tells which areas were found near the ceiling expected twice: there the
    scatter of heights speaks, too, since a stand that is full scatters by its readings alone.
    ``highest_cm`` and ``highest_sd_cm`` (2, A) are the two highest heights read of an area, the
    lower first, and the errors of such readings, 0 where there is none: a ceiling lies above what
    stood there.

    ``ceiling_learnt`` (A,) tells whose ceiling the log may teach. Areas that are kept far below
    their ceiling say next to nothing of it, but what little they say is sharp and often wrong: a
    low ceiling with a fast rate fits them as well. There the ceiling keeps its prior, and the rate
    is learnt for it and moves along with it. What a log tells of the others it tells as if curves
    bent exactly as the species table says: it counts ``1 / bend_doubt`` in their doubt.
    """

    tank: IntArray
    species: IntArray
    offset: FloatArray
    log_ceiling: FloatArray
    ceiling_precision: FloatArray
    density_precision: float
    weighed: FloatArray
    log_habit: FloatArray
    habit_precision: FloatArray
    area_precision: float
    tank_precision: FloatArray
    species_precision: FloatArray
    knot_precision: FloatArray
    ceiling_learnt: BoolArray
    near_ceiling: BoolArray
    highest_cm: FloatArray
    highest_sd_cm: FloatArray
    bend_doubt: float

    @cached_property
    def ceiling_prior(self) -> tuple[FloatArray, FloatArray]:
        """Centre and precision (A,) of the log ceilings, given that they lie above what was read.

        What lies above a height, but for the error of its reading and the chance that it is a
        mistake, is no longer normal: this is the normal of the same mean and variance. Where
        heights teach a ceiling they say so themselves, and are not heard twice.
        """
        held = self.ceiling_precision <= 0.0  # no prior
        mean = self.log_ceiling.copy()
        variance = np.divide(1.0, self.ceiling_precision, out=np.ones_like(mean), where=~held)
        mistaken = MISTAKEN_SHARE**2  # both of the two
        for height, sd in zip(self.highest_cm, self.highest_sd_cm, strict=True):
            some = np.flatnonzero((height > 0.0) & ~held & ~self.ceiling_learnt)
            mean[some], variance[some] = _above(
                mean[some], variance[some], np.log(height[some]), sd[some] / height[some], mistaken
            )
            mistaken = MISTAKEN_SHARE
        return mean, np.where(held, 0.0, 1.0 / variance)

    @cached_property
    def planted(self) -> tuple[IntArray, IntArray]:
        """Species that any area holds (P,), and which of them each area is (A,)."""
        return numbered(self.species)

    def but_for(self, **values: Any) -> Pooling:
        """Return it with other values of what neither ceilings nor species rest on."""
        other = replace(self, **values)
        kept = ("ceiling_prior", "planted")
        vars(other).update((name, vars(self)[name]) for name in kept if name in vars(self))
        return other

    def doubt_of_bends(self, areas: IntArray, variance: FloatArray) -> FloatArray:
        """What the bend adds to the variances (n,) of the log ceilings of areas that are learnt."""
        learnt, prior = self.ceiling_learnt[areas], self.ceiling_prior[1][areas]
        variance = np.where(variance > 0.0, variance, 1.0)
        told = 1.0 / variance - prior
        wider = 1.0 / (prior + told / self.bend_doubt) - variance
        return np.where(learnt, np.maximum(wider, 0.0), 0.0)

    def own_priors(self) -> list[tuple[FloatArray, FloatArray]]:
        """Centre and precision (A,) of each of the parameters ``OWN``."""
        density = self.density_precision + self.weighed[0]
        mean = np.divide(self.weighed[1], density, out=np.zeros_like(density), where=density > 0.0)
        return [self.ceiling_prior, (self.log_habit, self.habit_precision), (mean, density)]


def _above(
    mean: FloatArray, variance: FloatArray, bound: FloatArray, error: FloatArray, mistaken: float
) -> tuple[FloatArray, FloatArray]:
    """Mean and variance of normals given that they lie above a bound that was read with an error.

    With chance ``mistaken`` the bound is none. Moments of a normal times a normal chance: Rasmussen
    & Williams, Gaussian Processes for Machine Learning (2006), section 3.9 (from memory).
    """
    spread = np.sqrt(variance + error**2)
    at = (mean - bound) / spread
    above = normal_cdf(at)
    holds = (1.0 - mistaken) * above / ((1.0 - mistaken) * above + mistaken)
    density = np.exp(-0.5 * at**2) / np.sqrt(2.0 * np.pi)
    ratio = np.where(above > 1e-12, density / np.maximum(above, 1e-12), -at)
    up = variance / spread * ratio
    within = np.maximum(variance - up * (up + variance / spread * at), 0.0)
    return mean + holds * up, holds * within + (1.0 - holds) * (variance + holds * up**2)


@dataclass(frozen=True, slots=True)
class Block:
    """A block of chains with the regression of its spans on the drift.

    ``sites`` are what looks and weights of whole tanks say of its nodes, worked out again and again
    while a fit begins; ``members`` are the nodes of which those weights speak. ``trust`` (N,) is
    the share of its weight that each reading keeps; ``cut_away`` (N,) tells where a span was broken
    for a cut nobody logged, ``expected_cm`` and ``expected_sd_cm`` (N,) what was foreseen at
    either.
    """

    chains: Chains
    drift: SpanDrift
    members: Members
    sites: Sites
    trust: FloatArray
    cut_away: BoolArray
    expected_cm: FloatArray
    expected_sd_cm: FloatArray

    @classmethod
    def of(cls, chains: Chains, on_day: float) -> Block:
        """Return a block of which nothing is in doubt yet."""
        nodes, size = chains.nodes, chains.nodes.area.size
        nothing, none = np.broadcast_to(np.nan, size), np.broadcast_to(0.0, size)
        return cls(
            chains=chains,
            drift=span_drift(nodes.day - nodes.span_d, nodes.day, on_day),
            members=members_of(nodes),
            sites=Sites(none, none, cut_chance_before(chains)),
            trust=np.broadcast_to(1.0, size),
            cut_away=np.broadcast_to(np.False_, size),
            expected_cm=nothing,
            expected_sd_cm=nothing,
        )


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything a fit needs, as arrays: blocks, priors, errors, weights, shapes (A,) of the areas.

    ``first_habit`` (A,) is the log cut height a fit starts from, ``lag_d`` (A,) the days of growth
    lost after a cut [d]. ``rises`` (A,) are areas whose unbroken rises have been found to teach
    bend and ceiling; none where it is None.
    """

    blocks: tuple[Block, ...]
    pooling: Pooling
    errors: ErrorModel
    weights: Weights
    shape: FloatArray
    first_habit: FloatArray
    lag_d: FloatArray
    rises: BoolArray | None = None

    @property
    def area_count(self) -> int:
        """Number of areas, with or without a log."""
        return int(self.pooling.tank.size)

    @property
    def is_exact(self) -> bool:
        """Whether growth between readings has no noise, so that an area's chain is one curve."""
        return self.errors.span == 0.0 and self.errors.drift == 0.0

    @property
    def has_sites(self) -> bool:
        """Whether anything is known by a look or by a whole tank's weight."""
        return any(
            bool(block.members.bucket.size) or bool(block.chains.nodes.look.any())
            for block in self.blocks
        )


@dataclass(frozen=True, slots=True)
class Point:
    """Where a fit stands: stages (N,) of each block, border (B, A)."""

    stages: tuple[FloatArray, ...]
    border: FloatArray


def with_heights_that_count(problem: Problem) -> Problem:
    """Let the heights that were found teach the ceilings, as far as they count.

    Parameters
    ----------
    problem : Problem
        Readings that were set aside as mistakes have lost their trust: they do not count.

    Returns
    -------
    Problem
        Its pooling knows the two highest heights [cm, or % cover] found of each area near the
        ceiling expected; where both lie near it the ceiling is learnt.
    """
    pooling, count = problem.pooling, problem.area_count
    highest, own_sd = np.zeros((2, count)), np.full((2, count), np.nan)
    bound = NEAR_CEILING_SHARE * np.exp(pooling.log_ceiling)
    for block in problem.blocks:
        nodes = block.chains.nodes
        near = (nodes.reading_cm > bound.take(nodes.area)) & (block.trust == 1.0)
        counts = np.flatnonzero(near & np.isnan(nodes.aim_sd_cm) & (nodes.row >= 0))
        order = counts[np.lexsort((nodes.reading_cm[counts], nodes.area[counts]))]
        area, read, sd = nodes.area[order], nodes.reading_cm[order], nodes.reading_sd_cm[order]
        last = np.flatnonzero(np.append(area[1:] != area[:-1], True)) if area.size else order
        highest[1, area[last]], own_sd[1, area[last]] = read[last], sd[last]
        before = last[(last > 0) & (area[last - 1] == area[last])] - 1
        highest[0, area[before]], own_sd[0, area[before]] = read[before], sd[before]
    error = problem.errors.reading_variance(highest, np.arange(count), own_sd)
    twice: BoolArray = highest[0] > 0.0
    learnt = replace(
        pooling,
        ceiling_learnt=twice | (False if problem.rises is None else problem.rises),
        near_ceiling=twice,
        highest_cm=highest,
        highest_sd_cm=np.sqrt(error),
    )
    return replace(problem, pooling=learnt)
