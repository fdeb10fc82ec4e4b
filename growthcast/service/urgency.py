"""Which tank needs a visit first: when it is due, its risk day by day."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Literal

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, day_numbers, distinct
from growthcast.book.book import Book
from growthcast.book.checks.rounds import closed_times, open_before, open_from
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import AREAS_AT_ONCE, in_chunks, outlook
from growthcast.forecast.report import as_date
from growthcast.nouns import dataclass
from growthcast.service.advice import TankAdvice
from growthcast.service.living import LivingAreas, blocks_of_tanks
from growthcast.service.visit.standing import standing_areas

Idle = Literal["", "cleared", "empty", "none holds"]
DueBy = Literal["", "rhythm", "chance", "limit"]
PROBABLY = 0.5
"""From this chance on an area is more likely over than not."""
GRID_D = (0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 17, 21, 25, 28, 35, 42, 56, 84, 126, 182)
"""Days on which chances are worked out where not every day matters; between them they are drawn
straight."""


@dataclass(frozen=True, slots=True)
class Chances:
    """Chances of a tank on each day (L,), counted from some day or from a visit.

    Attributes
    ----------
    all_within : array (L,)
        Chance that every area stands inside its height [0-1].
    over : array (A, L)
        Chance of each area of standing over it [0-1].
    """

    all_within: FloatArray
    over: FloatArray

    def lost(self) -> FloatArray:
        """Area-days over (L,) expected before a visit on each day [d]."""
        a_day = self.over.sum(axis=0)
        return np.concatenate([[0.0], np.cumsum(a_day)[:-1]])


def nothing_over(days: int) -> Chances:
    """Return the chances of a tank in which nothing grows.

    Parameters
    ----------
    days : int
        Days after the first one [d].

    Returns
    -------
    Chances
        On each of ``days + 1`` days, without any area.
    """
    return Chances(np.ones(days + 1), np.zeros((0, days + 1)))


def grid_days(until_d: int, every_d: int = 0) -> list[int]:
    """List the days to work chances out on.

    Parameters
    ----------
    until_d : int
        The last of them [d].
    every_d : int
        Up to which each day counts; beyond it those of ``GRID_D`` do [d].

    Returns
    -------
    list of int
        Days, from 0 on, ascending [d].
    """
    return sorted({*range(every_d + 1), *(day for day in GRID_D if day < until_d), until_d})


def chances_of_tanks(
    living: LivingAreas, days: list[int], within: Iterable[BoolArray]
) -> dict[int, Chances]:
    """Work out chances on every day from what stands inside on some.

    Parameters
    ----------
    living : LivingAreas
        The areas of a block of tanks.
    days : list of int
        Some days, the first of them 0, ascending [d].
    within : iterable of bool array (A, D)
        Whether areas stand inside in each draw on each of them.

    Returns
    -------
    dict of int to Chances
        By the places of the tanks in the book, on every day up to the last of ``days``. What was
        over once may have been over since.
    """
    each = [(living.all_hold(one), 1.0 - one.mean(axis=1)) for one in within]
    all_within, over = (np.array(one).T for one in zip(*each, strict=True))
    all_within = np.minimum.accumulate(all_within, axis=1)
    over = np.maximum.accumulate(over, axis=1)
    daily = np.arange(days[-1] + 1)
    return {
        tank: Chances(
            all_within=np.interp(daily, days, all_within[run]),
            over=np.stack([np.interp(daily, days, row) for row in over[living.run == run]]),
        )
        for run, tank in enumerate(living.tank.tolist())
    }


@dataclass(frozen=True, slots=True)
class TankDue:
    """When the next visit of a tank is due, and its risk until then; days count from the fit's.

    Attributes
    ----------
    interval_d : int
        Its rhythm: the recommended interval, the shortest listed where none is recommended [d].
    limit_d : int or None
        The last day that the tank's own limit allows, where it has one [d].
    idle : str
        Why its plants set no rhythm: its last visit "cleared" it, it is "empty", or "none holds",
        that is, none of them is likely to; "" where they do.
    due_d : int or None
        The last day on which the visit is in time [d]; None: no visit is planned.
    due_by : str
        What that is by (see ``first_due``), "" where no visit is planned.
    due_on : date or None
        A day by then on which the tank can be visited, else the first after it.
    uncut : Chances
        Its chances from the day of the fit on if nothing is cut; nothing is ever over where nothing
        is planted.
    """

    interval_d: int
    limit_d: int | None
    idle: Idle
    due_d: int | None
    due_by: DueBy
    due_on: date | None
    uncut: Chances


def first_due(
    within: FloatArray,
    confidence: float,
    left: float,
    interval_d: int,
    last_d: int,
    limit_d: int | None = None,
) -> tuple[int, DueBy]:
    """Say when the next visit of a tank is due.

    Parameters
    ----------
    within : array (T,)
        Chance that all areas stand inside on each day, from day 0 on, when nothing is cut [0-1].
    confidence : float
        Wanted chance [0-1].
    left : float
        Chance that the last visit left all areas inside [0-1].
    interval_d : int
        Days from visit to visit [d].
    last_d : int
        Day of the last visit, at most 0 [d].
    limit_d : int, optional
        Last day that the tank's own limit allows [d].

    Returns
    -------
    tuple of (int, str)
        The last day on which it is in time, after the last visit, and by what: by its "rhythm", the
        interval after the last visit; by its "chance", where that falls below the wanted one before
        (on day 0 at the earliest: of days before it the chance tells nothing); or by its own
        "limit". Nobody leaves an area over its height knowingly: what counts is the chance since,
        given that all were left inside, so that a tank which is not known well is not overdue the
        day after a visit. Nor does the chance ask for a visit before half of the interval, unless
        some area is then more likely over than not.

    Examples
    --------
    Two days after a visit, at a rhythm of 14 days; left inside with 80 %, and 60 % in a week:

    >>> first_due(np.linspace(0.8, 0.6, 8), 0.9, 0.82, 14, -2)
    (5, 'chance')
    >>> first_due(np.linspace(0.8, 0.1, 8), 0.9, 0.82, 14, -2)
    (3, 'chance')
    >>> first_due(np.linspace(0.8, 0.79, 8), 0.9, 0.82, 14, -2)
    (12, 'rhythm')
    """
    fallen, probably = (
        int(np.append(np.flatnonzero(within < share * left), within.size)[0]) - 1
        for share in (confidence, PROBABLY)
    )
    fallen = min(max(fallen, last_d + (interval_d + 1) // 2), probably)
    ways: list[tuple[int, DueBy]] = [(last_d + interval_d, "rhythm")]
    if fallen < within.size - 1:
        ways.append((fallen, "chance"))
    if limit_d is not None:
        ways.append((limit_d, "limit"))
    first_d, by = min(ways, key=lambda way: way[0])
    return max(first_d, last_d + 1, 0 if by == "chance" else first_d), by


@finite_answer
def tanks_due(
    book: Book, fit: GrowthFit, advice: list[TankAdvice], tanks: IntArray, until_d: int = 0
) -> list[TankDue]:
    """Return when tanks are due, as every command says it.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    advice : list of TankAdvice
        The recommendation of each of the tanks.
    tanks : int array (R,)
        Places of the tanks in the book, in rising order; one may be asked for at several rhythms.
    until_d : int
        Days after the fit for which the risk is wanted at least [d].

    Returns
    -------
    list of TankDue
        In the order of ``tanks``. Where no visit is known the day of the fit stands for the last:
        the tank was tended before, and nothing is told of it. A tank in which nothing grows
        (nothing is planted, or nothing is likely to hold) is planned by its own limit alone, if it
        has one; a tank that its last visit cleared is not planned.

    Notes
    -----
    Chances are worked out on every day on which a visit can be due, that is up to the longest
    rhythm after the last visit, so that no due day hangs on how far ahead was asked.
    """
    on_day, on, closed = fit.design.on_day, as_date(fit.design.on_day), closed_times(book)
    known, own = last_visits(book, fit), book.tanks.number("longest_interval_d")
    last = np.where(np.isnan(known), on_day, known)
    left, idle = _left_inside(fit, last), _idle(fit, advice, tanks, known)
    every_d = [
        one.longest_interval_d if why or one.chosen is None else one.chosen.interval_d
        for one, why in zip(advice, idle, strict=True)
    ]
    rhythms_d = [days for days, why in zip(every_d, idle, strict=True) if not why]
    uncut = chances_uncut(fit, distinct(tanks), max(rhythms_d, default=0), until_d)
    found = []
    for k, one, why, interval_d in zip(tanks.tolist(), advice, idle, every_d, strict=True):
        last_d = int(last[k] - on_day)
        limit_d = None if np.isnan(own[k]) else last_d + int(own[k])
        due: tuple[int | None, DueBy] = None, ""
        if not why:
            within = uncut[k].all_within
            due = first_due(within, one.confidence, left[k], interval_d, last_d, limit_d)
        elif limit_d is not None and why != "cleared":
            due = limit_d, "limit"
        day = None if due[0] is None else on + timedelta(days=due[0])
        if day is not None and day >= on:
            times = closed.get(one.tank_id, ())
            day = open_before(times, day, on) or open_from(times, day)
        found.append(TankDue(interval_d, limit_d, why, *due, day, uncut[k]))
    return found


def _idle(
    fit: GrowthFit, advice: list[TankAdvice], tanks: IntArray, last_visit: FloatArray
) -> list[Idle]:
    """Say why the plants of tanks set no rhythm, "" where they do."""
    design = fit.design
    removed = np.full(last_visit.size, np.nan)
    np.fmax.at(removed, design.tank, np.minimum(design.traits.removed_day, design.on_day))
    found: list[Idle] = []
    for one, cleared in zip(advice, (removed >= last_visit)[tanks].tolist(), strict=True):
        why: Idle = "none holds" if one.options else "cleared" if cleared else "empty"
        found.append("" if one.options and not one.nothing_holds else why)
    return found


@finite_answer
def chances_uncut(
    fit: GrowthFit, tanks: IntArray, every_d: int, until_d: int = 0
) -> dict[int, Chances]:
    """Work out the chances of tanks when nothing more is cut.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tanks : int array (R,)
        Places of the tanks in the book, in rising order.
    every_d : int
        Days after that of the fit up to which every day is worked out [d].
    until_d : int
        Days up to which some days are, the others drawn straight between them [d].

    Returns
    -------
    dict of int to Chances
        By the places of the tanks, from the day of the fit to the later of both.

    Notes
    -----
    Counted over joint draws of heights and growth, so that what a tank's areas share counts as
    shared. A chance over many days is not summed up: each day stands for itself.
    """
    days = grid_days(max(every_d, until_d), every_d)
    found = dict.fromkeys(tanks.tolist(), nothing_over(days[-1]))
    for block in blocks_of_tanks(fit, tanks):
        standing = standing_areas(fit, block)
        within = (then.within() for then in standing.each_later(days))
        found |= chances_of_tanks(standing.living, days, within)
    return found


def last_visits(book: Book, fit: GrowthFit) -> FloatArray:
    """Return the day of every tank's last visit.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.

    Returns
    -------
    array (K,)
        Day numbers [d] of the last day in the log, or of the last one not long ago on which
        something was planted; ``nan`` where neither is known.
    """
    design = fit.design
    last = np.full(design.tank_id.size, np.nan)
    tank, days = book.trims.places("tank_id", design.tank_id), book.trims.date("date")
    np.fmax.at(last, tank[tank >= 0], day_numbers(days)[tank >= 0])
    lately = design.traits.planted_lately(design.on_day)
    np.fmax.at(last, design.tank[lately], design.traits.planted_day[lately])
    return last


@finite_answer
def last_visit_on(book: Book, fit: GrowthFit, tank: int) -> date | None:
    """Return the day of a tank's last visit.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tank : int
        Place of the tank in the book.

    Returns
    -------
    date or None
        As ``last_visits`` has it.
    """
    day = last_visits(book, fit)[tank]
    return None if np.isnan(day) else as_date(day)


def _left_inside(fit: GrowthFit, last_day: FloatArray) -> FloatArray:
    """Chance that the last visit left all areas of a tank inside, (K,).

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    last_day : array (K,)
        Day number of every tank's last visit [d].

    Returns
    -------
    array (K,)
        The product over the areas [0-1], which shares nothing between them; 1, as if it were sure,
        where some area was probably left over its height: then nothing excuses it.
    """
    design = fit.design
    areas = np.flatnonzero(design.stays)
    left, worst = np.ones(last_day.size), np.ones(last_day.size)
    if areas.size:
        tank = design.tank[areas]
        budget = design.traits.budget_cm[areas][:, None]
        parts = [
            outlook(fit, areas[some], last_day[tank[some]][:, None]).chance_below(budget[some])
            for some in in_chunks(areas.size, AREAS_AT_ONCE)
        ]
        inside = np.concatenate(parts)[:, 0]
        np.multiply.at(left, tank, inside)
        np.minimum.at(worst, tank, inside)
    return np.where(worst >= PROBABLY, left, 1.0)


def place_of(client: str, site: str, tank_id: str) -> tuple[str, ...]:
    """Return the place to which one journey leads, shared by all tanks of a client and site.

    Parameters
    ----------
    client, site : str
        Whose the tank is and where it stands, "" where that is not known.
    tank_id : str
        The tank, of which nothing else may be known.

    Returns
    -------
    tuple of str
        The same for tanks of the same place.
    """
    return (client, site) if client or site else (client, site, tank_id)


def shared_travel(places: Sequence[tuple[object, ...]], travel_min: Sequence[float]) -> list[float]:
    """Count the journey to a place once, at the first of its tanks, as long as the longest of them.

    Parameters
    ----------
    places : sequence of tuple
        Where the tanks of some visits stand (:func:`place_of`), with the day where there are more.
    travel_min : sequence of float
        What each would take alone [min].

    Returns
    -------
    list of float
        Minutes counted at each [min].

    Examples
    --------
    >>> shared_travel([("A", "Hall"), ("B", ""), ("A", "Hall")], [15.0, 10.0, 20.0])
    [20.0, 10.0, 0.0]
    """
    longest: dict[tuple[object, ...], float] = {}
    for place, minutes in zip(places, travel_min, strict=True):
        longest[place] = max(longest.get(place, 0.0), minutes)
    return [longest.pop(place, 0.0) for place in places]


def due_on_day(book: Book, dues: list[TankDue], day: date) -> list[int]:
    """Return the tanks that are due by a day.

    Parameters
    ----------
    book : Book
        The book.
    dues : list of TankDue
        When each of its tanks is due, in its order.
    day : date
        The day.

    Returns
    -------
    list of int
        Their places in the book in the order of travel, which is that of ``plan_rounds``: client
        by client, site by site.
    """
    columns = ("client", "site", "tank_id")
    whose = list(zip(*(book.tanks.text(name).tolist() for name in columns), strict=True))
    due = [k for k, one in enumerate(dues) if one.due_on is not None and one.due_on <= day]
    return sorted(due, key=whose.__getitem__)
