"""All that a client's page says of one tank, as numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from growthcast.arrays import FloatArray, IntArray, median, rows_of
from growthcast.book.book import Book
from growthcast.book.checks.rounds import closed_times
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import growth_a_week
from growthcast.forecast.report import AreaForecast, as_date, forecast_growth
from growthcast.growth.quick import quick_quantiles
from growthcast.log.visits import read_log
from growthcast.nouns import dataclass
from growthcast.service.advice import OptionAdvice, TankAdvice
from growthcast.service.effort.hours import LEVELS, fixed_minutes
from growthcast.service.effort.learn import learn_timing
from growthcast.service.recommend import option_of, recommend
from growthcast.service.rounds.windows import open_days, working_dates
from growthcast.service.urgency import last_visit_on, tanks_due
from growthcast.service.visit.standing import Standing, only_areas, standing_areas

WEEKS_SHOWN = 8
AREAS_BESIDE = 3
"""Areas drawn after the limiting one: a row of pictures on paper."""
REVIEWED_AFTER = 3
"""Visits after which a rhythm is gone over with the client (common practice, no source)."""
SOON_D = 60
"""Days after it is due within which a visit is sought a working day."""


@dataclass(frozen=True, slots=True)
class Course:
    """One area over the days ahead.

    ``day`` (T,) counts days from that of the fit, the day of a visit twice: before the cut and
    after it. ``height_cm`` is (3, T) at ``LEVELS`` of ``Range`` [cm, or % cover].
    """

    day: FloatArray
    height_cm: FloatArray
    visit_d: tuple[int, ...]


@finite_answer
def course(
    standing: Standing,
    area: int,
    until_d: int,
    visit_d: Sequence[int] = (),
    every_d: int = 0,
    cut_cm: float = math.nan,
) -> Course:
    """Foresee one area over the days ahead when visits cut it.

    Parameters
    ----------
    standing : Standing
        How the areas of its tank stand today.
    area : int
        Its place among them.
    until_d : int
        Last day foreseen [d from today].
    visit_d : sequence of int
        Days of the visits [d from today], rising, at most ``until_d``.
    every_d : int
        Days from one visit to the next [d].
    cut_cm : float
        Height each visit aims at [cm, or % cover], with the scatter of a hand; what stands lower is
        left.

    Returns
    -------
    Course
        A point a day. Until the first visit the area goes on from where it stands; from then on it
        gains between two visits what the rhythm is judged by (``interval_options``), so that a
        picture tells what the figures beside it tell. The stage rises evenly, a rest being in its
        growth.
    """
    one = only_areas(standing, np.arange(standing.stages.shape[0]) == area)
    living, stages, began = one.living, one.stages, 0
    days, heights = [], []
    first_d = visit_d[0] if visit_d else until_d
    a_day = (one.later(first_d).stages - stages) / np.float32(max(first_d, 1))
    for end in (*visit_d, until_d):
        ahead = np.arange(end - began + 1, dtype=np.float32)
        at = living.height_at(stages + ahead[:, None] * a_day)
        heights.append(quick_quantiles(at, LEVELS))
        days.append(began + ahead)
        stages, began = stages + np.float32(end - began) * a_day, end
        if end != until_d:
            stages = np.minimum(stages, living.stage_after_cut(np.array([cut_cm])))
            a_day = living.growth_after_cut(every_d)[0] / np.float32(every_d)
    day = np.concatenate(days).astype(np.float64)
    return Course(day, np.concatenate(heights).T, tuple(visit_d))


@dataclass(frozen=True, slots=True)
class AreaFacts:
    """One area: what grows there, how fast, and its outlook.

    ``speed`` (3,) is its growth a week, as ``growth_a_week`` tells it.
    """

    label: str
    plant: str
    common_name: str
    unit: str
    caution: str
    speed: FloatArray
    forecast: AreaForecast


@dataclass(frozen=True, slots=True)
class TankFacts:
    """One tank: what is proposed, what stands beside it, its areas and the weeks ahead.

    Attributes
    ----------
    name, site : str
        What the client calls it, and where it stands; "" where blank.
    fixed_min : float
        Minutes of a visit at the tank itself, before any trimming [min].
    rows : tuple of OptionAdvice
        The rhythms compared, the longest first. Those shorter than both the proposed one and what
        the plants allow are cut as that one is, so that more visits never look worse.
    option : OptionAdvice or None
        The one of them that is proposed; the shortest where none holds; None without plants.
    plants_d : int or None
        The longest rhythm at which the plants alone hold [d].
    asked : bool
        The rhythm is wished, by its client or by the tank's own limit: the plants ask for another.
    reason : str
        What the tank's own limit is for, where the proposed rhythm is that limit.
    next_on, due_on : date or None
        The next visit, and the day it is due where that has passed.
    first_on : mapping of int to date
        The first visit at each rhythm compared, by its days.
    together : mapping of int to (float, float)
        Cost and hours a year of all the client's tanks at each rhythm of this one, by its days;
        empty where the page is of this tank alone.
    travel_min : float
        Minutes of travel counted in a visit [min].
    now_d : float
        Usual time between visits so far [d], 0 where fewer than three are logged.
    courses : tuple of (OptionAdvice or None, Course)
        Of the limiting area: until the next visit (None), at the proposed rhythm, at each longer.
    beside : tuple of (int, Course)
        Of the areas that come nearest to limiting the tank after it: their places, and how they go
        at the proposed rhythm.
    """

    tank_id: str
    name: str
    site: str
    on: date
    fixed_min: float
    advice: TankAdvice
    rows: tuple[OptionAdvice, ...] = ()
    option: OptionAdvice | None = None
    plants_d: int | None = None
    asked: bool = False
    reason: str = ""
    next_on: date | None = None
    due_on: date | None = None
    areas: tuple[AreaFacts, ...] = ()
    limiting: int = 0
    courses: tuple[tuple[OptionAdvice | None, Course], ...] = ()
    beside: tuple[tuple[int, Course], ...] = ()
    first_on: Mapping[int, date] = field(default_factory=dict)
    together: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    travel_min: float = 0.0
    now_d: float = 0.0

    @property
    def fits(self) -> bool:
        """Whether the plants hold at some listed rhythm."""
        return self.plants_d is not None

    @property
    def first_estimate(self) -> bool:
        """Whether nothing that grows here was ever measured here."""
        return not any(area.forecast.basis == "log" for area in self.areas)

    @property
    def longer(self) -> OptionAdvice | None:
        """The next longer rhythm, whatever the tank's own limit."""
        place = next((n for n, row in enumerate(self.rows) if row is self.option), 0)
        return self.rows[place - 1] if place else None

    def takes(self, row: OptionAdvice) -> tuple[float, float]:
        """Return cost and hours a year of a rhythm, with the client's other tanks if told."""
        return self.together.get(row.interval_d, (row.year.cost, row.year.hours))

    @property
    def review_on(self) -> date | None:
        """When the rhythm is gone over with the client: after the third visit."""
        if self.next_on is None or self.option is None:
            return None
        return self.next_on + timedelta(days=(REVIEWED_AFTER - 1) * self.option.interval_d)


@finite_answer
def gather_tank(
    book: Book,
    fit: GrowthFit,
    tank: int,
    every_d: int | None = None,
    planned: Sequence[date] = (),
) -> TankFacts:
    """Gather what a page says of one tank.

    Parameters
    ----------
    book : Book
        The book.
    fit : GrowthFit
        Its fit.
    tank : int
        Place of the tank in the book.
    every_d : int, optional
        Days between visits that are asked for instead of the recommended ones [d].
    planned : sequence of date
        Planned visits to it, rising.

    Returns
    -------
    TankFacts
        Without rhythms, areas and weeks ahead where nothing is planted or no plant there holds.
    """
    place = np.array([tank])
    [advice] = recommend(book, fit, place, full=True)
    on = as_date(fit.design.on_day)
    name, site = (str(book.tanks.text(column)[tank]) for column in ("name", "site"))
    fixed_min = float(fixed_minutes(book, learn_timing(book, fit))[tank])
    facts = TankFacts(advice.tank_id, name, site, on, fixed_min, advice)
    if not advice.options or advice.nothing_holds:
        return facts
    facts = replace(facts, **_rhythms(book, fit, tank, advice, every_d))
    option = facts.option
    assert option is not None
    every = [  # an interval asked for need not be listed
        replace(advice, recommended_interval_d=row.interval_d, options=facts.rows)
        for row in facts.rows
    ]
    dues = tanks_due(book, fit, every, np.full(len(every), tank))
    visits = {
        row.interval_d: _next_visit(book, fit, tank, due.due_on)
        for row, due in zip(facts.rows, dues, strict=True)
        if due.due_on is not None  # always: it has plants that hold
    }
    due_on, next_on = visits[option.interval_d]
    next_on = next((day for day in planned if day >= on), next_on)
    standing = standing_areas(fit, place)
    forecasts = forecast_growth(fit, (on,), book.practice.horizon_d, place)
    areas = _areas(fit, standing.living.area, option, forecasts)
    facts = replace(
        facts,
        due_on=due_on if every_d is None else None,
        next_on=next_on,
        first_on={days: first for days, (_, first) in visits.items()}
        | {option.interval_d: next_on},
        areas=areas,
        limiting=_limiting(advice, areas),
        travel_min=float(book.of_tanks("travel_min")[tank]),
        now_d=_usual_gap_d(book, tank),
    )
    return replace(facts, **_courses(facts, option, standing))


def _rhythms(
    book: Book, fit: GrowthFit, tank: int, advice: TankAdvice, every_d: int | None
) -> dict[str, Any]:
    """The rhythms a page compares, and which of them is proposed."""
    by_days = {option.interval_d: option for option in advice.options}
    plants_d = max((days for days, option in by_days.items() if option.feasible), default=None)
    chosen_d = every_d or advice.recommended_interval_d or min(by_days)
    if chosen_d not in by_days:
        by_days[chosen_d], _ = option_of(book, fit, tank, chosen_d)
    model_d = max(chosen_d, plants_d or 0)
    cut_cm = np.array([area.cut_cm for area in by_days[model_d].areas])
    days = sorted(by_days)
    first = max(days.index(chosen_d) - 1, 0)
    first = min(first, days.index(plants_d or chosen_d))
    last = days.index(model_d) + (1 if model_d > chosen_d else 2)
    rows = []
    for each in reversed(days[first : last + 1]):
        row = by_days[each]
        if each < model_d:
            looks, _ = option_of(book, fit, tank, each, cut_cm)
            mine = {name: getattr(row, name) for name in ("minutes_per_visit", "minutes_range")}
            row = replace(looks, year=row.year, **mine)
        rows.append(row)
    limited = advice.own_limit and chosen_d == advice.longest_interval_d
    return {
        "reason": str(book.tanks.text("longest_interval_reason")[tank]) if limited else "",
        "rows": tuple(rows),
        "option": next(row for row in rows if row.interval_d == chosen_d),
        "plants_d": plants_d,
        "asked": plants_d is not None and chosen_d != plants_d,
    }


def _usual_gap_d(book: Book, tank: int) -> float:
    """The middle of the times between a tank's visits so far [d], 0 where there are too few."""
    tanks = book.areas.places("tank_id", book.tanks.text("tank_id"))
    whose, gap_d = read_log(book).visits.gaps(tanks)
    mine = gap_d[whose == tank]
    return float(median(mine)) if mine.size > 1 else 0.0


def _next_visit(book: Book, fit: GrowthFit, tank: int, due_on: date) -> tuple[date | None, date]:
    """The day the next visit is due where that has passed, and a working day for it."""
    on, tank_id = as_date(fit.design.on_day), str(book.tanks.text("tank_id")[tank])
    logged = (book.trims.text("tank_id") == tank_id).any()
    tomorrow = not logged or last_visit_on(book, fit, tank) == on  # a first visit is agreed before
    start = on + timedelta(days=int(tomorrow))
    days = working_dates(book.practice, start, max((due_on - start).days, 0) + SOON_D)
    weekday = str(book.tanks.text("visit_weekday")[tank])
    shut = closed_times(book).get(tank_id, ())
    days = open_days(days, shut, weekday) or open_days(days, shut, "") or days
    in_time = [day for day in days if day <= due_on]
    return due_on if due_on < on else None, in_time[-1] if in_time else days[0]


def _courses(facts: TankFacts, option: OptionAdvice, standing: Standing) -> dict[str, Any]:
    """The limiting area until the next visit, at the proposed rhythm and at each longer one.

    Beside it the next areas to outgrow the tank, at the proposed rhythm.
    """
    until = 7 * WEEKS_SHOWN
    first = {days: (day - facts.on).days for days, day in facts.first_on.items()}

    def at(one: OptionAdvice, area: int) -> Course:
        days = one.interval_d
        visits = range(first[days], until, days)
        return course(standing, area, until, visits, days, one.areas[area].cut_cm)

    made: list[tuple[OptionAdvice | None, Course]] = []
    if soon := first[option.interval_d]:
        made.append((None, course(standing, facts.limiting, soon)))
    rows = [row for row in reversed(facts.rows) if row.interval_d >= option.interval_d]
    made += [(row, at(row, facts.limiting)) for row in rows]
    order = sorted(range(len(option.areas)), key=lambda n: option.areas[n].chance_within)
    order.remove(facts.limiting)
    beside = tuple((n, at(option, n)) for n in order[:AREAS_BESIDE])
    return {"courses": tuple(made), "beside": beside}


def _limiting(advice: TankAdvice, areas: tuple[AreaFacts, ...]) -> int:
    """Place of the area that limits the tank; where none does, of the first to be too tall."""
    ids = [area.forecast.area_id for area in areas]
    if advice.limited_by in ids:
        return ids.index(advice.limited_by)
    ahead = [area.forecast.passes_budget_on for area in areas]
    return min(range(len(ids)), key=lambda n: [day or date.max for day in ahead[n][1::-1]])


def _areas(
    fit: GrowthFit, places: IntArray, option: OptionAdvice, forecasts: list[AreaForecast]
) -> tuple[AreaFacts, ...]:
    priors, species = fit.design.priors, fit.design.species[places]
    by_id = {forecast.area_id: forecast for forecast in forecasts}
    scientific = priors.scientific_name[species]
    columns = {
        "label": [area.label for area in option.areas],
        "plant": np.where(scientific == "", priors.species_id[species], scientific),
        "common_name": priors.common_name[species],
        "unit": [area.unit for area in option.areas],
        "caution": priors.caution[species],
        "speed": [*growth_a_week(fit, places)],
        "forecast": [by_id[area.area_id] for area in option.areas],
    }
    return tuple(AreaFacts(**row) for row in rows_of(columns))
