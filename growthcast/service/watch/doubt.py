"""The joint covariance of a tank's surprises when nothing has changed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.result import GrowthFit
from growthcast.fit.solver.drift import KNOT_WINDOWS_D, MEMORY_D, knot_precision, window_covariance
from growthcast.fit.solver.hierarchy import OWN
from growthcast.fit.solver.linearise import BORDER, CEILING, KNOTS, RATE
from growthcast.service.watch.evidence import BIN_D, Evidence

__all__ = ["Foreseen", "TankBorder", "foreseen", "tank_border", "weekly_drift"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class TankBorder:
    """How the parameters of a tank's areas hang together, areas (m,).

    Borders (m, B) move with the species' effects (S,) by ``by_species`` (m, B, S) and with the
    tank's effect and knots (W,) by ``by_tank`` (m, B, W); ``own`` (m, B, B) is each area's alone.
    """

    by_species: FloatArray
    by_tank: FloatArray
    own: FloatArray


def tank_border(fit: GrowthFit, tank: int, areas: IntArray) -> TankBorder:
    """Factor the joint posterior of the areas (m,) of one tank by what they share."""
    pooling, view = fit.design.problem.pooling, fit.solution.view
    area, effects = view.area, view.effects
    held, share, follows = area.rate_given(pooling.area_precision)
    width = follows.shape[1] + 1
    to_rate = np.broadcast_to(np.eye(width), (areas.size, width, width)).copy()
    to_rate[:, 0, 0] = share[areas]
    to_rate[:, 0, 1:] = follows[areas]
    into = np.zeros((areas.size, BORDER, width))
    into[:, RATE, 0] = 1.0
    into[:, KNOTS:, 1:] = np.eye(width - 1)
    into[:, OWN] = area.own_follows[areas]
    into[:, RATE] += area.drag[areas, None] * into[:, CEILING]
    by_tank = into @ to_rate
    along = np.repeat(effects.tank_follows(pooling, np.array([tank])), areas.size, axis=0)
    along[np.arange(areas.size), 0, pooling.species[areas]] += 1.0
    own = np.zeros((areas.size, BORDER, BORDER))
    own[np.ix_(range(areas.size), OWN, OWN)] = area.own_covariance[areas]
    follow = np.broadcast_to(np.eye(BORDER), own.shape).copy()
    follow[:, RATE, CEILING] = area.drag[areas]
    own = follow @ own @ follow.transpose(0, 2, 1)
    rate = into[:, :, :1] / np.sqrt(np.where(held > 0.0, held, 1.0))[areas, None, None]
    return TankBorder(by_tank @ along, by_tank, own + rate @ rate.transpose(0, 2, 1))


def weekly_drift(bin_day: FloatArray, on_day: float) -> tuple[FloatArray, FloatArray]:
    """Regress the drift's weekly means on the knots of a fit made on ``on_day``.

    Returns
    -------
    weight : array (T, M)
        Mean drift of each week per unit of each knot.
    remainder : array (T, T)
        Covariance of what the knots leave open, per unit of the drift's variance.
    """
    began = (bin_day - on_day) / MEMORY_D
    ended = began + BIN_D / MEMORY_D
    knot_ended, knot_began = -KNOT_WINDOWS_D.T / MEMORY_D
    across = window_covariance(began[:, None], ended[:, None], knot_began, knot_ended)
    weight: FloatArray = across @ knot_precision()
    within = window_covariance(began[:, None], ended[:, None], began, ended)
    return weight, within - weight @ across.T


@dataclass(frozen=True, slots=True)
class Foreseen:
    """A tank's surprises (n,) [cm] and their covariances (n, n) [cm2] when nothing has changed.

    ``surprise_cm`` is against the tank's own long-run pace, ``mean_cm`` what its drift at the
    origin led to expect of it. ``noise`` is the covariance without drift, ``covariance`` with it.
    """

    surprise_cm: FloatArray
    mean_cm: FloatArray
    noise: FloatArray
    covariance: FloatArray


def foreseen(evidence: Evidence, tank: int) -> Foreseen:
    """Return what was to be expected of the readings of one tank, all of them given.

    Parameters
    ----------
    evidence : Evidence
        The readings of this tank only, in the order of days.
    tank : int
        Its place in the book.

    Returns
    -------
    Foreseen
        Reading errors and the noise of spans are independent between readings given the
        parameters; species, tank, areas, ceilings and drift tie them together.
    """
    fit = evidence.usual
    areas = np.unique(evidence.area)
    border = tank_border(fit, tank, areas)
    weight, remainder = weekly_drift(evidence.bin_day, fit.design.on_day)
    still, drifting = evidence.lean_cm.copy(), evidence.lean_cm.copy()
    still[:, KNOTS:] = 0.0
    drifting[:, KNOTS:] = evidence.grown_cm @ weight
    drift = fit.design.spreads.drift**2 * evidence.grown_cm @ remainder @ evidence.grown_cm.T
    knots = fit.solution.point.border[KNOTS:, areas[0]]
    return Foreseen(
        surprise_cm=evidence.surprise_cm,
        mean_cm=drifting[:, KNOTS:] @ knots,
        noise=_covariance(evidence, tank, border, still),
        covariance=_covariance(evidence, tank, border, drifting) + drift,
    )


def _covariance(
    evidence: Evidence, tank: int, border: TankBorder, lean_cm: FloatArray
) -> FloatArray:
    """Covariance (n, n) of readings that lean on the border by ``lean_cm`` (n, B)."""
    effects = evidence.usual.solution.view.effects
    _, rank = np.unique(evidence.area, return_inverse=True)
    by_species = np.einsum("nb,nbs->ns", lean_cm, border.by_species[rank])
    by_tank = np.einsum("nb,nbw->nw", lean_cm, border.by_tank[rank])
    shared = by_species @ effects.species_covariance @ by_species.T
    shared += by_tank @ effects.tank_covariance[tank] @ by_tank.T
    own = np.einsum("nbc,nb->nc", border.own[rank], lean_cm) @ lean_cm.T
    whole: FloatArray = shared + np.where(rank[:, None] == rank[None, :], own, 0.0)
    whole[np.diag_indices_from(whole)] += evidence.variance_cm2
    return whole
