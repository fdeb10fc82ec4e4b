"""What each reading of the last half year says against the forecast made before it.

The book as it was known on one earlier day, the *origin*, is fitted; its rates, ceilings and their
joint uncertainty stay as they were then. The log since is filtered through under them, so that each
reading meets the height foreseen from the readings before it. Nothing later enters, and a slow
change cannot hide in an estimate that follows it: what the tank's drift may do since the origin is
in the covariance of the readings, not in their mean.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.book.book import Book
from growthcast.fit.design import Design, build_design, day_number
from growthcast.fit.growth import on_what_fits
from growthcast.fit.model.drift import KNOT_COUNT, SpanDrift
from growthcast.fit.result import GrowthFit
from growthcast.fit.rows.chains import Link
from growthcast.fit.sites.propagate import propagate
from growthcast.fit.solver.linearise import BORDER, CEILING, HABIT, KNOTS
from growthcast.fit.solver.problem import Block, Point
from growthcast.fit.solver.view import View, seen, view_of

BIN_D = 7.0
"""Days of a week, over each of which a pace may differ."""
LEAD_BINS = 5
"""Weeks before the origin for which drift is told apart, for spans that began before it."""
ROUNDS = 6
TRUST_OF_A_SLIP = 1e-3


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
        per_reading = (
            "area",
            "tank",
            "day",
            "surprise_cm",
            "variance_cm2",
            "lean_cm",
            "grown_cm",
        )
        return replace(self, **{name: getattr(self, name)[rows] for name in per_reading})


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
    evidence, failed = on_what_fits(
        book, lambda part: _evidence(usual, part, on, origin_day, doubted)
    )
    return replace(evidence, not_fitted=usual.not_fitted | failed)


def _evidence(
    usual: GrowthFit,
    book: Book,
    on: date,
    origin_day: float,
    doubted: frozenset[tuple[int, float]],
) -> Evidence:
    design = _read_alike(build_design(book, on, usual.design.spreads), usual)
    border = usual.posterior(np.arange(design.area_id.size)).mean.border.copy()
    border[KNOTS:] = 0.0
    count = LEAD_BINS + int(np.ceil((day_number(on) - origin_day) / BIN_D)) + 1
    bin_day = (origin_day + BIN_D * (np.arange(count) - LEAD_BINS)).astype(np.float64)
    view = _filtered_through(design, border, origin_day, doubted)
    parts = [_of_block(view, number, bin_day) for number in range(len(view.problem.blocks))]
    joined = [np.concatenate(fields) for fields in zip(*parts, strict=True)]
    area, day = joined[0].astype(np.int64), joined[1]
    order = np.lexsort((area, day, design.tank[area]))
    order = order[day[order] >= origin_day]
    area, day, surprise, variance, lean, grown = (field[order] for field in (area, *joined[1:]))
    return Evidence(
        usual=usual,
        origin_day=origin_day,
        bin_day=bin_day,
        area=area,
        tank=design.tank[area],
        day=day,
        surprise_cm=surprise,
        variance_cm2=variance,
        lean_cm=lean,
        grown_cm=grown,
    )


def _read_alike(design: Design, usual: GrowthFit) -> Design:
    """Read weights of whole tanks as a fit does."""
    if usual.whole_tank_grams[0] == "all":
        return design
    weights = design.problem.weights.as_rest()
    return replace(design, problem=replace(design.problem, weights=weights))


def _filtered_through(
    design: Design, border: FloatArray, origin_day: float, doubted: frozenset[tuple[int, float]]
) -> View:
    """Run the whole log through under given parameters until the stages have settled.

    Drift is left out of the spans' own noise since the origin: there it is counted week by week.
    """
    blocks = []
    for block in design.problem.blocks:
        count = block.chains.nodes.area.size
        recent = block.chains.nodes.day >= origin_day
        own = np.where(recent, 0.0, block.drift.remainder)
        drift = SpanDrift(np.zeros((KNOT_COUNT, count)), own)
        blocks.append(replace(block, drift=drift, trust=_trust(block, doubted)))
    problem = replace(design.problem, blocks=tuple(blocks))
    stages = tuple(_first_stages(block, border) for block in problem.blocks)
    view = view_of(problem, Point(stages, border))
    for _ in range(ROUNDS):
        if problem.has_sites:
            view = view_of(propagate(view, border_known=True), view.point)
        stages = tuple(
            # As known by their day: a later row must not move what was foreseen before it.
            np.clip(old + np.clip(view.block(n)[1].filtered.mean, -3.0, 3.0), -10.0, 60.0)
            for n, old in enumerate(view.point.stages)
        )
        view = view_of(view.problem, replace(view.point, stages=stages))
    return view


def _trust(block: Block, doubted: frozenset[tuple[int, float]]) -> FloatArray:
    """Share of its weight (N,) that each node's reading keeps; what a cut left stays trusted."""
    nodes = block.chains.nodes
    trust = np.ones(nodes.area.size)
    if doubted:
        grew = np.flatnonzero(nodes.link == Link.GREW)
        named = zip(nodes.area[grew].tolist(), nodes.day[grew].tolist(), strict=True)
        trust[grew[[pair in doubted for pair in named]]] = TRUST_OF_A_SLIP
    return trust


def _first_stages(block: Block, border: FloatArray) -> FloatArray:
    """Stages at the readings, or at the usual cut height where nothing was read."""
    nodes = block.chains.nodes
    usual = np.exp(border[HABIT])[nodes.area]
    ceiling = np.exp(border[CEILING])[nodes.area]
    known = np.where(np.isfinite(nodes.reading_cm), nodes.reading_cm, usual)
    share = np.clip(known / ceiling, 0.01, 0.95)
    stages: FloatArray = np.log(share / (1.0 - share))
    return stages


def _of_block(view: View, number: int, bin_day: FloatArray) -> tuple[FloatArray, ...]:
    """Areas, days, surprises, variances, leans (n, B) and weekly growth (n, T) of a block.

    The weekly growth is how far the height predicted moves with the log pace of each week. The
    filter gives that derivative for the knots of the drift; so the block is filtered again with
    weeks in the place of the knots, as many at a time as there are knots.
    """
    problem, (_, forward) = view.problem, view.block(number)
    block = problem.blocks[number]
    nodes = block.chains.nodes
    # Readings after a span or a known cut: a start or an unsaid cut tells nothing of growth.
    read = np.flatnonzero(forward.innovation_precision > 0.0)
    read = read[(nodes.link[read] == Link.GREW) | (nodes.link[read] >= Link.CUT)]
    grown = np.zeros((read.size, bin_day.size))
    began, ended = nodes.day - nodes.span_d, nodes.day
    span = np.maximum(ended - began, 1.0)
    for first in range(0, bin_day.size, BORDER - KNOTS):
        some = bin_day[first : first + BORDER - KNOTS]
        inside = np.minimum(ended, some[:, None] + BIN_D) - np.maximum(began, some[:, None])
        # A span regresses on a week by the share of the span that lies in the week.
        regressors = np.zeros((KNOT_COUNT, ended.size))
        regressors[: some.size] = np.where(
            nodes.link == Link.GREW, np.maximum(inside, 0.0) / span, 0.0
        )
        at, weekly = seen(problem, view.point, number, SpanDrift(regressors, block.drift.remainder))
        # The derivative of the stage predicted, times dh/dz: centimetres.
        by_week = at.observation[read] * weekly.predicted[1 + KNOTS :, read]
        grown[:, first : first + some.size] = by_week[: some.size].T
    return (
        nodes.area[read].astype(np.float64),
        nodes.day[read],
        forward.innovation_cm[read],
        1.0 / forward.innovation_precision[read],
        forward.predicted_sensitivity[:, read].T,
        grown,
    )
