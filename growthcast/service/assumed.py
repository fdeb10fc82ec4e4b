"""What is taken for granted of the water of tanks of which the book says little, in words."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np

from growthcast.arrays import TextArray
from growthcast.book.book import Book
from growthcast.book.checks.together import places_of
from growthcast.fit.model.clock import tank_conditions
from growthcast.species import read_reference

__all__ = ["co2_assumed", "none_added_in_words"]

MOST_NAMED = 5


def none_added_in_words() -> str:
    """Say which CO2 stands for none added, and how far it may be off in 8 tanks of 10.

    Examples
    --------
    >>> none_added_in_words()
    'taken as 3 mg/L, 2 to 5 in 8 tanks of 10 by common practice'
    """
    reference = read_reference()
    middle = reference.none_added_co2_mg_l
    off = np.exp(NormalDist().inv_cdf(0.9) * reference.none_added_co2_spread)
    return (
        f"taken as {middle:.2g} mg/L, {middle / off:.0f} to {middle * off:.0f} in 8 tanks of 10 "
        "by common practice"
    )


def co2_assumed(book: Book, *, unknown: bool = True) -> list[str]:
    """Say for which planted tanks CO2 is assumed, and what.

    Parameters
    ----------
    book : Book
        A book without problems.
    unknown : bool
        Also name the tanks whose CO2 nobody ever gave.

    Returns
    -------
    list of str
        A sentence each for tanks to which none is added, and for those of which nothing is known.
    """
    reference, tanks = read_reference(), book.tanks.text("tank_id")
    tank_of_row = places_of(book.tanks, "tank_id", book.conditions)
    conditions = tank_conditions(book.conditions, tank_of_row, tanks.size, reference)
    planted = np.isin(tanks.astype(str), book.areas.text("tank_id").astype(str))
    none = planted & conditions.none_added.any(axis=1)
    blank = planted & np.isnan(conditions.values["co2_mg_l"]).all(axis=1)
    said = []
    if none.any():
        said.append(f"No CO2 is added in {_named(tanks[none])}: {none_added_in_words()}.")
    if unknown and blank.any():
        said.append(
            f"CO2 is not known in {_named(tanks[blank])}: growth is taken as at "
            f"{reference.conditions['co2_mg_l']:g} mg/L with wider ranges. "
            "In conditions.csv write co2_mg_l, or ph and kh_dkh; 0 where none is added."
        )
    return said


def _named(tanks: TextArray) -> str:
    rest = tanks.size - MOST_NAMED
    return ", ".join(tanks[:MOST_NAMED]) + (f" and {rest} more" if rest > 0 else "")
