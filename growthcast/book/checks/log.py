"""Checks of the log: dates, amounts, rows that say the same thing twice (of other tables too)."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from growthcast.arrays import BoolArray, IntArray
from growthcast.book.book import Table
from growthcast.book.checks.together import (
    DAY_SPAN,
    HEIGHTS,
    Tables,
    at_cell,
    at_cells,
    day_numbers,
)
from growthcast.book.findings import finding
from growthcast.book.tables import TABLES
from growthcast.errors import Finding


def of_whole_tank(trims: Table) -> BoolArray:
    """Whether a row (N,) is of the whole tank."""
    cells = trims.coded["area_id"]
    blank = np.array([not value for value in cells.values], np.bool_)
    return blank[cells.codes]


def has_amounts(trims: Table) -> BoolArray:
    """Whether a row (N,) tells how high its area stood or what came off it; a look does not."""
    amounts = [np.isfinite(trims.number(name)) for name in (*HEIGHTS, "removed_g")]
    return np.asarray(np.logical_or.reduce(amounts), np.bool_)


def check_dates(tables: Tables) -> Iterator[Finding]:
    """No log row lies after today, or outside its area's life, first and last day included.

    Tomorrow has begun already in other time zones.
    """
    trims, areas, today = tables.trims, tables.areas, np.datetime64(tables.today, "D")
    days, area = trims.date("date"), tables.area_of_trims
    yield from at_cells(trims, days > today + 1, "date", "future-date", today=today)
    yield from at_cells(trims, days == today + 1, "date", "date-tomorrow")
    never = np.array(["NaT"], "datetime64[D]")
    planted = np.concatenate([areas.date("planted_on"), never])[area]
    removed = np.concatenate([areas.date("removed_on"), never])[area]
    for outside, limit, when in (
        (days < planted, planted, "before the area was planted on"),
        (days > removed, removed, "after the area was removed on"),
    ):
        yield from at_cells(trims, outside, "date", "outside-life", limit=limit, when=when)


def check_tank_of_area(tables: Tables) -> Iterator[Finding]:
    """A log row names the tank its area is in."""
    trims, area, tank = tables.trims, tables.area_of_trims, tables.tank_of_trims
    home = np.append(tables.tank_of_areas, -1)[area]
    named = np.append(tables.areas.text("tank_id"), "")[area]
    elsewhere = (area >= 0) & (home >= 0) & (tank >= 0) & (home != tank)
    yield from at_cells(trims, elsewhere, "tank_id", "tank-mismatch", home=named)


def check_heights(tables: Tables) -> Iterator[Finding]:
    """A cut takes something off, and no more than stood there."""
    trims, unit = tables.trims, tables.unit_trims
    before, after, removed = (trims.number(name) for name in HEIGHTS)
    yield from at_cells(trims, after > before, "after_cm", "after-above-before", unit=unit)
    yield from at_cells(trims, removed > before, "removed_cm", "removed-above-before", unit=unit)
    fits, cut = (after <= before) & (removed <= before), before - after
    apart = np.abs(cut - removed) > np.maximum(0.5, 0.1 * removed) + 1e-9
    yield from at_cells(trims, fits & apart, "removed_cm", "removed-differs", cut=cut, unit=unit)


def check_whole_tank(tables: Tables) -> Iterator[Finding]:
    """A row of the whole tank has neither heights nor a look; it alone tells of the visit."""
    trims, whole = tables.trims, of_whole_tank(tables.trims)
    told = ("look", *HEIGHTS)
    if "area_id" not in trims.letters and any(trims.given(name).any() for name in told):
        fix = "add the column area_id, or correct the name of the one that holds the areas"
        yield finding("missing-column", trims.name, 1, None, "area_id", fix=fix)
    elif whole.any():
        for column in HEIGHTS:
            given = whole & trims.given(column)
            yield from at_cells(trims, given, column, "whole-tank-heights")
        for column, what in (("look", "a look"), ("replanted", "tops planted anew")):
            given = whole & trims.given(column)
            yield from at_cells(trims, given, column, "whole-tank-look", what=what)
    for column in ("visit_min", "water_share"):
        yield from at_cells(
            trims, ~whole & trims.given(column), column, "visit-of-area", what=column
        )
    short = trims.number("visit_min") < trims.number("minutes")
    yield from at_cells(trims, whole & short, "visit_min", "visit-below-minutes")


def check_empty_rows(tables: Tables) -> Iterator[Finding]:
    """A log row says something about the plants or the time."""
    trims = tables.trims
    numbers = (column.name for column in TABLES["trims"] if column.kind == "number")
    empty = ~np.logical_or.reduce(
        [trims.given(name) for name in (*numbers, "look", "replanted", "note")]
    )
    yield from at_cells(trims, empty, "before_cm", "empty-row")


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
    for table, column, thing in (
        (tables.trims, "area_id", "this area or whole tank and day"),
        (tables.conditions, "from_date", "this tank and date"),
        (tables.bounds, "from_date", "this area and date"),
    ):
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


LOG_CHECKS = (
    check_dates,
    check_tank_of_area,
    check_heights,
    check_whole_tank,
    check_empty_rows,
    check_double_rows,
)
