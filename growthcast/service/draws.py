"""Joint draws of rates and ceilings, so that chances over a tank's areas are never multiplied.

Areas of a tank share its effect and their species' effects. Draws are stratified: along every
direction the draws are the quantiles of the normal, in a fixed order, so the same book gives the
same advice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from growthcast.fit.result import GrowthFit

__all__ = ["DRAWS", "GrowthDraws", "draw_growth", "stratified_normals"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

DRAWS = 1024
MIXING_ROUNDS = 4


def stratified_normals(keys: IntArray, draws: int = DRAWS) -> FloatArray:
    """Standard normals (N, draws) for the rows named by ``keys`` (N,), whole numbers.

    Each row holds the ``draws`` equally likely quantiles, in an order that depends on its key
    alone: what is drawn for one tank does not depend on which other tanks are asked for. ``draws``
    is a power of two.

    The order comes from rounds of adding, multiplying by an odd number and folding high bits onto
    low ones, each of which maps the whole numbers below a power of two onto themselves.
    """
    bits = draws.bit_length() - 1
    if draws != 1 << bits:
        raise ValueError(f"draws must be a power of two, not {draws}")
    mask = np.uint64(draws - 1)
    scores = ndtri((np.arange(draws) + 0.5) / draws)
    order = np.broadcast_to(np.arange(draws, dtype=np.uint64), (keys.size, draws))
    state = keys.astype(np.uint64)
    fold = np.uint64(max(bits // 2, 1))
    for _ in range(MIXING_ROUNDS):
        state = _scrambled(state)
        add, times = state[:, None], (state[:, None] >> np.uint64(20)) | np.uint64(1)
        order = ((order + add) * times) & mask
        order = order ^ (order >> fold)
    drawn: FloatArray = scores[order]
    return drawn


def _scrambled(state: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """One step of the splitmix64 generator (Steele, Lea & Flood 2014, from memory)."""
    state = state + np.uint64(0x9E3779B97F4A7C15)
    mixed = (state ^ (state >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return mixed ^ (mixed >> np.uint64(31))


@dataclass(frozen=True, slots=True)
class GrowthDraws:
    """Draws of the areas' growth, each (A, D); ``drift`` (R, D) is shared by a tank's areas.

    ``rate_per_day`` is the stage's speed under the conditions of the day of the fit [1/day];
    ``week`` and ``drift`` are standard normals for what a span's growth does beyond its mean, and
    ``hand`` for the scatter of a cut around its aim.
    """

    rate_per_day: FloatArray
    ceiling_cm: FloatArray
    week: FloatArray
    drift: FloatArray
    hand: FloatArray


def draw_growth(
    fit: GrowthFit, areas: IntArray, tanks: IntArray, draws: int = DRAWS
) -> GrowthDraws:
    """Draw the growth of ``areas`` (A,), all of them in ``tanks`` (R,), from the posterior.

    Returns
    -------
    GrowthDraws
        Arrays (A, D) in the order of ``areas``, and (R, D) in that of ``tanks``.
    """
    design, solution = fit.design, fit.solution
    pooling, effects, own = design.problem.pooling, solution.effects, solution.area
    species = design.species_id.size
    run = np.searchsorted(tanks, pooling.tank[areas])
    kinds = enumerate((np.arange(species), tanks, tanks, areas, areas, areas, areas))
    # The key of a row: what is drawn, and the place in the book of what it is drawn for.
    of_species, of_tank, drift, of_area, of_ceiling, week, hand = (
        stratified_normals(places * 16 + kind, draws) for kind, places in kinds
    )
    root = np.linalg.cholesky(effects.species_covariance)
    species_off = root @ of_species
    tank_off = np.sqrt(effects.tank_variance)[tanks, None] * of_tank
    tank_off = tank_off - effects.tank_follows[tanks] @ species_off
    held = own.precision + pooling.area_precision
    share = (pooling.area_precision / held)[areas, None]
    shared = species_off[pooling.species[areas]] + tank_off[run]
    rate_off = share * shared + of_area / np.sqrt(held[areas, None])
    ceiling_off = own.ceiling_follows[areas, None] * rate_off
    ceiling_off = ceiling_off + np.sqrt(own.ceiling_variance)[areas, None] * of_ceiling
    speed = design.clock.speed(design.on_day)[areas, None]
    return GrowthDraws(
        rate_per_day=speed * np.exp(solution.parameters[0][areas, None] + rate_off),
        ceiling_cm=np.exp(solution.parameters[1][areas, None] + ceiling_off),
        week=week,
        drift=drift,
        hand=hand,
    )
