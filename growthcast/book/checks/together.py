"""What the checks share: the tables together, look-ups between them, findings at a cell."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from growthcast.book.book import Coded, Table
from growthcast.book.slugs import finding
from growthcast.book.tables import column_of
from growthcast.errors import Finding

__all__ = ["DAY_SPAN", "Tables", "at_cell", "day_numbers", "places_of", "where"]

DAY_SPAN = 4_000_000  # more days than any date of four digits has


@dataclass(frozen=True)
class Tables:
    """Every table of a book while it is checked.

    ``species`` is the table that ships with the practice's ``own_species`` laid over it.
    """

    tanks: Table
    areas: Table
    trims: Table
    conditions: Table
    species: Table
    own_species: Table
    today: date

    @cached_property
    def tank_of_areas(self) -> NDArray[np.int64]:
        """Row of each area's tank (A,), -1 where unknown."""
        return places_of(self.tanks, "tank_id", self.areas)

    @cached_property
    def species_of_areas(self) -> NDArray[np.int64]:
        """Row of each area's species (A,), -1 where unknown."""
        return places_of(self.species, "species_id", self.areas)

    @cached_property
    def cover_areas(self) -> NDArray[np.bool_]:
        """Whether each area is measured as percent cover (A,)."""
        cover = np.append(self.species.text("measure") == "cover_pct", False)
        return np.asarray(cover[self.species_of_areas], np.bool_)

    @cached_property
    def area_of_trims(self) -> NDArray[np.int64]:
        """Row of each log row's area (N,), -1 where blank or unknown."""
        return places_of(self.areas, "area_id", self.trims)

    @cached_property
    def tank_of_trims(self) -> NDArray[np.int64]:
        """Row of each log row's tank (N,), -1 where unknown."""
        return places_of(self.tanks, "tank_id", self.trims)


def places_of(home: Table, column: str, table: Table) -> NDArray[np.int64]:
    """Return the row in the id's home table for each row of a table, -1 where there is none."""
    places: dict[str, int] = {}
    for index, name in enumerate(home.text(column).tolist()):
        places.setdefault(name, index)
    places[""] = -1
    cells: Coded = table.coded[column]
    by_code = np.array([places.get(value, -1) for value in cells.values], np.int64)
    return by_code[cells.codes]


def day_numbers(days: NDArray[np.datetime64]) -> NDArray[np.int64]:
    """Return dates as whole numbers above 0 (N,), 0 where blank."""
    numbers = days.astype("datetime64[D]").astype(np.int64) + 800_000
    return np.where(np.isnat(days), 0, numbers)


def where(mask: NDArray[np.bool_]) -> list[int]:
    """Return the places where a mask holds."""
    return [int(index) for index in np.flatnonzero(mask)]


def at_cell(
    table: Table, index: int, column: str, slug: str, found: str, fix: str, expected: str = ""
) -> Finding:
    """Return a finding at one cell of a table."""
    if not expected:
        expected = column_of(table.name.removesuffix(".csv"), column).expected
    row, letter = int(table.rows[index]), table.letters.get(column)
    return finding(slug, table.name, row, letter, column, found, expected, fix)
