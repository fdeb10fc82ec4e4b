"""The visit calendar of a practice: windows and hours in, dated visits out, and what is late."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, replace
from datetime import date, timedelta
from typing import Any, ClassVar

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.book.book import Book, Practice
from growthcast.finite import finite_answer
from growthcast.fit.design import day_number
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date
from growthcast.frames import Framed
from growthcast.nouns import dataclass
from growthcast.plain import HIDDEN, in_json
from growthcast.service.advice import TankAdvice
from growthcast.service.rounds.solve import RoundsProblem, path_cost, solve_rounds
from growthcast.service.rounds.windows import (
    Stop,
    TankWindow,
    follow_visits,
    open_days,
    tank_windows,
    working_dates,
)
from growthcast.service.urgency import place_of, shared_travel


def _cuts(cuts: Mapping[str, float]) -> list[dict[str, str | float]]:
    return [{"area_id": area_id, "cut_cm": cut} for area_id, cut in cuts.items()]


@dataclass(frozen=True, slots=True)
class PlannedVisit:
    """One visit of one tank.

    ``number`` counts the tank's visits from the first in the log on, so that a visit keeps its
    number when the plan is made anew. ``minutes`` are those at the tank; ``travel_min`` is counted
    once a place and day, at the first of its tanks. ``due_on`` is the last day on which it is in
    time, ``due_by`` whether that is by the tank's rhythm, its chance or its own limit (see
    ``first_due``); ``chance_over`` the chance that some area is over on ``on``.
    ``next_on`` is the next visit in the plan (None: the last), ``cuts`` the heights [cm, or %
    cover] by area that last until then, as the sheet for the visit says.
    """

    on: date = field(metadata=in_json("date"))
    tank_id: str
    client: str
    site: str
    number: int = field(metadata=in_json("visit"))
    minutes: float
    travel_min: float
    due_on: date
    chance_over: float
    due_by: str = "rhythm"
    next_on: date | None = None
    cuts: Mapping[str, float] = field(default_factory=dict, metadata=in_json(into=_cuts, digits=2))
    name: str = field(default="", metadata=HIDDEN)

    json_with: ClassVar = ("days_late",)

    @property
    def days_late(self) -> int:
        """Days after the due day, 0 where it is kept."""
        return max((self.on - self.due_on).days, 0)


@dataclass(frozen=True, slots=True)
class LateVisit:
    """A visit after its due day, or one that finds no place in the plan (``on`` is None).

    ``days_late``, ``chance_over`` (that some area is over) and ``area_days_over`` (expected beyond
    the due day) reach to the visit, or to the end of the plan. ``area`` is the one most likely
    over. ``for_want_of_hours`` is false where no working day of the tank's lay before the visit;
    ``due_by`` as of a ``PlannedVisit``.
    """

    tank_id: str
    due_on: date
    on: date | None = field(metadata=in_json("date"))
    days_late: int
    chance_over: float
    chance_over_when_due: float
    area: str | None
    area_days_over: float
    for_want_of_hours: bool
    past_own_limit: bool
    due_by: str = "rhythm"


@dataclass(frozen=True, slots=True, repr=False)
class RoundsPlan(Framed):
    """A visit calendar for the whole practice.

    ``on`` is the day whose knowledge it rests on; ``tanks`` are what was known of each before,
    in the book's order; ``visits`` are by day; ``dates`` are the working days with their
    ``minutes_per_day``. ``weighed_loss`` is what was made least: expected area-days
    over beyond the due days, a little for every day late and for work given away by coming early.
    """

    on: date
    start: date = field(metadata=in_json("from"))
    end: date = field(metadata=in_json("to"))
    practice: Practice = field(metadata=HIDDEN)
    tanks: tuple[TankWindow, ...] = field(metadata=HIDDEN)
    visits: tuple[PlannedVisit, ...]
    late: tuple[LateVisit, ...]
    dates: tuple[date, ...] = field(metadata=HIDDEN)
    minutes_per_day: tuple[float, ...] = field(metadata=HIDDEN)
    weighed_loss: float

    json_with: ClassVar = ("hours_per_day", "days", "area_days_over")

    @property
    def hours_per_day(self) -> float:
        """Hours of visits and travel on a working day."""
        return self.practice.hours_per_day

    @property
    def days(self) -> list[dict[str, date | float]]:
        """The working days with their minutes."""
        both = zip(self.dates, self.minutes_per_day, strict=True)
        return [{"date": day, "minutes": minutes} for day, minutes in both]

    @property
    def area_days_over(self) -> float:
        """Area-days over expected because visits come after their due days [d]."""
        return sum((one.area_days_over for one in self.late), 0.0)


LONGEST_WEEKS = 26
EARLY_PER_H = 0.1
"""An hour of work given away by coming early weighs as much as so many area-days over (a choice of
ours, small against a day late)."""
LATE_PER_D = 0.02
"""What a day late weighs beyond the area-days over: a rhythm is kept where nothing grows."""
LIMIT_PER_D = 1.0
"""A day past a tank's own limit weighs as much as one area over its height for a day (a choice of
ours)."""


@finite_answer
def plan_rounds(
    book: Book, fit: GrowthFit, advice: list[TankAdvice], start: date, weeks: int
) -> RoundsPlan:
    """Plan the visits of all tanks so that least is lost within the hours there are.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit; ``start`` is no earlier than its day.
    advice : list of TankAdvice
        ``recommend(book, fit)``: the recommendation of every tank.
    start : date
        First day of the plan.
    weeks : int
        Weeks of the plan, 1 to 26.

    Returns
    -------
    RoundsPlan
        Visits by day and what they lose. Each visit falls on a working day on which its tank can be
        visited, later than the one before by no less than half of the tank's interval.

    Raises
    ------
    UsageError
        Where no day of the plan is a working day.
    """
    days, on_day = 7 * weeks, fit.design.on_day
    dates = working_dates(book.practice, start, days)
    windows = tank_windows(book, fit, advice, day_number(start), days)
    offsets = np.array([(day - start).days for day in dates])
    allowed = [_allowed(window, dates) for window in windows]
    capacity = 60.0 * book.practice.hours_per_day
    # A visit longer than a day is planned alone on its day.
    travel = np.minimum([window.travel_min for window in windows], capacity)
    site = _sites(windows)
    longest = np.zeros(int(site.max()) + 1)
    np.maximum.at(longest, site, travel)
    steps = [steps_cost(*each, offsets, days) for each in zip(windows, allowed, strict=True)]
    problem = RoundsProblem(
        cost=np.stack(steps),
        work_min=np.minimum([window.minutes for window in windows], capacity - travel),
        site=site,
        travel_min=longest,
        capacity_min=np.full(offsets.size, capacity),
    )
    solved = solve_rounds(problem)
    visited = [offsets[its].tolist() for its in solved]
    ways = follow_visits(fit, windows, visited, int(day_number(start) - on_day), days)
    planned, late = _visits(windows, visited, ways, start, offsets, allowed)
    visits = _with_travel(planned)
    return RoundsPlan(
        on=as_date(on_day),
        start=start,
        end=start + timedelta(days=days - 1),
        practice=book.practice,
        tanks=tuple(windows),
        visits=visits,
        late=late,
        dates=tuple(dates),
        minutes_per_day=tuple(
            sum(visit.minutes + visit.travel_min for visit in visits if visit.on == day)
            for day in dates
        ),
        weighed_loss=float(path_cost(problem.cost, solved).sum()),
    )


def _allowed(window: TankWindow, dates: list[date]) -> BoolArray:
    """Days (N,) on which a tank may be visited."""
    allowed = set(open_days(dates, window.closed, window.weekday))
    return np.array([day in allowed for day in dates])


def _sites(windows: list[TankWindow]) -> IntArray:
    """Place (K,) of each tank: tanks of one place share the journey."""
    places = [place_of(w.client, w.site, w.tank_id) for w in windows]
    names = list(dict.fromkeys(places))
    return np.array([names.index(place) for place in places])


def steps_cost(window: TankWindow, allowed: BoolArray, offsets: IntArray, days: int) -> FloatArray:
    """Weigh what each step of a tank's plan loses.

    Parameters
    ----------
    window : TankWindow
        When the tank is due, and its chances afterwards.
    allowed : bool array (N,)
        Working days on which it may be visited.
    offsets : int array (N,)
        Working days, counted from the first day of the plan [d].
    days : int
        Days of the plan [d].

    Returns
    -------
    array (N + 1, N + 1)
        As ``RoundsProblem`` has it [1]. A visit by its due day loses nothing but the work given
        away by coming early; after it, the area-days over that are expected until the visit.
    """
    count, span = offsets.size, window.interval_d
    until = np.append(offsets, days)
    hours = window.minutes / 60.0
    due = max(window.due_d, 0)
    now, after = window.now.lost(), window.after.lost()
    cost = np.full((count + 1, count + 1), np.inf)
    cost[0] = np.maximum(now[until] - now[min(due, days)], 0.0)
    cost[0] += LATE_PER_D * np.maximum(until - due, 0)
    if window.limit_d is not None:
        cost[0] += LIMIT_PER_D * np.maximum(until - max(window.limit_d, 0), 0)
    cost[0, :count] += EARLY_PER_H * hours * np.maximum(due - offsets, 0) / span
    gap = until[None, :] - offsets[:, None]
    between = np.maximum(after[np.maximum(gap, 0)] - after[min(span, days)], 0.0)
    between += LATE_PER_D * np.maximum(gap - span, 0)
    if window.longest_d is not None:
        between += LIMIT_PER_D * np.maximum(gap - window.longest_d, 0)
    between[:, :count] += EARLY_PER_H * hours * np.maximum(span - gap[:, :count], 0) / span
    between[:, :count][gap[:, :count] < (span + 1) // 2] = np.inf
    cost[1:] = between
    cost[:, :count][:, ~allowed] = np.inf
    return cost


def _visits(
    windows: list[TankWindow],
    visited: list[list[int]],
    ways: list[list[Stop]],
    start: date,
    offsets: IntArray,
    allowed: list[BoolArray],
) -> tuple[list[PlannedVisit], tuple[LateVisit, ...]]:
    """Visits by day, and those that come late or not at all."""
    visits: list[PlannedVisit] = []
    late: list[LateVisit] = []
    for window, may, days, way in zip(windows, allowed, visited, ways, strict=True):
        dates = [start + timedelta(days=day) for day in days]
        last: int | None = None
        for number, day in enumerate((*days, window.now.all_within.size - 1)):
            due = max(window.due_d, 0) if last is None else last + window.interval_d
            on, next_on = (dates[n] if n < len(dates) else None for n in (number, number + 1))
            known: dict[str, Any] = {
                "tank_id": window.tank_id,
                "due_on": start + timedelta(days=due),
                "chance_over": way[number].over,
                "due_by": window.due_by if last is None or window.idle else "rhythm",
            }
            if on is not None:
                visit = PlannedVisit(
                    on=on,
                    client=window.client,
                    site=window.site,
                    name=window.name,
                    number=window.visits_logged + number + 1,
                    minutes=window.minutes,
                    travel_min=window.travel_min,
                    next_on=next_on,
                    cuts=way[number].cuts,
                    **known,
                )
                visits.append(visit)
            if day > due:
                known |= _lost_by(window, last, day, due, offsets[may])
                known |= {"days_late": day - due, "chance_over_when_due": way[number].over_when_due}
                late.append(LateVisit(on=on, **known))
            last = day
    late.sort(key=lambda one: (-one.area_days_over, one.due_on, one.tank_id))
    visits.sort(key=lambda visit: (visit.on, visit.client, visit.site, visit.tank_id))
    return visits, tuple(late)


def _lost_by(
    window: TankWindow, last: int | None, day: int, due: int, possible: IntArray
) -> dict[str, Any]:
    """Say what a late visit loses, and why it is late; one not planned is late until the end."""
    chances, began, least, limit = window.now, 0, 0, window.limit_d
    if last is not None:
        chances, began = window.after, last
        least = last + (window.interval_d + 1) // 2
        limit = None if window.longest_d is None else last + window.longest_d
    lost, over = chances.lost(), chances.over[:, day - began]
    return {
        "area": window.labels[int(over.argmax())] if over.size else None,
        "area_days_over": float(lost[day - began] - lost[due - began]),
        "for_want_of_hours": bool(((possible >= least) & (possible < day)).any()),
        "past_own_limit": limit is not None and day > limit,
    }


def _with_travel(visits: list[PlannedVisit]) -> tuple[PlannedVisit, ...]:
    """Count the travel to a place at its first visit of a day."""
    places = [(visit.on, *place_of(visit.client, visit.site, visit.tank_id)) for visit in visits]
    travel = shared_travel(places, [visit.travel_min for visit in visits])
    both = zip(visits, travel, strict=True)
    return tuple(replace(visit, travel_min=minutes) for visit, minutes in both)
