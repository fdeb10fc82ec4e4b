"""What each area's chain says, what the area has alone eliminated, and the priors it leans on."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.fit.solver.linearise import CEILING, DENSITY, HABIT, RATE
from growthcast.growth.normal import normal_cdf

MISTAKEN_SHARE = 0.02
"""How often a height that nothing speaks against was not there."""
OWN = [CEILING, HABIT, DENSITY]
"""Parameters that an area shares with nobody and that are eliminated first: before the rate."""


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
    highest_cm: FloatArray
    highest_sd_cm: FloatArray
    bend_doubt: float

    @cached_property
    def ceiling_prior(self) -> tuple[FloatArray, FloatArray]:
        """Centre and precision (A,) of the log ceilings, given that they lie above what was read.

        What lies above a height, but for the error of its reading and the chance that it is a
        mistake, is no longer normal: this is the normal of the same mean and variance.
        """
        held = self.ceiling_precision <= 0.0  # no prior
        mean = self.log_ceiling.copy()
        variance = 1.0 / np.where(held, 1.0, self.ceiling_precision)
        mistaken = MISTAKEN_SHARE**2  # both of the two
        for height, sd in zip(self.highest_cm, self.highest_sd_cm, strict=True):
            some = np.flatnonzero((height > 0.0) & ~held)
            mean[some], variance[some] = _above(
                mean[some], variance[some], np.log(height[some]), sd[some] / height[some], mistaken
            )
            mistaken = MISTAKEN_SHARE
        return mean, np.where(held, 0.0, 1.0 / variance)

    @cached_property
    def planted(self) -> tuple[IntArray, IntArray]:
        """Species that any area holds (P,), and which of them each area is (A,)."""
        return np.unique(self.species, return_inverse=True)

    def doubt_of_bends(self, areas: IntArray, variance: FloatArray) -> FloatArray:
        """What the bend adds to the variances (n,) of the log ceilings of areas that are learnt."""
        learnt, prior = self.ceiling_learnt[areas], self.ceiling_prior[1][areas]
        variance = np.where(learnt & (variance > 0.0), variance, 1.0)
        told = np.maximum(1.0 / variance - prior, 0.0)
        wider = 1.0 / np.maximum(prior + told / self.bend_doubt, 1e-12) - variance
        return np.where(learnt, np.maximum(wider, 0.0), 0.0)

    def own_priors(self) -> list[tuple[FloatArray, FloatArray]]:
        """Centre and precision (A,) of each of the parameters ``OWN``."""
        density = self.density_precision + self.weighed[0]
        precision = np.where(density > 0.0, density, 1.0)
        return [
            self.ceiling_prior,
            (self.log_habit, self.habit_precision),
            (self.weighed[1] / precision, density),
        ]


def _above(
    mean: FloatArray,
    variance: FloatArray,
    bound: FloatArray,
    error: FloatArray,
    mistaken: float,
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
class AreaInformation:
    """What each area's chain says, its own parameters eliminated one after another.

    With ``x`` the departures of (log rate, knots), (1 + M,): ceiling, habit and density follow as
    ``own_mean + own_regression @ x`` with covariance ``own_covariance`` (A, 3, 3); ``precision``
    (A, 1 + M, 1 + M) and ``score`` (A, 1 + M) are the chain's information on ``x``.
    ``rate_by_ceiling`` (A,) is how far a log rate moves with a log ceiling of which the log does
    not speak.
    """

    own_mean: FloatArray
    own_regression: FloatArray
    own_covariance: FloatArray
    precision: FloatArray
    score: FloatArray
    rate_by_ceiling: FloatArray

    def rate_given(
        self, area_precision: float, areas: IntArray | None = None
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Log rate given its centre and the knots: posterior precision, prior weight, regression.

        Its departure is ``(score + area_precision * (centre - rate) - precision[1:] @ knots) /
        posterior_precision``; the prior weight is the centre's share in it, and the regression
        (A, M) how it follows the knots.
        """
        precision = self.precision[:, 0] if areas is None else self.precision[areas, 0]
        posterior_precision = precision[:, 0] + area_precision
        safe = np.where(posterior_precision > 0.0, posterior_precision, 1.0)
        return posterior_precision, area_precision / safe, -precision[:, 1:] / safe[:, None]


def area_information(
    information: FloatArray, score: FloatArray, border: FloatArray, pooling: Pooling
) -> AreaInformation:
    """Add the own parameters' priors to the chains' information (A, B, B) and eliminate them."""
    own, across = information[:, :RATE, :RATE].copy(), information[:, :RATE, RATE:].copy()
    own_score = score[:RATE].T.copy()
    unlearnt = ~pooling.ceiling_learnt
    own[unlearnt, CEILING] = own[unlearnt, :, CEILING] = 0.0
    across[unlearnt, CEILING] = own_score[unlearnt, CEILING] = 0.0
    for parameter, (centre, prior_precision) in zip(OWN, pooling.own_priors(), strict=True):
        own[:, parameter, parameter] += prior_precision
        own_score[:, parameter] -= prior_precision * (border[parameter] - centre)
    covariance = _inverse(own)
    mean = np.einsum("aij,aj->ai", covariance, own_score)
    regression = -covariance @ across
    return AreaInformation(
        own_mean=mean,
        own_regression=regression,
        own_covariance=covariance,
        precision=information[:, RATE:, RATE:] + across.transpose(0, 2, 1) @ regression,
        score=score[RATE:].T - np.einsum("aik,ai->ak", across, mean),
        rate_by_ceiling=_rate_by_ceiling(information, pooling),
    )


def _rate_by_ceiling(by_area: FloatArray, pooling: Pooling) -> FloatArray:
    """How far each log rate has to move with its log ceiling, (A,), to fit the log as before."""
    posterior_precision = by_area[:, RATE, RATE] + pooling.area_precision
    safe = np.where(posterior_precision > 0.0, posterior_precision, 1.0)
    slope: FloatArray = -by_area[:, RATE, CEILING] / safe
    return slope


def _inverse(matrix: FloatArray) -> FloatArray:
    """Inverse of symmetric positive matrices (A, 3, 3); a parameter nobody speaks of gets 0.

    By cofactors, with the diagonal scaled to 1.
    """
    root = np.sqrt(np.einsum("aii->ai", matrix))
    scale = np.divide(1.0, root, out=np.zeros_like(root), where=root > 0.0)
    scale = scale[:, :, None] * scale[:, None, :]
    x, y, z = (scale * matrix)[:, [0, 0, 1], [1, 2, 2]].T
    cofactors = np.empty_like(matrix)
    cofactors[:, 0, 0], cofactors[:, 1, 1], cofactors[:, 2, 2] = 1 - z * z, 1 - y * y, 1 - x * x
    cofactors[:, 0, 1] = cofactors[:, 1, 0] = y * z - x
    cofactors[:, 0, 2] = cofactors[:, 2, 0] = x * z - y
    cofactors[:, 1, 2] = cofactors[:, 2, 1] = x * y - z
    determinant = cofactors[:, 0, 0] + x * cofactors[:, 0, 1] + y * cofactors[:, 0, 2]
    inverse: FloatArray = cofactors * scale / determinant[:, None, None]
    return inverse
