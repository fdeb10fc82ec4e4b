"""How often past forecasts for a tank were right."""

from __future__ import annotations

from math import comb

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.book.book import Book
from growthcast.cache import recall, tables_of
from growthcast.finite import finite, finite_answer
from growthcast.forecast.backtest import foreseen_readings
from growthcast.forecast.verdict import LEAST_READINGS, Readings
from growthcast.nouns import dataclass

SPLITS = 10
"""Earlier days from which a log is gone through for a page."""
RANGE_HOLDS = 0.8
"""Share of readings that a range is meant to hold."""
MOST_AREAS = 120
"""Larger books are cut down to the page's tanks before they are gone through."""


@dataclass(frozen=True, slots=True)
class Record:
    """Readings of one tank that were forecast, and how many the 8-in-10 range held.

    ``alone`` says that the other tanks' logs were left out.
    """

    readings: int
    inside: int
    is_cover: bool
    alone: bool

    @property
    def enough(self) -> bool:
        """Whether there are readings enough to say anything."""
        return self.readings >= LEAST_READINGS

    @property
    def chance(self) -> float:
        """Chance of so few inside or fewer where each is held as meant, by itself (binomial)."""
        n, p = self.readings, RANGE_HOLDS
        return sum(comb(n, k) * p**k * (1.0 - p) ** (n - k) for k in range(self.inside + 1))


@finite_answer
def past_records(book: Book, tank_ids: list[str], splits: int = SPLITS) -> dict[str, Record]:
    """Return the record of each tank; where cover and height both are read, that of most readings.

    Each reading is forecast from the visits before it, as ``growthcast backtest`` does.

    Parameters
    ----------
    book : Book
        The book.
    tank_ids : list of str
        Tanks of a page; in a large book the log of these alone is gone through.
    splits : int
        Earlier days from which the log is gone through.

    Returns
    -------
    dict of str to Record
        The record of each tank by its id.
    """
    alone = len(book.areas) > MOST_AREAS
    known = book.only(tank_ids) if alone else book
    order = known.tanks.text("tank_id").tolist()

    def worked_out() -> tuple[Readings, FloatArray]:
        readings, forecast = foreseen_readings(known, splits)
        return readings, finite(forecast, "record").chance_below(readings.reading_cm)

    # Of all tanks: the page of the next one finds it kept.
    readings, below = recall(worked_out, "record", tables_of(known), splits)
    made = {}
    for name in tank_ids:
        here = readings.tank == order.index(name)
        is_cover = 2 * int(readings.is_cover[here].sum()) > int(here.sum())
        rows = here & (readings.is_cover == is_cover)
        made[name] = Record(
            readings=int(rows.sum()),
            inside=int((np.abs(2.0 * below[rows] - 1.0) <= RANGE_HOLDS).sum()),
            is_cover=is_cover,
            alone=alone,
        )
    return made
