"""A grid of cells to a table of checked columns, by the declarations in ``tables``."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growthcast.book.book import Table
from growthcast.book.cells.numbers import DECIMAL_COMMA, check_range, parse_date, parse_number
from growthcast.book.cells.records import Coded, Grid
from growthcast.book.findings import Fault, fault_of, finding
from growthcast.book.tables import TABLES, Column
from growthcast.book.words import as_share, column_letter, did_you_mean, is_one_slip, nearest, shown
from growthcast.errors import Finding

_MOST_GUESSES = 20  # looking for near misses takes its time
_ID = re.compile(r"[^-./\\\x00-\x1f\x7f-\x9f][^/\\\x00-\x1f\x7f-\x9f]*")


def match_header(grid: Grid, table: str) -> tuple[dict[str, int], list[Finding]]:
    """Return the place of each known column, and what is odd about the header."""
    declared = {column.name: column.required for column in TABLES[table]}
    findings: list[Finding] = []

    def add(slug: str, index: int | None, heading: str, **values: Any) -> None:
        letter = None if index is None else column_letter(index)
        findings.append(finding(slug, grid.file, grid.header_row, letter, heading, **values))

    places: dict[str, int] = {}
    odd: dict[int, str] = {}  # places of names nobody declared
    first: dict[str, int] = {}
    for index, typed in enumerate(grid.header):
        name = typed.strip().casefold()
        if name and first.setdefault(name, index) != index:
            heading = name if name in declared else "header"
            add("double-column", index, heading, name=name, letter=column_letter(first[name]))
        elif name in declared:
            places[name] = index
        else:
            odd[index] = name
    absent = [name for name in declared if name not in places]
    near: set[str] = set()
    for count, (index, name) in enumerate(odd.items()):
        typed = grid.header[index]
        if slip := next((known for known in absent if name and is_one_slip(name, known)), None):
            near.add(slip)
            add("near-column", index, "header", name=typed, meant=slip)
        elif name:
            fix = "nothing to do; the column is kept as it is"
            fix = did_you_mean(name, absent, fix) if count < _MOST_GUESSES else fix
            add("unknown-column", index, "header", name=typed, fix=fix)
        elif len(grid.columns[index].values) > 1:
            add("unnamed-column", index, "header")
    for name in absent:
        if declared[name] and name not in near:
            match = nearest(name, [other for other in odd.values() if other])
            fix = f"add the column {name}"
            fix += f"; is it the one named {shown(match)}?" if match else ""
            add("missing-column", None, name, fix=fix)
    return places, findings


def empty_table(table: str) -> Table:
    """Return a table without rows, for a file that is not there."""
    none = np.zeros(0, np.int64)
    columns: dict[str, NDArray[Any]] = {c.name: blank_column(c, 0) for c in TABLES[table]}
    return Table(f"{table}.csv", none, columns, {}, {})


def blank_column(column: Column, size: int) -> NDArray[Any]:
    """Return a column of blank cells."""
    if column.kind == "number":
        return np.full(size, np.nan)
    if column.kind == "date":
        return np.full(size, "NaT", "datetime64[D]")
    return np.full(size, "", object)


def read_table(grid: Grid, table: str) -> tuple[Table, list[Finding]]:
    """Return the table with every cell converted, and what was found in it."""
    places, findings = match_header(grid, table)
    decimal_comma = grid.delimiter != "," and any(
        DECIMAL_COMMA.fullmatch(cell) for cell in number_cells(grid, table, places)
    )
    if decimal_comma:
        findings.append(finding("decimal-comma-file", grid.file))
    columns: dict[str, NDArray[Any]] = {}
    letters: dict[str, str] = {}
    for column in TABLES[table]:
        index = places.get(column.name)
        if index is None:
            cells = Coded(np.broadcast_to(np.int32(0), grid.rows.size), ("",))
        else:
            cells = grid.columns[index]
            letters[column.name] = column_letter(index)
        values, faults = _convert(cells.values, column, decimal_comma)
        if len(cells.values) == 1:  # a blank column takes no room
            columns[column.name] = np.broadcast_to(values[0], grid.rows.size)
        else:
            columns[column.name] = values[cells.codes]
        if index is not None:
            findings += _cell_findings(grid, index, column, faults)
    extra: dict[str, tuple[str, ...]] = {}
    for index, known in enumerate(grid.columns):
        if index not in places.values():
            name = grid.header[index].strip() or f"column {column_letter(index)}"
            extra[name] = tuple(np.array(known.values, object)[known.codes].tolist())
    return Table(grid.file, grid.rows, columns, extra, letters), findings


def _cell_findings(
    grid: Grid, index: int, column: Column, faults: Mapping[int, Fault]
) -> Iterator[Finding]:
    cells, letter, expected = grid.columns[index], column_letter(index), column.expected
    texts = {code: cell.strip() for code, cell in enumerate(cells.values)}
    blank = {code for code, text in texts.items() if column.required and not text}
    odd = [*faults, *blank]
    for at in np.flatnonzero(np.isin(cells.codes, odd)).tolist() if odd else ():
        code, place = int(cells.codes[at]), (grid.file, int(grid.rows[at]), letter, column.name)
        if code in blank:
            yield finding("blank-cell", *place, expected=expected)
            continue
        fault, found = faults[code], f"{shown(texts[code])}, {faults[code].why}"
        yield finding(fault.slug, *place, found=found, expected=expected, fix=fault.fix)
    timed = (text for code, text in texts.items() if code not in faults)
    if column.kind == "date" and any(text.endswith("00:00:00") for text in timed):
        yield finding("midnight", grid.file, None, letter, column.name, expected=expected)


def number_cells(grid: Grid, table: str, places: Mapping[str, int]) -> Iterator[str]:
    """Yield the distinct cells of a file's number columns."""
    for column in TABLES[table]:
        if column.kind == "number" and column.name in places:
            yield from (cell.strip() for cell in grid.columns[places[column.name]].values)


def _convert(
    cells: tuple[str, ...], column: Column, decimal_comma: bool
) -> tuple[NDArray[Any], dict[int, Fault]]:
    """Return a column's distinct cells as values, and the faults among them."""
    values, faults = blank_column(column, len(cells)), dict[int, Fault]()
    for code, cell in enumerate(cells):
        if cell.strip():
            guess = len(faults) < _MOST_GUESSES
            values[code], fault = value_of(cell, column, decimal_comma, guess)
            if fault is not None:
                faults[code] = fault
    return values, faults


def value_of(
    cell: str, column: Column, decimal_comma: bool = False, guess: bool = True
) -> tuple[Any, Fault | None]:
    """Return what a cell holds and what is wrong with it; a wrong word or id stays as typed."""
    text = cell.strip()
    if column.kind == "number":
        number = parse_number(text, decimal_comma=decimal_comma)
        fault = number if isinstance(number, Fault) else check_range(number, column)
        if fault and column.unit == "share" and text.endswith("%"):
            share = parse_number(text.rstrip("% "), decimal_comma=decimal_comma)
            if not isinstance(share, Fault):
                fault = replace(fault, fix=f"write {as_share(share)}")
        return (np.nan if fault else number), fault
    if column.kind == "date":
        day = parse_date(text)
        return ("NaT", day) if isinstance(day, Fault) else (day, None)
    if column.kind == "choice":
        if text in column.choices:
            return text, None
        fix = "write " + " or ".join(column.choices)
        fix = did_you_mean(text, column.choices, fix) if guess else fix
        return text, Fault("not-a-choice", "which is none of the words known", fix)
    if column.kind == "flag":
        word = text.casefold()  # spreadsheets write TRUE and FALSE
        wrong = Fault("not-a-choice", "which is neither true nor false", "write true or false")
        return word, None if word in {"true", "false"} else wrong
    fits = column.kind != "id" or _ID.fullmatch(cell)
    return cell, None if fits else fault_of("id", cell)
