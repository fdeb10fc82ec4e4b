"""The sheet for today's visit: what to cut, so that it lasts until the next one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from datetime import date, timedelta
from typing import Any

import numpy as np

from growthcast.arrays import FloatArray, IntArray, day_numbers, median, or_none, rows_of
from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.design import day_number
from growthcast.fit.result import GrowthFit
from growthcast.frames import Framed
from growthcast.nouns import dataclass
from growthcast.plain import HIDDEN, in_json
from growthcast.service.advice import KnownArea
from growthcast.service.effort.hours import Hands, Range, Saving, fixed_minutes, hands_of
from growthcast.service.effort.learn import Timing, learn_timing
from growthcast.service.interval import IntervalOptions, interval_options
from growthcast.service.living import FOLLOWED_DRAWS
from growthcast.service.recommend import known_of
from growthcast.service.urgency import place_of, shared_travel
from growthcast.service.visit.standing import (
    Lasting,
    Standing,
    cut_to_last,
    days_that_hold,
    saved_by_leaving,
    standing_areas,
    visits_lasted,
)

WORTH_CUTTING_SHARE = 0.02
"""An area is left alone when less than this share of it would come off."""
WORTH_CUTTING_CM = 0.1
"""What takes less off [cm, or points of cover] takes no time."""
ORDER_OF_FORMS = ("floating", "stem", "creeping", "rosette", "epiphyte", "carpet", "moss")
"""From the surface down, mosses last: their fragments settle wherever water still moves (common
practice, no source)."""


@dataclass(frozen=True, slots=True)
class AreaCut(KnownArea):
    """What today's visit does to one area.

    ``cut_cm`` is the height to leave, to be cut only where the area stands above it; ``action`` is
    "cut", "trim what stands above" (most of it stands lower) or "leave". ``lowest_safe_cut_cm`` is
    the lowest cut the plant survives, ``least_cut_cm`` that or the floor. ``needed_cut_cm`` is the
    cut that would hold the wanted chance whatever the look (None: not even the lowest safe one
    does), ``days_below_floor`` [d] how long the area would look bare after it. ``order`` counts
    from 1. ``chance_over_now`` is the chance that the area stands above its budget today.
    ``caution`` is the species table's,
    ``settled`` whether its fit converged, ``logged_today`` whether the log has a row of today.
    ``since_planted_d`` [d] counts from the last planting, also of its own tops; growth is full
    after ``settles_d`` [d]; ``start`` tells how the plants came, "" where nobody wrote it.
    ``usual_cut_cm`` is the usual cut of areas.csv (None: none is given), ``usual_lasts_visits`` how
    many visits it lasts (see ``visits_lasted``).
    """

    order: int
    species_id: str
    scientific_name: str
    common_name: str
    action: str
    cut_cm: float
    floor_cm: float
    budget_cm: float
    lowest_safe_cut_cm: float
    least_cut_cm: float
    needed_cut_cm: float | None
    days_below_floor: float
    height_now_cm: Range
    height_next_cm: Range
    removed_cm: float
    removed_share: float
    minutes: float
    chance_over_now: float
    chance_within: float
    cut_practice: str
    caution: str = field(metadata=HIDDEN)
    settled: bool = field(metadata=HIDDEN)
    logged_today: bool = field(metadata=HIDDEN)
    since_planted_d: float = field(metadata=HIDDEN)
    settles_d: float = field(metadata=HIDDEN)
    start: str = field(metadata=HIDDEN)
    planted_on: date | None = None
    usual_cut_cm: float | None = None
    usual_lasts_visits: int = 0


@dataclass(frozen=True, slots=True)
class SteadyVisits:
    """What regular visits would give instead, as far apart as this visit and the next one are.

    ``chance_all_within`` is what ``interval`` says of that interval; ``height_share`` tells how
    high the areas stand today, as a share of what such a visit finds (the middle of both).
    """

    chance_all_within: float
    height_share: float


AT_RHYTHM = in_json("chance_all_within_at_rhythm", into=lambda of: of and of.chance_all_within)


@dataclass(frozen=True, slots=True, repr=False)
class CutSheet(Framed):
    """One visit to one tank, the areas in the order of work; complete enough to print.

    ``chance_all_within`` is the chance of this visit, from how the areas stand on its day;
    ``rhythm`` is what regular visits would give (None: nothing is planted). ``feasible`` tells
    whether the cuts last until ``next_on`` with the wanted chance; ``holds_until`` is the latest
    next visit for which they (cut as low as still looks right) do, None where not even tomorrow
    would. ``minutes`` [min] is everything: travel, the fixed part and the middle of
    ``trimming_min``, of which each area has its part. ``leaving_saves`` is what usual cuts that
    last several visits save in a year where areas are left meanwhile (see ``saved_by_leaving``).
    """

    tank_id: str
    client: str
    site: str
    practice: str
    on: date
    next_on: date
    interval_d: int
    confidence: float
    feasible: bool
    chance_all_within: float
    rhythm: SteadyVisits | None = field(metadata=AT_RHYTHM)
    holds_until: date | None
    areas: tuple[AreaCut, ...]
    travel_min: float
    fixed_min: float
    trimming_min: Range
    minutes: float
    leaving_saves: Saving | None = None
    name: str = field(default="", metadata=HIDDEN)

    @property
    def whole_minutes(self) -> tuple[int, int, int]:
        """Whole minutes on the road, at the tank before trimming, and trimming."""
        travel, fixed, trimming = whole_parts(
            (self.travel_min, self.fixed_min, self.trimming_min.p50)
        )
        return travel, fixed, trimming

    @property
    def area_minutes(self) -> list[int]:
        """Whole minutes of trimming at each area."""
        return whole_parts([area.minutes for area in self.areas])


@finite_answer
def cut_sheet(
    book: Book, fit: GrowthFit, tank: int, next_on: date, timing: Timing | None = None
) -> CutSheet:
    """Work out today's visit to one tank.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit; today is the day it was made for.
    tank : int
        Place of the tank in the book.
    next_on : date
        Day of the next visit, after today.
    timing : Timing, optional
        The minutes of trimming, if at hand.

    Returns
    -------
    CutSheet
        Every area's cut is the highest that holds the wanted chance for the whole tank, areas that
        stand lower being left as they are. Where none does, areas that fall short are cut as low as
        still looks right. A tank without a planted area gets a sheet without areas.

    Raises
    ------
    ValueError
        If ``next_on`` is not after the day of the fit.
    """
    design = fit.design
    interval_d = int(day_number(next_on) - design.on_day)
    if interval_d < 1:
        raise ValueError("the next visit must lie after the day of the fit")
    standing = standing_areas(fit, np.array([tank]))
    living, wanted = standing.living, book.of_tanks("confidence")[[tank]]
    confidence = float(wanted[0])
    areas: tuple[AreaCut, ...] = ()
    trimming, rhythm, chance, holds_d, saves = Range(0, 0, 0), None, 1.0, 0, None
    timing = timing or learn_timing(book, fit)
    if living.area.size:
        lasting = cut_to_last(standing, interval_d, wanted)
        chance = float(lasting.chance[0])
        option = interval_options(living, interval_d, wanted)
        rhythm = _rhythm(standing, option)
        hands = hands_of(living, design, timing)
        usual = design.traits.cut_cm[living.area]
        lasted = visits_lasted(standing, interval_d, usual, confidence)
        areas, trimming = _areas(book, fit, hands, standing, lasting, usual, lasted)
        price = book.practice.labour_rate_per_h
        saves = saved_by_leaving(design, timing, option, usual, lasted, price)
        holds_d = interval_d
        if chance < confidence:
            least = standing.cut(living.least_cut_cm)
            holds_d = days_that_hold(least, interval_d - 1, confidence)
    on = next_on - timedelta(days=interval_d)
    holds_until = on + timedelta(days=holds_d) if holds_d else None
    travel = float(book.of_tanks("travel_min")[tank])
    fixed = float(fixed_minutes(book, timing)[tank])
    return CutSheet(
        tank_id=str(book.tanks.text("tank_id")[tank]),
        client=str(book.tanks.text("client")[tank]),
        site=str(book.tanks.text("site")[tank]),
        practice=book.practice.name,
        on=on,
        next_on=next_on,
        interval_d=interval_d,
        confidence=confidence,
        feasible=chance >= confidence,
        chance_all_within=chance,
        rhythm=rhythm,
        holds_until=holds_until,
        areas=areas,
        travel_min=travel,
        fixed_min=fixed,
        trimming_min=trimming,
        minutes=travel + fixed + trimming.p50,
        leaving_saves=saves,
        name=str(book.tanks.text("name")[tank]),
    )


def _rhythm(standing: Standing, option: IntervalOptions) -> SteadyVisits:
    """What regular visits so many days apart would give instead."""
    regular, today = median(option.end_cm), median(standing.height_cm)
    return SteadyVisits(
        chance_all_within=float(option.chance_all_within[0]),
        height_share=float(np.exp(np.mean(np.log(today / regular)))),
    )


def _areas(
    book: Book,
    fit: GrowthFit,
    hands: Hands,
    standing: Standing,
    lasting: Lasting,
    usual_cm: FloatArray,
    lasted: IntArray,
) -> tuple[tuple[AreaCut, ...], Range]:
    """What is done to each area, in the order of work, and the minutes of trimming."""
    living, design = standing.living, fit.design
    place, priors = living.area, design.priors
    now_cm = standing.height_cm
    removed = np.maximum(now_cm - lasting.began.height_cm, 0.0)
    worth = np.where(removed > WORTH_CUTTING_CM, removed, 0.0)[:, :FOLLOWED_DRAWS]
    each = hands.minutes(worth.astype(np.float32))
    [trimming] = Range.of_rows(each.sum(axis=0, dtype=np.float64)[None])
    minutes = trimming.p50 * each.mean(axis=1) / max(float(each.mean(axis=1).sum()), 1e-9)
    usual, off = median(now_cm), median(removed)
    sometimes = (removed > WORTH_CUTTING_SHARE * now_cm).mean(axis=1)
    logged = book.trims.text("area_id")[day_numbers(book.trims.date("date")) == design.on_day]
    actions = np.where(sometimes > 0.1, "trim what stands above", "leave")
    form = [ORDER_OF_FORMS.index(name) for name in priors.form[design.species[place]].tolist()]
    ordered = np.lexsort((-usual, np.array(form)))  # by form, the tallest first
    columns = {
        "order": np.argsort(ordered) + 1,
        "action": np.where(sometimes >= 0.5, "cut", actions),
        "cut_cm": lasting.cut_cm,
        "floor_cm": living.floor_cm,
        "budget_cm": living.budget_cm,
        "lowest_safe_cut_cm": living.safe_cut_cm,
        "least_cut_cm": living.least_cut_cm,
        "needed_cut_cm": or_none(lasting.needed_cm),
        "days_below_floor": lasting.days_below_floor,
        "height_now_cm": Range.of_rows(now_cm),
        "height_next_cm": Range.of_rows(lasting.ended.height_cm),
        "removed_cm": off,
        "removed_share": off / usual,
        "minutes": minutes,
        "chance_over_now": 1.0 - standing.within().mean(axis=1),
        "chance_within": lasting.ended.within().mean(axis=1),
        "logged_today": [name in logged for name in design.area_id[place]],
        "usual_cut_cm": or_none(usual_cm),
        "usual_lasts_visits": lasted,
    }
    areas = [AreaCut(**row) for row in rows_of(_known_of(book, fit, place) | columns)]
    return tuple(areas[i] for i in ordered.tolist()), trimming


def _known_of(book: Book, fit: GrowthFit, areas: IntArray) -> dict[str, Any]:
    """Return what book, species table and fit say of areas, as columns of ``AreaCut``."""
    design, clock, on_day = fit.design, fit.design.clock, fit.design.on_day
    priors, species = design.priors, design.species[areas]
    ids = book.species.text("species_id").tolist()
    rows = [ids.index(name) for name in priors.species_id[species].tolist()]
    since, settles = clock.settling(areas, np.full(areas.size, on_day))
    replanted = (clock.replanted_day[areas] <= on_day).any(axis=1)
    return {
        **known_of(book, fit, areas),
        "species_id": priors.species_id[species],
        "scientific_name": priors.scientific_name[species],
        "common_name": priors.common_name[species],
        "cut_practice": book.species.text("cut_practice")[rows],
        "caution": priors.caution[species],
        "settled": fit.converged[areas],
        "since_planted_d": since,
        "settles_d": settles,
        "start": np.where(replanted, "tops", book.areas.text("start")[areas]),
        "planted_on": book.areas.date("planted_on").astype("datetime64[D]")[areas],
    }


@finite_answer
def minutes_of_day(sheets: Sequence[CutSheet]) -> float:
    """Add up the minutes of one day's visits, the journey to a place counted once.

    Parameters
    ----------
    sheets : sequence of CutSheet
        The visits of a day.

    Returns
    -------
    float
        Minutes [min]; tanks of one client and site share the longest of their journeys.
    """
    places = [place_of(sheet.client, sheet.site, sheet.tank_id) for sheet in sheets]
    travel = shared_travel(places, [sheet.travel_min for sheet in sheets])
    return sum(travel) + sum(sheet.minutes - sheet.travel_min for sheet in sheets)


def whole_parts(parts: Sequence[float]) -> list[int]:
    """Round parts to whole numbers that add up to their rounded sum.

    Parameters
    ----------
    parts : sequence of float
        Numbers of one unit [of any].

    Returns
    -------
    list of int
        Whole numbers in the same order, each off by less than 1.

    Examples
    --------
    >>> whole_parts((20.4, 45.4, 46.4))
    [20, 46, 46]
    """
    whole: list[int] = np.diff(np.round(np.cumsum(parts)), prepend=0.0).astype(np.int64).tolist()
    return whole
