"""Partial pooling: what the areas' chains say on species and tanks, and what comes back.

``log rate of an area = offset + species effect + tank effect + area effect``, each effect normal
around zero, and a tank's drift beside them. The areas' own parameters are eliminated first, then
the tanks (their effect and the knots of their drift), which leaves one dense system of the size of
the species list: the arrow form of the joint normal equations.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.arrays import FloatArray, IntArray, numbered, summed
from growthcast.fit.solver.problem import BORDER, CEILING, KNOTS, OWN, RATE, CannotFit, Pooling
from growthcast.nouns import dataclass


@dataclass(frozen=True, slots=True)
class Pooled:
    """Joint posterior of what areas have alone and of what they share.

    With ``x`` the departures of (log rate, knots), (1 + M,): ceiling, habit and density follow as
    ``own_mean + own_regression @ x`` with covariance ``own_covariance`` (A, 3, 3); ``precision``
    (A, 1 + M, 1 + M) and ``score`` (A, 1 + M) are the chain's information on ``x``.
    ``rate_by_ceiling`` (A,) is how far a log rate moves with a log ceiling of which the log does
    not speak.

    A log rate has ``rate_precision`` (A,) given what it is centred on and the knots, and follows
    both by ``rate_by_shared`` (A, 1 + M).

    ``species`` (S,) are the species' effects with covariance ``species_covariance`` (S, S).
    ``tank`` (K, 1 + M), the effect and the knots, is given the species effects ``tank + sum over
    its areas of tank_by_species * (departure of the area's species)``, with covariance
    ``tank_covariance`` (K, 1 + M, 1 + M); ``tank_by_species`` is (A, 1 + M).
    """

    pooling: Pooling
    own_mean: FloatArray
    own_regression: FloatArray
    own_covariance: FloatArray
    precision: FloatArray
    score: FloatArray
    rate_by_ceiling: FloatArray
    rate_precision: FloatArray
    rate_by_shared: FloatArray
    species: FloatArray
    species_covariance: FloatArray
    tank: FloatArray
    tank_covariance: FloatArray
    tank_by_species: FloatArray

    @property
    def centre(self) -> FloatArray:
        """Prior mean of each area's log rate given the shared effects, (A,)."""
        pooling = self.pooling
        shared = self.species[pooling.species] + self.tank[pooling.tank, 0]
        centre: FloatArray = pooling.offset + shared
        return centre

    @property
    def knots(self) -> FloatArray:
        """Drift of every area's tank at the knots, (M, A)."""
        return self.tank[self.pooling.tank, 1:].T

    @property
    def planted_covariance(self) -> FloatArray:
        """Covariance (P, P) of the effects of the species that any area holds."""
        planted = self.pooling.planted[0]
        return self.species_covariance[np.ix_(planted, planted)]

    @property
    def tank_sd(self) -> FloatArray:
        """Standard deviation of each tank effect, its drift aside, (K,)."""
        return np.sqrt(self.whole_tank_covariance()[:, 0, 0])

    @property
    def species_sd(self) -> FloatArray:
        """Standard deviation of each species effect, (S,)."""
        return np.sqrt(np.diag(self.species_covariance))

    def squares(self, border: FloatArray) -> FloatArray:
        """Squares (A,) of the areas' parameters (B, A) against what they are expected to be."""
        squares: FloatArray = self.pooling.area_precision * (border[RATE] - self.centre) ** 2
        for parameter, (usual, precision) in zip(OWN, self.pooling.own_priors(), strict=True):
            squares = squares + precision * (border[parameter] - usual) ** 2
        return squares

    def given(self, score: FloatArray) -> Pooled:
        """Return it with the effects that areas' scores (A, 1 + M) on (centre, knots) lead to."""
        pooling, size = self.pooling, self.tank.shape[0]
        tank_score = summed(score, pooling.tank, size)
        planted, species = pooling.planted
        back = np.einsum("ak,ak->a", self.tank_by_species, tank_score[pooling.tank])
        right = np.bincount(species, score[:, 0] + back, minlength=planted.size)
        effect = np.zeros_like(self.species)
        effect[planted] = self.planted_covariance @ right
        tank = np.einsum("kij,kj->ki", self.tank_covariance, tank_score)
        moved = self.tank_by_species * effect[pooling.species, None]
        return replace(self, species=effect, tank=tank + summed(moved, pooling.tank, size))

    def on_centre(self, score: FloatArray) -> FloatArray:
        """Turn scores (A, 1 + M) on (log rate, knots) into those on (its centre, knots)."""
        on_centre = self.rate_by_shared * score[:, :1]
        on_centre[:, 1:] += score[:, 1:]
        return on_centre

    def departure(
        self, own_mean: FloatArray, score: FloatArray, off: FloatArray, knots: FloatArray
    ) -> FloatArray:
        """Departures (B, A) of borders whose rates are centred ``off`` (A,), with the knots'.

        ``own_mean`` (A, 3) and ``score`` (A,) are what the chains say on what an area has alone and
        on its log rate.
        """
        score, known = score + self.pooling.area_precision * off, self.rate_precision > 0.0
        rate = np.divide(score, self.rate_precision, out=np.zeros_like(score), where=known)
        rate = rate + np.einsum("am,ma->a", self.rate_by_shared[:, 1:], knots)
        moved = np.concatenate([rate[None], knots])
        own_moved = (own_mean + np.einsum("aik,ka->ai", self.own_regression, moved)).T
        return np.concatenate([own_moved, moved])

    def tank_regression(self, tanks: IntArray) -> FloatArray:
        """Regression (R, 1 + M, P) of tanks' (R,) effects and knots on each planted species'."""
        planted, species = self.pooling.planted
        place = np.full(self.tank.shape[0], -1)
        place[tanks] = np.arange(tanks.size)
        place = place[self.pooling.tank]
        mine = np.flatnonzero(place >= 0)
        return _by_tank_and_species(
            self.tank_by_species[mine], place[mine], species[mine], (tanks.size, planted.size)
        )

    def joint_covariance(self, areas: IntArray) -> FloatArray:
        """Covariance (n, 1 + M, 1 + M) of (centre, knots) of areas (n,)."""
        grows, by_species = self.pooling.planted[1][areas], self.planted_covariance
        tank = self.pooling.tank[areas]
        present, here = numbered(tank)
        regression = self.tank_regression(present)
        held = (regression != 0.0).any(axis=1)  # of all species a tank has to do with a few
        held[here, grows] = True
        listed = np.argsort(~held, axis=1, kind="stable")[:, : held.sum(axis=1).max(initial=1)]
        regressed = np.take_along_axis(regression, listed[:, None], axis=2)[here]
        of_own = np.argmax(listed[here] == grows[:, None], axis=1)
        regressed[np.arange(areas.size), 0, of_own] += 1.0
        between = by_species[listed[:, :, None], listed[:, None]][here]
        spread: FloatArray = regressed @ between @ regressed.transpose(0, 2, 1)
        return spread + self.tank_covariance[tank]

    def whole_tank_covariance(self) -> FloatArray:
        """Covariance (K, 1 + M, 1 + M) of every tank's effect and knots."""
        regression = self.tank_regression(np.arange(self.tank.shape[0]))
        spread = regression @ self.planted_covariance @ regression.transpose(0, 2, 1)
        return self.tank_covariance + spread

    def border_parts(
        self, areas: IntArray, *, bends: bool = True
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """How the borders of areas (n,) vary: by what is shared, by themselves, and in all.

        They move with (centre, knots) by the first (n, B, 1 + M), and have the second (n, B, B)
        alone; the third (n, B, B) is their whole covariance. ``bends`` says whether the doubt about
        the bend of their curves is in it.
        """
        pooling, regression = self.pooling, self.own_regression[areas]
        by_shared = np.zeros((areas.size, BORDER, self.tank.shape[1]))
        by_shared[:, RATE:] = np.eye(self.tank.shape[1])
        by_shared[:, RATE] = self.rate_by_shared[areas]
        by_shared[:, OWN] = regression @ by_shared[:, RATE:]
        held = np.where(self.rate_precision[areas] > 0.0, self.rate_precision[areas], 1.0)
        by_rate = np.zeros((areas.size, BORDER))
        by_rate[:, RATE], by_rate[:, OWN] = 1.0, regression[:, :, 0]
        own = by_rate[:, :, None] * by_rate[:, None, :] / held[:, None, None]
        own[:, :RATE, :RATE] += self.own_covariance[areas]
        # A rate moves by hand with a ceiling of which its log says nothing.
        by_ceiling = np.where(pooling.ceiling_learnt, 0.0, self.rate_by_ceiling)[areas, None]
        own[:, RATE] += by_ceiling * own[:, CEILING]
        own[:, :, RATE] += by_ceiling * own[:, :, CEILING]
        shared = by_shared @ self.joint_covariance(areas) @ by_shared.transpose(0, 2, 1)
        if bends:  # with another bend goes another ceiling and rate
            variance = shared[:, CEILING, CEILING] + own[:, CEILING, CEILING]
            wider = pooling.doubt_of_bends(areas, variance)
            moved = np.zeros((areas.size, BORDER))
            moved[:, CEILING], moved[:, RATE] = 1.0, self.rate_by_ceiling[areas]
            own += wider[:, None, None] * moved[:, :, None] * moved[:, None, :]
        return by_shared, own, shared + own

    def tank_parts(self, tank: int, areas: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """How the borders of areas (m,) of a tank hang together.

        They move with the planted species' effects by the first (m, B, P), with the tank's effect
        and knots by the second (m, B, 1 + M); the third (m, B, B) is each area's alone.
        """
        by_tank, own, _ = self.border_parts(areas)
        along = np.repeat(self.tank_regression(np.array([tank])), areas.size, axis=0)
        along[np.arange(areas.size), 0, self.pooling.planted[1][areas]] += 1.0
        return by_tank @ along, by_tank, own

    def covariance(self, areas: IntArray, *, bends: bool = True) -> FloatArray:
        """Covariance (n, B, B) of the borders of areas (n,), what they share included [log^2]."""
        return self.border_parts(areas, bends=bends)[2]

    def covariance_root(self, areas: IntArray, *, bends: bool = True) -> FloatArray:
        """Cholesky factors (n, B, B) of the same; raises ``CannotFit`` if one is no covariance."""
        covariance = self.covariance(areas, bends=bends)
        try:
            root: FloatArray = np.linalg.cholesky(covariance).astype(np.float64)
        except np.linalg.LinAlgError:
            finite = np.isfinite(covariance).all(axis=(1, 2))
            least = np.full(areas.size, -np.inf)
            least[finite] = np.linalg.eigvalsh(covariance[finite])[:, 0]
            raise CannotFit(areas[least <= max(least.min(), 0.0)]) from None
        return root


def eliminate(
    information: FloatArray, score: FloatArray, border: FloatArray, pooling: Pooling
) -> Pooled:
    """Add the priors to what the chains say and eliminate one level after another.

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
    Pooled
        What areas have alone, tank effects, drifts and species effects, with their covariances.
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
    mean, regression = np.einsum("aij,aj->ai", covariance, own_score), -covariance @ across
    left = score[RATE:].T - np.einsum("aik,ai->ak", across, mean)
    precision = information[:, RATE:, RATE:] + across.transpose(0, 2, 1) @ regression
    # The log rate, given what it is centred on and the knots.
    rate_precision = precision[:, 0, 0] + pooling.area_precision
    variance = _inverse_or_none(rate_precision)
    by_shared = -precision[:, 0] * variance[:, None]
    by_shared[:, 0] = pooling.area_precision * variance
    on_centre = precision + precision[:, :, :1] * by_shared[:, None]
    on_centre[:, 0] = on_centre[:, :, 0] = precision[:, 0] * by_shared[:, :1]
    # The tanks, then the species: information on these effects themselves, not on departures.
    tank_covariance = _tank_covariance(on_centre, pooling)
    of_tank, by_species = tank_covariance.take(pooling.tank, axis=0), on_centre[:, :, 0]
    tank_by_species = -np.einsum("akl,al->ak", of_tank, by_species)
    all_else_held = information[:, RATE, RATE] + pooling.area_precision
    unknown = Pooled(
        pooling=pooling,
        own_mean=mean,
        own_regression=regression,
        own_covariance=covariance,
        precision=precision,
        score=left,
        rate_by_ceiling=-information[:, RATE, CEILING] * _inverse_or_none(all_else_held),
        rate_precision=rate_precision,
        rate_by_shared=by_shared,
        species=np.zeros(pooling.species_precision.size),
        species_covariance=_species_covariance(pooling, by_species, tank_by_species),
        tank=np.zeros(tank_covariance.shape[:2]),
        tank_covariance=tank_covariance,
        tank_by_species=tank_by_species,
    )
    current = np.concatenate([(border[RATE] - pooling.offset)[:, None], border[KNOTS:].T], axis=1)
    so_far = np.einsum("akl,al->ak", on_centre, current)
    return unknown.given(unknown.on_centre(unknown.score) + so_far)


def _tank_covariance(on_centre: FloatArray, pooling: Pooling) -> FloatArray:
    """Covariance (K, 1 + M, 1 + M) of the tanks' effects and knots, given the species'."""
    precision = summed(on_centre, pooling.tank, pooling.tank_precision.size)
    precision[:, 0, 0] += pooling.tank_precision
    precision[:, 1:, 1:] += pooling.knot_precision
    diagonal = np.einsum("kii->ki", precision)
    precision += (diagonal <= 0.0)[:, :, None] * np.eye(diagonal.shape[1])
    covariance: FloatArray = np.linalg.inv(precision).astype(np.float64)
    return covariance


def _inverse_or_none(precision: FloatArray) -> FloatArray:
    """Variances (A,), 0 where nothing is known."""
    return np.divide(1.0, precision, out=np.zeros_like(precision), where=precision > 0.0)


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


def _by_tank_and_species(
    values: FloatArray, tank: IntArray, species: IntArray, count: tuple[int, int]
) -> FloatArray:
    """Sum (R, n, S) of values (A, n) over the areas of each tank and species, (A,)."""
    total = summed(values, tank * count[1] + species, count[0] * count[1])
    return total.reshape(*count, values.shape[1]).transpose(0, 2, 1)


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
    places = pooling.tank, species, (pooling.tank_precision.size, size)
    both = np.concatenate([cross_information, tank_regression], axis=1)
    cross, regressed = np.split(_by_tank_and_species(both, *places), 2, axis=1)
    dense += cross.reshape(-1, size).T @ regressed.reshape(-1, size)
    singular = np.diag(dense) <= 0.0
    dense[singular, singular] = 1.0
    precision = pooling.species_precision
    covariance = np.diag(1.0 / np.where(precision > 0.0, precision, 1.0))
    inverse = np.linalg.inv(0.5 * (dense + dense.T))
    covariance[np.ix_(planted, planted)] = 0.5 * (inverse + inverse.T)
    return covariance
