"""A workbook laid over a book: what differs, the files as they would be, and their check."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

from growthcast.book.files import FILES
from growthcast.book.findings import refusal
from growthcast.book.read import inspect_book
from growthcast.book.sheets import values
from growthcast.book.sheets.load import Workbook
from growthcast.book.tables import TABLES
from growthcast.book.words import column_letter, shown
from growthcast.book.writing.source import Record, Source, read_source, rewritten
from growthcast.errors import Finding, RowsRefused, UsageError
from growthcast.nouns import dataclass


@dataclass(frozen=True, slots=True)
class CellChange:
    """One cell: its column, the text of the book and the text it would have."""

    column: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class RowChange:
    """One row that differs; ``row`` is the book's (none if new), ``sheet_row`` the sheet's."""

    key: Mapping[str, str]
    row: int | None
    sheet_row: int | None
    cells: tuple[CellChange, ...] = ()


@dataclass(frozen=True, slots=True)
class TableChanges:
    """What differs in one table; ``missing`` rows are in the book and not in the sheet."""

    file: str
    new_columns: tuple[str, ...]
    changed: tuple[RowChange, ...]
    added: tuple[RowChange, ...]
    missing: tuple[RowChange, ...]


@dataclass(frozen=True, slots=True)
class Merge:
    """A workbook against a book: the differences and the files as they would be.

    ``files`` holds the new bytes of the files that change, ``before`` the bytes they were made
    from (none for a new file), ``places`` the sheet's row of each row in them that the sheet gave,
    ``letters`` the sheet's letter of each column.
    """

    tables: list[TableChanges]
    not_taken: list[str]
    files: dict[str, bytes]
    before: dict[str, bytes | None]
    places: dict[tuple[str, int], int]
    letters: dict[tuple[str, str], str]

    @property
    def differs(self) -> bool:
        """Whether anything would be written."""
        return bool(self.files)


def merge_workbook(folder: Path, workbook: Workbook, *, delete_missing: bool = False) -> Merge:
    """Return what a workbook would change in a book; nothing is written.

    Rows are matched by their keys, the first of a key with the first. What the workbook does not
    have stays: columns, and rows too unless ``delete_missing``.

    Raises
    ------
    BookProblems
        A file of the book that cannot be taken apart.
    UsageError
        A sheet without its key columns, or text that a file's encoding does not know.
    """
    merge = Merge([], list(workbook.not_read), {}, {}, {}, {})
    for sheet in workbook.tables:
        _lay_over(merge, read_source(folder, sheet.name), sheet, workbook, delete_missing)
    return merge


def _lay_over(
    merge: Merge, source: Source, sheet: values.SheetTable, workbook: Workbook, delete_missing: bool
) -> None:
    """Lay one sheet over its file."""
    places, new = _columns(source, sheet, workbook.file)
    table = _differences(source, sheet, places, new, workbook.stamps, merge.not_taken)
    if not (table.changed or table.added or table.missing):
        return
    merge.tables.append(table)
    gone = frozenset(r.row for r in table.missing if r.row is not None and delete_missing)
    if not (table.changed or table.added or gone):
        return
    cells = [{cell.column: cell.new for cell in row.cells} for row in table.changed]
    added = [{cell.column: cell.new for cell in row.cells} for row in table.added]
    numbers = [row.row or 0 for row in table.changed]
    changed = dict(zip(numbers, cells, strict=True))
    data, rows = rewritten(source, changed, added, new_columns=new, without=gone)
    merge.files[source.file], merge.before[source.file] = data, source.data
    stand = [number - sum(other < number for other in gone) for number in numbers]
    for row, change in zip([*stand, *rows], [*table.changed, *table.added], strict=True):
        merge.places[source.file, row] = change.sheet_row or 0
    letters = {(source.file, name): column_letter(at) for name, at in places.items()}
    merge.letters.update(letters)


def _columns(
    source: Source, sheet: values.SheetTable, workbook: str
) -> tuple[dict[str, int], tuple[str, ...]]:
    """Return the place in the sheet of each column that counts, and the ones new to the file.

    A new column counts where it holds something, and in a new file also where it is declared.
    """
    table = source.table
    places: dict[str, int] = {}
    for at, name in enumerate(sheet.names(source.names)):
        if name in places:
            raise UsageError(refusal("two-headings", workbook=workbook, table=table, name=name))
        if name:
            places[name] = at
    lacking = [name for name in values.ROW_KEYS[table] if name not in places]
    if lacking and sheet.rows:
        said = {"workbook": workbook, "table": table, "lacking": " and no ".join(lacking)}
        raise UsageError(refusal("no-row-key", **said))
    filled = {at for _, row in sheet.rows for at, value in enumerate(row) if value is not None}
    if source.data is None and sheet.rows:
        filled |= {places.get(column.name, -1) for column in TABLES[table]}
    new = tuple(n for n, at in places.items() if n not in source.names and at in filled)
    return {name: places[name] for name in (*source.names, *new) if name in places}, new


def _differences(
    source: Source,
    sheet: values.SheetTable,
    places: Mapping[str, int],
    new: tuple[str, ...],
    stamps: values.Stamps,
    not_taken: list[str],
) -> TableChanges:
    """Return the rows changed, added and missing in a sheet; of changes of the book since, say so.

    A workbook without a stamp is taken to hold what the book holds now.
    """
    comma, table = source.decimal_comma, source.table
    declared = {column.name: column for column in TABLES[table]}
    stamped = any(name == table for name, _ in stamps)

    def since_export(row: str, words: str) -> None:
        said = f"the book has changed since the export, {words}"
        not_taken.append(f"sheet {table}, row {row}: {said}")

    def named(key: values.Key) -> dict[str, str]:
        return dict(zip(values.ROW_KEYS[table], key, strict=True))

    waiting: dict[values.Key, list[tuple[Record, dict[str, str]]]] = defaultdict(list)
    for one in reversed([*source.rows()]):
        waiting[values.key_of(table, one[1])].append(one)
    changed, added = [], []
    for number, row in sheet.rows:
        texts = {n: values.as_text(row[at], decimal_comma=comma) for n, at in places.items()}
        key = values.key_of(table, texts)
        match, old = waiting[key].pop() if waiting.get(key) else (None, {})
        sums, cells = stamps.get((table, key)), []
        for name, text in texts.items():
            was, column = old.get(name, ""), declared.get(name)
            if len({values.normal(one, column, decimal_comma=comma) for one in (was, text)}) == 1:
                continue
            now = values.checksum(was, column, decimal_comma=comma)
            if match is not None and (sums or {}).get(name, now) != now:
                words = f"to {shown(was)}; {shown(text)} of the sheet was not taken"
                since_export(f"{number}, {name}", words)
            else:
                cells.append(CellChange(name, was, text))
        if match is not None and cells:
            changed.append(RowChange(named(key), match.row, number, tuple(cells)))
        elif match is None and sums is None:
            added.append(RowChange(named(key), None, number, tuple(cells)))
        elif match is None:
            since_export(f"{number}", "this row was taken out of it; it was not added again")
    missing = [
        RowChange(named(key), record.row, None)
        for key, records in waiting.items()
        for record, _ in records
        if not stamped or (table, key) in stamps
    ]
    missing.sort(key=lambda gone: gone.row or 0)
    return TableChanges(source.file, new, tuple(changed), tuple(added), tuple(missing))


def check_merge(folder: Path, merge: Merge, workbook: str, *, today: date) -> list[Finding]:
    """Return the notes on rows which the workbook changes; raise ``RowsRefused`` on problems.

    Findings about rows of the workbook name the workbook's own rows and columns.
    """
    notes, problems = [], []
    for item in inspect_book(folder, today=today, instead=merge.files)[1]:
        if item.file not in FILES:  # not names of other files
            continue
        row = None if item.row is None else merge.places.get((item.file, item.row))
        if row is not None:
            letter = merge.letters.get((item.file, item.heading), item.column)
            place = f"{workbook}, sheet {item.file.removesuffix('.csv')}"
            item = replace(item, file=place, row=row, column=letter)
        if item.level == "problem":
            problems.append(item)
        elif row is not None and item.level == "note":
            notes.append(item)
    if problems:
        raise RowsRefused(tuple(problems))
    return notes
