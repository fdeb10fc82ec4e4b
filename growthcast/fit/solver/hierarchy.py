"""Partial pooling: what the areas' chains say on species and tanks, and what comes back.

``log rate of an area = offset + species effect + tank effect + area effect``, each effect normal
around zero, and a tank's drift beside them. The areas' own parameters are eliminated first, then
the tanks (their effect and the knots of their drift), which leaves one dense system of the size of
the species list: the arrow form of the joint normal equations.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.solver.linearise import CEILING, DENSITY, HABIT, KNOTS, RATE

__all__ = [
    "OWN",
    "AreaInformation",
    "Effects",
    "Pooling",
    "area_information",
    "border_covariance",
    "solve_effects",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

OWN = [CEILING, DENSITY, HABIT]
"""Parameters that an area shares with nobody and that are eliminated first."""
TANKS_AT_ONCE = 4_000


@dataclass(frozen=True)
class Pooling:
    """Who shares what, and how tightly.

    ``tank`` and ``species`` (A,) index areas into tanks and species; ``offset`` (A,) is the table's
    log rate; ``log_ceiling`` and ``ceiling_precision`` (A,) the prior of the ceiling;
    ``density_precision`` and ``area_precision`` those of an area's own density and rate;
    ``log_habit`` and ``habit_precision`` (A,) the prior of its usual cut height;
    ``tank_precision`` (K,) and ``species_precision`` (S,) of the shared effects;
    ``knot_precision`` (M, M) of a tank's drift. A precision of 0 switches a prior off.

    ``ceiling_learnt`` (A,) tells whose ceiling the log may teach. Areas that are kept far below
    their ceiling say next to nothing of it, but what little they say is sharp and often wrong: a
    low ceiling with a fast rate fits them as well. There the ceiling keeps its prior, and the rate
    is learnt for it and moves along with it.
    """

    tank: IntArray
    species: IntArray
    offset: FloatArray
    log_ceiling: FloatArray
    ceiling_precision: FloatArray
    density_precision: float
    log_habit: FloatArray
    habit_precision: FloatArray
    area_precision: float
    tank_precision: FloatArray
    species_precision: FloatArray
    knot_precision: FloatArray
    ceiling_learnt: NDArray[np.bool_]

    @cached_property
    def planted(self) -> tuple[IntArray, IntArray]:
        """Species that any area holds (P,), and which of them each area is (A,)."""
        return np.unique(self.species, return_inverse=True)

    def own_priors(self) -> list[tuple[FloatArray, FloatArray]]:
        """Centre and precision (A,) of each of the parameters ``OWN``."""
        nothing = np.zeros(self.tank.size)
        return [
            (self.log_ceiling, self.ceiling_precision),
            (nothing, nothing + self.density_precision),
            (self.log_habit, self.habit_precision),
        ]


@dataclass(frozen=True, slots=True)
class AreaInformation:
    """What each area's chain says, its own parameters eliminated one after another.

    With ``x`` the departures of (log rate, knots), (1 + M,): ceiling, density and habit follow as
    ``own_mean + own_follows @ x`` with covariance ``own_covariance`` (A, 3, 3); ``precision``
    (A, 1 + M, 1 + M) and ``score`` (A, 1 + M) are the chain's word on ``x``. ``drag``
    (A,) is how far a log rate moves with a ceiling that is not learnt.
    """

    own_mean: FloatArray
    own_follows: FloatArray
    own_covariance: FloatArray
    precision: FloatArray
    score: FloatArray
    drag: FloatArray

    def rate_given(
        self, area_precision: float, areas: IntArray | None = None
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Log rate given its centre and the knots: precision held, share of the centre, follows.

        ``departure = (score + area_precision * (centre - rate) - precision[1:] @ knots) / held``.
        """
        told = self.precision[:, 0] if areas is None else self.precision[areas, 0]
        held = told[:, 0] + area_precision
        safe = np.where(held > 0.0, held, 1.0)
        return held, area_precision / safe, -told[:, 1:] / safe[:, None]


def area_information(
    information: FloatArray, score: FloatArray, border: FloatArray, pooling: Pooling
) -> AreaInformation:
    """Add the own parameters' priors to the chains' information (A, B, B) and eliminate them."""
    drag = _drag(information, pooling)
    unlearnt = ~pooling.ceiling_learnt
    if unlearnt.any():
        information, score = information.copy(), score.copy()
        information[unlearnt, CEILING] = information[unlearnt, :, CEILING] = 0.0
        score[CEILING, unlearnt] = 0.0
    shared = [RATE, *range(KNOTS, border.shape[0])]
    own, across = information[:, OWN][:, :, OWN], information[:, OWN][:, :, shared]
    priors = pooling.own_priors()
    own[:, range(len(OWN)), range(len(OWN))] += np.stack([held for _, held in priors], axis=1)
    pulled = np.stack(
        [
            score[parameter] - held * (border[parameter] - centre)
            for parameter, (centre, held) in zip(OWN, priors, strict=True)
        ],
        axis=1,
    )
    covariance = _inverse(own)
    mean = np.einsum("aij,aj->ai", covariance, pulled)
    follows = -np.einsum("aij,ajk->aik", covariance, across)
    return AreaInformation(
        own_mean=mean,
        own_follows=follows,
        own_covariance=covariance,
        precision=information[:, shared][:, :, shared] + np.einsum("aik,ail->akl", across, follows),
        score=score[shared].T - np.einsum("aik,ai->ak", across, mean),
        drag=drag,
    )


def _drag(by_area: FloatArray, pooling: Pooling) -> FloatArray:
    """How far each log rate moves with its log ceiling, (A,), where the ceiling is not learnt."""
    held = by_area[:, RATE, RATE] + pooling.area_precision
    safe = np.where(held > 0.0, held, 1.0)
    drag: FloatArray = np.where(pooling.ceiling_learnt, 0.0, -by_area[:, RATE, CEILING] / safe)
    return drag


def _inverse(matrix: FloatArray) -> FloatArray:
    """Inverse of symmetric positive matrices (A, n, n); a parameter nobody speaks of gets 0."""
    present = np.einsum("aii->ai", matrix) > 0.0
    filled = matrix + np.einsum("ai,ij->aij", (~present).astype(np.float64), np.eye(len(OWN)))
    known: FloatArray = np.linalg.inv(filled) * (present[:, :, None] & present[:, None, :])
    return known


@dataclass(frozen=True, slots=True)
class Effects:
    """Joint posterior of the shared effects.

    ``species`` (S,) with covariance ``species_covariance`` (S, S). ``tank`` (K, 1 + M), the effect
    and the knots, is given the species effects ``tank + sum over its areas of follows *
    (departure of the area's species)``, with covariance ``tank_covariance`` (K, 1 + M, 1 + M);
    ``follows`` is (A, 1 + M).
    """

    species: FloatArray
    species_covariance: FloatArray
    tank: FloatArray
    tank_covariance: FloatArray
    follows: FloatArray

    def centre(self, pooling: Pooling) -> FloatArray:
        """Prior mean of each area's log rate given the shared effects, (A,)."""
        shared = self.species[pooling.species] + self.tank[pooling.tank, 0]
        centre: FloatArray = pooling.offset + shared
        return centre

    def knots(self) -> FloatArray:
        """Drift of every tank at the knots, (M, K)."""
        return self.tank[:, 1:].T

    def tank_follows(self, pooling: Pooling, tanks: IntArray) -> FloatArray:
        """How the tanks (R,) follow each species, (R, 1 + M, S)."""
        return self._tanks_follow(pooling, tanks, pooling.species, self.species.size)

    def _tanks_follow(
        self, pooling: Pooling, tanks: IntArray, species: IntArray, size: int
    ) -> FloatArray:
        """The same for areas whose species (A,) are numbered up to ``size``."""
        width = self.follows.shape[1]
        place = np.full(self.tank.shape[0], -1)
        place[tanks] = np.arange(tanks.size)
        mine = np.flatnonzero(place[pooling.tank] >= 0)
        cell = place[pooling.tank[mine]] * size + species[mine]
        dense = np.empty((tanks.size, width, size))
        for k in range(width):
            summed = np.bincount(cell, self.follows[mine, k], minlength=tanks.size * size)
            dense[:, k] = summed.reshape(tanks.size, size)
        return dense

    def joint_covariance(self, pooling: Pooling, areas: IntArray) -> FloatArray:
        """Covariance (n, 1 + M, 1 + M) of (centre, knots) of areas (n,)."""
        width = self.follows.shape[1]
        covariance = np.empty((areas.size, width, width))
        planted, species = pooling.planted
        by_species = self.species_covariance[np.ix_(planted, planted)]
        tank = pooling.tank[areas]
        present, run = np.unique(tank, return_inverse=True)
        for some in _batches(present.size):
            mine = np.flatnonzero((run >= some[0]) & (run <= some[-1]))
            follow = self._tanks_follow(pooling, present[some], species, planted.size)
            along = follow[run[mine] - some[0]]
            along[np.arange(mine.size), 0, species[areas[mine]]] += 1.0
            spread = along @ by_species @ along.transpose(0, 2, 1)
            covariance[mine] = spread + self.tank_covariance[tank[mine]]
        return covariance

    def whole_tank_covariance(self, pooling: Pooling) -> FloatArray:
        """Covariance (K, 1 + M, 1 + M) of every tank's effect and knots."""
        covariance = self.tank_covariance.copy()
        planted, species = pooling.planted
        by_species = self.species_covariance[np.ix_(planted, planted)]
        for tanks in _batches(self.tank.shape[0]):
            along = self._tanks_follow(pooling, tanks, species, planted.size)
            covariance[tanks] += along @ by_species @ along.transpose(0, 2, 1)
        return covariance

    def tank_sd(self, pooling: Pooling) -> FloatArray:
        """Standard deviation of each tank effect, its drift aside, (K,)."""
        sd: FloatArray = np.sqrt(self.whole_tank_covariance(pooling)[:, 0, 0])
        return sd

    def species_sd(self) -> FloatArray:
        """Standard deviation of each species effect, (S,)."""
        sd: FloatArray = np.sqrt(np.diag(self.species_covariance))
        return sd


def _batches(count: int) -> list[IntArray]:
    starts = range(0, count, TANKS_AT_ONCE)
    return [np.arange(start, min(start + TANKS_AT_ONCE, count)) for start in starts]


def solve_effects(area: AreaInformation, border: FloatArray, pooling: Pooling) -> Effects:
    """Posterior of tank effects, drifts and species effects, each area's own effect left out."""
    word, pull = _word_on_centre(area, border, pooling)
    tanks, width = pooling.tank_precision.size, pull.shape[1]
    held_tank = np.zeros((tanks, width, width))
    for k in range(width):
        for j in range(width):
            held_tank[:, k, j] = np.bincount(pooling.tank, word[:, k, j], minlength=tanks)
    held_tank[:, 0, 0] += pooling.tank_precision
    held_tank[:, 1:, 1:] += pooling.knot_precision
    pull_tank = np.empty((tanks, width))
    for k in range(width):
        pull_tank[:, k] = np.bincount(pooling.tank, pull[:, k], minlength=tanks)
    diagonal = np.einsum("kii->ki", held_tank)
    held_tank += (diagonal <= 0.0)[:, :, None] * np.eye(width)
    covariance: FloatArray = np.linalg.inv(held_tank).astype(np.float64)
    column = word[:, :, 0]
    along = -np.einsum("akl,al->ak", covariance[pooling.tank], column)

    species_covariance, effect = _species_effects(pooling, column, along, pull, pull_tank)
    tank = np.einsum("kij,kj->ki", covariance, pull_tank)
    for k in range(width):
        moved = along[:, k] * effect[pooling.species]
        tank[:, k] += np.bincount(pooling.tank, moved, minlength=tanks)
    return Effects(
        species=effect,
        species_covariance=species_covariance,
        tank=tank,
        tank_covariance=covariance,
        follows=along,
    )


def _word_on_centre(
    area: AreaInformation, border: FloatArray, pooling: Pooling
) -> tuple[FloatArray, FloatArray]:
    """What an area says on ``y = (centre less offset, knots)``, its log rate eliminated.

    Precision (A, 1 + M, 1 + M) and pull (A, 1 + M) of the quadratic in ``y`` itself, not in its
    departure from the current point.
    """
    _, share, follows = area.rate_given(pooling.area_precision)
    row = np.concatenate([(share - 1.0)[:, None], follows], axis=1)
    word = area.precision + area.precision[:, :, :1] * row[:, None, :]
    word[:, 0] = word[:, :, 0] = area.precision[:, 0] * share[:, None]
    pull = area.score.copy()
    pull[:, 1:] += follows * area.score[:, :1]
    pull[:, 0] *= share
    current = np.concatenate([(border[RATE] - pooling.offset)[:, None], border[KNOTS:].T], axis=1)
    return word, pull + np.einsum("akl,al->ak", word, current)


def _species_effects(
    pooling: Pooling,
    column: FloatArray,
    along: FloatArray,
    pull: FloatArray,
    pull_tank: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Covariance (S, S) and mean (S,) of the species effects once the tanks are eliminated.

    Species that nobody has planted keep their priors.
    """
    planted, species = pooling.planted
    size, width = planted.size, column.shape[1]
    weights = np.bincount(species, column[:, 0], minlength=size)
    dense = np.diag(pooling.species_precision[planted] + weights)
    for tanks in _batches(pooling.tank_precision.size):
        mine = np.flatnonzero((pooling.tank >= tanks[0]) & (pooling.tank <= tanks[-1]))
        cell = (pooling.tank[mine] - tanks[0]) * size + species[mine]
        count = tanks.size * size
        for k in range(width):
            of = np.bincount(cell, column[mine, k], minlength=count).reshape(-1, size)
            to = np.bincount(cell, along[mine, k], minlength=count).reshape(-1, size)
            dense += of.T @ to
    singular = np.diag(dense) <= 0.0
    dense[singular, singular] = 1.0
    back = np.einsum("ak,ak->a", along, pull_tank[pooling.tank])
    right = np.bincount(species, pull[:, 0] + back, minlength=size)
    held = pooling.species_precision
    covariance = np.diag(1.0 / np.where(held > 0.0, held, 1.0))
    inverse = np.linalg.inv(0.5 * (dense + dense.T))
    covariance[np.ix_(planted, planted)] = 0.5 * (inverse + inverse.T)
    effect = np.zeros(held.size)
    effect[planted] = covariance[np.ix_(planted, planted)] @ right
    return covariance, effect


def border_covariance(
    area: AreaInformation, effects: Effects, pooling: Pooling, areas: IntArray
) -> FloatArray:
    """Covariance (n, B, B) of the borders of some areas, what they share included."""
    held, share, follows = area.rate_given(pooling.area_precision, areas)
    joint = effects.joint_covariance(pooling, areas)  # of (centre, knots)
    width = joint.shape[1]
    to_rate = np.broadcast_to(np.eye(width), joint.shape).copy()
    to_rate[:, 0, 0], to_rate[:, 0, 1:] = share, follows
    shared = to_rate @ joint @ to_rate.transpose(0, 2, 1)  # of (log rate, knots)
    shared[:, 0, 0] += 1.0 / np.where(held > 0.0, held, 1.0)
    along = area.own_follows[areas]
    own = along @ shared @ along.transpose(0, 2, 1) + area.own_covariance[areas]
    across = along @ shared
    size = width + len(OWN)
    covariance = np.empty((areas.size, size, size))
    every, first = range(areas.size), [RATE, *range(KNOTS, size)]
    covariance[np.ix_(every, first, first)] = shared
    covariance[np.ix_(every, OWN, OWN)] = own
    covariance[np.ix_(every, OWN, first)] = across
    covariance[np.ix_(every, first, OWN)] = across.transpose(0, 2, 1)
    follow = np.broadcast_to(np.eye(size), covariance.shape).copy()
    follow[:, RATE, CEILING] = area.drag[areas]
    return follow @ covariance @ follow.transpose(0, 2, 1)
