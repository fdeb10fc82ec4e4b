"""The visit calendar of a practice: windows and hours in, visits with dates out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from itertools import zip_longest

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.book.book import Book
from growthcast.book.checks.rounds import ClosedTime, closed_on, closed_times
from growthcast.book.tables import WEEKDAYS
from growthcast.finite import finite_answer
from growthcast.fit.design import day_number
from growthcast.fit.result import GrowthFit
from growthcast.service.advice import TankAdvice
from growthcast.service.rounds.followed import Stop, follow_visits
from growthcast.service.rounds.paths import RoundsProblem
from growthcast.service.rounds.result import LateVisit, PlannedVisit, RoundsPlan
from growthcast.service.rounds.solve import solve_rounds
from growthcast.service.rounds.windows import (
    TankWindow,
    overdue,
    tank_windows,
    unfeasible,
    unlogged,
)
from growthcast.service.visit.open_days import holidays_met, working_dates
from growthcast.service.visit.words import and_list

__all__ = ["LONGEST_WEEKS", "plan_rounds", "steps_cost"]


WEEKDAY_NAMES = dict(
    zip(
        WEEKDAYS,
        ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"),
        strict=True,
    )
)
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
    days = 7 * weeks
    dates = working_dates(book.practice, start, days)
    windows = tank_windows(book, fit, advice, day_number(start), days)
    offsets = np.array([(day - start).days for day in dates])
    allowed, notes = _allowed(windows, dates, closed_times(book))
    capacity = 60.0 * book.practice.hours_per_day
    work, travel, more = _fitted_to_a_day(windows, capacity)
    site, names = _sites(windows)
    problem = RoundsProblem(
        cost=np.stack(
            [
                steps_cost(window, offsets, days, may)
                for window, may in zip(windows, allowed, strict=True)
            ]
        ),
        work_min=work,
        site=site,
        travel_min=np.array([travel[site == place].max() for place in range(len(names))]),
        capacity_min=np.full(offsets.size, capacity),
    )
    solved = solve_rounds(problem)
    visited = [offsets[its].tolist() for its in solved.visited]
    first_d = int(day_number(start) - fit.design.on_day)
    ways = follow_visits(fit, windows, visited, first_d, days)
    planned, late = _visits(windows, visited, ways, start, offsets, allowed)
    visits = _with_travel(planned, {w.tank_id: int(s) for w, s in zip(windows, site, strict=True)})
    return RoundsPlan(
        on=_date(fit.design.on_day),
        start=start,
        end=start + timedelta(days=days - 1),
        practice=book.practice.name,
        hours_per_day=book.practice.hours_per_day,
        visits=visits,
        late=late,
        notes=(
            *overdue(windows, start),
            *unlogged(windows, _date(fit.design.on_day)),
            *notes,
            *more,
            *(window.idle for window in windows if window.idle),
            *unfeasible(windows),
            *holidays_met(book.practice, dates),
        ),
        dates=tuple(dates),
        minutes_per_day=tuple(
            sum(visit.minutes + visit.travel_min for visit in visits if visit.on == day)
            for day in dates
        ),
        weighed_loss=solved.lost,
        weighed_loss_bound=max(solved.bound, 0.0),
    )


def _date(day: float) -> date:
    made: date = np.datetime64(int(day), "D").item()
    return made


def _allowed(
    windows: list[TankWindow], dates: list[date], closed: Mapping[str, tuple[ClosedTime, ...]]
) -> tuple[list[BoolArray], list[str]]:
    """Days (N,) on which each tank may be visited, and where a client's weekday cannot be kept."""
    weekday = np.array([WEEKDAYS[day.weekday()] for day in dates])
    allowed: list[BoolArray] = []
    notes: list[str] = []
    for window in windows:
        mine = np.ones(weekday.size, np.bool_) if not window.weekday else weekday == window.weekday
        if not mine.any():
            notes.append(
                f"{window.tank_id} is to be visited on a {WEEKDAY_NAMES[window.weekday]}, and none "
                "in this plan is a working day: it is planned on any working day instead"
            )
            mine = np.ones(weekday.size, np.bool_)
        elif window.weekday and window.interval_d < 7:
            notes.append(
                f"{window.tank_id} is due every {window.interval_d} days, and a visit every "
                f"{WEEKDAY_NAMES[window.weekday]} is one in 7 days at best: let it be visited on "
                "another day as well"
            )
        times = closed.get(window.tank_id, ())
        open_then = np.array([closed_on(times, day) is None for day in dates])
        if not open_then.all():
            met = [str(time) for time in times if time.first <= dates[-1] and time.last >= dates[0]]
            notes.append(f"{window.tank_id} is closed {and_list(met)} (closed.csv)")
        allowed.append(mine & open_then)
    return allowed, notes


def _fitted_to_a_day(
    windows: list[TankWindow], capacity_min: float
) -> tuple[FloatArray, FloatArray, list[str]]:
    """Minutes of work and travel of each tank, no visit longer than a day, and which ones were."""
    work = np.array([window.minutes for window in windows])
    travel = np.array([window.travel_min for window in windows])
    notes = [
        f"a visit to {window.tank_id} takes {window.minutes + window.travel_min:.0f} min with "
        f"travel, and a working day has {capacity_min:.0f} min: it is planned alone on its day; "
        "raise hours_per_day under [rounds] or share the work out over two days"
        for window in windows
        if window.minutes + window.travel_min > capacity_min
    ]
    travel = np.minimum(travel, capacity_min)
    return np.minimum(work, capacity_min - travel), travel, notes


def _sites(windows: list[TankWindow]) -> tuple[IntArray, list[tuple[str, ...]]]:
    """Place (K,) of each tank: tanks of one client and site share the journey."""
    keys: list[tuple[str, ...]] = [
        (w.client, w.site) if w.client or w.site else ("", "", w.tank_id) for w in windows
    ]
    names = list(dict.fromkeys(keys))
    return np.array([names.index(key) for key in keys]), names


def steps_cost(window: TankWindow, offsets: IntArray, days: int, allowed: BoolArray) -> FloatArray:
    """What each step of a tank's plan loses, (N + 1, N + 1), as ``RoundsProblem`` wants it.

    A visit by its due day loses nothing but the work given away by coming early; after it, the
    area-days over that are expected until the visit.
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
    reach = np.clip(gap, 0, days)
    between = np.maximum(after[reach] - after[min(span, days)], 0.0)
    between += LATE_PER_D * np.maximum(gap - span, 0)
    if window.longest_d is not None:
        between += LIMIT_PER_D * np.maximum(gap - window.longest_d, 0)
    between[:, :count] += EARLY_PER_H * hours * np.maximum(span - gap[:, :count], 0) / span
    between[:, :count][gap[:, :count] < (span + 1) // 2] = np.inf
    cost[1:] = between
    cost[np.tri(count + 1, count + 1, -1, dtype=np.bool_)] = np.inf
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
        last: int | None = None
        for number, (day, then) in enumerate(zip_longest(days, days[1:])):
            due = max(window.due_d, 0) if last is None else last + window.interval_d
            visit = PlannedVisit(
                on=start + timedelta(days=day),
                tank_id=window.tank_id,
                client=window.client,
                site=window.site,
                number=window.visits_logged + number + 1,
                minutes=window.minutes,
                travel_min=window.travel_min,
                due_on=start + timedelta(days=due),
                chance_over=way[number].over,
                next_on=None if then is None else start + timedelta(days=then),
                cuts=way[number].cuts,
                due_by=window.due_by if last is None or window.idle else "rhythm",
            )
            visits.append(visit)
            if day > due:
                late.append(_late(window, start, last, day, due, offsets[may], way[number], True))
            last = day
        due = max(window.due_d, 0) if last is None else last + window.interval_d
        end = window.now.all_within.size - 1
        if due < end:
            late.append(_late(window, start, last, end, due, offsets[may], way[-1], False))
    late.sort(key=lambda one: (-one.area_days_over, one.due_on, one.tank_id))
    visits.sort(key=lambda visit: (visit.on, visit.client, visit.site, visit.tank_id))
    return visits, tuple(late)


def _late(
    window: TankWindow,
    start: date,
    last: int | None,
    day: int,
    due: int,
    possible: IntArray,
    stop: Stop,
    planned: bool,
) -> LateVisit:
    """Say what a late visit loses; one that is not planned is late until the plan ends."""
    chances, began = (window.now, 0) if last is None else (window.after, last)
    lost = chances.lost()
    over = chances.over[:, day - began]
    worst = int(over.argmax()) if over.size else None
    least = 0 if last is None else last + (window.interval_d + 1) // 2
    return LateVisit(
        tank_id=window.tank_id,
        due_on=start + timedelta(days=due),
        on=start + timedelta(days=day) if planned else None,
        days_late=day - due,
        chance_over=stop.over,
        chance_over_when_due=stop.over_when_due,
        area=None if worst is None else window.labels[worst],
        area_days_over=float(max(lost[day - began] - lost[min(due - began, lost.size - 1)], 0.0)),
        for_want_of_hours=bool(((possible >= least) & (possible < day)).any()),
        past_own_limit=_past_limit(window, last, day),
        due_by=window.due_by if last is None or window.idle else "rhythm",
    )


def _past_limit(window: TankWindow, last: int | None, day: int) -> bool:
    if last is None:
        return window.limit_d is not None and day > window.limit_d
    return window.longest_d is not None and day - last > window.longest_d


def _with_travel(visits: list[PlannedVisit], site: dict[str, int]) -> tuple[PlannedVisit, ...]:
    """Count the travel to a place at its first visit of a day, at the longest of its tanks."""
    longest: dict[tuple[date, int], float] = {}
    for visit in visits:
        key = (visit.on, site[visit.tank_id])
        longest[key] = max(longest.get(key, 0.0), visit.travel_min)
    counted = [
        replace(visit, travel_min=longest.pop((visit.on, site[visit.tank_id]), 0.0))
        for visit in visits
    ]
    return tuple(counted)
