"""Sheets to an Excel workbook and to its file: dates are dates, numbers numbers, text is text."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from pathlib import Path
from typing import Any

import xlsxwriter

from growthcast.book.checks.names import FILES
from growthcast.book.sheets.export import Sheet, book_sheets
from growthcast.book.sheets.values import Value, canonical
from growthcast.book.words import printable
from growthcast.book.writing.whole import write_whole
from growthcast.errors import UsageError

_FIRST_DAY = dt.date(1900, 3, 1)  # earlier ones are counted wrongly by that format
_MADE = dt.datetime(2000, 1, 1)  # the same book gives the same bytes
_AS_TYPED = {
    "strings_to_formulas": False,
    "strings_to_numbers": False,
    "strings_to_urls": False,
    "constant_memory": True,
}
_MOST_ROWS = 1_048_576


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


def check_workbook_target(folder: Path, file: Path) -> bool:
    """Return whether a workbook is there to be replaced; refuse any other place.

    Only an ordinary file of the same kind is replaced, never one of the book's own.
    """
    named = printable(str(file))
    if file.suffix.lower() != ".xlsx":
        raise UsageError(f'"{named}" must end in .xlsx, so that a spreadsheet opens it')
    try:
        if not file.parent.is_dir():
            raise UsageError(f'there is no folder for "{named}"; make it first')
        if file.is_symlink():
            raise UsageError(f'"{named}" is a link; name an ordinary file')
        if not file.exists():
            return False
        if file.is_dir():
            raise UsageError(f'"{named}" is a folder; name a file in it')
        for name in FILES:
            kept = folder / name
            if kept.exists() and file.samefile(kept):
                raise UsageError(f'"{named}" is {name} of the book; write the sheets elsewhere')
        if not zipfile.is_zipfile(file):
            raise UsageError(
                f'"{named}" is there already and is no workbook; it was left as it is: name '
                "another file"
            )
    except OSError as error:
        reason = (error.strerror or "no reason given").lower()
        raise UsageError(f'"{named}" cannot be written: {reason}') from error
    return True


def xlsx_bytes(sheets: list[Sheet]) -> bytes:
    """Return the workbook of the sheets; nothing in it is protected or run."""
    stream = io.BytesIO()
    workbook = xlsxwriter.Workbook(stream, _AS_TYPED)
    workbook.set_properties({"created": _MADE, "title": "A growthcast book"})
    formats = {
        "head": workbook.add_format({"bold": True, "text_wrap": True, "valign": "top"}),
        "date": workbook.add_format({"num_format": "yyyy-mm-dd"}),
        "text": workbook.add_format({"num_format": "@"}),
        "number": workbook.add_format({"num_format": "General"}),
    }
    try:
        for sheet in sheets:
            _write(workbook.add_worksheet(sheet.name), sheet, formats)
    finally:
        workbook.close()  # its temporary files go with it, also where a row cannot be written
    return stream.getvalue()


def _write(page: Any, sheet: Sheet, formats: dict[str, Any]) -> None:
    page.freeze_panes(1, 0)
    for at, heading in enumerate(sheet.headings):
        page.set_column(at, at, heading.width, formats[_form(heading.kind)])
        page.write_string(0, at, heading.text, formats["head"])
        if heading.meaning:
            page.write_comment(0, at, heading.meaning)
        last = min(sheet.count + sheet.room, _MOST_ROWS - 1)
        source: Any = list(heading.choices)
        if heading.choices_from is not None:
            home, letter, end = heading.choices_from
            source = f"={home}!${letter}$2:${letter}${end}"
        if source:
            choice = {
                "validate": "list",
                "source": source,
                "error_type": "warning",
                "error_title": "Not in the list",
                "error_message": "This is none of the words known here. Keep it?",
            }
            page.data_validation(1, at, last, at, choice)
    for row, values in enumerate(sheet.rows, start=1):
        for at, value in enumerate(values):
            _put(page, row, at, value, formats[_form(sheet.headings[at].kind)], formats)


def _form(kind: str) -> str:
    """Return the form of a column: what is typed there stays text where the book holds text."""
    return kind if kind in {"date", "number"} else "number" if kind == "value" else "text"


def _put(page: Any, row: int, at: int, value: Value, form: Any, formats: dict[str, Any]) -> None:
    if value is None:
        return
    if isinstance(value, bool):
        page.write_boolean(row, at, value)
    elif isinstance(value, int | float):
        page.write_number(row, at, value, form)
    elif isinstance(value, dt.datetime):
        page.write_string(row, at, value.isoformat(sep=" "), formats["text"])
    elif isinstance(value, dt.date):
        if value >= _FIRST_DAY:
            page.write_datetime(row, at, value, formats["date"])
        else:
            page.write_string(row, at, value.isoformat(), formats["text"])
    else:
        page.write_string(row, at, canonical(str(value)), form)
