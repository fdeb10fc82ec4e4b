"""growthcast export: the book as a spreadsheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from growthcast.cli.options import AsJson, BookFolder
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from pathlib import Path

Xlsx = Annotated[
    str | None,
    typer.Option("--xlsx", metavar="FILE", help="Write an Excel workbook.", show_default=False),
]
Ods = Annotated[
    str | None,
    typer.Option(
        "--ods", metavar="FILE", help="Write an OpenDocument spreadsheet.", show_default=False
    ),
]


def export_command(
    book: BookFolder = None, xlsx: Xlsx = None, ods: Ods = None, as_json: AsJson = False
) -> None:
    """Write a book as a spreadsheet, one sheet a table, to be typed in and imported again.

    Example: growthcast export my-book --xlsx my-book.xlsx

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from datetime import date
    from pathlib import Path

    from growthcast.book import find_book, read_book
    from growthcast.book.sheets.save import check_workbook_target, export_book
    from growthcast.cli.output import print_json, say

    files = [Path(f) for f in (xlsx, ods) if f is not None]
    if not files:
        raise UsageError("name the file to write: --xlsx FILE or --ods FILE")
    folder, fell_back = find_book(book)
    if fell_back:
        say(fell_back)
    suffixes = [".xlsx"] * (xlsx is not None) + [".ods"] * (ods is not None)
    there = [check_workbook_target(folder, f, s) for f, s in zip(files, suffixes, strict=True)]
    read_book(folder, today=date.today())
    written = {}
    for file, replaced in zip(files, there, strict=True):
        written[file] = export_book(folder, file)
        say(f"{'Replaced the workbook' if replaced else 'Wrote'} {file}")
    if as_json:
        listed = [{"file": str(file), "rows": dict(rows)} for file, rows in written.items()]
        print_json({"written": listed})
        return
    _tell(written)


def _tell(written: dict[Path, dict[str, int]]) -> None:
    from growthcast.cli.output import print_line

    for file, rows in written.items():
        sheets = ", ".join(f"{name} {count}" for name, count in rows.items() if name != "lists")
        print_line(f"{file.name}: rows in each sheet: {sheets}.")
        print_line(
            f"Type in it, save it, then see what would change: growthcast import {file} BOOK"
        )
