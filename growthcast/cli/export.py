"""growthcast export: the book as a workbook."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

from growthcast.cli.options import AsJson, BookFolder, folder_of, option
from growthcast.cli.output import print_answer, say
from growthcast.errors import UsageError

Xlsx = Annotated[Path | None, option("--xlsx", "FILE", "The workbook to write.")]


def export_command(book: BookFolder = None, xlsx: Xlsx = None, as_json: AsJson = False) -> None:
    """Write a book as a workbook, one sheet a table, to be typed in and imported again.

    Example: growthcast export my-book --xlsx my-book.xlsx

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.book.read import read_book
    from growthcast.book.sheets.xlsx import check_workbook_target, export_book

    if xlsx is None:
        raise UsageError("name the file to write: --xlsx FILE.xlsx")
    folder = folder_of(book)
    there = check_workbook_target(folder, xlsx)
    read_book(folder, today=date.today())
    rows = export_book(folder, xlsx)
    say(f"{'Replaced the workbook' if there else 'Wrote'} {xlsx}")
    sheets = ", ".join(f"{name} {count}" for name, count in rows.items() if name != "lists")
    lines = [
        f"{xlsx.name}: rows in each sheet: {sheets}.",
        f"Type in it, save it, then see what would change: growthcast import {xlsx} BOOK",
    ]
    print_answer(as_json, {"written": [{"file": str(xlsx), "rows": rows}]}, lines)
