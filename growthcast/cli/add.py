"""growthcast add: a tank, a planted area or another row, checked before it is written."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from growthcast.book.report import format_finding
from growthcast.book.shipped import find_own_book
from growthcast.book.words import did_you_mean, shown
from growthcast.cli.options import AsJson, argument
from growthcast.cli.output import print_answer, say
from growthcast.errors import UsageError
from growthcast.say.words import count_of

Kind = Annotated[str, typer.Argument(metavar="tank|area|conditions|closed", help="What to add.")]
BookAndCells = Annotated[
    list[str] | None,
    argument(
        "[BOOK] COLUMN=VALUE",
        "Folder of the book (default: this folder), then its cells, such as "
        "water_depth_cm=45; text with spaces in quotes.",
    ),
]


def add_command(kind: Kind, cells: BookAndCells = None, as_json: AsJson = False) -> None:
    """Add a tank, an area, conditions or closed days to a book, checked first, as a new last row.

    Example: growthcast add tank my-book tank_id=lobby client="Client A" water_depth_cm=45

    Exit status: 0 done, 2 the row does not check or cannot be written, 3 the tool itself failed.
    """
    from growthcast.book.writing.append import add_rows
    from growthcast.book.writing.cells import KINDS, parse_row, row_in_words

    if kind not in KINDS:
        hint = did_you_mean(kind, KINDS, "write tank, area, conditions or closed")
        raise UsageError(f"{shown(kind)} cannot be added; {hint}")
    given = cells or []
    named = given[0] if given and "=" not in given[0] else None
    folder = find_own_book(named)
    table = KINDS[kind]
    row = parse_row(kind, given[1:] if named else given, _own_columns(folder, table))
    words = row_in_words(row)
    added = add_rows(folder, table, [row], today=date.today(), command=f"add {kind}", summary=words)
    for item in added.findings:
        say(format_finding(item))
    if added.problems_before:
        problems = count_of(len(added.problems_before), "problem")
        say(f"The book has {problems} still: see growthcast check {folder}")
    print_answer(as_json, {"table": table, "row": row}, [f"Added to {table}.csv: {words}."])


def _own_columns(folder: Path, table: str) -> tuple[str, ...]:
    """Return the header of a table as typed; empty where there is no such file."""
    from growthcast.book.writing.dialect import dialect_of
    from growthcast.book.writing.replace import read_file

    data = read_file(folder, f"{table}.csv")
    return tuple(name.strip() for name in dialect_of(data, table).header) if data else ()
