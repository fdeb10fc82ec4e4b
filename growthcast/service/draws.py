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
from growthcast.fit.solver.linearise import CEILING, RATE

__all__ = ["DRAWS", "GrowthDraws", "draw_growth", "span_normals", "stratified_normals"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

DRAWS = 1024
MIXING_ROUNDS = 4
SPAN_BITS, SPANS = 40, 4
"""Keys of further spans lie above those of a book's own places; the first few are kept free."""


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


def span_normals(areas: IntArray, span: int, draws: int = DRAWS) -> FloatArray:
    """Standard normals (A, draws) of a further span of ``areas``, told apart by a whole number."""
    return stratified_normals(areas * 16 + 13 + ((span + SPANS) << SPAN_BITS), draws)


def _scrambled(state: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """One step of the splitmix64 generator (Steele, Lea & Flood 2014, from memory)."""
    state = state + np.uint64(0x9E3779B97F4A7C15)
    mixed = (state ^ (state >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return mixed ^ (mixed >> np.uint64(31))


@dataclass(frozen=True, slots=True)
class GrowthDraws:
    """Draws of the growth of areas (A, D) in tanks (R, ...).

    Attributes
    ----------
    log_rate : array (A, D)
        Log rate at the conditions of the day of the fit, the tank's drift aside [log 1/day].
    ceiling_cm : array (A, D)
        Ceiling [cm].
    knots : array (R, M, D)
        Drift of each tank at the knots [log].
    week, hand : array (A, D)
        Normals for what a span's growth does on its own, and for the scatter of a cut. Their
        standard deviation is 1, that of all but the scatter of a cut times the fit's ``widening``.
    drift : array (R, D)
        Normals for what a tank's drift does beyond its knots, likewise.
    """

    log_rate: FloatArray
    ceiling_cm: FloatArray
    knots: FloatArray
    week: FloatArray
    hand: FloatArray
    drift: FloatArray


def draw_growth(
    fit: GrowthFit, areas: IntArray, tanks: IntArray, draws: int = DRAWS
) -> GrowthDraws:
    """Draw the growth of ``areas`` (A,), all of them in ``tanks`` (R,), from the posterior."""
    design, view = fit.design, fit.solution.view
    pooling, effects, own = design.problem.pooling, view.effects, view.area
    border = fit.posterior(areas).border
    species, width = design.species_id.size, effects.tank.shape[1]
    run = np.searchsorted(tanks, pooling.tank[areas])
    # The key of a row of draws: what it is drawn for (its place in the book, an area's luck), and
    # what it is.
    of_species = stratified_normals(np.arange(species) * 16, draws)
    of_tank = np.stack(
        [stratified_normals(tanks * 16 + 1 + k, draws) for k in range(width)], axis=1
    )
    drift = stratified_normals(tanks * 16 + 15, draws)
    of_area, of_ceiling, week, hand = (
        stratified_normals(design.luck[areas] * 16 + 11 + k, draws) for k in range(4)
    )
    species_off = np.linalg.cholesky(effects.species_covariance) @ of_species
    tank_off = np.linalg.cholesky(effects.tank_covariance[tanks]) @ of_tank
    planted, _ = pooling.planted  # no tank follows another species
    tank_off = tank_off + effects.tank_follows(pooling, tanks)[:, :, planted] @ species_off[planted]
    held, share, follows = own.rate_given(pooling.area_precision, areas)
    knots_off = tank_off[:, 1:][run]
    centre_off = species_off[pooling.species[areas]] + tank_off[run, 0]
    rate_off = share[:, None] * centre_off + of_area / np.sqrt(held[:, None])
    rate_off += np.einsum("am,amd->ad", follows, knots_off)
    moved = np.concatenate([rate_off[:, None], knots_off], axis=1)
    ceiling_off = np.einsum("ak,akd->ad", own.own_follows[areas, 0], moved)
    ceiling_off += np.sqrt(own.own_covariance[areas, 0, 0])[:, None] * of_ceiling
    rate_off += own.drag[areas, None] * ceiling_off
    wide = fit.widening
    speed = np.log(design.clock.speed(design.on_day)[areas])
    return GrowthDraws(
        log_rate=(speed + border[RATE])[:, None] + wide * rate_off,
        ceiling_cm=np.exp(border[CEILING][:, None] + wide * ceiling_off),
        knots=effects.tank[tanks, 1:, None] + wide * tank_off[:, 1:],
        week=wide * week,
        hand=hand,
        drift=wide * drift,
    )
