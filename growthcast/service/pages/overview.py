"""How every tank of a practice stands on the day, the most urgent first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from growthcast.book.book import Book
from growthcast.book.checks.rounds import ClosedTime, closed_times, open_before, open_from
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date
from growthcast.service.advice import OptionAdvice, TankAdvice
from growthcast.service.recommend import recommend
from growthcast.service.urgency import Due, chance_some_area_over, rhythms
from growthcast.service.watch.report import IndexPoint
from growthcast.service.watch.watch import watch_growth

__all__ = ["SOON_D", "TankStanding", "tank_standings"]

SOON_D = 7
"""Days ahead for which the risk is told."""


@dataclass(frozen=True, slots=True)
class TankStanding:
    """One tank on the day: its advice, the option worked to, when it is due, its risk and growth.

    ``due_on`` is None where no visit is planned, ``due_by`` tells by what it is due.
    ``risk`` is the chance that some area stands over its budget a week from the day; ``growth`` the
    growth against usual, as ``watch`` tells it (None: too few visits).
    """

    advice: TankAdvice
    place: int
    option: OptionAdvice | None
    due_on: date | None
    due_by: str
    risk: float
    growth: IndexPoint | None


@finite_answer
def tank_standings(book: Book, fit: GrowthFit) -> list[TankStanding]:
    """Return how every tank stands, the most urgent first.

    A tank is due as in ``growthcast rounds`` (see ``Due``), on a day on which it can be visited.

    Parameters
    ----------
    book : Book
        The book.
    fit : GrowthFit
        Its fit.

    Returns
    -------
    list of TankStanding
        One a tank, by the day it is due, then by risk.
    """
    on = as_date(fit.design.on_day)
    tanks = np.arange(len(book.tanks))
    horizon = book.practice.horizon_d
    chances = chance_some_area_over(fit, tanks, np.arange(max(horizon, SOON_D) + 1))
    growth = {one.tank_id: one.recent for one in watch_growth(book, on, tanks).tanks}
    every, standings, closed = recommend(book, fit), [], closed_times(book)
    for place, (advice, rhythm) in enumerate(
        zip(every, rhythms(book, fit, every, fit.design.on_day), strict=True)
    ):
        days = advice.recommended_interval_d
        options = sorted(advice.options, key=lambda o: o.interval_d)
        chosen = next((o for o in options if o.interval_d == days), options[0] if options else None)
        due = rhythm.due(1.0 - chances[place], advice.confidence)
        standings.append(
            TankStanding(
                advice=advice,
                place=place,
                option=chosen,
                due_on=None if due is None else _due_on(due, on, closed.get(advice.tank_id, ())),
                due_by="" if due is None else due.by,
                risk=float(chances[place, SOON_D]),
                growth=growth[advice.tank_id],
            )
        )
    return sorted(
        standings,
        key=lambda s: (s.due_on or date.max, -s.risk, s.advice.tank_id),
    )


def _due_on(due: Due, on: date, closed: tuple[ClosedTime, ...]) -> date:
    """Return the day by which to come; what a chance says is due today at the earliest."""
    day = on + timedelta(days=max(due.day_d, 0) if due.by == "chance" else due.day_d)
    return day if day < on else open_before(closed, day, on) or open_from(closed, day)
