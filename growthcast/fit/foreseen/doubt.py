"""The joint covariance of a tank's surprises when nothing has changed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.fit.foreseen.evidence import BIN_D, Evidence
from growthcast.fit.model.drift import KNOT_WINDOWS_D, MEMORY_D, knot_precision, window_covariance
from growthcast.fit.result import GrowthFit
from growthcast.fit.solver.areas import OWN
from growthcast.fit.solver.linearise import BORDER, CEILING, KNOTS, RATE

AREA_MEMORY_D = 60.0
"""Days after which an area remembers a third of its own wandering: an estimate."""


@dataclass(frozen=True, slots=True)
class Wander:
    """How far the log pace of a tank, and of an area beside it, wanders when nothing has changed.

    A fit counts what a tank's drift does beyond its knots as noise of each span on its own. Here
    the areas of a tank share it, so its spread is learnt anew (``readings.py``). That of an area
    stands for what the model's curve, clock and errors miss.
    """

    tank: float
    area: float


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
    """Factor the joint posterior of the areas of one tank by what they share.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tank : int
        Place of the tank in the book.
    areas : int array (m,)
        Places of its areas.

    Returns
    -------
    TankBorder
        How their parameters hang together.
    """
    pooling, view = fit.design.problem.pooling, fit.solution.view
    area, effects = view.area, view.effects
    posterior_precision, prior_weight, regression = area.rate_given(pooling.area_precision, areas)
    width = regression.shape[1] + 1
    to_rate = np.broadcast_to(np.eye(width), (areas.size, width, width)).copy()
    to_rate[:, 0, 0], to_rate[:, 0, 1:] = prior_weight, regression
    into = np.zeros((areas.size, BORDER, width))
    into[:, RATE, 0] = 1.0
    into[:, KNOTS:, 1:] = np.eye(width - 1)
    into[:, OWN] = area.own_regression[areas]
    into[:, RATE] += area.rate_by_ceiling[areas, None] * into[:, CEILING]
    by_tank = into @ to_rate
    along = np.repeat(effects.tank_regression(pooling, np.array([tank])), areas.size, axis=0)
    along[np.arange(areas.size), 0, pooling.species[areas]] += 1.0
    own = np.zeros((areas.size, BORDER, BORDER))
    own[np.ix_(range(areas.size), OWN, OWN)] = area.own_covariance[areas]
    follow = np.broadcast_to(np.eye(BORDER), own.shape).copy()
    follow[:, RATE, CEILING] = area.rate_by_ceiling[areas]
    own = follow @ own @ follow.transpose(0, 2, 1)
    safe = np.where(posterior_precision > 0.0, posterior_precision, 1.0)
    rate = into[:, :, :1] / np.sqrt(safe)[:, None, None]
    return TankBorder(by_tank @ along, by_tank, own + rate @ rate.transpose(0, 2, 1))


def weekly_drift(bin_day: FloatArray, on_day: float) -> tuple[FloatArray, FloatArray]:
    """Regress the drift's weekly means on the knots of a fit.

    Parameters
    ----------
    bin_day : array (T,)
        Days on which the weeks begin [day numbers].
    on_day : float
        Day of the fit [day number].

    Returns
    -------
    weight : array (T, M)
        Mean drift of each week per unit of each knot [-].
    remainder : array (T, T)
        Covariance of what the knots leave open, per unit of the drift's variance [-].
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
    origin led to expect of it. ``noise`` is the covariance without wandering, ``covariance`` with.
    """

    surprise_cm: FloatArray
    mean_cm: FloatArray
    noise: FloatArray
    covariance: FloatArray


@dataclass(frozen=True, slots=True)
class Doubts:
    """What a tank's surprises (n,) share for each reason, (n, n), so that they can be weighed.

    ``noise`` holds errors, the noise of spans, and the doubt about rates, ceilings and habits;
    ``with_knots`` and ``by_knots`` what the drift known at the origin adds, once and squared;
    ``by_tank`` and ``by_area`` wandering per unit of its variance. ``drift`` is the fit's spread.
    """

    surprise_cm: FloatArray
    mean_cm: FloatArray
    noise: FloatArray
    with_knots: FloatArray
    by_knots: FloatArray
    by_tank: FloatArray
    by_area: FloatArray
    drift: float

    def under(self, wander: Wander) -> Foreseen:
        """Return what is foreseen when paces wander this far."""
        share = wander.tank / self.drift
        covariance = self.noise + share * self.with_knots + share**2 * self.by_knots
        covariance += wander.tank**2 * self.by_tank + wander.area**2 * self.by_area
        return Foreseen(self.surprise_cm, share * self.mean_cm, self.noise, covariance)


def doubts_of(evidence: Evidence, tank: int) -> Doubts:
    """Return why the readings of one tank may differ from what was foreseen.

    Parameters
    ----------
    evidence : Evidence
        The readings of this tank only, in the order of days.
    tank : int
        Its place in the book.

    Returns
    -------
    Doubts
        Reading errors and the noise of spans are independent between readings given the
        parameters; species, tank, areas, ceilings and drift tie them together.
    """
    fit = evidence.usual
    areas = np.unique(evidence.area)
    border = tank_border(fit, tank, areas)
    weight, remainder = weekly_drift(evidence.bin_day, fit.design.on_day)
    grown, area, bins = evidence.grown_cm, evidence.area, evidence.bin_day
    still, knots = evidence.lean_cm.copy(), evidence.lean_cm.copy()
    still[:, KNOTS:] = 0.0
    knots[:, KNOTS:] = grown @ weight
    noise = _covariance(evidence, tank, border, still)
    plus = _covariance(evidence, tank, border, knots)
    minus = _covariance(evidence, tank, border, _turned(knots))
    memory = np.exp(-np.abs(bins[:, None] - bins[None, :]) / AREA_MEMORY_D)
    known = fit.solution.point.border[KNOTS:, areas[0]]
    return Doubts(
        surprise_cm=evidence.surprise_cm,
        mean_cm=knots[:, KNOTS:] @ known,
        noise=noise,
        with_knots=0.5 * (plus - minus),
        by_knots=0.5 * (plus + minus) - noise,
        by_tank=grown @ remainder @ grown.T,
        by_area=np.where(area[:, None] == area[None, :], grown @ memory @ grown.T, 0.0),
        drift=fit.design.spreads.drift,
    )


def _turned(lean_cm: FloatArray) -> FloatArray:
    """The same leans with the drift's turned round."""
    turned = lean_cm.copy()
    turned[:, KNOTS:] *= -1.0
    return turned


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
