"""Partial pooling: what the areas' chains say on species and tanks, and what comes back.

``log rate of an area = offset + species effect + tank effect + area effect``, each effect normal
around zero, and a tank's drift beside them. The areas' own parameters are eliminated first, then
the tanks (their effect and the knots of their drift), which leaves one dense system of the size of
the species list: the arrow form of the joint normal equations.
"""

from __future__ import annotations

from dataclasses import replace
from math import prod

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.fit.solver.problem import CEILING, KNOTS, OWN, RATE, CannotFit, Pooling
from growthcast.nouns import dataclass

TANKS_AT_ONCE = 4_000


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
        variance = _inverse_or_none(posterior_precision)
        return posterior_precision, area_precision * variance, -precision[:, 1:] * variance[:, None]


def _inverse_or_none(precision: FloatArray) -> FloatArray:
    """Variances (A,), 0 where nothing is known."""
    return np.divide(1.0, precision, out=np.zeros_like(precision), where=precision > 0.0)


def area_information(
    information: FloatArray, score: FloatArray, border: FloatArray, pooling: Pooling
) -> AreaInformation:
    """Add the own parameters' priors to the chains' information (A, B, B) and eliminate them.

    Parameters
    ----------
    information : array (A, B, B)
        What the chains say on departures of the borders [1 / parameter^2].
    score : array (B, A)
        Their slopes there [1 / parameter].
    border : array (B, A)
        The areas' parameters [log].
    pooling : Pooling
        Who shares what, and the priors.

    Returns
    -------
    AreaInformation
        What is left of it on log rates and knots (A,).
    """
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
    rate = information[:, RATE, RATE] + pooling.area_precision  # all else held
    return AreaInformation(
        own_mean=mean,
        own_regression=regression,
        own_covariance=covariance,
        precision=information[:, RATE:, RATE:] + across.transpose(0, 2, 1) @ regression,
        score=score[RATE:].T - np.einsum("aik,ai->ak", across, mean),
        rate_by_ceiling=-information[:, RATE, CEILING] * _inverse_or_none(rate),
    )


def _inverse(matrix: FloatArray) -> FloatArray:
    """Inverse of symmetric positive matrices (A, 3, 3); a parameter nobody speaks of gets 0.

    By cofactors, with the diagonal scaled to 1.
    """
    root = np.sqrt(np.einsum("aii->ai", matrix))
    scale = _inverse_or_none(root)
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


@dataclass(frozen=True, slots=True)
class Effects:
    """Joint posterior of the shared effects.

    ``species`` (S,) with covariance ``species_covariance`` (S, S). ``tank`` (K, 1 + M), the effect
    and the knots, is given the species effects ``tank + sum over its areas of
    regression * (departure of the area's species)``, with covariance ``tank_covariance`` (K, 1 + M,
    1 + M); ``regression`` is (A, 1 + M).
    """

    species: FloatArray
    species_covariance: FloatArray
    tank: FloatArray
    tank_covariance: FloatArray
    regression: FloatArray

    def given(self, pooling: Pooling, score: FloatArray) -> Effects:
        """Return the effects that areas' scores (A, 1 + M) on (centre, knots) lead to."""
        tank_score = _summed(score, pooling.tank, self.tank.shape[0])
        planted, species = pooling.planted
        back = np.einsum("ak,ak->a", self.regression, tank_score[pooling.tank])
        right = np.bincount(species, score[:, 0] + back, minlength=planted.size)
        effect = np.zeros_like(self.species)
        effect[planted] = self.species_covariance[np.ix_(planted, planted)] @ right
        tank = np.einsum("kij,kj->ki", self.tank_covariance, tank_score)
        moved = self.regression * effect[pooling.species, None]
        tank += _summed(moved, pooling.tank, self.tank.shape[0])
        return replace(self, species=effect, tank=tank)

    def centre(self, pooling: Pooling) -> FloatArray:
        """Prior mean of each area's log rate given the shared effects, (A,)."""
        shared = self.species[pooling.species] + self.tank[pooling.tank, 0]
        centre: FloatArray = pooling.offset + shared
        return centre

    def knots(self) -> FloatArray:
        """Drift of every tank at the knots, (M, K)."""
        return self.tank[:, 1:].T

    def tank_regression(self, pooling: Pooling, tanks: IntArray) -> FloatArray:
        """Regression (R, 1 + M, S) of the tanks' (R,) effects and knots on each species effect."""
        return self._regression_on_species(pooling, tanks, pooling.species, self.species.size)

    def _regression_on_species(
        self, pooling: Pooling, tanks: IntArray, species: IntArray, size: int
    ) -> FloatArray:
        """The same for areas whose species (A,) are numbered up to ``size``."""
        place = np.full(self.tank.shape[0], -1)
        place[tanks] = np.arange(tanks.size)
        mine = np.flatnonzero(place[pooling.tank] >= 0)
        return _by_tank_and_species(
            self.regression[mine], place[pooling.tank[mine]], species[mine], (tanks.size, size)
        )

    def joint_covariance(self, pooling: Pooling, areas: IntArray) -> FloatArray:
        """Covariance (n, 1 + M, 1 + M) of (centre, knots) of areas (n,)."""
        width = self.regression.shape[1]
        covariance = np.empty((areas.size, width, width))
        planted, species = pooling.planted
        by_species = self.species_covariance[np.ix_(planted, planted)]
        tank = pooling.tank[areas]
        present, run = np.unique(tank, return_inverse=True)
        for some in _batches(present.size):
            mine = np.flatnonzero((run >= some[0]) & (run <= some[-1]))
            regression = self._regression_on_species(pooling, present[some], species, planted.size)
            here, grows = run[mine] - some[0], species[areas[mine]]
            held = (regression != 0.0).any(axis=1)  # of all species a tank has to do with a few
            held[here, grows] = True
            listed = np.argsort(~held, axis=1, kind="stable")[:, : held.sum(axis=1).max()]
            regressed = np.take_along_axis(regression, listed[:, None], axis=2)[here]
            of_own = np.argmax(listed[here] == grows[:, None], axis=1)
            regressed[np.arange(mine.size), 0, of_own] += 1.0
            between = by_species[listed[:, :, None], listed[:, None]][here]
            spread = regressed @ between @ regressed.transpose(0, 2, 1)
            covariance[mine] = spread + self.tank_covariance[tank[mine]]
        return covariance

    def whole_tank_covariance(self, pooling: Pooling) -> FloatArray:
        """Covariance (K, 1 + M, 1 + M) of every tank's effect and knots."""
        covariance = self.tank_covariance.copy()
        planted, species = pooling.planted
        by_species = self.species_covariance[np.ix_(planted, planted)]
        for tanks in _batches(self.tank.shape[0]):
            regression = self._regression_on_species(pooling, tanks, species, planted.size)
            covariance[tanks] += regression @ by_species @ regression.transpose(0, 2, 1)
        return covariance

    def tank_sd(self, pooling: Pooling) -> FloatArray:
        """Standard deviation of each tank effect, its drift aside, (K,)."""
        return np.sqrt(self.whole_tank_covariance(pooling)[:, 0, 0])

    def species_sd(self) -> FloatArray:
        """Standard deviation of each species effect, (S,)."""
        return np.sqrt(np.diag(self.species_covariance))


def _summed(values: FloatArray, place: IntArray, size: int) -> FloatArray:
    """Sum (size, ...) of the values (A, ...) of all areas that have the same place (A,)."""
    width = prod(values.shape[1:])
    cell = place[:, None] * width + np.arange(width)
    total = np.bincount(cell.ravel(), values.ravel(), minlength=size * width)
    summed: FloatArray = np.asarray(total, dtype=np.float64)
    return summed.reshape(size, *values.shape[1:])


def _by_tank_and_species(
    values: FloatArray, tank: IntArray, species: IntArray, count: tuple[int, int]
) -> FloatArray:
    """Sum (R, n, S) of values (A, n) over the areas of each tank and species, (A,)."""
    width, (tanks, size) = values.shape[1], count
    place = (tank[:, None] * width + np.arange(width)) * size + species[:, None]
    return _summed(values.ravel(), place.ravel(), tanks * width * size).reshape(-1, width, size)


def _batches(count: int) -> list[IntArray]:
    starts = range(0, count, TANKS_AT_ONCE)
    return [np.arange(start, min(start + TANKS_AT_ONCE, count)) for start in starts]


def solve_effects(area: AreaInformation, border: FloatArray, pooling: Pooling) -> Effects:
    """Posterior of tank effects, drifts and species effects, each area's own effect left out.

    Parameters
    ----------
    area : AreaInformation
        What the areas' chains say.
    border : array (B, A)
        The areas' parameters [log].
    pooling : Pooling
        Who shares what, and the priors.

    Returns
    -------
    Effects
        With their covariances.
    """
    information, score = information_on_centre(area, border, pooling)
    tanks, width = pooling.tank_precision.size, score.shape[1]
    precision = _summed(information, pooling.tank, tanks)
    precision[:, 0, 0] += pooling.tank_precision
    precision[:, 1:, 1:] += pooling.knot_precision
    diagonal = np.einsum("kii->ki", precision)
    precision += (diagonal <= 0.0)[:, :, None] * np.eye(width)
    covariance: FloatArray = np.linalg.inv(precision).astype(np.float64)
    cross_information = information[:, :, 0]
    regression = -np.einsum("akl,al->ak", covariance.take(pooling.tank, axis=0), cross_information)
    unknown = Effects(
        species=np.zeros(pooling.species_precision.size),
        species_covariance=_species_covariance(pooling, cross_information, regression),
        tank=np.zeros((tanks, width)),
        tank_covariance=covariance,
        regression=regression,
    )
    return unknown.given(pooling, score)


def information_on_centre(
    area: AreaInformation, border: FloatArray, pooling: Pooling
) -> tuple[FloatArray, FloatArray]:
    """What an area says on ``y = (centre less offset, knots)``, its log rate eliminated.

    Parameters
    ----------
    area : AreaInformation
        What the areas' chains say.
    border : array (B, A)
        The areas' parameters [log].
    pooling : Pooling
        Who shares what, and the priors.

    Returns
    -------
    tuple of array (A, 1 + M, 1 + M) and (A, 1 + M)
        Information and score at 0 of the quadratic in ``y`` itself, not in its departure from the
        current point [1 / parameter].
    """
    _, prior_weight, regression = area.rate_given(pooling.area_precision)
    information = area.precision.copy()
    information[:, 1:, 1:] += area.precision[:, 1:, :1] * regression[:, None]
    information[:, 0] = information[:, :, 0] = area.precision[:, 0] * prior_weight[:, None]
    score = score_on_centre(area, area.score, pooling)
    current = np.concatenate([(border[RATE] - pooling.offset)[:, None], border[KNOTS:].T], axis=1)
    return information, score + np.einsum("akl,al->ak", information, current)


def score_on_centre(area: AreaInformation, score: FloatArray, pooling: Pooling) -> FloatArray:
    """Turn scores on (log rate, knots) into scores on (its centre, knots), the rate eliminated.

    Parameters
    ----------
    area : AreaInformation
        What the areas' chains say.
    score : array (A, 1 + M)
        Scores on departures of log rates and knots [1 / parameter].
    pooling : Pooling
        Who shares what, and the priors.

    Returns
    -------
    array (A, 1 + M)
        Scores on departures of what log rates are centred on, and of knots [1 / parameter].
    """
    _, prior_weight, regression = area.rate_given(pooling.area_precision)
    on_centre = score.copy()
    on_centre[:, 1:] += regression * score[:, :1]
    on_centre[:, 0] *= prior_weight
    return on_centre


def _species_covariance(
    pooling: Pooling, cross_information: FloatArray, tank_regression: FloatArray
) -> FloatArray:
    """Covariance (S, S) of the species effects once the tanks are eliminated.

    Species that nobody has planted keep their priors.
    """
    planted, species = pooling.planted
    size = planted.size
    weights = np.bincount(species, cross_information[:, 0], minlength=size)
    dense = np.diag(pooling.species_precision[planted] + weights)
    for tanks in _batches(pooling.tank_precision.size):
        mine = np.flatnonzero((pooling.tank >= tanks[0]) & (pooling.tank <= tanks[-1]))
        places = pooling.tank[mine] - tanks[0], species[mine], (tanks.size, size)
        both = np.concatenate([cross_information[mine], tank_regression[mine]], axis=1)
        cross, regressed = np.split(_by_tank_and_species(both, *places), 2, axis=1)
        dense += cross.reshape(-1, size).T @ regressed.reshape(-1, size)
    singular = np.diag(dense) <= 0.0
    dense[singular, singular] = 1.0
    precision = pooling.species_precision
    covariance = np.diag(1.0 / np.where(precision > 0.0, precision, 1.0))
    inverse = np.linalg.inv(0.5 * (dense + dense.T))
    covariance[np.ix_(planted, planted)] = 0.5 * (inverse + inverse.T)
    return covariance


def covariance_root(
    area: AreaInformation, effects: Effects, pooling: Pooling, areas: IntArray
) -> FloatArray:
    """Cholesky factors (n, B, B) of the borders' covariances.

    Parameters
    ----------
    area : AreaInformation
        What the areas' chains say.
    effects : Effects
        What areas share.
    pooling : Pooling
        Who shares what, and the priors.
    areas : int array (n,)
        Places of the areas in the problem.

    Returns
    -------
    array (n, B, B)
        Lower triangles [log].

    Raises
    ------
    CannotFit
        If one of them is no covariance.
    """
    covariance = border_covariance(area, effects, pooling, areas)
    try:
        root: FloatArray = np.linalg.cholesky(covariance).astype(np.float64)
    except np.linalg.LinAlgError:
        finite = np.isfinite(covariance).all(axis=(1, 2))
        least = np.full(areas.size, -np.inf)
        least[finite] = np.linalg.eigvalsh(covariance[finite])[:, 0]
        raise CannotFit(areas[least <= max(least.min(), 0.0)]) from None
    return root


def border_covariance(
    area: AreaInformation, effects: Effects, pooling: Pooling, areas: IntArray
) -> FloatArray:
    """Covariance (n, B, B) of the borders of some areas, what they share included.

    Parameters
    ----------
    area : AreaInformation
        What the areas' chains say.
    effects : Effects
        What areas share.
    pooling : Pooling
        Who shares what, and the priors.
    areas : int array (n,)
        Places of the areas in the problem.

    Returns
    -------
    array (n, B, B)
        Covariances [log^2].
    """
    posterior_precision, prior_weight, regression = area.rate_given(pooling.area_precision, areas)
    joint = effects.joint_covariance(pooling, areas)  # of (centre, knots)
    width = joint.shape[1]
    to_rate = np.broadcast_to(np.eye(width), joint.shape).copy()
    to_rate[:, 0, 0], to_rate[:, 0, 1:] = prior_weight, regression
    shared = to_rate @ joint @ to_rate.transpose(0, 2, 1)  # of (log rate, knots)
    shared[:, 0, 0] += 1.0 / np.where(posterior_precision > 0.0, posterior_precision, 1.0)
    own_regression = area.own_regression[areas]
    own = own_regression @ shared @ own_regression.transpose(0, 2, 1) + area.own_covariance[areas]
    across = own_regression @ shared
    covariance = np.empty((areas.size, RATE + width, RATE + width))
    covariance[:, RATE:, RATE:], covariance[:, :RATE, :RATE] = shared, own
    covariance[:, :RATE, RATE:], covariance[:, RATE:, :RATE] = across, across.transpose(0, 2, 1)
    learnt = pooling.ceiling_learnt[areas]
    rate_by_ceiling = np.where(learnt, 0.0, area.rate_by_ceiling[areas])[:, None]
    covariance[:, RATE] += rate_by_ceiling * covariance[:, CEILING]
    covariance[:, :, RATE] += rate_by_ceiling * covariance[:, :, CEILING]
    wider = pooling.doubt_of_bends(areas, covariance[:, CEILING, CEILING])
    moved = np.zeros((areas.size, RATE + width))  # with another bend goes another ceiling and rate
    moved[:, CEILING], moved[:, RATE] = 1.0, area.rate_by_ceiling[areas]
    covariance += wider[:, None, None] * moved[:, :, None] * moved[:, None, :]
    return covariance
