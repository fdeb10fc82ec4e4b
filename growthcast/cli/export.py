"""growthcast export: the book as a workbook."""

from __future__ import annotations

from typing import Annotated

import typer

from growthcast.cli.options import AsJson, BookFolder

Xlsx = Annotated[str, typer.Option("--xlsx", metavar="FILE", help="The workbook to write.")]


def export_command(xlsx: Xlsx, book: BookFolder = None, as_json: AsJson = False) -> None:
    """Write a book as a workbook, one sheet a table, to be typed in and imported again.

    Example: growthcast export my-book --xlsx my-book.xlsx

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from datetime import date
    from pathlib import Path

    from growthcast.book import find_book, read_book
    from growthcast.book.sheets.xlsx import check_workbook_target, export_book
    from growthcast.cli.output import print_json, print_line, say

    folder, fell_back = find_book(book)
    if fell_back:
        say(fell_back)
    file = Path(xlsx)
    there = check_workbook_target(folder, file)
    read_book(folder, today=date.today())
    rows = export_book(folder, file)
    say(f"{'Replaced the workbook' if there else 'Wrote'} {file}")
    if as_json:
        print_json({"written": [{"file": str(file), "rows": rows}]})
        return
    sheets = ", ".join(f"{name} {count}" for name, count in rows.items() if name != "lists")
    print_line(f"{file.name}: rows in each sheet: {sheets}.")
    print_line(f"Type in it, save it, then see what would change: growthcast import {file} BOOK")
