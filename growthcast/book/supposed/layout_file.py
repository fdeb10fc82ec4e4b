"""A layout: how a tank might be planted, read from a file with an area a row."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np

from growthcast.book.book import Book, Table
from growthcast.book.cells.convert import empty_table, read_table
from growthcast.book.cells.records import Grid, read_grid
from growthcast.book.cells.text import read_bytes
from growthcast.book.checks.areas import AREA_CHECKS
from growthcast.book.checks.ids import ID_CHECKS
from growthcast.book.checks.together import Tables, at_cell
from growthcast.book.slugs import note_order
from growthcast.book.supposed.rows import Cell, with_cells
from growthcast.book.tables import TABLES
from growthcast.book.words import plain
from growthcast.errors import BookProblems, Finding, UsageError

_SHORT = {"area": "area_id", "plant": "species_id", "floor": "floor_cm", "budget": "budget_cm"}
ROOTED = frozenset(("carpet", "creeping", "rosette", "stem"))
"""Forms that share the ground; the others sit on wood and stone or float above."""
SPARE_SHARE = 0.1
"""Areas are judged by eye and plants lean over each other: so much above the ground is let pass."""
_NOT_ASKED = ("tank_id", "planted_on")


@dataclass(frozen=True, slots=True)
class Layout:
    """A tank as it might be planted: its areas, as a table with the columns of ``areas.csv``.

    ``findings`` are its notes and remarks.
    """

    name: str
    areas: Table
    findings: tuple[Finding, ...]


def read_layout(path: Path, book: Book, tank_id: str, on: date) -> Layout:
    """Read a layout of a tank; raise ``BookProblems`` with all findings if it has problems.

    Columns are those of ``areas.csv`` (``area_id, species_id, area_cm2, floor_cm, budget_cm``, and
    if wanted ``label`` and ``light_share``); ``area``, ``plant``, ``floor`` and ``budget`` are read
    too. Where there is a ``tank_id`` column, only the tank's rows count.
    """
    if not path.exists():
        raise UsageError(f"there is no layout {path}; name a .csv file with an area a row")
    data = read_bytes(path)
    if isinstance(data, Finding):
        raise BookProblems((replace(data, file=path.name),))
    known = frozenset([*(column.name for column in TABLES["areas"]), *_SHORT])
    grid, findings = read_grid(data, path.name, known)
    if grid is None:
        raise BookProblems(tuple(findings))
    table, more = read_table(_renamed(grid), "areas")
    findings += [item for item in more if item.heading not in _NOT_ASKED]
    if not len(table) and not findings:
        raise UsageError(f"layout {path.name} has a header and no rows; write an area a row")
    table = _of_tank(table, tank_id, on)
    if not len(table) and not any(item.level == "problem" for item in findings):
        raise UsageError(f"layout {path.name} has no row for tank {tank_id} in its tank_id column")
    whole: dict[str, Cell] = {"tank_id": tank_id, "planted_on": on, "removed_on": None}
    table = with_cells(replace(table, name="areas.csv"), np.ones(len(table), bool), whole)
    tables = Tables(
        tanks=book.tanks,
        areas=table,
        trims=empty_table("trims"),
        conditions=empty_table("conditions"),
        closed=empty_table("closed"),
        species=book.species,
        own_species=empty_table("species"),
        today=on,
    )
    checked = [item for check in (*ID_CHECKS, *AREA_CHECKS) for item in check(tables)]
    above = _above_ground(tables)
    said = {(item.row, item.slug) for item in above}
    checked = above + [item for item in checked if (item.row, item.slug) not in said]
    findings += [replace(item, file=path.name) for item in checked if item.heading != "planted_on"]
    ordered = tuple(sorted(findings, key=note_order))
    if any(item.level == "problem" for item in ordered):
        raise BookProblems(ordered)
    return Layout(path.stem, table, ordered)


def _above_ground(tables: Tables) -> list[Finding]:
    """Return a problem where the plants rooted in the ground need more of it than the tank has."""
    areas, size = tables.areas, tables.areas.number("area_cm2")
    form = dict(zip(tables.species.text("species_id"), tables.species.text("form"), strict=True))
    rooted = np.array([form.get(name) in ROOTED for name in areas.text("species_id")], np.bool_)
    tanks, where = tables.tanks, tables.tank_of_areas
    whole = float(np.nansum(np.where(rooted, size, 0.0)))
    if not len(areas) or where[0] < 0 or not rooted.any():
        return []
    ground = float((tanks.number("length_cm") * tanks.number("width_cm"))[where[0]])
    if not whole > (1.0 + SPARE_SHARE) * ground:
        return []
    largest = int(np.nanargmax(np.where(rooted, size, np.nan)))
    found = (
        f"{plain(size[largest])} cm², and {plain(whole)} cm² in all areas that are rooted in the "
        f"tank's {plain(ground)} cm² of ground"
    )
    fix = "correct area_cm2 of this row or others; or length_cm and width_cm in tanks.csv"
    at = at_cell(areas, largest, "area_cm2", "area-above-tank", found, fix)
    return [replace(at, level="problem")]


def _of_tank(table: Table, tank_id: str, on: date) -> Table:
    """Leave out rows that a tank_id or a removed_on beside them gives to others, or to the past."""
    named = table.text("tank_id")
    gone = table.date("removed_on") < np.datetime64(on, "D")
    return table.keep(np.asarray(((named == "") | (named == tank_id)) & ~gone, np.bool_))


def _renamed(grid: Grid) -> Grid:
    """Return the grid with short column names in the book's own words."""
    typed: Mapping[str, str] = {name.strip().casefold(): name for name in grid.header}
    spare = {
        typed[short]: full for short, full in _SHORT.items() if short in typed and full not in typed
    }
    return replace(grid, header=tuple(spare.get(name, name) for name in grid.header))
