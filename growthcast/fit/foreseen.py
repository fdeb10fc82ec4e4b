"""What each reading of the last half year says against the forecast made before it.

The book as it was known on one earlier day, the *origin*, is fitted; its rates, ceilings and their
joint uncertainty stay as they were then. The log since is filtered through under them, so that each
reading meets the height foreseen from the readings before it. Nothing later enters, and a slow
change cannot hide in an estimate that follows it: what the tank's drift may do since the origin is
in the covariance of the readings, not in their mean. ``doubts_of`` is that
covariance when nothing has changed.
"""

from __future__ import annotations

from dataclasses import field, replace
from datetime import date
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.book.book import Book
from growthcast.fit.design import Design, build_design, day_number
from growthcast.fit.growth import on_what_fits
from growthcast.fit.model.noise import MEMORY_D, on_knots, window_covariance
from growthcast.fit.result import GrowthFit
from growthcast.fit.rows.chains import Link
from growthcast.fit.sites.weights import propagate
from growthcast.fit.solver.problem import CEILING, HABIT, KNOTS, RATE, Block, Point
from growthcast.fit.solver.view import View, view_of
from growthcast.growth.logistic import stage
from growthcast.nouns import dataclass

BIN_D = 7.0
"""Days of a week, over each of which a pace may differ."""

LEAD_BINS = 5
"""Weeks before the origin for which drift is told apart, for spans that began before it."""

ROUNDS = 6

TRUST_OF_A_SLIP = 1e-3

AREA_MEMORY_D = 60.0
"""Days after which an area remembers a third of its own wandering: an estimate."""


PER_READING = ("area", "day", "surprise_cm", "variance_cm2", "lean_cm", "grown_cm")
"""Fields of evidence that are one value a reading, beside its tank."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """Readings (n,) since the origin against what was foreseen, by tank, day and area.

    Attributes
    ----------
    usual : GrowthFit
        The fit of the book as known before ``origin_day``.
    bin_day : array (T,)
        Day on which each week begins over which a pace may differ; some lie before the origin.
    area, tank, day : array (n,)
        Whose reading it is, and when.
    surprise_cm, variance_cm2 : array (n,)
        Reading less what was foreseen, and its variance with rates and ceilings known.
    lean_cm : array (n, B)
        Change of what was foreseen with the parameters of the fit's border, drift left out.
    grown_cm : array (n, T)
        Change of what was foreseen with the log pace of each week: the growth of that week that
        the reading shows.
    not_fitted : dict of str
        Ids of tanks whose log cannot be fitted, before the origin or since, and why.
    """

    usual: GrowthFit
    origin_day: float
    bin_day: FloatArray
    area: IntArray
    tank: IntArray
    day: FloatArray
    surprise_cm: FloatArray
    variance_cm2: FloatArray
    lean_cm: FloatArray
    grown_cm: FloatArray
    not_fitted: dict[str, str] = field(default_factory=dict)

    def of(self, rows: BoolArray | IntArray) -> Evidence:
        """Return some of the readings."""
        return replace(self, **{n: getattr(self, n)[rows] for n in ("tank", *PER_READING)})


def evidence_under(
    usual: GrowthFit,
    book: Book,
    on: date,
    origin_day: float,
    doubted: frozenset[tuple[int, float]] = frozenset(),
) -> Evidence:
    """Compare readings since an origin with what a fit of the book before it foresees.

    Parameters
    ----------
    usual : GrowthFit
        The fit of the book as it was known before the origin, all areas in their places.
    book : Book
        The book as it is known on the day ``on``, without log rows after it.
    on : date
        The last day that is read.
    origin_day : float
        Day number from which readings are compared [d].
    doubted : frozenset of (int, float)
        Areas, by their places, and days [day numbers] whose readings are not relied on: they keep
        next to no weight, so that the forecast of the reading after does not start from a slip.

    Returns
    -------
    Evidence
        Readings in the order of tank, day and area. An area planted after the origin has the rate
        its tank, species and the table give it, with their doubt.
    """

    def attempt(part: Book) -> Evidence:
        design = build_design(part, on, usual.design.spreads)
        if usual.whole_tank_grams[0] == "rest":  # weights of whole tanks are read as in the fit
            rest = design.problem.weights.as_rest()
            design = replace(design, problem=replace(design.problem, weights=rest))
        border = usual.posterior(np.arange(design.area_id.size)).mean.border.copy()
        border[KNOTS:] = 0.0
        count = LEAD_BINS + int(np.ceil((day_number(on) - origin_day) / BIN_D)) + 1
        bin_day = (origin_day + BIN_D * (np.arange(count) - LEAD_BINS)).astype(np.float64)
        view = _filtered_through(design, border, origin_day, doubted)
        parts = [_of_block(view, number, bin_day) for number in range(len(view.problem.blocks))]
        joined: dict[str, Any] = {
            name: np.concatenate([one[name] for one in parts]) for name in PER_READING
        }
        area, day, tank = joined["area"], joined["day"], design.tank[joined["area"]]
        order = np.lexsort((area, day, tank))
        found = Evidence(usual=usual, origin_day=origin_day, bin_day=bin_day, tank=tank, **joined)
        return found.of(order[day[order] >= origin_day])

    evidence, failed = on_what_fits(book, attempt)
    return replace(evidence, not_fitted=usual.not_fitted | failed)


def _filtered_through(
    design: Design, border: FloatArray, origin_day: float, doubted: frozenset[tuple[int, float]]
) -> View:
    """Run the whole log through under given parameters until the stages have settled.

    Drift is left out of the spans' own noise since the origin: there it is counted week by week.
    """
    blocks = []
    for block in design.problem.blocks:
        recent = block.chains.nodes.day >= origin_day
        own = np.where(recent, 0.0, block.drift.remainder)
        drift = replace(block.drift, remainder=own)
        blocks.append(replace(block, drift=drift, trust=_trust(block, doubted)))
    problem = replace(design.problem, blocks=tuple(blocks))
    stages = tuple(_first_stages(block, border) for block in problem.blocks)
    view = view_of(problem, Point(stages, border))
    for _ in range(ROUNDS):
        if problem.has_sites:
            view = view_of(propagate(view, border_known=True), view.point)
        stages = tuple(
            # As known by their day: a later row must not move what was foreseen before it.
            np.clip(old + np.clip(view.forward(n).filtered.mean, -3.0, 3.0), -10.0, 60.0)
            for n, old in enumerate(view.point.stages)
        )
        view = view_of(view.problem, replace(view.point, stages=stages))
    return view


def _trust(block: Block, doubted: frozenset[tuple[int, float]]) -> FloatArray:
    """Share of its weight (N,) that each node's reading keeps; what a cut left stays trusted."""
    nodes = block.chains.nodes
    trust, grew = np.ones(nodes.area.size), nodes.link == Link.GREW
    for area, day in doubted:
        trust[grew & (nodes.area == area) & (nodes.day == day)] = TRUST_OF_A_SLIP
    return trust


def _first_stages(block: Block, border: FloatArray) -> FloatArray:
    """Stages at the readings, or at the usual cut height where nothing was read."""
    nodes = block.chains.nodes
    usual = np.exp(border[HABIT])[nodes.area]
    ceiling = np.exp(border[CEILING])[nodes.area]
    known = np.where(block.chains.read, nodes.reading_cm, usual)
    return stage(np.clip(known, 0.01 * ceiling, 0.95 * ceiling), ceiling)


def _of_block(view: View, number: int, bin_day: FloatArray) -> dict[str, Any]:
    """What evidence has of each reading of a block, by the names of its fields.

    The weekly growth is how far the height predicted moves with the log pace of each week: a span
    grows in a week by the share of its days that lie in it.
    """
    forward = view.forward(number)
    nodes = forward.chains.nodes
    # Readings after a span or a known cut: a start or an unsaid cut tells nothing of growth.
    read = np.flatnonzero(forward.innovation_precision > 0.0)
    read = read[(nodes.link[read] == Link.GREW) | (nodes.link[read] >= Link.CUT)]
    began, ended = nodes.day - nodes.span_d, nodes.day
    a_day = forward.at.own_inputs[RATE] / np.maximum(nodes.span_d, 1.0)  # 0 where nothing grew
    grown = np.empty((read.size, bin_day.size))
    for week, day in enumerate(bin_day):
        inside = np.minimum(ended, day + BIN_D) - np.maximum(began, day)
        moved = forward.along(np.maximum(inside, 0.0) * a_day)
        grown[:, week] = -moved[read]
    return {
        "area": nodes.area[read],
        "day": nodes.day[read],
        "surprise_cm": forward.innovation_cm[read],
        "variance_cm2": 1.0 / forward.innovation_precision[read],
        "lean_cm": forward.predicted_sensitivity[:, read].T,
        "grown_cm": grown,
    }


@dataclass(frozen=True, slots=True)
class Wander:
    """How far the log pace of a tank, and of an area beside it, wanders when nothing has changed.

    A fit counts what a tank's drift does beyond its knots as noise of each span on its own. Here
    the areas of a tank share it, so its spread is learnt anew (``readings.py``). That of an area
    stands for what the model's curve, clock and errors miss.
    """

    tank: float
    area: float


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
    weight, across = on_knots(began, ended)
    within = window_covariance(began[:, None], ended[:, None], began, ended)
    return weight.T, within - weight.T @ across


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
    view, grown, bins = fit.solution.view, evidence.grown_cm, evidence.bin_day
    areas, rank = np.unique(evidence.area, return_inverse=True)
    by_species, by_tank, own = view.pooled.tank_parts(tank, areas)
    rank = np.tile(rank, 2)
    weight, remainder = weekly_drift(bins, fit.design.on_day)
    # How readings lean on the border but for drift, and below how they lean on the drift.
    still, knots = evidence.lean_cm.copy(), np.zeros_like(evidence.lean_cm)
    still[:, KNOTS:], knots[:, KNOTS:] = 0.0, grown @ weight
    lean = np.concatenate([still, knots])
    by_species = np.einsum("nb,nbs->ns", lean, by_species[rank])
    by_tank = np.einsum("nb,nbw->nw", lean, by_tank[rank])
    whole = by_species @ view.pooled.planted_covariance @ by_species.T
    whole += by_tank @ view.pooled.tank_covariance[tank] @ by_tank.T
    own = np.einsum("nbc,nb->nc", own[rank], lean) @ lean.T
    whole += np.where(rank[:, None] == rank[None, :], own, 0.0)
    (noise, across), (_, by_knots) = (np.split(half, 2, axis=1) for half in np.split(whole, 2))
    memory = np.exp(-np.abs(bins[:, None] - bins[None, :]) / AREA_MEMORY_D)
    same = evidence.area[:, None] == evidence.area[None, :]
    return Doubts(
        surprise_cm=evidence.surprise_cm,
        mean_cm=knots[:, KNOTS:] @ view.point.border[KNOTS:, areas[0]],
        noise=noise + np.diag(evidence.variance_cm2),
        with_knots=across + across.T,
        by_knots=by_knots,
        by_tank=grown @ remainder @ grown.T,
        by_area=np.where(same, grown @ memory @ grown.T, 0.0),
        drift=fit.design.spreads.drift,
    )
