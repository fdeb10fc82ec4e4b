"""What the checks share: the tables together, look-ups between them, findings at a cell."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import numpy as np

from growthcast.arrays import BoolArray, DateArray, FloatArray, IntArray
from growthcast.book.book import Table, WholeTank
from growthcast.book.slugs import finding
from growthcast.book.tables import TABLES, column_of
from growthcast.book.words import plain
from growthcast.errors import Finding

DAY_SPAN = 4_000_000  # more days than any date of four digits has


@dataclass(frozen=True)
class Tables:
    """Every table of a book while it is checked.

    ``species`` is the table that ships with the practice's ``own_species`` laid over it;
    ``whole_tank_grams`` what the practice says of rows of whole tanks.
    """

    tanks: Table
    areas: Table
    trims: Table
    conditions: Table
    closed: Table
    species: Table
    own_species: Table
    today: date
    whole_tank_grams: WholeTank | None = None

    @cached_property
    def tank_of_areas(self) -> IntArray:
        """Row of each area's tank (A,), -1 where unknown."""
        return self.areas.places("tank_id", self.tanks.text("tank_id"))

    @cached_property
    def species_of_areas(self) -> IntArray:
        """Row of each area's species (A,), -1 where unknown."""
        return self.areas.places("species_id", self.species.text("species_id"))

    @cached_property
    def cover_areas(self) -> BoolArray:
        """Whether each area is measured as percent cover (A,)."""
        cover = np.append(self.species.text("measure") == "cover_pct", False)
        return np.asarray(cover[self.species_of_areas], np.bool_)

    @cached_property
    def water_of_areas_cm(self) -> FloatArray:
        """Water depth over each area (A,), nan where its tank is unknown."""
        depth = self.tanks.number("water_depth_cm")
        return np.asarray(np.append(depth, np.nan)[self.tank_of_areas], np.float64)

    @cached_property
    def ceiling_of_areas_cm(self) -> FloatArray:
        """Each area's ceiling (A,): the water where its species reaches the surface."""
        of_area = self.species_of_areas
        ceiling = np.append(self.species.number("ceiling_cm"), np.nan)[of_area]
        ceiling = np.where(self.surface_areas, self.water_of_areas_cm, ceiling)
        return np.where(self.cover_areas, 100.0, ceiling)

    @cached_property
    def surface_areas(self) -> BoolArray:
        """Whether each area's species grows up to the surface (A,)."""
        reaches = np.append(self.species.flag("reaches_surface"), False)
        return np.asarray(reaches[self.species_of_areas], np.bool_)

    @cached_property
    def cover_trims(self) -> BoolArray:
        """Whether each log row's area is measured as percent cover (N,)."""
        return np.asarray(np.append(self.cover_areas, False)[self.area_of_trims], np.bool_)

    @cached_property
    def area_of_trims(self) -> IntArray:
        """Row of each log row's area (N,), -1 where blank or unknown."""
        return self.trims.places("area_id", self.areas.text("area_id"))

    @cached_property
    def tank_of_trims(self) -> IntArray:
        """Row of each log row's tank (N,), -1 where unknown."""
        return self.trims.places("tank_id", self.tanks.text("tank_id"))


def day_numbers(days: DateArray) -> IntArray:
    """Return dates as whole numbers above 0 (N,), 0 where blank."""
    numbers = days.astype("datetime64[D]").astype(np.int64) + 800_000
    return np.where(np.isnat(days), 0, numbers)


def where(mask: BoolArray) -> list[int]:
    """Return the places where a mask holds."""
    return [int(index) for index in np.flatnonzero(mask)]


def height(value: float, cover: bool) -> str:
    """Return a height with its unit, or percent cover."""
    return plain(value) + (" %" if cover else " cm")


def expected_cover(file: str, heading: str) -> str | None:
    """Return what a height column holds where cover is measured; none for other columns."""
    for column in TABLES.get(file.removesuffix(".csv"), ()):
        if column.name == heading and column.unit == "cm":
            in_cm = replace(column, high=100.0).expected
            return in_cm.replace("centimetres", "percent cover")
    return None


def at_cell(
    table: Table, index: int, column: str, slug: str, found: str, fix: str, expected: str = ""
) -> Finding:
    """Return a finding at one cell of a table."""
    if not expected:
        expected = column_of(table.name.removesuffix(".csv"), column).expected
    row, letter = int(table.rows[index]), table.letters.get(column)
    return finding(slug, table.name, row, letter, column, found, expected, fix)
