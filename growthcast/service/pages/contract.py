"""What all tanks of a client come to together: visits, shared journeys, hours and money."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any, ClassVar

import numpy as np

from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date
from growthcast.nouns import dataclass
from growthcast.plain import plain
from growthcast.service.advice import OptionAdvice
from growthcast.service.effort.hours import Range
from growthcast.service.pages.client import TankFacts
from growthcast.service.recommend import hours_drawn, recommend
from growthcast.service.rounds.plan import plan_rounds

PLAN_WEEKS = 12
"""Weeks of a plan of rounds that tell how often tanks of one place share a journey."""


@dataclass(frozen=True, slots=True)
class Contract:
    """All tanks of a client for a year.

    ``hours`` [h] are those of all visits and journeys, ``hours_apart`` [h] what the same visits
    take where each has a journey of its own, ``hours_at_tanks`` [h] those at each tank, in their
    order.
    ``price_per_h`` is net [currency/h], 0 where there is none.
    """

    visits: float
    journeys: float
    hours: Range
    hours_apart: float
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
def contract_of(book: Book, fit: GrowthFit, facts: Sequence[TankFacts]) -> Contract | None:
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
    Contract or None
        ``None`` where no visit is proposed. Visits follow the rhythms; how many journeys they take
        is told by a plan of the weeks ahead, as a share of its visits to each place.
    """
    chosen = {tank.tank_id: tank.option for tank in facts if tank.option is not None}
    if not chosen:
        return None
    ids, sites = book.tanks.text("tank_id").tolist(), {tank.tank_id: tank.site for tank in facts}
    travel = dict(zip(ids, book.of_tanks("travel_min").tolist(), strict=True))
    shared = _journeys_a_visit(book, fit, chosen, sites)
    years = {name: option.year for name, option in chosen.items()}
    road_h = {name: year.visits * travel[name] / 60.0 for name, year in years.items()}
    at_tanks = {name: year.hours - road_h[name] for name, year in years.items()}
    hours = sum(at_tanks.values()) + sum(road_h[name] * shared[name] for name in chosen)
    apart = sum(year.hours for year in years.values())
    places = {name: ids.index(name) for name in chosen}
    drawn = [hours_drawn(book, fit, places[n], one.interval_d) for n, one in chosen.items()]
    [spread] = Range.of_rows(np.sum(drawn, axis=0)[None])
    low, high = spread.p10 - spread.p50, spread.p90 - spread.p50
    return Contract(
        visits=sum(year.visits for year in years.values()),
        journeys=sum(year.visits * shared[name] for name, year in years.items()),
        hours=Range(hours + low, hours, hours + high),
        hours_apart=apart,
        hours_at_tanks=tuple(at_tanks.get(tank.tank_id, 0.0) for tank in facts),
        price_per_h=book.practice.labour_rate_per_h,
    )


def _journeys_a_visit(
    book: Book, fit: GrowthFit, chosen: dict[str, OptionAdvice], sites: dict[str, str]
) -> dict[str, float]:
    """Journeys to each tank's place for a visit to it, 1 where no other tank is there."""
    alone = dict.fromkeys(chosen, 1.0)
    if len({sites[name] for name in chosen}) == len(chosen):
        return alone
    start = as_date(fit.design.on_day) + timedelta(days=1)
    plan = plan_rounds(book, fit, recommend(book, fit), start, PLAN_WEEKS)
    planned = [(visit.on, sites[visit.tank_id]) for visit in plan.visits if visit.tank_id in chosen]
    share = {
        site: sum(1 for _, at in set(planned) if at == site) / sum(at == site for _, at in planned)
        for site in {at for _, at in planned}
    }
    return {name: share.get(sites[name], 1.0) for name in chosen}


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
            "price_per_month": month_price(row.year.cost),
            **plain(row),
        }
        for tank in facts
        for row in tank.rows
    ]
    return {"rhythms": rhythms, "contract": plain(contract)}
