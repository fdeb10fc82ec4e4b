"""A book as it would be: rows and cells laid over a book in memory, never in its files.

What a practice might plant or change is answered by the same fit and the same advice as what it
has: a supposed area is an area without a log, a supposed lamp a row of conditions.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import BoolArray
from growthcast.book.book import Book, Coded, Table
from growthcast.book.tables import TABLES, Column

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
        coded={name: _extended(coded, columns[name]) for name, coded in table.coded.items()},
    )


def with_cells(table: Table, where: BoolArray, cells: Mapping[str, Cell]) -> Table:
    """Return the table with other cells in the rows of a mask; ``None`` blanks a cell."""
    declared = {column.name: column for column in TABLES[table.name.removesuffix(".csv")]}
    columns = dict(table.columns)
    for name, value in cells.items():
        changed = columns[name].astype(_cells(declared[name], []).dtype)  # room for longer text
        changed[where] = _cells(declared[name], [value])[0]
        columns[name] = changed
    coded = {
        name: _extended(known, columns[name]) if name in cells else known
        for name, known in table.coded.items()
    }
    return replace(table, columns=columns, coded=coded)


def _cells(column: Column, values: Sequence[Cell]) -> NDArray[Any]:
    """Return cells as a table holds them: '', nan or NaT where blank."""
    if column.kind == "number":
        return np.array([np.nan if v is None else v for v in values], np.float64)
    if column.kind == "date":
        return np.array(["NaT" if v is None else str(v) for v in values], "datetime64[D]")
    return np.array(["" if v is None else str(v) for v in values], np.object_)


def _extended(coded: Coded, column: NDArray[Any]) -> Coded:
    """Return a column's codes anew, the distinct values known so far first."""
    values = list(dict.fromkeys([*coded.values, *column.tolist()]))
    place = {value: code for code, value in enumerate(values)}
    codes = np.array([place[value] for value in column.tolist()], np.int32)
    return Coded(codes, tuple(values))


def with_references(book: Book, tank_id: str, on: date, values: Mapping[str, float]) -> Book:
    """Lay reference values over conditions that nobody ever gave, from the tank's first day on.

    The first known condition holds backwards: without this row a supposed one would be taken to
    have held in the past as well.
    """
    if not values:
        return book
    conditions = book.conditions
    given = conditions.date("from_date")[conditions.text("tank_id") == tank_id]
    first = min([on, *(day.item() for day in given.astype("datetime64[D]"))])
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
