"""A workbook laid over a book: what differs, the files as they would be, and their check."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

from growthcast.book.cells.text import read_bytes
from growthcast.book.files import FILES
from growthcast.book.read import inspect_book
from growthcast.book.sheets.export import heading_text
from growthcast.book.sheets.load import SheetTable, Workbook
from growthcast.book.sheets.values import (
    ROW_KEYS,
    Key,
    SettingChange,
    Stamps,
    as_text,
    checksum,
    key_of,
    normal,
    with_settings,
)
from growthcast.book.tables import TABLES
from growthcast.book.words import column_letter, shown
from growthcast.book.writing.source import Record, Source, read_source, rewritten
from growthcast.errors import BookProblems, Finding, UsageError
from growthcast.nouns import dataclass


class WouldNotCheck(BookProblems):
    """A book that would have problems with the changes asked for: they are not made."""

    sentence = "with these changes the book would have {}: nothing written"


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
    settings: list[SettingChange]
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
    have stays: columns, keys of practice.toml, and rows too unless ``delete_missing``.

    Raises
    ------
    BookProblems
        A file of the book that cannot be taken apart.
    UsageError
        A sheet without its key columns, or text that a file's encoding does not know.
    """
    merge = Merge([], [], list(workbook.not_read), {}, {}, {}, {})
    for sheet in workbook.tables:
        _lay_over(merge, read_source(folder, sheet.name), sheet, workbook, delete_missing)
    if workbook.settings:
        data = read_bytes(folder / "practice.toml")
        if isinstance(data, Finding):
            raise BookProblems((data,))
        new, changes, left_out = with_settings(data, workbook.settings)
        merge.settings.extend(changes)
        merge.not_taken.extend(left_out)
        if changes:
            merge.files["practice.toml"], merge.before["practice.toml"] = new, data
    return merge


def _lay_over(
    merge: Merge, source: Source, sheet: SheetTable, workbook: Workbook, delete_missing: bool
) -> None:
    """Lay one sheet over its file."""
    places, new = _columns(source, sheet, workbook.file)
    asked = (places, workbook.stamps, merge.not_taken)
    changed, added, missing = _differences(source, sheet, *asked)
    if not (changed or added or missing):
        return
    file = source.file
    merge.tables.append(TableChanges(file, new, changed, added, missing))
    gone = frozenset(r.row for r in missing if r.row is not None and delete_missing)
    if not (changed or added or gone):
        return
    data, rows = rewritten(
        source,
        {row.row: _new_cells(row) for row in changed if row.row is not None},
        [_new_cells(row) for row in added],
        new_columns=new,
        without=gone,
    )
    merge.files[file], merge.before[file] = data, source.data
    stand = [(row.row or 0) - sum(other < (row.row or 0) for other in gone) for row in changed]
    for row, change in zip([*stand, *rows], [*changed, *added], strict=True):
        merge.places[file, row] = change.sheet_row or 0
    merge.letters.update({(file, name): column_letter(at) for name, at in places.items()})


def _new_cells(row: RowChange) -> dict[str, str]:
    return {cell.column: cell.new for cell in row.cells}


def _columns(
    source: Source, sheet: SheetTable, workbook: str
) -> tuple[dict[str, int], tuple[str, ...]]:
    """Return the place in the sheet of each column that counts, and the ones new to the file.

    A new column counts where it holds something, and in a new file also where it is declared.
    """
    table = source.table
    declared = {column.name: column for column in TABLES[table]}
    known = {heading_text(name, column).casefold(): name for name, column in declared.items()}
    known |= {name: name for name in declared}
    known |= {name.casefold(): name for name in source.names if name}
    places: dict[str, int] = {}
    for at, heading in enumerate(sheet.headings):
        typed = heading.strip()
        bare = typed.rpartition("[")[0].strip() if typed.endswith("]") else typed
        name = known.get(typed.casefold()) or known.get(bare.casefold()) or typed
        if name in places:
            raise UsageError(
                f"{workbook}, sheet {table}, has two columns named {shown(name)}; remove one"
            )
        if name:
            places[name] = at
    lacking = [name for name in ROW_KEYS[table] if name not in places]
    if lacking and sheet.rows:
        raise UsageError(
            f"{workbook}, sheet {table}, has no column {' and no '.join(lacking)}, "
            "by which its rows are told apart"
        )
    filled = {
        at for _, values in sheet.rows for at, value in enumerate(values) if value is not None
    }
    fresh = source.data is None and bool(sheet.rows)
    absent = [name for name in places if name not in source.names]
    new = tuple(name for name in absent if places[name] in filled or (fresh and name in declared))
    return {name: places[name] for name in (*source.names, *new) if name in places}, new


_Changes = tuple[tuple[RowChange, ...], tuple[RowChange, ...], tuple[RowChange, ...]]


def _differences(
    source: Source,
    sheet: SheetTable,
    places: Mapping[str, int],
    stamps: Stamps,
    not_taken: list[str],
) -> _Changes:
    """Return the rows changed, added and missing in a sheet; of changes of the book since, say so.

    A workbook without a stamp is taken to hold what the book holds now.
    """
    comma, table = source.decimal_comma, source.table
    declared = {column.name: column for column in TABLES[table]}
    stamped = any(name == table for name, _ in stamps)

    def differ(name: str, old: str, new: str) -> bool:
        texts = (normal(text, declared.get(name), decimal_comma=comma) for text in (old, new))
        return len({*texts}) > 1

    def since_export(row: str, words: str) -> None:
        said = f"the book has changed since the export, {words}"
        not_taken.append(f"sheet {table}, row {row}: {said}")

    waiting: dict[Key, list[tuple[Record, dict[str, str]]]] = defaultdict(list)
    for one in reversed([*source.rows()]):
        waiting[key_of(table, one[1])].append(one)
    changed, added = [], []
    for number, values in sheet.rows:
        texts = {n: as_text(values[at], decimal_comma=comma) for n, at in places.items()}
        key = key_of(table, texts)
        match, old = waiting[key].pop() if waiting.get(key) else (None, {})
        sums, cells = stamps.get((table, key)), []
        for name, text in texts.items():
            was = old.get(name, "")
            if not differ(name, was, text):
                continue
            now = checksum(was, declared.get(name), decimal_comma=comma)
            if match is not None and (sums or {}).get(name, now) != now:
                words = f"to {shown(was)}; {shown(text)} of the sheet was not taken"
                since_export(f"{number}, {name}", words)
            else:
                cells.append(CellChange(name, was, text))
        names = dict(zip(ROW_KEYS[table], key, strict=True))
        if match is not None and cells:
            changed.append(RowChange(names, match.row, number, tuple(cells)))
        elif match is None and sums is None:
            added.append(RowChange(names, None, number, tuple(cells)))
        elif match is None:
            since_export(f"{number}", "this row was taken out of it; it was not added again")
    missing = [
        RowChange(dict(zip(ROW_KEYS[table], key, strict=True)), record.row, None)
        for key, records in waiting.items()
        for record, _ in records
        if not stamped or (table, key) in stamps
    ]
    return tuple(changed), tuple(added), tuple(sorted(missing, key=lambda gone: gone.row or 0))


def check_merge(folder: Path, merge: Merge, workbook: str, *, today: date) -> list[Finding]:
    """Return the notes on rows which the workbook changes; raise ``WouldNotCheck`` on problems.

    Findings about rows of the workbook name the workbook's own rows and columns.
    """
    _, findings = inspect_book(folder, today=today, instead=merge.files)
    findings = tuple(item for item in findings if item.file in FILES)  # not names of other files
    placed = list(_in_workbook(findings, merge, workbook))
    problems = tuple(item for item, _ in placed if item.level == "problem")
    if problems:
        raise WouldNotCheck(problems)
    return [item for item, theirs in placed if theirs and item.level == "note"]


def _in_workbook(
    findings: tuple[Finding, ...], merge: Merge, workbook: str
) -> Iterator[tuple[Finding, bool]]:
    """Yield each finding with whether it is about a row of the workbook."""
    for item in findings:
        row = None if item.row is None else merge.places.get((item.file, item.row))
        if row is None:
            yield item, item.file == "practice.toml" and item.file in merge.files
            continue
        sheet = item.file.removesuffix(".csv")
        letter = merge.letters.get((item.file, item.heading), item.column)
        place = f"{workbook}, sheet {sheet}"
        yield replace(item, file=place, row=row, column=letter), True
