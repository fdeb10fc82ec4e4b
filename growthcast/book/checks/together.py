"""What the checks share: the tables together, look-ups between them, findings at a cell; ids."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray, DateArray, FloatArray, IntArray, TextArray
from growthcast.book.book import (
    BOUNDS,
    Bounds,
    Coded,
    Table,
    WholeTank,
    bounds_on,
    plant_named,
)
from growthcast.book.findings import finding, slugs
from growthcast.book.tables import TABLES, column_of
from growthcast.book.words import did_you_mean
from growthcast.errors import Finding
from growthcast.nouns import dataclass

HEIGHTS = ("before_cm", "after_cm", "removed_cm")
"""The columns of the log that tell how high an area stood or what was cut off."""
DAY_SPAN = 4_000_000  # more days than any date of four digits has


@dataclass(frozen=True)
class Tables:
    """Every table of a book while it is checked.

    ``species`` is the table that ships with the practice's ``own_species`` laid over it;
    ``whole_tank_grams`` what the practice says of rows of whole tanks.
    """

    tanks: Table
    areas: Table
    bounds: Table
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
    def unit_areas(self) -> TextArray:
        """Unit of each area's heights (A,)."""
        return _units(self.cover_areas)

    @cached_property
    def unit_trims(self) -> TextArray:
        """Unit of each log row's heights (N,)."""
        return _units(self.cover_trims)

    @cached_property
    def area_of_trims(self) -> IntArray:
        """Row of each log row's area (N,), -1 where blank or unknown."""
        return self.trims.places("area_id", self.areas.text("area_id"))

    @cached_property
    def area_of_bounds(self) -> IntArray:
        """Row of the area of each row of bounds.csv (N,), -1 where unknown."""
        return self.bounds.places("area_id", self.areas.text("area_id"))

    @cached_property
    def cover_bounds(self) -> BoolArray:
        """Whether the area of each row of bounds.csv is measured as percent cover (N,)."""
        return np.asarray(np.append(self.cover_areas, False)[self.area_of_bounds], np.bool_)

    def bounds_of(self, area: IntArray, days: DateArray) -> Bounds:
        """Return the bounds of areas (n,) on some days, NaN where the area is unknown (-1)."""
        if not len(self.areas):
            return Bounds(*np.full((3, area.size), np.nan))
        day = np.where(np.isnat(days), np.nan, days.astype("datetime64[D]").astype(np.float64))
        held = bounds_on(self.areas, self.bounds, np.maximum(area, 0), day)
        return Bounds(*(np.where(area < 0, np.nan, getattr(held, name)) for name in BOUNDS))

    @cached_property
    def as_moved(self) -> Tables:
        """The tables with an area for each row of bounds.csv, as it is agreed from that row on."""
        known = self.area_of_bounds >= 0
        bounds, area = self.bounds.keep(known), self.area_of_bounds[known]
        columns = {name: cells[area] for name, cells in self.areas.columns.items()}
        held = self.bounds_of(area, bounds.date("from_date"))
        columns |= {name: getattr(held, name) for name in BOUNDS}
        columns["planted_height_cm"] = np.full(area.size, np.nan)
        codes = {n: Coded(c.codes[area], c.values) for n, c in self.areas.coded.items()}
        moved = replace(bounds, columns=columns, coded=codes, extra={})
        return replace(self, areas=moved)

    @cached_property
    def tank_of_trims(self) -> IntArray:
        """Row of each log row's tank (N,), -1 where unknown."""
        return self.trims.places("tank_id", self.tanks.text("tank_id"))


def _units(cover: BoolArray) -> TextArray:
    return np.array(("cm", "%"), object)[cover.astype(np.int64)]


def day_numbers(days: DateArray) -> IntArray:
    """Return dates as whole numbers above 0 (N,), 0 where blank."""
    numbers = days.astype("datetime64[D]").astype(np.int64) + 800_000
    return np.where(np.isnat(days), 0, numbers)


def where(mask: BoolArray) -> list[int]:
    """Return the places where a mask holds."""
    return [int(index) for index in np.flatnonzero(mask)]


def expected_cover(file: str, heading: str) -> str | None:
    """Return what a height column holds where cover is measured; none for other columns."""
    for column in TABLES.get(file.removesuffix(".csv"), ()):
        if column.name == heading and column.unit == "cm":
            in_cm = replace(column, high=100.0).expected
            return in_cm.replace("centimetres", "percent cover")
    return None


def at_cell(table: Table, index: int, column: str, slug: str, /, **values: Any) -> Finding:
    """Return a finding at one cell of a table; its row fills in the words, ``values`` first."""
    row = {name: cells[index] for name, cells in table.columns.items()}
    if "expected" not in slugs()[slug][1]:
        row["expected"] = column_of(table.name.removesuffix(".csv"), column).expected
    values = {**row, "cell": row[column], **values}
    place = (int(table.rows[index]), table.letters.get(column), column)
    return finding(slug, table.name, *place, **values)


def at_cells(
    table: Table, mask: BoolArray, column: str, slug: str, /, **values: Any
) -> Iterator[Finding]:
    """Yield a finding at a column's cell of each row where a mask holds (N,).

    An array (N,) among ``values`` gives each row its own.
    """
    for index in where(mask):
        of_row = {n: v[index] if isinstance(v, np.ndarray) else v for n, v in values.items()}
        yield at_cell(table, index, column, slug, **of_row)


_MOST_GUESSES = 20  # looking for near misses among thousands of ids takes its time
_LIKE_A_VALUE = re.compile(
    r"[+-]?[0-9][0-9.,]*(?:[eE][+-]?[0-9]+)?|[0-9]{1,4}[-/. ][0-9]{1,4}(?:[-/. ][0-9]{1,4})?"
)


def check_ids(tables: Tables) -> Iterator[Finding]:
    """Each id stands once in its home table, differs not in case alone, and looks like an id."""
    shipped = {name.casefold(): name for name in tables.species.text("species_id").tolist()}
    for home, column in (
        (tables.tanks, "tank_id"),
        (tables.areas, "area_id"),
        (tables.own_species, "species_id"),
    ):
        first: dict[str, int] = {}
        folded = dict(shipped) if column == "species_id" else {}
        for index, name in enumerate(home.text(column).tolist()):
            at, row = (home, index, column), int(home.rows[index])
            if name and (first_row := first.setdefault(name, row)) != row:
                yield at_cell(*at, "double-id", name=name, first_row=first_row)
            if (other := folded.setdefault(name.casefold(), name)) != name:
                yield at_cell(*at, "id-case", name=name, other=other)
            if _LIKE_A_VALUE.fullmatch(name):
                yield at_cell(*at, "id-looks-like-value", name=name)
            elif name != name.strip():
                yield at_cell(*at, "id-spaces", name=name, stripped=name.strip())


def check_unknown_ids(tables: Tables) -> Iterator[Finding]:
    """Every id named stands in its home table."""
    named = (
        (tables.areas, "tank_id", tables.tanks),
        (tables.areas, "species_id", tables.species),
        (tables.bounds, "area_id", tables.areas),
        (tables.trims, "tank_id", tables.tanks),
        (tables.trims, "area_id", tables.areas),
        (tables.conditions, "tank_id", tables.tanks),
        (tables.closed, "tank_id", tables.tanks),
    )
    for table, column, home in named:
        known = [name for name in home.text(column).tolist() if name]
        names = table.text(column)
        missing = (table.places(column, home.text(column)) < 0) & table.given(column)
        fixes: dict[str, str] = {}
        otherwise = f"add it to {home.name}, or write one of its ids"
        for index in where(missing) if known else ():  # else the home table has the finding
            name = str(names[index])
            if name not in fixes:
                guess = len(fixes) < _MOST_GUESSES
                plant = plant_named(home, name) if column == "species_id" and guess else None
                fixes[name] = f"write {plant}" if plant else otherwise
                if guess and not plant:
                    fixes[name] = did_you_mean(name, known, otherwise)
            said = {"name": name, "home": home.name, "fix": fixes[name]}
            yield at_cell(table, index, column, "unknown-id", **said)


ID_CHECKS = (check_ids, check_unknown_ids)
