"""When each tank is due, what a late visit loses, and the chances of a plan's visits.

Before the first visit a tank stands as the log left it; after a visit it is cut as its interval
asks. Both give the chance that an area is over its height on each later day; summed up over areas
and days that is what a late visit loses, in area-days over. A plan's visits are followed one by
one, each cut as its sheet says.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta

import numpy as np

from growthcast.arrays import distinct
from growthcast.book.book import Book, Practice, area_label
from growthcast.book.checks.rounds import ClosedTime, closed_on, closed_times, public_holidays
from growthcast.book.tables import WEEKDAYS
from growthcast.errors import UsageError
from growthcast.fit.result import GrowthFit
from growthcast.nouns import dataclass
from growthcast.service.advice import TankAdvice
from growthcast.service.effort.hours import fixed_minutes
from growthcast.service.effort.learn import learn_timing
from growthcast.service.interval import lasts_from
from growthcast.service.living import blocks_of_tanks, living_areas
from growthcast.service.urgency import (
    Chances,
    Idle,
    TankDue,
    chances_of_tanks,
    grid_days,
    nothing_over,
    tanks_due,
)
from growthcast.service.visit.standing import Standing, cut_to_last, only_areas, standing_areas


@dataclass(frozen=True, slots=True)
class TankWindow:
    """What is known of one tank's visits before they are planned.

    Days count from the first day of the plan. ``now`` are the chances if nothing is cut from the
    log's last day on, ``after`` those after a visit of the recommended interval. A tank that is not
    to be planned is due after the plan; ``idle`` says why, or that only its own limit counts.

    Attributes
    ----------
    due_d : int
        Last day of the first visit; below 0 when it is overdue.
    due_by : str
        Whether that is by its rhythm, its chance or its own limit.
    interval_d : int
        Days from visit to visit.
    limit_d : int or None
        Last day of the first visit by the tank's own limit, where it has one [d].
    longest_d : int or None
        Days between visits that the tank itself allows at most, plants aside [d].
    weekday : str
        The one on which it is to be visited, "" for any.
    closed : tuple of ClosedTime
        When nobody can be visited there.
    """

    tank_id: str
    client: str
    site: str
    confidence: float
    interval_d: int
    due_d: int
    due_by: str
    limit_d: int | None
    longest_d: int | None
    feasible: bool
    minutes: float
    travel_min: float
    weekday: str
    closed: tuple[ClosedTime, ...]
    visits_logged: int
    labels: tuple[str, ...]
    now: Chances
    after: Chances
    idle: Idle
    name: str = ""


def tank_windows(
    book: Book, fit: GrowthFit, advice: list[TankAdvice], from_day: float, days: int
) -> list[TankWindow]:
    """Work out for every tank when it is due and what coming late loses.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    advice : list of TankAdvice
        The recommendation of every tank of the book, in its order.
    from_day : float
        First day of the plan [day number], on or after the day of the fit.
    days : int
        Days of the plan [d].

    Returns
    -------
    list of TankWindow
        In the order of the book.
    """
    tanks, trims, design = book.tanks, book.trims, fit.design
    travel, fixed = book.of_tanks("travel_min"), fixed_minutes(book, learn_timing(book, fit))
    own = tanks.number("longest_interval_d")
    first_d, closed = int(from_day - design.on_day), closed_times(book)
    dues = tanks_due(book, fit, advice, np.arange(len(tanks)), first_d + days)
    after, ahead = _chances_after(fit, advice, dues, days), slice(first_d, first_d + days + 1)

    def window(tank: int, advice: TankAdvice, due: TankDue) -> TankWindow:
        here = np.flatnonzero(design.stays & (design.tank == tank)).tolist()
        limit_d = None if due.due_d is None else due.limit_d
        minutes = float(fixed[tank])
        if not due.idle:
            minutes = advice.option(due.interval_d).minutes_per_visit - float(travel[tank])
        logged = trims.date("date")[trims.text("tank_id") == advice.tank_id]
        return TankWindow(
            tank_id=advice.tank_id,
            client=advice.client,
            site=str(tanks.text("site")[tank]),
            name=str(tanks.text("name")[tank]),
            confidence=advice.confidence,
            interval_d=due.interval_d,
            due_d=days if due.due_d is None else due.due_d - first_d,
            due_by=due.due_by or "rhythm",
            limit_d=None if limit_d is None else limit_d - first_d,
            longest_d=None if limit_d is None else int(own[tank]),
            feasible=advice.recommended_interval_d is not None or bool(due.idle),
            minutes=minutes,
            travel_min=float(travel[tank]),
            weekday=str(tanks.text("visit_weekday")[tank]),
            closed=closed.get(advice.tank_id, ()),
            visits_logged=int(distinct(logged).size),
            labels=tuple(area_label(book.areas, area) for area in here),
            now=Chances(due.uncut.all_within[ahead], due.uncut.over[:, ahead]),
            after=after[tank],
            idle=due.idle,
        )

    return [window(k, *both) for k, both in enumerate(zip(advice, dues, strict=True))]


def _chances_after(
    fit: GrowthFit, advice: list[TankAdvice], dues: list[TankDue], days: int
) -> dict[int, Chances]:
    """Chances of every tank after a regular visit; only plants that set a rhythm are ever over."""
    grid, found = grid_days(days), dict.fromkeys(range(len(dues)), nothing_over(days))
    growing = np.array([k for k, due in enumerate(dues) if not due.idle], np.int64)
    for block in blocks_of_tanks(fit, growing):
        living = living_areas(fit, block)
        options = [advice[tank].option(dues[tank].interval_d) for tank in living.tank]
        cut = np.array([area.cut_cm for option in options for area in option.areas])
        # On the day of a visit nothing is over: it has just been cut.
        within = [np.ones(living.draws.hand.shape, np.bool_)]
        within += [lasts_from(living, cut, float(day)) for day in grid[1:]]
        found |= chances_of_tanks(living, grid, within)
    return found


def working_dates(practice: Practice, start: date, days: int) -> list[date]:
    """Return the dates of a plan on which someone works.

    Parameters
    ----------
    practice : Practice
        With its working days, days off and holidays.
    start : date
        First day of the plan.
    days : int
        Days of the plan [d].

    Returns
    -------
    list of date
        In their order, at least one.

    Raises
    ------
    UsageError
        Nobody works on any of them.
    """
    dates = [start + timedelta(days=n) for n in range(days)]
    after = [dates[-1] + timedelta(days=n) for n in range(1, 731)]
    off: set[date] = set(practice.days_off)
    if practice.holidays:
        off |= public_holidays(practice.holidays, start, after[-1]).keys()

    def works(day: date) -> bool:
        return WEEKDAYS[day.weekday()] in practice.working_days and day not in off

    found = [day for day in dates if works(day)]
    if not found:
        first = next((day for day in after if works(day)), None)
        hint = "" if first is None else f"; the first working day after it is {first}"
        raise UsageError(
            f"nobody works between {start} and {dates[-1]}: every day of it is under days_off or "
            f"holidays, or outside working_days in practice.toml{hint}"
        )
    return found


def open_days(dates: list[date], closed: tuple[ClosedTime, ...], weekday: str) -> list[date]:
    """Return the dates on which a tank can be visited.

    Parameters
    ----------
    dates : list of date
        Dates on which someone works.
    closed : tuple of ClosedTime
        When nobody can be visited there.
    weekday : str
        The one on which the tank is to be visited, "" for any.

    Returns
    -------
    list of date
        In their order; of any weekday where nobody works on its own. There may be none.
    """
    mine = [day for day in dates if WEEKDAYS[day.weekday()] == weekday] or dates
    return [day for day in mine if closed_on(closed, day) is None]


@dataclass(frozen=True, slots=True)
class Stop:
    """What a tank comes to by a visit, or by the end of the plan.

    ``over`` is the chance that some area stands over its budget then, ``over_when_due`` that on its
    due day, if it comes later. ``cuts`` are the heights [cm, or % cover] by area that last until
    the next visit in the plan, none at its last and at the end.
    """

    over: float
    over_when_due: float
    cuts: Mapping[str, float]


def follow_visits(
    fit: GrowthFit, windows: list[TankWindow], visits: list[list[int]], first_d: int, days: int
) -> list[list[Stop]]:
    """Follow every tank of a book through its visits, up to the end of the plan.

    Parameters
    ----------
    fit : GrowthFit
        The fit of the book.
    windows : list of TankWindow
        Every tank, in the book's order.
    visits : list of lists of int
        Days of the plan on which each is visited, ascending [d].
    first_d : int
        Days from the fit to the first day of the plan [d].
    days : int
        Days of the plan [d].

    Returns
    -------
    list of lists of Stop
        One a visit and one for the end of the plan, for each tank. Nothing is cut before the first
        visit; each cuts to last until the next (``cut_to_last``), the last to last an interval.
        Nothing is worked out for the end of the plan where no visit is late by then.
    """
    found = [[Stop(0.0, 0.0, {})] * (len(its) + 1) for its in visits]
    for block in blocks_of_tanks(fit, np.arange(len(windows))):
        standing = standing_areas(fit, block)
        for run, tank in enumerate(standing.living.tank.tolist()):
            alone = only_areas(standing, standing.living.run == run)
            names = fit.design.area_id[alone.living.area].tolist()
            found[tank] = _follow(alone, windows[tank], visits[tank], first_d, days, names)
    return found


def _follow(
    standing: Standing,
    window: TankWindow,
    visits: list[int],
    first_d: int,
    days: int,
    names: list[str],
) -> list[Stop]:
    found: list[Stop] = []
    due, confidence = max(window.due_d, 0), np.array([window.confidence])
    late = (visits[-1] + window.interval_d if visits else due) < days
    ends = [*visits, days] if late else visits
    arrived = standing.later(first_d + ends[0]) if ends else standing
    for day, following in zip(ends, [*ends, None][1:], strict=True):
        over, since = 1.0 - float(arrived.chance[0]), first_d - standing.after_d
        over_when_due = over if due >= day else 1.0 - float(standing.later(since + due).chance[0])
        cuts: dict[str, float] = {}
        if following is not None:
            due, planned = day + window.interval_d, following < days
            lasting = cut_to_last(arrived, (following if planned else due) - day, confidence)
            standing = lasting.began
            arrived = lasting.ended if planned else standing.later(days - day)
            cuts = dict(zip(names, lasting.cut_cm.tolist(), strict=True)) if planned else {}
        found.append(Stop(over, over_when_due, cuts))
    return found if late else [*found, Stop(0.0, 0.0, {})]
