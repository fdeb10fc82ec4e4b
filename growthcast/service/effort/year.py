"""What a rhythm of visits comes to in a year."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["DAYS_PER_YEAR", "Year", "year_of_visits"]

DAYS_PER_YEAR = 365.0


@dataclass(frozen=True, slots=True)
class Year:
    """What a rhythm of visits comes to in a year."""

    visits: float
    hours: float
    cost: float


def year_of_visits(interval_d: float, minutes_per_visit: float, labour_rate_per_h: float) -> Year:
    """Visits, hours [h] and cost [currency of the rate] of a year at one visit an interval [d].

    Examples
    --------
    >>> year = year_of_visits(7, 61, 58.0)
    >>> round(year.visits, 2), round(year.hours), round(year.cost)
    (52.14, 53, 3075)
    """
    visits = DAYS_PER_YEAR / interval_d
    hours = visits * minutes_per_visit / 60.0
    return Year(visits=visits, hours=hours, cost=hours * labour_rate_per_h)
