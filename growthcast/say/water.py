"""What is taken for granted of the water of tanks, in words."""

from __future__ import annotations

from collections.abc import Sequence
from math import exp
from statistics import NormalDist

from growthcast.book.book import Book
from growthcast.service.assumed import co2_assumed
from growthcast.species import read_reference

MOST_NAMED = 5


def none_added_words() -> str:
    """Say which CO2 stands for none added, and how far it may be off in 8 tanks of 10.

    Examples
    --------
    >>> none_added_words()
    'taken as 3 mg/L, 2 to 5 in 8 tanks of 10 by common practice'
    """
    reference = read_reference()
    middle = reference.none_added_co2_mg_l
    off = exp(NormalDist().inv_cdf(0.9) * reference.none_added_co2_spread)
    return (
        f"taken as {middle:.2g} mg/L, {middle / off:.0f} to {middle * off:.0f} in 8 tanks of 10 "
        "by common practice"
    )


def co2_words(book: Book, *, unknown: bool = True) -> list[str]:
    """Say for which planted tanks CO2 is assumed, and what.

    ``unknown`` also names the tanks whose CO2 nobody ever gave.
    """
    none, blank = co2_assumed(book)
    said = []
    if none:
        said.append(f"No CO2 is added in {_named(none)}: {none_added_words()}.")
    if unknown and blank:
        said.append(
            f"CO2 is not known in {_named(blank)}: growth is taken as at "
            f"{read_reference().conditions['co2_mg_l']:g} mg/L with wider ranges. "
            "In conditions.csv write co2_mg_l, or ph and kh_dkh; 0 where none is added."
        )
    return said


def _named(tanks: Sequence[str]) -> str:
    rest = len(tanks) - MOST_NAMED
    return ", ".join(tanks[:MOST_NAMED]) + (f" and {rest} more" if rest > 0 else "")
