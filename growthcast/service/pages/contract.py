"""What all tanks of a client come to together: visits, shared journeys, hours and money."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import timedelta
from functools import cache, partial
from typing import Any, ClassVar

import numpy as np

from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date
from growthcast.nouns import dataclass
from growthcast.plain import plain
from growthcast.service.advice import OptionAdvice, TankAdvice
from growthcast.service.effort.hours import Range
from growthcast.service.pages.client import TankFacts
from growthcast.service.recommend import option_of, recommend
from growthcast.service.rounds.plan import plan_rounds

PLAN_WEEKS = 12
"""Weeks of a plan of rounds that tell how often tanks of one place share a journey."""


@dataclass(frozen=True, slots=True)
class Contract:
    """All tanks of a client for a year.

    ``hours`` [h] are those of all visits and journeys, ``hours_apart`` [h] what the same visits
    take where each has a journey of its own, ``hours_longer`` [h] those of all where each tank
    takes its next longer rhythm within its own limit, ``hours_at_tanks`` [h] those at each tank,
    in their order.
    ``price_per_h`` is net [currency/h], 0 where there is none.
    """

    visits: float
    journeys: float
    hours: Range
    hours_apart: float
    hours_longer: float
    hours_at_tanks: tuple[float, ...]
    price_per_h: float

    json_with: ClassVar = ("cost",)

    @property
    def cost(self) -> Range:
        """Net price of a year [currency]."""
        return self.hours.times(self.price_per_h)


@finite_answer
def month_price(cost_per_year: float) -> float:
    """Work out the price of a month in whole units; a client pays twelve of them a year.

    Parameters
    ----------
    cost_per_year : float
        Cost of a year [currency].

    Returns
    -------
    float
        Price of a month [currency].

    Examples
    --------
    >>> month_price(5077.4)
    423.0
    """
    return float(round(cost_per_year / 12.0))


@finite_answer
def with_vat(net: float, percent: float) -> tuple[float, float]:
    """Work out value added tax and the gross price, so that whole units add up.

    Parameters
    ----------
    net : float
        Price without it [currency], taken in whole units.
    percent : float
        Its rate [percent].

    Returns
    -------
    tuple of float
        The tax and the gross price [currency].

    Examples
    --------
    >>> with_vat(423.3, 19.0)
    (80.0, 503.0)
    """
    tax = float(round(round(net) * percent / 100.0))
    return tax, round(net) + tax


@finite_answer
def contract_of(
    book: Book, fit: GrowthFit, facts: Sequence[TankFacts]
) -> tuple[list[TankFacts], Contract | None]:
    """Add up all tanks of a client, the journey to a place shared as ``plan_rounds`` shares it.

    Parameters
    ----------
    book : Book
        The book.
    fit : GrowthFit
        Its fit.
    facts : sequence of TankFacts
        The client's tanks, each with the rhythm proposed for it.

    Returns
    -------
    list of TankFacts
        The tanks with ``together``: all of them at each rhythm of each, the others as proposed, the
        journeys shared anew for each change.
    Contract or None
        ``None`` where no visit is proposed. Visits follow the rhythms; how many journeys they take
        is told by a plan of the weeks ahead, as a share of its visits to each place.
    """
    chosen, rate = _proposed(facts), book.practice.labour_rate_per_h
    if not chosen:
        return [*facts], None
    ids, years = book.tanks.text("tank_id").tolist(), [row.year for _, row in chosen]
    places = [(ids.index(tank.tank_id), row.interval_d) for tank, row in chosen]
    drawn = [option_of(book, fit, *place)[1] for place in places]
    [spread] = Range.of_rows(np.sum(drawn, axis=0)[None])
    low, high = spread.p10 - spread.p50, spread.p90 - spread.p50
    share = cache(partial(_journeys_a_visit, book, fit, cache(partial(recommend, book, fit))))

    def together(tank: TankFacts, row: OptionAdvice) -> tuple[float, float]:
        _, hours = _journeys_and_hours([(t, row if t is tank else its) for t, its in chosen], share)
        return hours * rate, hours

    journeys, hours = _journeys_and_hours(chosen, share)
    whole = Contract(
        visits=sum(year.visits for year in years),
        journeys=journeys,
        hours=Range(hours + low, hours, hours + high),
        hours_apart=sum(year.hours for year in years),
        hours_longer=_journeys_and_hours(longer_each(facts), share)[1],
        hours_at_tanks=tuple(_hours_at_tank(tank, tank.option) for tank in facts),
        price_per_h=rate,
    )
    every = [({row.interval_d: together(tank, row) for row in tank.rows}, tank) for tank in facts]
    return [replace(tank, together=takes) for takes, tank in every], whole


def _proposed(facts: Sequence[TankFacts]) -> list[tuple[TankFacts, OptionAdvice]]:
    """Return the tanks in which something grows, each with the rhythm proposed for it."""
    return [(tank, row) for tank in facts if (row := tank.option) is not None]


@finite_answer
def longer_each(facts: Sequence[TankFacts]) -> list[tuple[TankFacts, OptionAdvice]]:
    """Give each tank its next longer rhythm where its own limit allows one.

    Parameters
    ----------
    facts : sequence of TankFacts
        The client's tanks, each with the rhythm proposed for it.

    Returns
    -------
    list of (TankFacts, OptionAdvice)
        The tanks for which a visit is proposed, with the rhythm proposed where none is longer.
    """
    found = []
    for tank, row in _proposed(facts):
        longer, advice = tank.longer or row, tank.advice
        beyond = advice.own_limit and longer.interval_d > advice.longest_interval_d
        found.append((tank, row if beyond else longer))
    return found


def _hours_at_tank(tank: TankFacts, row: OptionAdvice | None) -> float:
    """Hours a year at a tank, without the journeys."""
    return 0.0 if row is None else row.year.hours - row.year.visits * tank.travel_min / 60.0


def _journeys_and_hours(
    chosen: Sequence[tuple[TankFacts, OptionAdvice]],
    share: Callable[[frozenset[tuple[str, int]]], float],
) -> tuple[float, float]:
    """Journeys and hours a year of tanks, each at a rhythm; ``share`` is ``_journeys_a_visit``."""
    journeys = hours = 0.0
    for tank, row in chosen:
        here = frozenset((t.tank_id, o.interval_d) for t, o in chosen if t.site == tank.site)
        mine = share(here) * row.year.visits
        journeys += mine
        hours += _hours_at_tank(tank, row) + mine * tank.travel_min / 60.0
    return journeys, hours


def _journeys_a_visit(
    book: Book,
    fit: GrowthFit,
    advised: Callable[[], list[TankAdvice]],
    rhythms: frozenset[tuple[str, int]],
) -> float:
    """Journeys for a visit to the tanks of one place, by a plan of these tanks alone."""
    if len(rhythms) < 2:
        return 1.0
    every_d = dict(rhythms)
    advice = [
        replace(one, recommended_interval_d=every_d[one.tank_id])
        if one.tank_id in every_d
        else replace(one, options=())  # not planned
        for one in advised()
    ]
    start = as_date(fit.design.on_day) + timedelta(days=1)
    visits = plan_rounds(book, fit, advice, start, PLAN_WEEKS).visits
    days = [visit.on for visit in visits if visit.tank_id in every_d]
    return len(set(days)) / len(days) if days else 1.0


@finite_answer
def figures_of(facts: Sequence[TankFacts], contract: Contract | None) -> dict[str, Any]:
    """Return the figures behind a page for a client.

    Parameters
    ----------
    facts : sequence of TankFacts
        The page's tanks.
    contract : Contract, optional
        What they come to together.

    Returns
    -------
    dict
        As JSON has it: every rhythm of every tank, and the whole.
    """
    rhythms = [
        {
            "tank_id": tank.tank_id,
            "name": tank.name,
            "site": tank.site,
            "proposed": row is tank.option,
            "first_estimate": tank.first_estimate,
            "next_on": plain(tank.next_on),
            "first_on": plain(tank.first_on.get(row.interval_d)),
            "price_per_month": month_price(row.year.cost),
            "all_tanks_per_month": month_price(tank.takes(row)[0]),
            **plain(row),
        }
        for tank in facts
        for row in tank.rows
    ]
    return {"rhythms": rhythms, "contract": plain(contract)}
