"""How every tank of a practice stands on the day, the most urgent first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date
from growthcast.service.advice import OptionAdvice, TankAdvice
from growthcast.service.recommend import recommend
from growthcast.service.urgency import tanks_due
from growthcast.service.watch.report import IndexPoint
from growthcast.service.watch.watch import watch_growth

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

    A tank is due as in ``growthcast rounds`` (see ``tanks_due``).

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
    tanks = np.arange(len(book.tanks))
    watched = watch_growth(book, as_date(fit.design.on_day), tanks)
    growth = {one.tank_id: one.recent for one in watched.tanks}
    every, standings = recommend(book, fit), []
    dues = tanks_due(book, fit, every, tanks, SOON_D)
    for place, (advice, due) in enumerate(zip(every, dues, strict=True)):
        days = advice.recommended_interval_d
        options = sorted(advice.options, key=lambda o: o.interval_d)
        chosen = next((o for o in options if o.interval_d == days), options[0] if options else None)
        standings.append(
            TankStanding(
                advice=advice,
                place=place,
                option=chosen,
                due_on=due.due_on,
                due_by=due.due_by,
                risk=float(due.over[SOON_D]),
                growth=growth[advice.tank_id],
            )
        )
    return sorted(
        standings,
        key=lambda s: (s.due_on or date.max, -s.risk, s.advice.tank_id),
    )
