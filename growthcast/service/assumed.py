"""What is taken for granted of the water of tanks of which the book says little."""

from __future__ import annotations

import numpy as np

from growthcast.arrays import TextArray
from growthcast.book.book import Book
from growthcast.book.checks.together import places_of
from growthcast.fit.model.clock import tank_conditions
from growthcast.species import read_reference

__all__ = ["co2_assumed"]


def co2_assumed(book: Book) -> tuple[TextArray, TextArray]:
    """Return the planted tanks whose CO2 is assumed.

    Parameters
    ----------
    book : Book
        A book without problems.

    Returns
    -------
    none_added, unknown : array of str
        Ids of the tanks to which no CO2 is added, and of those whose CO2 nobody ever gave.
    """
    tanks = book.tanks.text("tank_id")
    tank_of_row = places_of(book.tanks, "tank_id", book.conditions)
    conditions = tank_conditions(book.conditions, tank_of_row, tanks.size, read_reference())
    planted = np.isin(tanks.astype(str), book.areas.text("tank_id").astype(str))
    none = planted & conditions.none_added.any(axis=1)
    blank = planted & np.isnan(conditions.values["co2_mg_l"]).all(axis=1)
    return tanks[none], tanks[blank]
