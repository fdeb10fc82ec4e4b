"""A book as it would be: rows and cells laid over a book in memory, never in its files.

What a practice might plant or change is answered by the same fit and the same advice as what it
has: a supposed area is an area without a log, a supposed lamp a row of conditions. A person
supposes changes (``NAME=VALUE``) or a layout, a file with an area a row.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import BoolArray
from growthcast.book.book import Book, Table
from growthcast.book.cells.convert import blank_column, empty_table, read_table, value_of
from growthcast.book.cells.records import Grid, read_grid
from growthcast.book.cells.text import read_bytes
from growthcast.book.checks.checks import LAYOUT_CHECKS
from growthcast.book.checks.facts import Tables
from growthcast.book.findings import note_order, refusal
from growthcast.book.names import plant_meant
from growthcast.book.tables import CONDITION_WORDS, NOT_ANSWERED, TABLES, Column, column_of
from growthcast.book.words import did_you_mean, shown, some_of
from growthcast.errors import BookProblems, Finding, UsageError
from growthcast.nouns import dataclass

Cell = str | float | date | None
"""What a supposed cell holds; ``None`` and a column not named are blank."""
PlannedArea = Mapping[str, Cell]
"""Cells of an area by column name; ``area_id``, ``tank_id`` and ``species_id`` at least."""


def with_rows(table: Table, rows: Sequence[Mapping[str, Cell]]) -> Table:
    """Return the table with rows added at its end; their row number is 0, since no file has them.

    Each row maps column names to text, numbers or dates. ``KeyError`` for a column that the table
    does not declare.
    """
    if not rows:
        return table
    declared = {column.name: column for column in TABLES[table.name.removesuffix(".csv")]}
    for name in (name for row in rows for name in row if name not in declared):
        raise KeyError(f"{table.name} has no column {name}")
    columns = {
        name: np.concatenate([known, _cells(declared[name], [row.get(name) for row in rows])])
        for name, known in table.columns.items()
    }
    return replace(
        table,
        rows=np.concatenate([table.rows, np.zeros(len(rows), np.int64)]),
        columns=columns,
        extra={name: (*cells, *("" for _ in rows)) for name, cells in table.extra.items()},
    )


def with_cells(table: Table, where: BoolArray, cells: Mapping[str, Cell]) -> Table:
    """Return the table with other cells in the rows of a mask; ``None`` blanks a cell."""
    declared = {column.name: column for column in TABLES[table.name.removesuffix(".csv")]}
    columns = dict(table.columns)
    for name, value in cells.items():
        changed = columns[name].astype(_cells(declared[name], []).dtype)  # room for longer text
        changed[where] = _cells(declared[name], [value])[0]
        columns[name] = changed
    return replace(table, columns=columns)


def _cells(column: Column, values: Sequence[Cell]) -> NDArray[Any]:
    """Return cells as a table holds them: '', nan or NaT where blank."""
    cells = blank_column(column, len(values))
    for at, value in enumerate(values):
        if value is not None:
            cells[at] = str(value)
    return cells


def with_references(book: Book, tank_id: str, on: date, values: Mapping[str, float]) -> Book:
    """Lay reference values over conditions that nobody ever gave, from the tank's first day on.

    The first known condition holds backwards: without this row a supposed one would be taken to
    have held in the past as well.
    """
    if not values:
        return book
    conditions = book.conditions
    given = conditions.date("from_date")[conditions.text("tank_id") == tank_id]
    first = min([on, *given.astype("datetime64[D]").tolist()])
    row: dict[str, Cell] = {"tank_id": tank_id, "from_date": first, **values}
    return replace(book, conditions=with_rows(conditions, [row]))


def with_conditions(book: Book, tank_id: str, on: date, values: Mapping[str, float]) -> Book:
    """Lay supposed conditions over a tank from a day on; no row of a later day overrides them."""
    conditions = book.conditions
    later = conditions.text("tank_id") == tank_id
    later &= conditions.date("from_date") >= np.datetime64(on, "D")
    kept = with_cells(conditions, later, dict.fromkeys(values)) if later.any() else conditions
    row: dict[str, Cell] = {"tank_id": tank_id, "from_date": on, **values}
    return replace(book, conditions=with_rows(kept, [row]))


def with_planted_areas(book: Book, areas: Sequence[PlannedArea], on: date) -> Book:
    """Lay areas over a book that are planted on a day and have no log."""
    rows = [{**area, "planted_on": on} for area in areas]
    return replace(book, areas=with_rows(book.areas, rows))


@dataclass(frozen=True, slots=True)
class Changes:
    """What is supposed of one tank: conditions by column name, and plants by area id."""

    conditions: Mapping[str, float]
    plants: Mapping[str, str]

    def __bool__(self) -> bool:
        return bool(self.conditions or self.plants)


def parse_changes(texts: Sequence[str], book: Book, tank: int) -> Changes:
    """Read changes of the tank at a place in the book; ``UsageError`` says what is not clear."""
    conditions: dict[str, float] = {}
    plants: dict[str, str] = {}
    tank_id = str(book.tanks.text("tank_id")[tank])
    here = book.areas.text("area_id")[book.areas.text("tank_id") == tank_id].tolist()
    for text in texts:
        name, sign, value = (part.strip() for part in text.rpartition("="))
        if not sign or not name or not value:
            raise UsageError(refusal("no-change-supposed", text=text))
        if name in conditions or name in plants:
            raise UsageError(f"--suppose names {shown(name)} twice; give it once")
        if name in CONDITION_WORDS:
            conditions[name] = _amount(name, value)
        elif name in here:
            plants[name] = plant_meant(book.species, value, f"--suppose {name}: ")
        else:
            raise UsageError(_unknown(name, here, tank_id))
    return Changes(conditions, plants)


def _amount(name: str, text: str) -> float:
    """Read the amount of a condition, within the limits of conditions.csv."""
    column = column_of("conditions", name)
    number, fault = value_of(text, column)
    if fault is not None:
        said = {"name": name, "text": text, "why": fault.why, "expected": column.expected}
        raise UsageError(refusal("no-amount-supposed", **said, example=_EXAMPLES.get(name, 10)))
    return float(number)


_EXAMPLES = {"ppfd_umol": 60, "photoperiod_h": 7, "temperature_c": 25}


def _unknown(name: str, areas: list[str], tank_id: str) -> str:
    conditions = ", ".join(CONDITION_WORDS)
    if name in NOT_ANSWERED:
        return f"--suppose {name}: {NOT_ANSWERED[name]} {conditions}"
    known = [*CONDITION_WORDS, *areas]
    rest = f"the conditions are {conditions}; the areas of {tank_id} are {some_of(areas) or 'none'}"
    hint = did_you_mean(name, known, rest)
    return refusal("nothing-so-named", name=name, tank=tank_id, hint=hint)


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
    empty = {name: empty_table(name) for name in ("bounds", "trims", "conditions", "closed")}
    held = {"tanks": book.tanks, "areas": table, "species": book.species, **empty}
    tables = Tables(held | {"own": empty_table("species")}, on, None)
    checked = [item for check in LAYOUT_CHECKS for item in check(tables)]
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
    areas = tables.rows("areas")
    rooted = np.isin(areas.of("plant", "form").astype(str), sorted(ROOTED))
    size = np.where(rooted, areas["area_cm2"], np.nan)
    if not rooted.any():
        return []
    whole, ground = float(np.nansum(size)), float(areas["ground"][0])
    if not whole > (1.0 + SPARE_SHARE) * ground:
        return []
    largest = int(np.nanargmax(size))
    said = {"size": float(size[largest]), "whole": whole, "ground": ground}
    found = refusal("plants-above-ground", **said)
    fix = "correct area_cm2 of this row or others; or length_cm and width_cm in tanks.csv"
    at = areas.at_cell(largest, "area_cm2", "area-above-tank", found=found, fix=fix)
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
