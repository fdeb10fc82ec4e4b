"""The book as an Excel workbook: a sheet a table, lists of choices."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import xlsxwriter

from growthcast.book.findings import refusal
from growthcast.book.names import names_of_plants
from growthcast.book.read import read_species
from growthcast.book.sheets import values
from growthcast.book.tables import TABLES, Column
from growthcast.book.words import column_letter, printable
from growthcast.book.writing.replace import refusals_in_words, write_whole
from growthcast.book.writing.source import Record, Source, read_source
from growthcast.errors import UsageError
from growthcast.nouns import dataclass

MOST_ROWS = 400_000
"""Rows of a sheet at most: more, and the spreadsheet that comes back would not be read."""
LONGEST_CELL = 32_767
"""Characters of a cell at most, as spreadsheets have it."""
ROOM_ROWS = 1000
"""Rows below the last which offer the same choices, for what is typed there."""

_HOMES = {"tank_id": "tanks", "area_id": "areas"}
"""In whose columns a sheet offers the ids of others."""


@dataclass(frozen=True, slots=True)
class Heading:
    """One column of a sheet: what its first row says, what its cells hold, what they offer.

    ``choices`` are words, or a range of another sheet as a formula.
    """

    text: str
    meaning: str = ""
    kind: str = "text"
    width: int = 12
    choices: tuple[str, ...] | str = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet; ``rows`` can be gone through once."""

    name: str
    headings: tuple[Heading, ...]
    rows: Iterable[tuple[values.Value, ...]]
    count: int


def book_sheets(folder: Path) -> list[Sheet]:
    """Return the sheets of a book that was found without problems.

    Raises
    ------
    BookProblems
        A file that cannot be taken apart.
    UsageError
        More rows or longer cells than a spreadsheet holds.
    """
    sources = {table: read_source(folder, table) for table in TABLES}
    species = _plants(folder)
    offered = {"species_id": f"={values.LISTS}!$A$2:$A${1 + len(species)}"}
    for name, home in _HOMES.items():
        source = sources[home]
        letter = column_letter([known for known, _ in _columns(source)].index(name))
        last = 1 + sum(1 for _ in source.records()) + ROOM_ROWS
        offered[name] = f"={home}!${letter}$2:${letter}${last}"
    sheets = list[Sheet]()
    for table, source in sources.items():
        records, columns = [record for record, _ in source.rows()], _columns(source)
        most = min(MOST_ROWS, values.MOST_CELLS // len(columns) - 1)
        if len(records) > most:
            raise UsageError(refusal("many-rows", table=table, count=len(records), most=most))
        own = "species_id" if table == "species" else f"{table[:-1]}_id"
        headings = tuple(_heading(*one, {} if one[0] == own else offered) for one in columns)
        sheets.append(Sheet(table, headings, _rows(source, records, columns), len(records)))
    heads = Heading("species_id", "every plant known, for the choices; not read back", width=34)
    names = (Heading("common name", width=34), Heading("Latin name", width=34))
    plants = ((name, *of_plant) for name, of_plant in species.items())
    sheets.append(Sheet(values.LISTS, (heads, *names), plants, len(species)))
    stamps = [*values.stamp_rows(sources)]
    heads_of_stamp = tuple(map(Heading, ("table", "key", "columns", "checksums")))
    sheets.append(Sheet(values.STAMP, heads_of_stamp, stamps, len(stamps)))
    return sheets


def _columns(source: Source) -> list[tuple[str, Column | None]]:
    """Return the file's columns in its order, then the declared ones it does not have."""
    declared = {column.name: column for column in TABLES[source.table]}
    absent = [name for name in declared if name not in source.names]
    return [(name, declared.get(name)) for name in (*source.names, *absent)]


def _plants(folder: Path) -> dict[str, tuple[str, str]]:
    """Return the spoken names and the Latin one of every plant by its id, in order of the ids."""
    named = names_of_plants(read_species(folder))
    return {one: ("; ".join(filter(None, named[one][2:])), named[one][1]) for one in sorted(named)}


def _heading(name: str, column: Column | None, offered: Mapping[str, str]) -> Heading:
    text = values.heading_text(name, column)
    width = min(max(len(text) + 2, 12), 40)
    if column is None:
        return Heading(text, "a column of the practice's own", width=width)
    kind, usual = column.kind, column.choices
    choices = offered.get(name) or usual or (("true", "false") if kind == "flag" else ())
    wide = 40 if name == "note" else width + (6 if kind == "id" else 0)
    return Heading(text, f"{column.meaning}; {column.expected}", kind, wide, choices)


def _rows(
    source: Source, records: Sequence[Record], columns: Sequence[tuple[str, Column | None]]
) -> Iterator[tuple[values.Value, ...]]:
    width = len(source.names)
    for record in records:
        kept = record.cells[:width]
        cells: list[values.Value] = []
        for (name, column), cell in zip(columns, kept, strict=False):
            if len(cell) > LONGEST_CELL:
                said = {"file": source.file, "row": record.row, "name": name}
                said |= {"count": len(cell), "most": LONGEST_CELL}
                raise UsageError(refusal("long-text", **said))
            cells.append(values.as_value(cell, column, decimal_comma=source.decimal_comma))
        yield (*cells, *(None,) * (len(columns) - len(cells)))


_FIRST_DAY = dt.date(1900, 3, 1)  # earlier ones are counted wrongly by that format
_MADE = dt.datetime(2000, 1, 1)  # the same book gives the same bytes
_AS_TYPED = {
    "strings_to_formulas": False,
    "strings_to_numbers": False,
    "strings_to_urls": False,
    "constant_memory": True,
}
_NOT_LISTED = {
    "validate": "list",
    "error_type": "warning",
    "error_title": "Not in the list",
    "error_message": "This is none of the words known here. Keep it?",
}


def export_book(folder: Path, file: Path) -> dict[str, int]:
    """Write a book's sheets as a workbook; return how many rows each has.

    Raises
    ------
    BookProblems
        A file of the book that cannot be taken apart.
    UsageError
        A place that cannot be written, or more than a spreadsheet holds.
    """
    sheets = book_sheets(folder)
    write_whole(file, xlsx_bytes(sheets))
    return {sheet.name: sheet.count for sheet in sheets}


def check_workbook_target(file: Path) -> bool:
    """Return whether a workbook is there to be replaced: only an ordinary file of that kind."""
    named = printable(str(file))
    with refusals_in_words(file):
        if file.is_symlink():
            raise UsageError(f'"{named}" is a link; name an ordinary file')
        if file.exists() and not zipfile.is_zipfile(file):
            raise UsageError(refusal("no-workbook-there", named=named))
        return file.exists()


def xlsx_bytes(sheets: list[Sheet]) -> bytes:
    """Return the workbook of the sheets; nothing in it is protected or run."""
    stream = io.BytesIO()
    workbook = xlsxwriter.Workbook(stream, _AS_TYPED)
    workbook.set_properties({"created": _MADE, "title": "A growthcast book"})
    forms = {"date": "yyyy-mm-dd", "text": "@", "number": "General"}
    formats = {kind: workbook.add_format({"num_format": form}) for kind, form in forms.items()}
    formats["head"] = workbook.add_format({"bold": True, "text_wrap": True, "valign": "top"})
    try:
        for sheet in sheets:
            page = workbook.add_worksheet(sheet.name)
            _write(page, sheet, formats)
            if sheet.name == values.STAMP:
                page.very_hidden()
    finally:
        workbook.close()  # its temporary files go with it, also where a row cannot be written
    return stream.getvalue()


def _write(page: Any, sheet: Sheet, formats: dict[str, Any]) -> None:
    """Write a sheet; what is typed in a column stays text where the book holds text."""
    forms = [formats.get(heading.kind, formats["text"]) for heading in sheet.headings]
    last = sheet.count + ROOM_ROWS
    page.freeze_panes(1, 0)
    for at, heading in enumerate(sheet.headings):
        page.set_column(at, at, heading.width, forms[at])
        page.write_string(0, at, heading.text, formats["head"])
        if heading.meaning:
            page.write_comment(0, at, heading.meaning)
        if heading.choices:
            source = heading.choices
            choice = {"source": source if isinstance(source, str) else list(source)}
            page.data_validation(1, at, last, at, _NOT_LISTED | choice)
    for row, cells in enumerate(sheet.rows, start=1):
        for at, value in enumerate(cells):
            form = forms[at]
            if isinstance(value, dt.date):
                counted = value >= _FIRST_DAY
                form = formats["date" if counted else "text"]
                value = value if counted else str(value)
            page.write(row, at, values.canonical(value) if isinstance(value, str) else value, form)
