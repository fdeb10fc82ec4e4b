"""Which tank needs a visit first: when it is due, its risk day by day."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Literal

import numpy as np

from growthcast.arrays import FloatArray, IntArray, day_numbers, distinct
from growthcast.book.book import Book
from growthcast.book.checks.rounds import closed_times, open_before, open_from
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import AREAS_AT_ONCE, in_chunks, outlook
from growthcast.forecast.report import as_date
from growthcast.nouns import dataclass
from growthcast.service.advice import TankAdvice
from growthcast.service.living import blocks_of_tanks
from growthcast.service.visit.standing import standing_areas

Idle = Literal["", "cleared", "empty", "none holds"]
PROBABLY = 0.5
"""From this chance on an area is more likely over than not."""


@dataclass(frozen=True, slots=True)
class Due:
    """The last day on which a tank's next visit is in time, in days after some day, and by what.

    By its *rhythm*: the recommended interval after the last visit (the shortest listed where none
    is recommended). By its *chance*: it falls below the wanted one before that. By its own *limit*:
    ``longest_interval_d`` after the last visit.
    """

    day_d: int
    by: Literal["rhythm", "chance", "limit"]


@dataclass(frozen=True, slots=True)
class Rhythm:
    """What the next visit of a tank is measured by.

    ``last_d`` and ``limit_d`` are the day of the last visit and the last day that the tank's own
    limit allows (None where it has none), in days after some day; ``left`` is the chance that the
    last visit left all areas inside. Where no visit is known the day of the fit stands for it: the
    tank was tended before, and nothing is told of it. ``idle`` says why its plants set no rhythm:
    its last visit "cleared" it, it is "empty", or "none holds", that is, none of them is likely to;
    "" where they do. A tank that is not ``planned`` is not due.
    """

    interval_d: int
    last_d: int
    limit_d: int | None
    left: float
    idle: Idle = ""
    planned: bool = True

    def due(self, within: FloatArray, confidence: float) -> Due | None:
        """Say when the next visit of the tank is due.

        Parameters
        ----------
        within : array (T,)
            Chance that all areas stand inside on each day, from day 0 on, when nothing is cut
            [0-1].
        confidence : float
            Wanted chance [0-1].

        Returns
        -------
        Due or None
            The earliest of the three, after the last visit; None where no visit is planned. Nobody
            leaves an area over its height knowingly: what counts is the chance since, given that
            all were left inside, so that a tank which is not known well is not overdue the day
            after a visit. Nor does the chance ask for a visit before half of the interval, unless
            some area is then more likely over than not.

        Examples
        --------
        Two days after a visit, at a rhythm of 14 days; left inside with 80 %, and 60 % in a week:

        >>> rhythm = Rhythm(14, -2, None, 0.82)
        >>> rhythm.due(np.linspace(0.8, 0.6, 8), 0.9)
        Due(day_d=5, by='chance')
        >>> rhythm.due(np.linspace(0.8, 0.1, 8), 0.9)
        Due(day_d=3, by='chance')
        >>> rhythm.due(np.linspace(0.8, 0.79, 8), 0.9)
        Due(day_d=12, by='rhythm')
        """
        limit = [] if self.limit_d is None else [Due(self.limit_d, "limit")]
        if self.idle:
            return limit[0] if self.planned else None
        fallen, probably = (
            int(np.append(np.flatnonzero(within < share * self.left), within.size)[0]) - 1
            for share in (confidence, PROBABLY)
        )
        fallen = min(max(fallen, self.last_d + (self.interval_d + 1) // 2), probably)
        chance = [Due(fallen, "chance")] if fallen < within.size - 1 else []
        ways = (Due(self.last_d + self.interval_d, "rhythm"), *chance, *limit)
        first = min(ways, key=lambda due: due.day_d)
        return Due(max(first.day_d, self.last_d + 1), first.by)


@finite_answer
def rhythms(
    book: Book,
    fit: GrowthFit,
    advice: list[TankAdvice],
    from_day: float,
    tanks: IntArray | None = None,
) -> list[Rhythm]:
    """Return the rhythm of every tank.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    advice : list of TankAdvice
        The recommendation of every tank that is asked for.
    from_day : float
        Day number from which days count [d].
    tanks : int array (R,), optional
        Places of these tanks in the book; all of them when not given.

    Returns
    -------
    list of Rhythm
        In the order of ``advice``. A tank in which nothing grows (nothing is planted, or nothing is
        likely to hold) is planned by its own limit alone, if it has one; a tank that its last visit
        cleared is not planned.
    """
    design = fit.design
    known, own = last_visits(book, fit), book.tanks.number("longest_interval_d")
    last = np.where(np.isnan(known), design.on_day, known)
    left = _left_inside(fit, last)
    removed = np.full(last.size, np.nan)
    np.fmax.at(removed, design.tank, np.minimum(design.traits.removed_day, design.on_day))
    cleared = removed >= known
    found = []
    asked = range(len(advice)) if tanks is None else tanks.tolist()
    for k, one in zip(asked, advice, strict=True):
        last_d = int(last[k] - from_day)
        limit_d = None if np.isnan(own[k]) else last_d + int(own[k])
        why: Idle = "none holds" if one.options else "cleared" if cleared[k] else "empty"
        idle: Idle = "" if one.options and not one.nothing_holds else why
        chosen = None if idle else one.chosen
        found.append(
            Rhythm(
                interval_d=chosen.interval_d if chosen else one.longest_interval_d,
                last_d=last_d,
                limit_d=limit_d,
                left=float(left[k]),
                idle=idle,
                planned=not idle or (limit_d is not None and idle != "cleared"),
            )
        )
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


@finite_answer
def chance_some_area_over(fit: GrowthFit, tanks: IntArray, ahead_d: IntArray) -> FloatArray:
    """Chance that some area of a tank stands above its budget when nothing more is cut.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tanks : int array (R,)
        Places of the tanks in the book, in rising order.
    ahead_d : int array (T,)
        Days after the day of the fit [d], 0 or more.

    Returns
    -------
    array (R, T)
        Chance [0-1]; 0 for a tank in which nothing is planted.

    Notes
    -----
    Counted over joint draws of heights and growth, so that what a tank's areas share counts as
    shared. A chance over many days is not summed up: each day stands for itself.
    """
    chances = np.zeros((tanks.size, ahead_d.size))
    for block in blocks_of_tanks(fit, tanks):
        standing = standing_areas(fit, block)
        found = np.searchsorted(tanks, standing.living.tank)
        for t, then in enumerate(standing.each_later(ahead_d.tolist())):
            chances[found, t] = 1.0 - then.chance
    return chances


@dataclass(frozen=True, slots=True)
class TankDue:
    """When one tank is due, and its risk until then.

    ``due_on`` is a day on which the tank can be visited (None: no visit is planned), ``due_by``
    tells by what it is due (see ``Due``). ``over`` (T,) is the chance that some area stands over
    its budget on each day from that of the fit on, if nothing is cut.
    """

    due_on: date | None
    due_by: str
    over: FloatArray


@finite_answer
def tanks_due(
    book: Book, fit: GrowthFit, advice: list[TankAdvice], tanks: IntArray, days: int = 0
) -> list[TankDue]:
    """Return when tanks are due, as the overview and a logged visit say it.

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
    days : int
        Days for which the risk is wanted at least [d]; the practice's horizon if that is longer.

    Returns
    -------
    list of TankDue
        In the order of ``tanks``. What a chance says is due on the day of the fit at the earliest.
    """
    on, closed = as_date(fit.design.on_day), closed_times(book)
    ahead_d = np.arange(max(book.practice.horizon_d, days) + 1)
    each = distinct(tanks)
    chances = chance_some_area_over(fit, each, ahead_d)[np.searchsorted(each, tanks)]
    found = []
    for one, rhythm, over in zip(
        advice, rhythms(book, fit, advice, fit.design.on_day, tanks), chances, strict=True
    ):
        due = rhythm.due(1.0 - over, one.confidence)
        if due is None:
            found.append(TankDue(None, "", over))
            continue
        day = on + timedelta(days=max(due.day_d, 0) if due.by == "chance" else due.day_d)
        times = closed.get(one.tank_id, ())
        if day >= on:
            day = open_before(times, day, on) or open_from(times, day)
        found.append(TankDue(day, due.by, over))
    return found


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
