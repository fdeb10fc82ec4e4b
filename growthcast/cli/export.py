"""growthcast export: the book as a spreadsheet."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

from growthcast.cli.options import AsJson, BookFolder, folder_of, option
from growthcast.cli.output import print_answer, say
from growthcast.errors import UsageError

Xlsx = Annotated[Path | None, option("--xlsx", "FILE", "Write an Excel workbook.")]
Ods = Annotated[Path | None, option("--ods", "FILE", "Write an OpenDocument spreadsheet.")]


def export_command(
    book: BookFolder = None, xlsx: Xlsx = None, ods: Ods = None, as_json: AsJson = False
) -> None:
    """Write a book as a spreadsheet, one sheet a table, to be typed in and imported again.

    Example: growthcast export my-book --xlsx my-book.xlsx

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.book.read import read_book
    from growthcast.book.sheets.save import check_workbook_target, export_book

    wanted = {file: suffix for file, suffix in ((xlsx, ".xlsx"), (ods, ".ods")) if file}
    if not wanted:
        raise UsageError("name the file to write: --xlsx FILE or --ods FILE")
    folder = folder_of(book)
    there = {file: check_workbook_target(folder, file, suffix) for file, suffix in wanted.items()}
    read_book(folder, today=date.today())
    written, lines = [], []
    for file, replaced in there.items():
        rows = export_book(folder, file)
        say(f"{'Replaced the workbook' if replaced else 'Wrote'} {file}")
        written.append({"file": str(file), "rows": rows})
        sheets = ", ".join(f"{name} {count}" for name, count in rows.items() if name != "lists")
        lines += [
            f"{file.name}: rows in each sheet: {sheets}.",
            f"Type in it, save it, then see what would change: growthcast import {file} BOOK",
        ]
    print_answer(as_json, {"written": written}, lines)
