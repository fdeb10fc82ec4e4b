"""Rows of one thing on one day: which are there twice, and which say something else."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from growthcast.arrays import IntArray
from growthcast.book.book import Table
from growthcast.book.checks.rows import DAY_SPAN, Tables, at_cell, day_numbers, of_whole_tank
from growthcast.book.tables import TABLES
from growthcast.errors import Finding


def _keys(table: Table) -> IntArray:
    """Return a number per thing and day (N,), negative where a row cannot be told apart."""
    if table.name != "trims.csv":
        owner = "area_id" if table.name == "bounds.csv" else "tank_id"
        thing = table.coded[owner].codes.astype(np.int64)
        days, blank = day_numbers(table.date("from_date")), ~table.given(owner)
    else:
        area, tank = table.coded["area_id"], table.coded["tank_id"]
        whole = of_whole_tank(table)
        thing = np.where(whole, len(area.values) + tank.codes, area.codes).astype(np.int64)
        photo = ~whole & (table.text("measured_by") == "photo")  # may stand beside a ruler's row
        thing += np.where(photo, len(area.values) + len(tank.values), 0)
        days = day_numbers(table.date("date"))
        blank = whole & ~table.given("tank_id")
    keys = thing * DAY_SPAN + days
    return np.where(blank | (days == 0), -1 - np.arange(keys.size), keys)


def _doubles(keys: IntArray) -> list[tuple[int, int]]:
    """Return (later row, first row) for each key that stands more than once."""
    ordered = np.sort(keys)
    if not (ordered[1:] == ordered[:-1]).any():
        return []
    order = np.argsort(keys, kind="stable")
    fresh = np.append(True, keys[order][1:] != keys[order][:-1])
    first = order[np.maximum.accumulate(np.where(fresh, np.arange(order.size), 0))]
    again = np.flatnonzero(~fresh)
    return sorted(zip(order[again].tolist(), first[again].tolist(), strict=True))


def _said(table: Table, index: int) -> list[tuple[str, object]]:
    """Return the numbers and words of a row that are not blank, by column; a note is none."""
    declared = TABLES[table.name.removesuffix(".csv")]
    names = [column.name for column in declared if column.kind in ("number", "choice")]
    cells = ((name, table.columns[name][index]) for name in names)
    return [(name, cell) for name, cell in cells if cell != "" and cell == cell]


def check_double_rows(tables: Tables) -> Iterator[Finding]:
    """One row for one area, one tank's trimmings or conditions, or an area's bounds on one day."""
    for name, column, thing in (
        ("trims", "area_id", "this area or whole tank and day"),
        ("conditions", "from_date", "this tank and date"),
        ("bounds", "from_date", "this area and date"),
    ):
        table = tables.tables[name]
        for index, first in _doubles(_keys(table)):
            slug, said = "two-rows", {"thing": thing, "first_row": int(table.rows[first])}
            here, there = _said(table, index), _said(table, first)
            if here == there:
                slug = "same-rows"
            elif not here or not there:
                bare = first if here else index
                other = int(table.rows[index + first - bare])
                said["found"] = (
                    f"a second row beside row {said['first_row']}, one of the two without amounts"
                )
                said["fix"] = f"put the note of row {int(table.rows[bare])} into row {other}"
            yield at_cell(table, index, column, slug, **said)


def first_of_each(table: Table) -> Table:
    """Return the table without the later rows of a thing and day."""
    mask = np.ones(len(table), np.bool_)
    mask[[later for later, _ in _doubles(_keys(table))]] = False
    return table.keep(mask)
