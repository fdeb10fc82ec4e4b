"""How every tank of a practice stands on the day, the most urgent first."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any, Literal

import numpy as np
from threadpoolctl import threadpool_limits

from growthcast.book.book import Book
from growthcast.book.checks.rounds import ClosedTime, closed_times, public_holidays, wrong_region
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date
from growthcast.nouns import dataclass
from growthcast.plain import plain
from growthcast.service.advice import OptionAdvice, TankAdvice
from growthcast.service.recommend import recommend
from growthcast.service.urgency import tanks_due
from growthcast.service.watch.judge import course_of_tank, recent_growth
from growthcast.service.watch.readings import IndexPoint, ready_cases

SOON_D = 7
"""Days ahead for which the risk is told."""
State = Literal["overdue", "tight", "fine", "unplanned"]
STATES: tuple[State, ...] = ("overdue", "tight", "fine", "unplanned")


@dataclass(frozen=True, slots=True)
class TankStanding:
    """One tank on the day: its advice, the option worked to, when it is due, its risk and growth.

    ``state`` is "overdue" (due before the day), "tight" (due within a week of it, or with a risk
    above the one agreed), else "fine"; "unplanned" where no visit is planned. ``due_on`` is None
    there, ``due_by`` tells by what it is due.
    ``risk`` is the chance that some area stands over its budget a week from the day; ``growth`` the
    growth against usual, as ``watch`` tells it (None: too few visits).
    """

    advice: TankAdvice
    place: int
    site: str
    state: State
    option: OptionAdvice | None
    due_on: date | None
    due_by: str
    risk: float
    growth: IndexPoint | None


@finite_answer
def tank_standings(book: Book, fit: GrowthFit, *, briefly: bool = False) -> list[TankStanding]:
    """Return how every tank stands, the most urgent first.

    A tank is due as in ``growthcast rounds`` (see ``tanks_due``).

    Parameters
    ----------
    book : Book
        The book.
    fit : GrowthFit
        Its fit.
    briefly : bool
        Whether their advice is told as ``recommend`` tells it briefly.

    Returns
    -------
    list of TankStanding
        One a tank, by its state, the day it is due, then by risk.
    """
    tanks = np.arange(len(book.tanks))
    on_day = fit.design.on_day
    with threadpool_limits(limits=1, user_api="blas"):
        _, ready, _ = ready_cases(book, on_day)
        growth = {k: recent_growth(one, course_of_tank(one), on_day) for k, one in ready.items()}
    every, standings = recommend(book, fit, briefly=briefly), []
    on = as_date(fit.design.on_day)
    dues = tanks_due(book, fit, every, tanks, SOON_D)
    for place, (advice, due) in enumerate(zip(every, dues, strict=True)):
        risk, soon = float(1.0 - due.uncut.all_within[SOON_D]), on + timedelta(days=SOON_D)
        state: State = "unplanned"
        if due.due_on is not None:
            tight = due.due_on <= soon or risk > 1.0 - advice.confidence
            state = "overdue" if due.due_on < on else "tight" if tight else "fine"
        standings.append(
            TankStanding(
                advice=advice,
                place=place,
                site=str(book.tanks.text("site")[place]),
                state=state,
                option=advice.chosen,
                due_on=due.due_on,
                due_by=due.due_by,
                risk=risk,
                growth=growth.get(place),
            )
        )
    return sorted(
        standings,
        key=lambda s: (STATES.index(s.state), s.due_on or date.max, -s.risk, s.advice.tank_id),
    )


@finite_answer
def overview_figures(standings: Sequence[TankStanding]) -> list[dict[str, Any]]:
    """Return the figures behind the practice's page.

    Parameters
    ----------
    standings : sequence of TankStanding
        As ``tank_standings`` returns them.

    Returns
    -------
    list of dict
        A row a tank, as JSON has it.
    """
    return [
        {
            "tank_id": one.advice.tank_id,
            "client": one.advice.client,
            "site": one.site,
            "state": one.state,
            "due_on": plain(one.due_on),
            "due_by": one.due_by,
            "recommended_interval_d": one.advice.recommended_interval_d,
            "limited_by": one.advice.limited_by,
            "chance_over_in_7_d": one.risk,
            "hours_per_year": None if one.option is None else one.option.year.hours,
            "cost_per_year": None if one.option is None else one.option.year.cost,
            "growth_share": None if one.growth is None else one.growth.growth,
        }
        for one in standings
    ]


@dataclass(frozen=True, slots=True)
class DayOff:
    """Days on which somewhere nobody can be visited.

    ``kind`` is "off" (nobody works), "holiday" (a public holiday on which nobody works, ``name``
    says which), "worked" (one that the practice has not said to keep free) or "closed" (``tanks``
    are).
    """

    first: date
    last: date
    kind: Literal["off", "holiday", "worked", "closed"]
    name: str = ""
    tanks: tuple[str, ...] = ()


@finite_answer
def days_off(book: Book, on: date, days: int, language: str) -> list[DayOff]:
    """Return the days without visits that lie ahead.

    Parameters
    ----------
    book : Book
        The book.
    on : date
        First day.
    days : int
        Days [d].
    language : str
        Language in which holidays are named, English where they have no name in it.

    Returns
    -------
    list of DayOff
        By their first day.
    """
    end, practice = on + timedelta(days=days), book.practice
    region = practice.holidays or practice.locale.rpartition("-")[2]
    kind: Literal["holiday", "worked"] = "holiday" if practice.holidays else "worked"
    named = {} if wrong_region(region) else public_holidays(region, on, end, language)
    found = [DayOff(day, day, kind, name) for day, name in named.items()]
    found += [DayOff(day, day, "off") for day in practice.days_off if on <= day <= end]
    closed: dict[ClosedTime, list[str]] = {}
    for tank, times in closed_times(book).items():
        for time in times:
            if time.first <= end and time.last >= on:
                closed.setdefault(time, []).append(tank)
    for time, tanks in closed.items():
        found.append(DayOff(time.first, time.last, "closed", tanks=tuple(tanks)))
    return sorted(found, key=lambda off: (off.first, off.last))
