"""What a rhythm of visits comes to in a year."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.plain import HIDDEN, in_json

DAYS_PER_YEAR = 365.0


@dataclass(frozen=True, slots=True)
class Range:
    """One in ten lies below ``p10``, half below ``p50``, one in ten above ``p90``.

    The unit is that of its name.
    """

    p10: float
    p50: float
    p90: float

    def times(self, factor: float) -> Range:
        """Return the same in another unit, or of so many."""
        return Range(self.p10 * factor, self.p50 * factor, self.p90 * factor)

    @classmethod
    def of_rows(cls, draws: FloatArray) -> list[Range]:
        """Return the range of each row of draws (A, D)."""
        return [cls(*row) for row in np.quantile(draws, (0.1, 0.5, 0.9), axis=1).T.tolist()]


@dataclass(frozen=True, slots=True)
class Year:
    """What a rhythm of visits comes to in a year: ``hours`` [h] and ``cost`` [currency]."""

    visits: float = field(metadata=HIDDEN)
    hours: float = field(metadata=in_json("hours_per_year"))
    cost: float = field(metadata=in_json("cost_per_year"))
    hours_range: Range = field(metadata=in_json("hours_per_year_range"))
    cost_range: Range = field(metadata=in_json("cost_per_year_range"))


@dataclass(frozen=True, slots=True)
class Saving:
    """What one rhythm takes less than another in a year, negative where it takes more.

    ``hours`` [h] and ``cost`` [currency].
    """

    hours: Range
    cost: Range


def saving(now_h: FloatArray, then_h: FloatArray, labour_rate_per_h: float) -> Saving:
    """Return what a rhythm saves against another.

    Parameters
    ----------
    now_h, then_h : array (D,)
        Hours a year of both in the same draws [h]: what they share (the hand, the plants that
        stay) is not in doubt between them, so that the range is narrower than those of its parts.
    labour_rate_per_h : float
        Price of an hour [currency/h].

    Returns
    -------
    Saving
        Hours [h] and cost [currency] a year.

    Examples
    --------
    One may take 80 to 120 h and the other 10 h less each time: 10 h are saved for sure.

    >>> now = np.array([80.0, 100.0, 120.0])
    >>> saving(now, now - 10.0, 58.0).cost
    Range(p10=580.0, p50=580.0, p90=580.0)
    """
    [hours] = Range.of_rows((now_h - then_h)[None])
    return Saving(hours=hours, cost=hours.times(labour_rate_per_h))


def year_of_visits(interval_d: float, minutes: Range, labour_rate_per_h: float) -> Year:
    """Work out what a rhythm comes to in a year.

    Parameters
    ----------
    interval_d : float
        Days between visits [d].
    minutes : Range
        Minutes of the mean visit of a year [min].
    labour_rate_per_h : float
        Price of an hour [currency/h].

    Returns
    -------
    Year
        Visits, hours [h] and cost [currency of the rate].

    Examples
    --------
    >>> year = year_of_visits(7, Range(55, 61, 70), 58.0)
    >>> round(year.visits, 2), round(year.hours), round(year.cost)
    (52.14, 53, 3075)
    """
    visits = DAYS_PER_YEAR / interval_d
    hours = minutes.times(visits / 60.0)
    cost = hours.times(labour_rate_per_h)
    return Year(visits=visits, hours=hours.p50, cost=cost.p50, hours_range=hours, cost_range=cost)
