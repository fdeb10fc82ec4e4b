"""A grid of cells to a table of checked columns, by the declarations in ``tables``."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growthcast.book.book import Coded, Table
from growthcast.book.cells.header import match_header
from growthcast.book.cells.numbers import (
    DECIMAL_COMMA,
    Fault,
    as_share,
    check_range,
    parse_date,
    parse_number,
)
from growthcast.book.cells.records import Grid
from growthcast.book.cells.text import whole_file
from growthcast.book.slugs import finding
from growthcast.book.tables import TABLES, Column
from growthcast.book.words import column_letter, did_you_mean, shown
from growthcast.errors import Finding

__all__ = ["empty_table", "read_table"]

_MOST_GUESSES = 20  # looking for near misses takes its time


@dataclass(frozen=True, slots=True)
class _Converted:
    """One column's values by code, and the faults of its distinct cells."""

    values: NDArray[Any]
    faults: dict[int, Fault]
    midnights: int = 0


def empty_table(table: str) -> Table:
    """Return a table without rows, for a file that is not there."""
    none = np.zeros(0, np.int64)
    columns: dict[str, NDArray[Any]] = {c.name: _blank_column(c, 0) for c in TABLES[table]}
    coded = {c.name: Coded(none.astype(np.int32), ("",)) for c in TABLES[table] if c.kind == "id"}
    return Table(f"{table}.csv", none, columns, {}, coded, {})


def _blank_column(column: Column, size: int) -> NDArray[Any]:
    if column.kind == "number":
        return np.full(size, np.nan)
    if column.kind == "date":
        return np.full(size, "NaT", "datetime64[D]")
    return np.full(size, "", object)


def read_table(grid: Grid, table: str) -> tuple[Table, list[Finding]]:
    """Return the table with every cell converted, and what was found in it."""
    places, findings = match_header(grid, table)
    decimal_comma = _has_decimal_commas(grid, table, places)
    if decimal_comma:
        found = "numbers with decimal commas"
        findings.append(
            whole_file("decimal-comma-file", grid.file, found, "decimal points", "nothing to do")
        )
    columns: dict[str, NDArray[Any]] = {}
    coded: dict[str, Coded] = {}
    letters: dict[str, str] = {}
    for column in TABLES[table]:
        index = places.get(column.name)
        if index is None:
            cells = Coded(np.broadcast_to(np.int32(0), grid.rows.size), ("",))
        else:
            cells = grid.columns[index]
            letters[column.name] = column_letter(index)
        done = _convert(cells.values, column, decimal_comma)
        if len(cells.values) == 1:  # a blank column takes no room
            columns[column.name] = np.broadcast_to(done.values[0], grid.rows.size)
        else:
            columns[column.name] = done.values[cells.codes]
        if index is not None:
            findings += _cell_findings(grid, index, column, cells, done)
        if column.kind == "id":
            coded[column.name] = _blanks_as_one(cells)
    extra = {
        _extra_name(grid, index): tuple(np.array(c.values, object)[c.codes].tolist())
        for index, c in enumerate(grid.columns)
        if index not in places.values()
    }
    return Table(grid.file, grid.rows, columns, extra, coded, letters), findings


def _extra_name(grid: Grid, index: int) -> str:
    return grid.header[index].strip() or f"column {column_letter(index)}"


def _cell_findings(
    grid: Grid, index: int, column: Column, cells: Coded, done: _Converted
) -> list[Finding]:
    findings = []
    letter = column_letter(index)
    faults = dict(done.faults)
    if column.required:
        blank = Fault("blank-cell", "a blank cell", f"fill in {column.expected}")
        faults |= {code: blank for code, cell in enumerate(cells.values) if not cell.strip()}
    for at in np.flatnonzero(np.isin(cells.codes, list(faults))).tolist() if faults else ():
        code = int(cells.codes[at])
        fault = faults[code]
        blank_cell = fault.slug == "blank-cell"
        found = fault.why if blank_cell else f"{shown(cells.values[code].strip())}, {fault.why}"
        findings.append(
            finding(
                fault.slug,
                grid.file,
                int(grid.rows[at]),
                letter,
                column.name,
                found,
                column.expected,
                fault.fix,
            )
        )
    if done.midnights:
        fix = "nothing to do; dates are written YYYY-MM-DD"
        found = "dates followed by 00:00:00"
        findings.append(
            finding("midnight", grid.file, None, letter, column.name, found, column.expected, fix)
        )
    return findings


def _has_decimal_commas(grid: Grid, table: str, places: dict[str, int]) -> bool:
    """Whether a file's numbers have decimal commas."""
    if grid.delimiter == ",":
        return False
    return any(
        DECIMAL_COMMA.fullmatch(cell.strip())
        for column in TABLES[table]
        if column.kind == "number" and column.name in places
        for cell in grid.columns[places[column.name]].values
    )


def _blanks_as_one(cells: Coded) -> Coded:
    """Return an id column in which every blank cell has code 0."""
    blank = [code for code, cell in enumerate(cells.values) if not cell.strip()]
    if len(blank) <= 1:
        return cells
    codes = np.where(np.isin(cells.codes, blank), np.int32(0), cells.codes)
    return Coded(codes, tuple(cell if cell.strip() else "" for cell in cells.values))


def _convert(cells: tuple[str, ...], column: Column, decimal_comma: bool) -> _Converted:
    if column.kind == "number":
        return _numbers(cells, column, decimal_comma)
    if column.kind == "date":
        return _dates(cells)
    if column.kind == "choice":
        return _words(cells, column)
    if column.kind == "flag":
        return _flags(cells)
    return _ids(cells) if column.kind == "id" else _texts(cells)


def _numbers(cells: tuple[str, ...], column: Column, decimal_comma: bool) -> _Converted:
    values = np.full(len(cells), np.nan)
    faults: dict[int, Fault] = {}
    for code, cell in enumerate(cells):
        text = cell.strip()
        if not text:
            continue
        number = parse_number(text, decimal_comma=decimal_comma)
        fault = number if isinstance(number, Fault) else check_range(number, column)
        if fault and column.unit == "share" and text.endswith("%"):
            share = parse_number(text.rstrip("% "), decimal_comma=decimal_comma)
            if not isinstance(share, Fault):
                fault = replace(fault, fix=f"write {as_share(share)}")
        if fault is not None:
            faults[code] = fault
        elif not isinstance(number, Fault):
            values[code] = number
    return _Converted(values, faults)


def _dates(cells: tuple[str, ...]) -> _Converted:
    values = np.full(len(cells), "NaT", "datetime64[D]")
    faults: dict[int, Fault] = {}
    midnights = 0
    for code, cell in enumerate(cells):
        text = cell.strip()
        if not text:
            continue
        day = parse_date(text)
        if isinstance(day, Fault):
            faults[code] = day
        else:
            values[code] = np.datetime64(day[0], "D")
            midnights += day[1]
    return _Converted(values, faults, midnights)


def _words(cells: tuple[str, ...], column: Column) -> _Converted:
    faults: dict[int, Fault] = {}
    for code, cell in enumerate(cells):
        text = cell.strip()
        if text and text not in column.choices:
            fix = "write " + " or ".join(column.choices)
            if len(faults) < _MOST_GUESSES:
                fix = did_you_mean(text, column.choices, fix)
            faults[code] = Fault("not-a-choice", "which is none of the words known", fix)
    return _Converted(np.array([cell.strip() for cell in cells], object), faults)


def _flags(cells: tuple[str, ...]) -> _Converted:
    values = [cell.strip().casefold() for cell in cells]  # spreadsheets write TRUE and FALSE
    faults = {
        code: Fault("not-a-choice", "which is neither true nor false", "write true or false")
        for code, text in enumerate(values)
        if text not in {"", "true", "false"}
    }
    return _Converted(np.array(values, object), faults)


def _ids(cells: tuple[str, ...]) -> _Converted:
    faults: dict[int, Fault] = {}
    for code, cell in enumerate(cells):
        why = _why_not_an_id(cell)
        if why:
            fix = "name it with letters, digits, spaces, hyphens or underscores"
            faults[code] = Fault("id-form", why, fix)
    values = [cell if cell.strip() else "" for cell in cells]
    return _Converted(np.array(values, object), faults)


def _why_not_an_id(cell: str) -> str | None:
    if cell[:1] in {"-", "."}:
        return f"which begins with {shown(cell[0])}"
    if "/" in cell or "\\" in cell:
        return "which holds a slash or backslash"
    if not cell.isprintable() and any(ord(c) < 32 or 127 <= ord(c) < 160 for c in cell):
        return "which holds a control character"
    return None


def _texts(cells: tuple[str, ...]) -> _Converted:
    values = [cell if cell.strip() else "" for cell in cells]
    return _Converted(np.array(values, object), {})
