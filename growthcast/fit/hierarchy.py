"""Partial pooling: what the areas' chains say on species and tanks, and what comes back.

``log rate of an area = offset + species effect + tank effect + area effect``, each effect normal
around zero. The areas' own parameters are eliminated first, then the tanks, which leaves one dense
system of the size of the species list: the arrow form of the joint normal equations.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["AreaInformation", "EffectPosterior", "Pooling", "area_information", "solve_effects"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Pooling:
    """Who shares what, and how tightly.

    ``tank`` and ``species`` (A,) index areas into tanks and species; ``offset`` (A,) is the table's
    log rate; ``log_ceiling`` and ``ceiling_precision`` (A,) the prior of the ceiling;
    ``area_precision`` the precision of an area's own effect; ``tank_precision`` (K,) and
    ``species_precision`` (S,) of the shared ones. A precision of 0 switches a prior off.
    """

    tank: IntArray
    species: IntArray
    offset: FloatArray
    log_ceiling: FloatArray
    ceiling_precision: FloatArray
    area_precision: float
    tank_precision: FloatArray
    species_precision: FloatArray


@dataclass(frozen=True, slots=True)
class AreaInformation:
    """What each area's chain says on its log rate once its ceiling is eliminated, all (A,).

    Around the current point: log rate departs with ``precision`` and ``score``; the ceiling then
    follows as ``ceiling_mean + ceiling_follows * departure`` with variance ``ceiling_variance``.
    """

    precision: FloatArray
    score: FloatArray
    ceiling_mean: FloatArray
    ceiling_follows: FloatArray
    ceiling_variance: FloatArray


def area_information(
    information: FloatArray, score: FloatArray, parameters: FloatArray, pooling: Pooling
) -> AreaInformation:
    """Add the ceiling's prior to the chains' information and eliminate the ceiling."""
    across = information[0, 1]
    down = information[1, 1] + pooling.ceiling_precision
    pulled = score[1] - pooling.ceiling_precision * (parameters[1] - pooling.log_ceiling)
    safe = np.where(down > 0.0, down, 1.0)
    follows = np.where(down > 0.0, -across / safe, 0.0)
    mean = np.where(down > 0.0, pulled / safe, 0.0)
    return AreaInformation(
        precision=np.maximum(information[0, 0] + across * follows, 0.0),
        score=score[0] - across * mean,
        ceiling_mean=mean,
        ceiling_follows=follows,
        ceiling_variance=np.where(down > 0.0, 1.0 / safe, np.inf),
    )


@dataclass(frozen=True, slots=True)
class EffectPosterior:
    """Joint posterior of the shared effects.

    ``species`` (S,) with covariance ``species_covariance`` (S, S); ``tank`` (K,), which given the
    species effects is ``tank - tank_follows @ (species effects - species)`` with variance
    ``tank_variance`` (K,).
    """

    species: FloatArray
    species_covariance: FloatArray
    tank: FloatArray
    tank_follows: FloatArray
    tank_variance: FloatArray

    def centre(self, pooling: Pooling) -> FloatArray:
        """Prior mean of each area's log rate given the shared effects, (A,)."""
        shared = self.species[pooling.species] + self.tank[pooling.tank]
        centre: FloatArray = pooling.offset + shared
        return centre

    def tank_sd(self) -> FloatArray:
        """Standard deviation of each tank effect, (K,)."""
        through = np.einsum(
            "ks,st,kt->k", self.tank_follows, self.species_covariance, self.tank_follows
        )
        sd: FloatArray = np.sqrt(self.tank_variance + through)
        return sd

    def species_sd(self) -> FloatArray:
        """Standard deviation of each species effect, (S,)."""
        sd: FloatArray = np.sqrt(np.diag(self.species_covariance))
        return sd

    def centre_variance(self, pooling: Pooling) -> FloatArray:
        """Variance of each area's ``centre``, (A,)."""
        covariance, follows = self.species_covariance, self.tank_follows
        tank, species = pooling.tank, pooling.species
        spread = follows @ covariance  # (K, S)
        through = np.einsum("ks,ks->k", spread, follows)
        variance: FloatArray = (
            self.tank_variance[tank]
            + through[tank]
            + np.diag(covariance)[species]
            - 2.0 * spread[tank, species]
        )
        return variance


def solve_effects(area: AreaInformation, log_rate: FloatArray, pooling: Pooling) -> EffectPosterior:
    """Posterior of tank and species effects, each area's own effect integrated out."""
    own = pooling.area_precision
    held = area.precision + own
    share = np.divide(own, held, out=np.zeros_like(held), where=held > 0.0)
    weight = area.precision * share
    pulled = share * (area.precision * (log_rate - pooling.offset) + area.score)

    tanks, species = pooling.tank_precision.size, pooling.species_precision.size
    cell = pooling.tank * species + pooling.species
    across = np.bincount(cell, weights=weight, minlength=tanks * species)
    across = across.reshape(tanks, species)
    tank_held = pooling.tank_precision + across.sum(axis=1)
    species_held = pooling.species_precision + across.sum(axis=0)
    tank_pulled = np.bincount(pooling.tank, weights=pulled, minlength=tanks)
    species_pulled = np.bincount(pooling.species, weights=pulled, minlength=species)

    safe = np.where(tank_held > 0.0, tank_held, 1.0)
    follows = across / safe[:, None]
    dense = np.diag(species_held) - across.T @ follows
    singular = species_held <= 0.0
    dense[singular, singular] = 1.0
    covariance = np.linalg.inv(dense)
    covariance = 0.5 * (covariance + covariance.T)
    effect = covariance @ (species_pulled - follows.T @ tank_pulled)
    return EffectPosterior(
        species=effect,
        species_covariance=covariance,
        tank=tank_pulled / safe - follows @ effect,
        tank_follows=follows,
        tank_variance=1.0 / safe,
    )
