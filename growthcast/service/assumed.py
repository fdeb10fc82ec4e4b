"""What is taken for granted of the water of tanks of which the book says little."""

from __future__ import annotations

import numpy as np

from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.model.clock import tank_conditions
from growthcast.species import read_reference


@finite_answer
def co2_assumed(book: Book) -> tuple[list[str], list[str]]:
    """Return the planted tanks whose CO2 is assumed.

    Parameters
    ----------
    book : Book
        A book without problems.

    Returns
    -------
    none_added, unknown : list of str
        Ids of the tanks to which no CO2 is added, and of those whose CO2 nobody ever gave.
    """
    tanks = book.tanks.text("tank_id")
    tank_of_row = book.conditions.places("tank_id", tanks)
    conditions = tank_conditions(book.conditions, tank_of_row, tanks.size, read_reference())
    planted = np.isin(tanks.astype(str), book.areas.text("tank_id").astype(str))
    none = planted & conditions.none_added.any(axis=1)
    blank = planted & np.isnan(conditions.values["co2_mg_l"]).all(axis=1)
    return tanks[none].tolist(), tanks[blank].tolist()
