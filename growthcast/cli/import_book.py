"""growthcast import: a spreadsheet laid over the book; differences first, written when told to."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Any

import typer

from growthcast.cli.options import AsJson
from growthcast.errors import UsageError
from growthcast.plain import plain

if TYPE_CHECKING:
    from pathlib import Path

    from growthcast.book.sheets.merge import CellChange, Merge, RowChange, TableChanges
    from growthcast.errors import Finding

MOST_ROWS_SHOWN, MOST_KEPT_SHOWN = 40, 5
KEPT = "not in the sheet and kept"
LONGEST_SHOWN = 60

Workbook = Annotated[str, typer.Argument(metavar="FILE", help="The workbook, .xlsx, as exported.")]
Book = Annotated[
    str | None,
    typer.Argument(
        metavar="[BOOK]",
        help="Folder of the book. Default: this folder if it holds practice.toml.",
        show_default=False,
    ),
]
Yes = Annotated[bool, typer.Option("--yes", help="Write the changes; without it nothing is.")]
Delete = Annotated[
    bool,
    typer.Option(
        "--delete-missing", help="Take rows out of the book that the sheets do not have any more."
    ),
]


def import_command(
    file: Workbook,
    book: Book = None,
    yes: Yes = False,
    delete_missing: Delete = False,
    as_json: AsJson = False,
) -> None:
    """Show what a spreadsheet would change in a book, cell by cell, and with --yes write it.

    Example: growthcast import my-book.xlsx my-book --yes

    Exit status: 0 done, 2 bad arguments or a book that would have problems, 3 tool fault.
    """
    from datetime import date
    from pathlib import Path

    from growthcast.book import find_book
    from growthcast.book.report import format_findings
    from growthcast.book.sheets.confirm import check_merge
    from growthcast.book.sheets.load import read_workbook
    from growthcast.book.sheets.merge import merge_workbook
    from growthcast.cli.output import print_json, say

    folder, fell_back = find_book(book)
    if fell_back:
        raise UsageError("this folder holds no practice.toml: name the folder of the book")
    workbook = read_workbook(Path(file))
    merge = merge_workbook(folder, workbook, delete_missing=delete_missing)
    if not as_json:
        for line in _lines(merge, delete_missing):
            _print(line)
    for words in merge.not_taken:
        say(f"{workbook.file}: {words}.")
    notes: list[Finding] = []
    if merge.differs:
        notes = check_merge(folder, merge, workbook.file, today=date.today())
    if notes:
        say(format_findings(notes))
    written = merge.differs and yes
    if written:
        _write(folder, merge, workbook.file)
    if as_json:
        print_json(_as_dict(merge, workbook.file, folder, delete_missing, written))
    if merge.differs:
        files = ", ".join(merge.files)
        say(f"Wrote {files}." if written else f"Nothing was written; --yes writes {files}.")


def _write(folder: Path, merge: Merge, workbook: str) -> None:
    from growthcast.book.writing.replace import hash_of, replace_files

    replace_files(
        folder,
        merge.files,
        expected={name: hash_of(data) for name, data in merge.before.items()},
        command="import",
        summary=f"{_counted(merge)} from {workbook}",
    )


def _counted(merge: Merge) -> str:
    changed = sum(len(table.changed) for table in merge.tables)
    added = sum(len(table.added) for table in merge.tables)
    parts = [_count(changed, "row") + " changed", _count(added, "row") + " added"]
    if merge.settings:
        parts.append(_count(len(merge.settings), "setting") + " changed")
    return ", ".join(parts)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _print(line: str) -> None:
    from growthcast.cli.output import printable

    typer.echo(printable(line))


def _lines(merge: Merge, delete_missing: bool) -> Iterator[str]:
    """Yield the differences as people read them, each row one line."""
    if not merge.tables and not merge.settings:
        yield "No differences: the book says what the spreadsheet says."
        return
    if merge.settings:
        yield f"practice.toml: {_count(len(merge.settings), 'key')} changed"
        for one in merge.settings:
            yield f"  [{one.section}] {one.key}: {_cell(one.old)} -> {_cell(one.new)}"
    for table in merge.tables:
        yield from _table_lines(table, delete_missing)


def _table_lines(table: TableChanges, delete_missing: bool) -> Iterator[str]:
    fate = "taken out" if delete_missing else KEPT
    parts = [
        f"{len(rows)} {word}"
        for rows, word in (
            (table.changed, "changed"),
            (table.added, "added"),
            (table.missing, fate),
        )
        if rows
    ]
    yield f"{table.file}: {', '.join(parts)}"
    if table.new_columns:
        yield f"  new columns at the end: {', '.join(table.new_columns)}"
    for word, rows in (("changed", table.changed), ("added", table.added), (fate, table.missing)):
        most = MOST_KEPT_SHOWN if word == KEPT else MOST_ROWS_SHOWN
        for change in rows[:most]:
            yield f"  {word} {_place(change)}{_cells(change)}"
        if rest := rows[most:]:
            yield f"  and {len(rest)} more {word}"


def _place(change: RowChange) -> str:
    row = "" if change.row is None else f"row {change.row}, "
    return row + " ".join(part for part in change.key.values() if part)


def _cells(change: RowChange) -> str:
    told = [_of_cell(cell, change) for cell in change.cells if cell.column not in change.key]
    return f": {', '.join(told)}" if told else ""


def _of_cell(cell: CellChange, change: RowChange) -> str:
    if change.row is None:
        return f"{cell.column} {_cell(cell.new)}"
    return f"{cell.column} {_cell(cell.old)} -> {_cell(cell.new)}"


def _cell(text: str) -> str:
    if not text.strip():
        return "(blank)"
    text = text.replace("\n", " / ")
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"


def _as_dict(
    merge: Merge, workbook: str, folder: Path, delete_missing: bool, written: bool
) -> dict[str, Any]:
    return {
        "file": workbook,
        "book": str(folder),
        "written": written,
        "tables": [plain(table) | {"missing_deleted": delete_missing} for table in merge.tables],
        "settings": merge.settings,
        "not_taken": merge.not_taken,
    }
