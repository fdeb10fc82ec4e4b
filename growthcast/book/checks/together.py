"""What the checks share: the tables together, look-ups between them, findings at a cell; ids."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import numpy as np

from growthcast.arrays import BoolArray, DateArray, FloatArray, IntArray
from growthcast.book.book import Table, WholeTank
from growthcast.book.findings import finding
from growthcast.book.tables import TABLES, column_of
from growthcast.book.words import did_you_mean, plain, shown
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


_MOST_GUESSES = 20  # looking for near misses among thousands of ids takes its time
_LIKE_A_VALUE = re.compile(
    r"[+-]?[0-9][0-9.,]*(?:[eE][+-]?[0-9]+)?|[0-9]{1,4}[-/. ][0-9]{1,4}(?:[-/. ][0-9]{1,4})?"
)


def _homes(tables: Tables) -> tuple[tuple[Table, str], ...]:
    return (
        (tables.tanks, "tank_id"),
        (tables.areas, "area_id"),
        (tables.own_species, "species_id"),
    )


def check_double_ids(tables: Tables) -> Iterator[Finding]:
    """Each id stands once in its home table."""
    for home, column in _homes(tables):
        first: dict[str, int] = {}
        for index, name in enumerate(home.text(column).tolist()):
            row = first.setdefault(name, int(home.rows[index]))
            if name and row != home.rows[index]:
                found = f"{shown(name)}, which row {row} has too"
                fix = "give one of the two another id, or remove the row that is there twice"
                yield at_cell(home, index, column, "double-id", found, fix, "ids, each once")


def check_id_case(tables: Tables) -> Iterator[Finding]:
    """No two ids differ in case alone."""
    shipped = {name.casefold(): name for name in tables.species.text("species_id").tolist()}
    for home, column in _homes(tables):
        first = dict(shipped) if column == "species_id" else {}
        for index, name in enumerate(home.text(column).tolist()):
            other = first.setdefault(name.casefold(), name)
            if other != name:
                found = f"{shown(name)}, which differs from {shown(other)} only in case"
                fix = f"write {other} if the same is meant, else choose another id"
                yield at_cell(home, index, column, "id-case", found, fix)


def check_id_looks(tables: Tables) -> Iterator[Finding]:
    """An id that looks like a number or a date may be changed by a spreadsheet."""
    for home, column in _homes(tables):
        for index, name in enumerate(home.text(column).tolist()):
            if _LIKE_A_VALUE.fullmatch(name):
                found = f"{shown(name)}, which looks like a number or a date"
                fix = "put a letter in front, so that no spreadsheet rewrites it"
                yield at_cell(home, index, column, "id-looks-like-value", found, fix)
            elif name != name.strip():
                found = f"{shown(name)}, with a space at its beginning or end"
                fix = f"write {name.strip()} wherever it is used"
                yield at_cell(home, index, column, "id-spaces", found, fix)


def check_unknown_ids(tables: Tables) -> Iterator[Finding]:
    """Every id named stands in its home table."""
    named = (
        (tables.areas, "tank_id", tables.tanks),
        (tables.areas, "species_id", tables.species),
        (tables.trims, "tank_id", tables.tanks),
        (tables.trims, "area_id", tables.areas),
        (tables.conditions, "tank_id", tables.tanks),
        (tables.closed, "tank_id", tables.tanks),
    )
    for table, column, home in named:
        known = [name for name in home.text(column).tolist() if name]
        if known:  # else the home table itself has the finding
            yield from _unknown(table, column, home, known)


def _unknown(table: Table, column: str, home: Table, known: list[str]) -> Iterator[Finding]:
    names = table.text(column)
    missing = (table.places(column, home.text(column)) < 0) & np.asarray(names != "", np.bool_)
    fixes: dict[str, str] = {}
    otherwise = f"add it to {home.name}, or write one of its ids"
    for index in where(missing):
        name = str(names[index])
        if name not in fixes:
            guess = len(fixes) < _MOST_GUESSES
            fixes[name] = did_you_mean(name, known, otherwise) if guess else otherwise
        found = f"{shown(name)}, which {home.name} does not have"
        yield at_cell(
            table, index, column, "unknown-id", found, fixes[name], f"an id of {home.name}"
        )


ID_CHECKS = (check_double_ids, check_id_case, check_id_looks, check_unknown_ids)
