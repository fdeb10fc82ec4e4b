"""From a book to the arrays of the inference. The calendar ends here: dates become day numbers."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, TextArray, day_numbers
from growthcast.book.book import Book, WholeTank, bounds_on
from growthcast.fit.model.clock import GrowthClock, TankConditions
from growthcast.fit.model.noise import ErrorModel, knot_precision
from growthcast.fit.model.shade import Shade
from growthcast.fit.model.spreads import Settling, Spreads, forms_of
from growthcast.fit.rows.chains import Link, pack_chains
from growthcast.fit.rows.lived import clock_of_book, floating_shade
from growthcast.fit.rows.nodes import AreaTraits, Habits, build_nodes, cutting_habits
from growthcast.fit.solver.problem import Block, Pooling, Problem, Weights, with_heights_that_count
from growthcast.growth.responses import co2_slope
from growthcast.log.photos import PhotoOffset
from growthcast.log.visits import Buckets, LeftOut, Visits, planted_days, read_log
from growthcast.nouns import dataclass
from growthcast.species import SpeciesPriors, read_reference, species_priors

COVER_ERROR_POINTS = 5.0
"""Error of a cover judged by eye, in points of percent (an estimate)."""
BEND_DOUBT = 3.0
"""What a log says of a ceiling counts a third in its doubt: curves bend otherwise than the table
says, by 0.25 in their exponent (measured, see docs/decisions)."""
COVER_CEILING, COVER_CEILING_SPREAD = 100.0, 0.005


def day_number(day: date) -> float:
    """Days since 1970-01-01.

    Parameters
    ----------
    day : date
        Any day.

    Returns
    -------
    float
        Its number [d].
    """
    return float(np.datetime64(day, "D").astype(np.int64))


@dataclass(frozen=True, slots=True)
class Design:
    """A book as arrays: the fit's problem, and what forecasts and advice need beside it.

    Areas are in the order of areas.csv, tanks in that of tanks.csv, species in that of the book's
    species table. ``on_day`` is the day the fit is made for; ``alive`` (A,) tells which areas are
    planted then. ``spans`` (A,) counts each area's own spans that carry information;
    ``unknown_spread`` (K,) is the doubt about a tank's rate from conditions nobody gave;
    ``row_numbers`` are the log's rows as a spreadsheet shows them; ``draw_key`` (A,) names each
    area's rows of draws: its place in the book, or what is supposed of it (see ``fit_beside``);
    ``gap_d`` (K,) is the longest time between two visits of a tank, 0 without any;
    ``conditions`` and ``water_depth_cm`` (K,) are the tanks'; ``photo_offset`` is that of heights
    read off photos, ``shade`` what floats in the tanks, both None without any.
    """

    problem: Problem
    conditions: TankConditions
    water_depth_cm: FloatArray
    clock: GrowthClock
    traits: AreaTraits
    priors: SpeciesPriors
    spreads: Spreads
    on_day: float
    area_id: TextArray
    tank_id: TextArray
    species_id: TextArray
    species: IntArray
    area_cm2: FloatArray
    alive: BoolArray
    is_cover: BoolArray
    observations: IntArray
    spans: IntArray
    left_out: tuple[LeftOut, ...]
    unknown_spread: FloatArray
    row_numbers: IntArray
    draw_key: IntArray
    gap_d: FloatArray
    photo_offset: PhotoOffset | None
    shade: Shade | None

    @property
    def tank(self) -> IntArray:
        """Tank of each area, (A,)."""
        return self.traits.tank

    @property
    def form(self) -> IntArray:
        """Place of each area's form in ``FORMS``, (A,)."""
        return forms_of(self.priors.form)[self.species]

    @property
    def stays(self) -> BoolArray:
        """Whether an area is planted and stays so beyond the day of the fit, (A,)."""
        removed: BoolArray = self.traits.removed_day <= self.on_day
        return self.alive & ~removed


def build_design(
    book: Book, on: date, spreads: Spreads | None = None, known: int | None = None
) -> Design:
    """Turn a checked book into arrays, as it was known on ``on``; later log rows are not used.

    Parameters
    ----------
    book : Book
        A checked book.
    on : date
        The day for which the fit is made; later log rows are not used.
    spreads : Spreads, optional
        Spreads of the model; the defaults, with the practice's reading errors, when not given.
    known : int, optional
        How many areas are not only supposed, all when not given: only these shade others, and tell
        how much is not known of their tank.

    Returns
    -------
    Design
        The book as it was known on that day.
    """
    practice, on_day = book.practice, day_number(on)
    spreads = spreads or Spreads(
        height_error_cm=practice.height_error_cm, height_error_share=practice.height_error_share
    )
    priors = species_priors(book.species, practice.locale)
    tank_id, area_id = book.tanks.text("tank_id"), book.areas.text("area_id")
    tank = book.areas.places("tank_id", tank_id)
    species = book.areas.places("species_id", priors.species_id)
    is_cover, traits = priors.measure_is_cover[species], _traits(book, on, tank, species, priors)
    errors = _errors(spreads, is_cover)
    settle_d = (spreads.settling.factor[forms_of(priors.form)] * priors.settle_d)[species]
    log = read_log(book)
    visits = log.visits.as_of(on_day)
    shade = _shade(book, visits, traits, is_cover, tank.size if known is None else known, on_day)
    conditions, clock = clock_of_book(book, shade, traits, species, priors, settle_d, on_day)
    unknown_spread = conditions.unknown_log_spread(
        _slope_of_tanks(tank, priors.traits["co2_k_mg_l"][species], tank_id.size, known)
    )
    held = bounds_on(book.areas, book.bounds, visits.area, visits.day)
    habits = cutting_habits(visits, held, traits, spreads.habit, errors.height_error_cm)
    nodes = build_nodes(visits, held, traits, clock, habits, on_day)
    problem = Problem(
        blocks=tuple(Block.of(chains, on_day) for chains in pack_chains(nodes, tank)),
        pooling=_pooling(book, tank, species, priors, unknown_spread, habits, spreads),
        errors=errors,
        weights=_weights(log.buckets, practice.whole_tank_grams, traits),
        shape=priors.shape[species],
        first_habit=habits.first_log_cm,
        lag_d=spreads.lags.mean_d[forms_of(priors.form)[species]],
    )
    grown = (nodes.link == Link.GREW) & ~np.isin(nodes.row, log.buckets.row)
    return Design(
        problem=with_heights_that_count(problem),
        conditions=conditions,
        water_depth_cm=book.tanks.number("water_depth_cm"),
        clock=clock,
        traits=traits,
        priors=priors,
        spreads=spreads,
        on_day=on_day,
        area_id=area_id,
        tank_id=tank_id,
        species_id=priors.species_id,
        species=species,
        area_cm2=book.areas.number("area_cm2"),
        alive=(traits.planted_day <= on_day) & ~(traits.removed_day < on_day),
        is_cover=is_cover,
        observations=np.bincount(visits.area, minlength=area_id.size),
        spans=np.bincount(nodes.area[grown], minlength=area_id.size),
        left_out=log.left_out,
        unknown_spread=unknown_spread,
        row_numbers=book.trims.rows,
        draw_key=np.arange(area_id.size),
        gap_d=_longest_gaps_d(visits, tank, tank_id.size),
        photo_offset=log.photo_offset,
        shade=shade,
    )


def _shade(
    book: Book, visits: Visits, traits: AreaTraits, is_cover: BoolArray, known: int, on_day: float
) -> Shade | None:
    """What floats in the tanks of known size, of the first ``known`` areas."""
    shading = is_cover & (np.arange(is_cover.size) < known)
    surface_cm2 = book.tanks.number("length_cm") * book.tanks.number("width_cm")
    part = np.minimum(book.areas.number("area_cm2") / surface_cm2[traits.tank], 1.0)
    return floating_shade(visits, traits, shading, part, surface_cm2.size, on_day)


def clock_under(design: Design, book: Book) -> tuple[TankConditions, GrowthClock]:
    """Return the conditions and the clock of a design's areas under other rows of conditions.csv.

    Parameters
    ----------
    design : Design
        A book as arrays.
    book : Book
        The same book, of which only the conditions and shares of light may differ.

    Returns
    -------
    TankConditions and GrowthClock
        As ``build_design`` would make them of that book, what floats being as it is.
    """
    settle_d = design.clock.settle_d
    given = design.shade, design.traits, design.species, design.priors, settle_d, design.on_day
    return clock_of_book(book, *given)


def _longest_gaps_d(visits: Visits, tank: IntArray, tanks: int) -> FloatArray:
    longest = np.zeros(tanks)
    np.maximum.at(longest, *visits.gaps(tank))
    return longest


def with_spreads(design: Design, spreads: Spreads) -> Design:
    """Return the same design under other spreads.

    Parameters
    ----------
    design : Design
        A book as arrays.
    spreads : Spreads
        The others.

    Returns
    -------
    Design
        Errors, priors and lags as they say.
    """
    design = _settling_as(design, spreads.settling)
    precisions = _precisions(spreads, design.unknown_spread, design.priors)
    problem = replace(
        design.problem,
        errors=_errors(spreads, design.is_cover),
        pooling=design.problem.pooling.but_for(**precisions),
        lag_d=spreads.lags.mean_d[design.form],
    )
    return replace(design, spreads=spreads, problem=problem)


def _settling_as(design: Design, settling: Settling) -> Design:
    """Return a design whose plants take other times to settle."""
    usual = design.spreads.settling
    if np.array_equal(settling.centre, usual.centre):
        return design
    longer = (settling.factor / usual.factor)[design.form]
    clock = replace(design.clock, settle_d=longer * design.clock.settle_d)
    blocks = tuple(
        replace(block, chains=block.chains.grown_by(clock)) for block in design.problem.blocks
    )
    return replace(design, clock=clock, problem=replace(design.problem, blocks=blocks))


def _precisions(
    spreads: Spreads, unknown_spread: FloatArray, priors: SpeciesPriors
) -> dict[str, Any]:
    """Precisions of a pooling under some spreads, by the names of its fields."""
    return {
        "area_precision": 1.0 / spreads.area**2,
        "density_precision": 1.0 / spreads.density**2,
        "tank_precision": 1.0 / (spreads.tank**2 + unknown_spread**2),
        "species_precision": 1.0 / (spreads.species * priors.rate_spread) ** 2,
        "knot_precision": knot_precision() / spreads.drift**2,
    }


def _errors(spreads: Spreads, is_cover: BoolArray) -> ErrorModel:
    return ErrorModel(
        height_error_cm=np.where(is_cover, COVER_ERROR_POINTS, spreads.height_error_cm),
        height_error_share=np.where(is_cover, 0.0, spreads.height_error_share),
        span=spreads.span,
        drift=spreads.drift,
        weight=spreads.weight,
    )


def _weights(buckets: Buckets, said: WholeTank | None, traits: AreaTraits) -> Weights:
    """Weights of whole tanks, read as everything where neither row nor practice say otherwise."""
    return Weights(
        grams=buckets.grams,
        everything=buckets.of_all | (~buckets.of_rest & (said != "rest")),
        said=buckets.of_all | buckets.of_rest | (said is not None),
        row=buckets.row,
        gram_per_cm=traits.gram_per_cm,
        removed_day=traits.removed_day,
    )


def _slope_of_tanks(
    tank: IntArray, co2_k_mg_l: FloatArray, tanks: int, known: int | None
) -> FloatArray:
    """Slope (K,) of the plants' log response over log CO2 where none is added, their mean.

    That of the first ``known`` areas, so that a tank stands as it is whatever is supposed beside
    it; of what is supposed where there are none.
    """
    slope = co2_slope(read_reference().none_added_co2_mg_l, co2_k_mg_l)
    asked = ~np.isin(tank, tank[:known])
    asked[:known] = True
    total, count = (np.bincount(tank, each, tanks) for each in (slope * asked, asked))
    return total / np.maximum(count, 1.0)


def _traits(
    book: Book, on: date, tank: IntArray, species: IntArray, priors: SpeciesPriors
) -> AreaTraits:
    areas, held = book.areas, book.bounds_on(on)
    planted = planted_days(areas)
    return AreaTraits(
        tank=tank,
        planted_day=planted,
        planted_cm=areas.number("planted_height_cm"),
        removed_day=day_numbers(areas.date("removed_on")),
        floor_cm=held.floor_cm,
        budget_cm=held.budget_cm,
        cut_cm=held.cut_cm,
        lowest_cut_cm=priors.lowest_cut_cm[species],
        pause_d=priors.pause_d[species],
        gram_per_cm=_gram_per_cm(areas.number("area_cm2"), species, priors),
        first=bounds_on(areas, book.bounds, np.arange(len(areas)), planted),
    )


def _gram_per_cm(area_cm2: FloatArray, species: IntArray, priors: SpeciesPriors) -> FloatArray:
    """Drained mass [g] of a centimetre of height, or of a point of cover, of each area (A,)."""
    density = priors.density_g_l[species]
    by_cover = density * area_cm2 / 100.0 / 100.0  # g per dm2 at full cover
    return np.where(priors.measure_is_cover[species], by_cover, density * area_cm2 / 1000.0)


def _pooling(
    book: Book,
    tank: IntArray,
    species: IntArray,
    priors: SpeciesPriors,
    unknown_spread: FloatArray,
    habits: Habits,
    spreads: Spreads,
) -> Pooling:
    """Priors of rates and ceilings. Water caps every plant's height, not only the tall ones'."""
    water_cm = book.tanks.number("water_depth_cm")[tank]
    capped = np.where(
        priors.reaches_surface[species], water_cm, np.minimum(priors.ceiling_cm[species], water_cm)
    )
    is_cover = priors.measure_is_cover[species]
    ceiling_cm = np.where(is_cover, COVER_CEILING, capped)
    spread = np.where(is_cover, COVER_CEILING_SPREAD, priors.ceiling_spread[species])
    return Pooling(
        tank=tank,
        species=species,
        offset=np.log(priors.rate_per_day[species]),
        log_ceiling=np.log(ceiling_cm),
        ceiling_precision=1.0 / spread**2,
        weighed=np.zeros((2, tank.size)),
        log_habit=habits.log_cm,
        habit_precision=1.0 / habits.log_spread**2,
        ceiling_learnt=np.zeros(tank.size, dtype=bool),
        near_ceiling=np.zeros(tank.size, dtype=bool),
        highest_cm=np.zeros((2, tank.size)),
        highest_sd_cm=np.zeros((2, tank.size)),
        bend_doubt=BEND_DOUBT,
        **_precisions(spreads, unknown_spread, priors),
    )
