"""Checks of the log: dates, amounts, rows that say the same thing twice (conditions too)."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.book.book import Table
from growthcast.book.checks.together import DAY_SPAN, Tables, at_cell, day_numbers, height, where
from growthcast.book.tables import TABLES, Kind
from growthcast.book.words import plain
from growthcast.errors import Finding

_HEIGHTS = ("before_cm", "after_cm", "removed_cm")


def of_whole_tank(trims: Table) -> BoolArray:
    """Whether a row (N,) is of the whole tank."""
    cells = trims.coded["area_id"]
    blank = np.array([not value for value in cells.values], np.bool_)
    return blank[cells.codes]


def has_amounts(trims: Table) -> BoolArray:
    """Whether a row (N,) tells how high its area stood or what came off it; a look does not."""
    amounts = [np.isfinite(trims.number(name)) for name in (*_HEIGHTS, "removed_g")]
    return np.asarray(np.logical_or.reduce(amounts), np.bool_)


def check_future(tables: Tables) -> Iterator[Finding]:
    """No log row lies after today; tomorrow has begun already in other time zones."""
    trims, today = tables.trims, np.datetime64(tables.today, "D")
    days = trims.date("date")
    for index in where(days > today + 1):
        found = f"{days[index]}, which is after today, {today}"
        fix = "correct the date; the log holds visits that have taken place"
        yield at_cell(trims, index, "date", "future-date", found, fix)
    for index in where(days == today + 1):
        found = f"{days[index]}, which is tomorrow by this computer's clock"
        fix = "nothing to do where that day has begun at the tank; else correct the date"
        yield at_cell(trims, index, "date", "date-tomorrow", found, fix)


def check_tank_of_area(tables: Tables) -> Iterator[Finding]:
    """A log row names the tank its area is in."""
    trims, areas = tables.trims, tables.areas
    area, tank = tables.area_of_trims, tables.tank_of_trims
    home = np.append(tables.tank_of_areas, -1)[area]
    for index in where((area >= 0) & (home >= 0) & (tank >= 0) & (home != tank)):
        name, right = trims.text("area_id")[index], areas.text("tank_id")[area[index]]
        wrong = trims.text("tank_id")[index]
        found = f"{wrong}, while area {name} is in tank {right}"
        fix = f"write {right}, or another area's id"
        yield at_cell(trims, index, "tank_id", "tank-mismatch", found, fix, str(right))


def check_inside_life(tables: Tables) -> Iterator[Finding]:
    """A log row lies inside its area's life, first and last day included."""
    trims, areas = tables.trims, tables.areas
    area, days = tables.area_of_trims, trims.date("date")
    never = np.array(["NaT"], "datetime64[D]")
    planted = np.concatenate([areas.date("planted_on"), never])[area]
    removed = np.concatenate([areas.date("removed_on"), never])[area]
    for early, limit, words in (
        (days < planted, planted, "before the area was planted on"),
        (days > removed, removed, "after the area was removed on"),
    ):
        for index in where(early):
            found = f"{days[index]}, {words} {limit[index]}"
            fix = "correct this date or the area's in areas.csv"
            yield at_cell(trims, index, "date", "outside-life", found, fix)


def check_heights(tables: Tables) -> Iterator[Finding]:
    """A cut takes something off, and no more than stood there."""
    trims = tables.trims
    before, after = trims.number("before_cm"), trims.number("after_cm")
    removed, cover = trims.number("removed_cm"), tables.cover_trims
    for index in where(after > before):
        stood = height(before[index], cover[index])
        found = f"{height(after[index], cover[index])}, above the {stood} before the cut"
        fix = "swap the two heights if they were mixed up"
        yield at_cell(trims, index, "after_cm", "after-above-before", found, fix)
    for index in where(removed > before):
        stood = height(before[index], cover[index])
        found = f"{height(removed[index], cover[index])}, more than the {stood} that stood there"
        fix = "correct one of the two"
        yield at_cell(trims, index, "removed_cm", "removed-above-before", found, fix)
    fits = (after <= before) & (removed <= before)
    apart = np.abs(before - after - removed) > np.maximum(0.5, 0.1 * removed) + 1e-9
    for index in where(fits & apart):
        cut = height(before[index] - after[index], cover[index])
        found = f"{height(removed[index], cover[index])}, while the heights differ by {cut}"
        fix = "correct one of the three; until then the heights are used"
        yield at_cell(trims, index, "removed_cm", "removed-differs", found, fix)


def check_whole_tank(tables: Tables) -> Iterator[Finding]:
    """A row for the whole tank has weight and minutes, not heights."""
    trims = tables.trims
    whole = of_whole_tank(trims)
    if not whole.any():
        return
    for column in _HEIGHTS:
        for index in where(whole & ~np.isnan(trims.number(column))):
            found = f"{plain(trims.number(column)[index])} cm in a row without an area"
            fix = "fill in the area_id, or leave the heights blank"
            yield at_cell(trims, index, column, "whole-tank-heights", found, fix)
    for index in where(whole & np.asarray(trims.text("look") != "", np.bool_)):
        found = "a look in a row without an area"
        fix = "fill in the area_id; until then the look is not used"
        yield at_cell(trims, index, "look", "whole-tank-look", found, fix)


def check_empty_rows(tables: Tables) -> Iterator[Finding]:
    """A log row says something about the plants or the time."""
    trims = tables.trims
    empty = np.asarray(trims.text("look") == "", np.bool_)
    for amounts in _amounts(trims):
        empty = empty & np.isnan(amounts)
    for index in where(empty & np.asarray(trims.text("note") == "", np.bool_)):
        found = "a row without any amount"
        fix = "fill in what was measured or cut, or remove the row"
        yield at_cell(trims, index, "before_cm", "empty-row", found, fix, "at least one amount")


def _keys(table: Table) -> IntArray:
    """Return a number per thing and day (N,), negative where a row cannot be told apart."""
    if table.name == "conditions.csv":
        tank = table.coded["tank_id"]
        thing, days = tank.codes.astype(np.int64), day_numbers(table.date("from_date"))
        blank = np.asarray(table.text("tank_id") == "", np.bool_)
    else:
        area, tank = table.coded["area_id"], table.coded["tank_id"]
        whole = of_whole_tank(table)
        thing = np.where(whole, len(area.values) + tank.codes, area.codes).astype(np.int64)
        days = day_numbers(table.date("date"))
        blank = whole & np.asarray(table.text("tank_id") == "", np.bool_)
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


def _amounts(table: Table) -> list[FloatArray]:
    """Return the numbers that a row of the log or of the conditions is there for."""
    return [table.number(name) for name in _columns(table, "number")]


def _columns(table: Table, kind: Kind) -> list[str]:
    declared = TABLES[table.name.removesuffix(".csv")]
    return [column.name for column in declared if column.kind == kind]


def _words(table: Table, index: int) -> tuple[str, ...]:
    """Return the words of a row beside its amounts; conditions have none."""
    return tuple(str(table.text(name)[index]) for name in _columns(table, "choice"))


def _same(table: Table, a: int, b: int) -> bool:
    return _words(table, a) == _words(table, b) and all(
        bool(c[a] == c[b]) or bool(np.isnan(c[a]) and np.isnan(c[b])) for c in _amounts(table)
    )


def _bare(table: Table, index: int) -> bool:
    """Whether a row holds nothing but a note."""
    unmeasured = all(bool(np.isnan(cells[index])) for cells in _amounts(table))
    return unmeasured and not any(_words(table, index))


def check_double_rows(tables: Tables) -> Iterator[Finding]:
    """One row for one area, one tank's trimmings or one tank's conditions on one day."""
    for table, column, thing in (
        (tables.trims, "area_id", "this area or whole tank and day"),
        (tables.conditions, "from_date", "this tank and date"),
    ):
        for index, first in _doubles(_keys(table)):
            row = int(table.rows[first])
            expected = f"one row for {thing}"
            if _same(table, index, first):
                found = f"the amounts of row {row} once more"
                fix = f"remove one of the two; until then row {row} is used"
                slug = "same-rows"
            else:
                bare = index if _bare(table, index) else first if _bare(table, first) else None
                found = f"other amounts than in row {row}"
                fix = "put both into one row, or correct the date or the id of one"
                slug = "two-rows"
                if bare is not None:
                    other = int(table.rows[index + first - bare])
                    found = f"a second row beside row {row}, one of the two without amounts"
                    fix = f"put the note of row {int(table.rows[bare])} into row {other}"
            yield at_cell(table, index, column, slug, found, fix, expected)


def first_of_each(table: Table) -> Table:
    """Return the table without the later rows of a thing and day."""
    mask = np.ones(len(table), np.bool_)
    mask[[later for later, _ in _doubles(_keys(table))]] = False
    return table.keep(mask)


LOG_CHECKS = (
    check_future,
    check_tank_of_area,
    check_inside_life,
    check_heights,
    check_whole_tank,
    check_empty_rows,
    check_double_rows,
)
