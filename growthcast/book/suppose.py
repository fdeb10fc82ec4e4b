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
from growthcast.book.book import Coded, Table
from growthcast.book.tables import TABLES, Column

__all__ = ["Cell", "with_cells", "with_rows"]

Cell = str | float | date | None
"""What a supposed cell holds; ``None`` and a column not named are blank."""


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
