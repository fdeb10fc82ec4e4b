"""A workbook to its file: never over the book, whole or not at all."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

from growthcast.book.checks.names import FILES
from growthcast.book.sheets.export import book_sheets
from growthcast.book.words import printable
from growthcast.book.writing.whole import write_whole
from growthcast.errors import UsageError

__all__ = ["check_workbook_target", "export_book"]

_HOLDS = {".xlsx": "xl/workbook.xml", ".ods": "content.xml"}


def export_book(folder: Path, file: Path) -> dict[str, int]:
    """Write a book's sheets as .xlsx or .ods, whichever the file's name says; return their rows.

    Raises
    ------
    BookProblems
        A file of the book that cannot be taken apart.
    UsageError
        A place that cannot or must not be written, or more than a spreadsheet holds.
    """
    check_workbook_target(folder, file, file.suffix.lower())
    sheets = book_sheets(folder)
    if file.suffix.lower() == ".xlsx":
        from growthcast.book.sheets.forms.xlsx import xlsx_bytes

        data = xlsx_bytes(sheets)
    else:
        from growthcast.book.sheets.forms.ods import ods_bytes

        data = ods_bytes(sheets)
    write_whole(file, data)
    return {sheet.name: sheet.count for sheet in sheets}


def check_workbook_target(folder: Path, file: Path, suffix: str) -> bool:
    """Return whether a workbook is there to be replaced; refuse any other place.

    Only an ordinary file of the same kind is replaced, never one of the book's own.
    """
    named = printable(str(file))
    if suffix not in _HOLDS or file.suffix.lower() != suffix:
        ending = suffix if suffix in _HOLDS else ".xlsx or .ods"
        raise UsageError(f'"{named}" must end in {ending}, so that a spreadsheet opens it')
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
        if not file.is_file() or not _is_workbook(file, suffix):
            raise UsageError(
                f'"{named}" is there already and is no {suffix[1:]} workbook; it was left as it '
                "is: name another file"
            )
    except OSError as error:
        reason = (error.strerror or "no reason given").lower()
        raise UsageError(f'"{named}" cannot be written: {reason}') from error
    return True


def _is_workbook(file: Path, suffix: str) -> bool:
    if not file.stat().st_size:
        return False
    try:
        with zipfile.ZipFile(file) as packed:
            return _HOLDS[suffix] in packed.namelist()
    except (zipfile.BadZipFile, ValueError, io.UnsupportedOperation):
        return False
