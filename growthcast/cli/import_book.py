"""growthcast import: a spreadsheet laid over the book; differences first, written when told to."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from growthcast.book.report import format_findings
from growthcast.book.shipped import find_book
from growthcast.cli.options import AsJson, argument
from growthcast.cli.output import print_json, print_words, say
from growthcast.errors import UsageError
from growthcast.plain import plain

Workbook = Annotated[Path, typer.Argument(metavar="FILE", help="The workbook, .xlsx, as exported.")]
Book = Annotated[
    str | None,
    argument("[BOOK]", "Folder of the book. Default: this folder if it holds practice.toml."),
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
    from growthcast.book.sheets.load import read_workbook
    from growthcast.book.sheets.merge import check_merge, merge_workbook
    from growthcast.book.writing.replace import hash_of, replace_files
    from growthcast.say.workbook import count_words, merge_words

    folder, fell_back = find_book(book)
    if fell_back:
        raise UsageError("this folder holds no practice.toml: name the folder of the book")
    workbook = read_workbook(file)
    merge = merge_workbook(folder, workbook, delete_missing=delete_missing)
    written = merge.differs and yes
    tables = [plain(table) | {"missing_deleted": delete_missing} for table in merge.tables]
    answer = {"file": workbook.file, "book": str(folder), "written": written, "tables": tables}
    answer |= {"settings": merge.settings, "not_taken": merge.not_taken}
    if not as_json:
        print_words(merge_words(merge, delete_missing))
    for words in merge.not_taken:
        say(f"{workbook.file}: {words}.")
    if merge.differs and (notes := check_merge(folder, merge, workbook.file, today=date.today())):
        say(format_findings(notes))
    if written:
        replace_files(
            folder,
            merge.files,
            expected={name: hash_of(data) for name, data in merge.before.items()},
            command="import",
            summary=f"{count_words(merge)} from {workbook.file}",
        )
    if as_json:
        print_json(answer)
    if merge.differs:
        files = ", ".join(merge.files)
        say(f"Wrote {files}." if written else f"Nothing was written; --yes writes {files}.")
