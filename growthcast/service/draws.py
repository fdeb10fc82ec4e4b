"""Joint draws of rates and ceilings, so that chances over a tank's areas are never multiplied.

Areas of a tank share its effect and their species' effects. Draws are stratified: along every
direction the draws are the quantiles of the normal, in a fixed order, so the same book gives the
same advice.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import FloatArray, IntArray
from growthcast.fit.beside import LAG, SETTLING
from growthcast.fit.model.clock import LEAST_AWAKE_SHARE
from growthcast.fit.result import GrowthFit
from growthcast.growth.normal import normal_quantile
from growthcast.growth.quick import Singles, column
from growthcast.nouns import dataclass

DRAWS = 1024
MIXING_ROUNDS = 4
SPAN_BITS, SPANS = 40, 4
"""Keys of further spans lie above those of a book's own places; the first few are kept free."""


def stratified_normals(keys: IntArray, draws: int = DRAWS) -> Singles:
    """Draw standard normals, stratified.

    Parameters
    ----------
    keys : int array (N,)
        What names each row.
    draws : int
        How many, a power of two, at most 65,536.

    Returns
    -------
    array (N, draws)
        Each row holds the equally likely quantiles [sd], in an order that depends on its key alone:
        what is drawn for one tank does not depend on which other tanks are asked for.

    Raises
    ------
    ValueError
        If ``draws`` is no power of two.

    Notes
    -----
    The order comes from rounds of adding, multiplying by an odd number and folding high bits onto
    low ones, each of which maps the whole numbers below a power of two onto themselves.
    """
    bits = draws.bit_length() - 1
    if draws != 1 << bits:
        raise ValueError(f"draws must be a power of two, not {draws}")
    mask, fold = np.uint16(draws - 1), np.uint16(max(bits // 2, 1))
    order = np.broadcast_to(np.arange(draws, dtype=np.uint16), (keys.size, draws))
    state = keys.astype(np.uint64)
    for _ in range(MIXING_ROUNDS):
        state = _scrambled(state)
        # Only the low bits of sums and products count.
        add, times = (part.astype(np.uint16)[:, None] for part in (state, state >> np.uint64(20)))
        order = order + add
        order *= times | np.uint16(1)
        order &= mask
        order ^= order >> fold
    return _scores(draws).take(order)


@cache
def _species_normals(species: int, draws: int) -> Singles:
    """Standard normals (S, D) of the species table."""
    return stratified_normals(np.arange(species) * 16, draws)


@cache
def _scores(draws: int) -> Singles:
    """Return the quantiles (D,) of the normal in the middle of ``draws`` equal parts."""
    scores: Singles = normal_quantile((np.arange(draws) + 0.5) / draws).astype(np.float32)
    return scores


def span_normals(areas: IntArray, span: int, draws: int = DRAWS) -> Singles:
    """Draw standard normals for a further span of areas.

    Parameters
    ----------
    areas : int array (A,)
        Places of the areas in the book.
    span : int
        What tells the span from others.
    draws : int
        How many, a power of two.

    Returns
    -------
    array (A, draws)
        As ``stratified_normals`` [sd].
    """
    return stratified_normals(areas * 16 + 13 + ((span + SPANS) << SPAN_BITS), draws)


def _scrambled(state: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """One step of the splitmix64 generator (Steele, Lea & Flood 2014, from memory)."""
    state = state + np.uint64(0x9E3779B97F4A7C15)
    mixed = (state ^ (state >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return mixed ^ (mixed >> np.uint64(31))


@dataclass(frozen=True, slots=True)
class GrowthDraws:
    """Draws of the growth of areas (A, D) in tanks (R, ...), in single precision.

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
    lag_d : array (A, D)
        Days of growth that a cut costs; the rate goes with it [d].
    settling : array (A, D)
        Log factors by which plants take longer to settle than the fit has it.
    """

    log_rate: Singles
    ceiling_cm: Singles
    knots: Singles
    week: Singles
    hand: Singles
    drift: Singles
    lag_d: Singles
    settling: Singles


def draw_growth(
    fit: GrowthFit, areas: IntArray, tanks: IntArray, draws: int = DRAWS
) -> GrowthDraws:
    """Draw the growth of areas from the posterior.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    areas : int array (A,)
        Places of the areas in the book, sorted by tank.
    tanks : int array (R,)
        Places of their tanks, in rising order.
    draws : int
        How many, a power of two.

    Returns
    -------
    GrowthDraws
        Joint draws: what areas share moves them together.
    """
    shared = fit.shared(areas, tanks)
    width = shared.tank_root.shape[1]
    # The key of a row of draws: what it is drawn for (its place in the book, an area's draw key),
    # and what it is.
    of_species = _species_normals(fit.design.species_id.size, draws)
    of_tank = np.stack(
        [stratified_normals(tanks * 16 + 1 + k, draws) for k in range(width)], axis=1
    )
    drift = stratified_normals(tanks * 16 + 15, draws)
    of_rate, of_ceiling, week, hand = (
        stratified_normals(fit.design.draw_key[areas] * 16 + 11 + k, draws) for k in range(4)
    )
    species_off = _single(shared.species_root) @ of_species
    tank_off = _single(shared.tank_root) @ of_tank
    tank_off += _single(shared.tank_by_species) @ species_off
    by_shared, own_root = _single(shared.by_shared), _single(shared.own_root)
    off = own_root @ np.stack([of_ceiling, of_rate], axis=1)
    off += by_shared[..., :1] * species_off[shared.species, None]
    edges = np.searchsorted(fit.design.tank[areas], tanks).tolist()
    for run, (begin, end) in enumerate(pairwise([*edges, areas.size])):
        off[begin:end] += by_shared[begin:end] @ tank_off[run]
    ceiling_off, rate_off = off[:, 0], off[:, 1]
    spreads, form = fit.design.spreads, fit.design.form[areas]
    lags, forms = spreads.lags, np.arange(spreads.lags.centre_d.size)
    of_form, settles = (stratified_normals(forms * 16 + k, draws) for k in (9, 8))
    lag, usual = lags.drawn(of_form, form), lags.mean_d[form]
    settling = _single(fit.widening * spreads.settling.drawn(settles))[form]
    wide = np.float32(fit.widening)
    speed = np.log(fit.design.clock.speed(fit.design.on_day)[areas])
    rate_off *= wide
    rate_off += column(speed + shared.mean.log_rate)
    rate_off += _rate_with_lag(shared.pace_by[LAG], usual, lag)
    ceiling_off *= wide
    ceiling_off += column(shared.mean.log_ceiling)
    ceiling_off += column(shared.ceiling_by[LAG]) * _single(lag - usual[:, None])
    if shared.pace_by[SETTLING].any():
        rate_off += column(shared.pace_by[SETTLING]) * settling
        ceiling_off += column(shared.ceiling_by[SETTLING]) * settling
    return GrowthDraws(
        log_rate=rate_off,
        ceiling_cm=np.exp(ceiling_off, out=ceiling_off),
        knots=_single(shared.drift[:, :, None]) + wide * tank_off[:, 1:],
        week=wide * week,
        hand=hand,
        drift=wide * drift,
        lag_d=_single(lag),
        settling=settling,
    )


def _rate_with_lag(by_lag: FloatArray, usual_d: FloatArray, lag_d: FloatArray) -> Singles:
    """How far log rates (A, D) go up with lags (A, D) above the usual ones (A,).

    Growth over the gaps of the log is ``rate * (1 - c lag)`` of a gap, which the log tells: its
    slope ``by_lag`` at the usual lag gives ``c``, and the rate follows any lag that is drawn.
    """
    share = by_lag / np.maximum(1.0 + by_lag * usual_d, LEAST_AWAKE_SHARE)
    left = np.maximum(1.0 - share[:, None] * lag_d, LEAST_AWAKE_SHARE)
    usual = np.maximum(1.0 - share * usual_d, LEAST_AWAKE_SHARE)
    return _single(np.log(usual)[:, None] - np.log(left))


def _single(values: NDArray[np.floating[Any]]) -> Singles:
    return values.astype(np.float32)
