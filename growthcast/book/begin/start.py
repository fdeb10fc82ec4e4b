"""A new book: its files with nothing in them yet but what a person needs to fill them in."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import tomlkit

from growthcast.book.begin.typed import Row, complete_areas
from growthcast.book.files import FILES
from growthcast.book.findings import refusal
from growthcast.book.names import plant_meant
from growthcast.book.read import inspect_book, read_shipped_species
from growthcast.book.sheets.load import Workbook
from growthcast.book.sheets.merge import Merge, check_merge, merge_workbook
from growthcast.book.sheets.values import SheetTable, Value, as_text
from growthcast.book.supposed import Cell
from growthcast.book.tables import TABLES, Column
from growthcast.book.words import slug
from growthcast.book.writing.replace import write_new
from growthcast.book.writing.source import edited, taken_apart
from growthcast.errors import RowsRefused, UsageError

GUIDE = "README.txt"
"""The explanations of a new book, since tables hold no comments; readers pass it by."""

_TEMPLATES = Path(__file__).with_name("new_book")

_NEW = ("tanks", "areas", "trims", "conditions", "closed")
_WIDTH = 96


def check_new_folder(folder: Path) -> None:
    """Raise ``UsageError`` where a folder cannot become a book: it holds files of one already."""
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder} is a file; name a folder for the new book")
    there = [name for name in (*FILES, GUIDE) if (folder / name).exists()]
    if there:
        raise UsageError(refusal("folder-taken", folder=folder, there=", ".join(there)))


def start_book(
    folder: Path,
    practice: Mapping[str, str | float] | None = None,
    tanks: Sequence[Row] = (),
    areas: Sequence[Row] = (),
    *,
    today: date,
) -> tuple[str, ...]:
    """Write a new book into a folder, made if it is not there; return the names of its files.

    ``practice`` has keys of its section of ``practice.toml``; ``tanks`` and ``areas`` are rows, the
    latter without what can be proposed (see ``complete_areas``).

    Raises
    ------
    UsageError
        The folder holds a file of a book already, or an area's ground cannot be proposed.
    RowsRefused
        The book would have problems.
    NotWritten
        It cannot be written: nothing is ever written over.
    """
    check_new_folder(folder)
    whole = complete_areas(areas, tanks, read_shipped_species())
    files = check_rows(tanks, whole, today=today)
    document: Any = tomlkit.parse(files["practice.toml"].decode())
    document["practice"].update(practice or {})
    files["practice.toml"] = tomlkit.dumps(document).encode()
    write_new(folder, files, f"a new book, {len(tanks)} tanks, {len(whole)} areas")
    return tuple(files)


def start_from(folder: Path, workbook: Workbook, *, today: date) -> tuple[tuple[str, ...], Merge]:
    """Write a new book from a workbook's sheets; return the names of its files and what they hold.

    Raises as ``start_book`` does; findings name the rows and columns of the workbook.
    """
    check_new_folder(folder)
    files, species = new_files(), read_shipped_species()
    rows = {sheet.name: _rows_of(sheet) for sheet in workbook.tables}
    tanks, areas, troubles = rows.get("tanks", {}), rows.get("areas", {}), []
    for row in tanks.values():
        row["tank_id"] = slug(str(row.get("tank_id") or row.get("name") or ""))
    for number, row in areas.items():
        row["tank_id"] = slug(str(row.get("tank_id") or ""))
        try:
            row["species_id"] = plant_meant(species, str(row.get("species_id") or ""))
        except UsageError as trouble:
            troubles.append(f"{workbook.file}, sheet areas, row {number}: {trouble}")
    if troubles:
        raise UsageError("nothing was written; mend these rows:\n    " + "\n    ".join(troubles))
    whole = complete_areas([*areas.values()], [*tanks.values()], species)
    rows["areas"] = dict(zip(areas, whole, strict=True))
    again = [
        _sheet_of(one.name, rows[one.name]) if one.name in ("tanks", "areas") else one
        for one in workbook.tables
    ]
    with TemporaryDirectory() as empty:
        write_new(Path(empty), files, "")
        merge = merge_workbook(Path(empty), replace(workbook, tables=tuple(again)))
        check_merge(Path(empty), merge, workbook.file, today=today)
    files |= merge.files
    write_new(folder, files, f"a new book from {workbook.file}")
    return tuple(files), merge


def _rows_of(sheet: SheetTable) -> dict[int, Row]:
    """Return a sheet's rows by their numbers, texts and numbers as they stand there."""

    def cell(value: Value) -> Cell:
        if isinstance(value, int | float):
            return float(value)
        return as_text(value) or None

    return {n: dict(zip(sheet.names(), map(cell, row), strict=False)) for n, row in sheet.rows}


def _sheet_of(table: str, rows: Mapping[int, Row]) -> SheetTable:
    """Return rows as a sheet."""
    names = tuple(dict.fromkeys(name for row in rows.values() for name in row if name))
    cells = ((number, tuple(row.get(name) for name in names)) for number, row in rows.items())
    return SheetTable(table, names, tuple(cells))


def new_files() -> dict[str, bytes]:
    """Return the files of a new book by name: a header each, and the guide."""
    files = {"practice.toml": (_TEMPLATES / "practice.toml").read_bytes()}
    for table in _NEW:
        header = ",".join(column.name for column in TABLES[table])
        files[f"{table}.csv"] = f"{header}\n".encode()
    return files | {GUIDE: _guide().encode()}


def check_rows(tanks: Sequence[Row], areas: Sequence[Row], *, today: date) -> dict[str, bytes]:
    """Return the files of a new book with rows; ``RowsRefused`` where it would have problems."""
    files = new_files()
    for table, rows in (("tanks", tanks), ("areas", areas)):
        files[f"{table}.csv"] = edited(taken_apart(files[f"{table}.csv"], table)[0], {}, rows)[0]
    _, findings = inspect_book(None, today=today, instead=files)
    problems = tuple(i for i in findings if i.level == "problem" and i.slug != "no-rows")
    if problems:
        raise RowsRefused(problems)
    return files


def _guide() -> str:
    text = (_TEMPLATES / GUIDE).read_text(encoding="utf-8")
    return text.format(**{table: "\n".join(map(_explained, TABLES[table])) for table in _NEW})


def _explained(column: Column) -> str:
    """Return what a column holds, in lines; one that must be filled in has a star."""
    must = "*" if column.required else ""
    holds = "" if column.kind in {"text", "id"} else f" ({column.expected})"
    text = f"{column.name}{must}: {column.meaning}{holds}"
    return textwrap.fill(text, _WIDTH, initial_indent="  ", subsequent_indent="      ")
