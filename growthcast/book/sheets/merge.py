"""A workbook laid over a book: what differs cell by cell, and the files as they would be."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from growthcast.book.cells.numbers import Fault, parse_date
from growthcast.book.cells.text import read_bytes
from growthcast.book.sheets.export import heading_text
from growthcast.book.sheets.load import SheetTable, Workbook
from growthcast.book.sheets.settings import SettingChange, with_settings
from growthcast.book.sheets.source import Record, Source, read_source, rewritten
from growthcast.book.sheets.values import as_text, same
from growthcast.book.tables import TABLES, Column
from growthcast.book.words import column_letter, shown
from growthcast.errors import BookProblems, Finding, UsageError

__all__ = ["KEYS", "CellChange", "Merge", "RowChange", "TableChanges", "merge_workbook"]

KEYS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "tanks": ("tank_id",),
        "areas": ("area_id",),
        "trims": ("date", "tank_id", "area_id"),
        "conditions": ("tank_id", "from_date"),
        "closed": ("client", "tank_id", "from_date"),
        "species": ("species_id",),
    }
)
"""By which columns a row of a sheet and a row of a file are the same row."""

_Key = tuple[str, ...]


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

    tables: tuple[TableChanges, ...]
    settings: tuple[SettingChange, ...]
    not_taken: tuple[str, ...]
    files: Mapping[str, bytes]
    before: Mapping[str, bytes | None]
    places: Mapping[tuple[str, int], int]
    letters: Mapping[tuple[str, str], str]

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
    laid = _Laid(delete_missing)
    for sheet in workbook.tables:
        laid.table(read_source(folder, sheet.name), sheet, workbook.file)
    changes: list[SettingChange] = []
    not_taken = list(workbook.not_read)
    if workbook.settings:
        data = read_bytes(folder / "practice.toml")
        if isinstance(data, Finding):
            raise BookProblems((data,))
        new, changes, left_out = with_settings(data, workbook.settings)
        not_taken += left_out
        if changes:
            laid.files["practice.toml"], laid.before["practice.toml"] = new, data
    return Merge(
        tuple(laid.tables),
        tuple(changes),
        tuple(not_taken),
        laid.files,
        laid.before,
        laid.places,
        laid.letters,
    )


@dataclass
class _Laid:
    """The tables laid over so far."""

    delete_missing: bool
    tables: list[TableChanges] = field(default_factory=list)
    files: dict[str, bytes] = field(default_factory=dict)
    before: dict[str, bytes | None] = field(default_factory=dict)
    places: dict[tuple[str, int], int] = field(default_factory=dict)
    letters: dict[tuple[str, str], str] = field(default_factory=dict)

    def table(self, source: Source, sheet: SheetTable, workbook: str) -> None:
        """Lay one sheet over its file."""
        columns = _Columns(source, sheet, workbook)
        match = _Matched(columns)
        match.rows()
        missing = match.missing()
        if not (match.changed or match.added or missing):
            return
        gone = frozenset(r.row for r in missing if r.row is not None and self.delete_missing)
        changes = TableChanges(
            source.file,
            tuple(columns.new),
            tuple(match.changed),
            tuple(match.added),
            tuple(missing),
        )
        self.tables.append(changes)
        if not (match.changed or match.added or gone):
            return
        data, rows = rewritten(
            source, match.cells, match.new_cells, new_columns=columns.new, without=gone
        )
        self.files[source.file], self.before[source.file] = data, source.data
        for row, added in zip(rows, match.added, strict=True):
            self.places[source.file, row] = added.sheet_row or 0
        ordered = sorted(gone)
        for change in match.changed:
            row = change.row or 0
            self.places[source.file, row - sum(g < row for g in ordered)] = change.sheet_row or 0
        for at, name in columns.of_sheet.items():
            self.letters[source.file, name] = column_letter(at)


class _Columns:
    """The columns of a sheet against those of a file."""

    def __init__(self, source: Source, sheet: SheetTable, workbook: str) -> None:
        self.source, self.sheet = source, sheet
        self.declared = {column.name: column for column in TABLES[source.table]}
        self.of_sheet = self._named(workbook)
        names = list(source.names)
        filled = {at for _, values in sheet.rows for at, v in enumerate(values) if v is not None}
        absent = [name for name in self.of_sheet.values() if name not in names]
        by_name = {name: at for at, name in self.of_sheet.items()}
        fresh = source.data is None and bool(sheet.rows)
        self.new = [n for n in absent if by_name[n] in filled or (fresh and n in self.declared)]
        self.names = [*names, *self.new]
        self.width = len(self.names)
        self.from_sheet = {self.names.index(n): by_name[n] for n in by_name if n in self.names}
        lacking = [name for name in KEYS[source.table] if name not in by_name]
        if lacking and sheet.rows:
            raise UsageError(
                f"{workbook}, sheet {source.table}, has no column {' and no '.join(lacking)}, "
                "by which its rows are told apart"
            )

    def _named(self, workbook: str) -> dict[int, str]:
        """Return the book's name for each column of the sheet that has one."""
        known = {name.casefold(): name for name in self.source.names if name}
        short = {heading_text(name, c).casefold(): name for name, c in self.declared.items()}
        short |= {name: name for name in self.declared} | known
        named: dict[int, str] = {}
        for at, heading in enumerate(self.sheet.headings):
            typed = heading.strip()
            if not typed:
                continue
            name = short.get(typed.casefold(), typed)
            if name == typed and typed.endswith("]") and typed.casefold() not in short:
                plain = typed.rpartition("[")[0].strip().casefold()
                name = short.get(plain, typed)
            if name in named.values():
                raise UsageError(
                    f"{workbook}, sheet {self.source.table}, has two columns named "
                    f"{shown(name)}; remove one"
                )
            named[at] = name
        return named

    def column(self, at: int) -> Column | None:
        """Return the declaration of a column of the file."""
        return self.declared.get(self.names[at])

    def key(self, cells: tuple[str, ...] | list[str]) -> _Key:
        """Return the key of a row, by which it is known again."""
        parts = []
        for name in KEYS[self.source.table]:
            at = self.names.index(name) if name in self.names else -1
            cell = cells[at] if 0 <= at < len(cells) else ""
            day = parse_date(cell.strip()) if self.declared[name].kind == "date" else None
            if day is not None:
                cell = cell.strip() if isinstance(day, Fault) else day[0]
            parts.append(cell if cell.strip() else "")
        return tuple(parts)


class _Matched:
    """The rows of a sheet matched with those of a file."""

    def __init__(self, columns: _Columns) -> None:
        self.columns, self.source = columns, columns.source
        self.waiting: dict[_Key, list[Record]] = defaultdict(list)
        for record in self.source.rows():
            self.waiting[columns.key(record.cells)].append(record)
        for records in self.waiting.values():
            records.reverse()
        self.changed: list[RowChange] = []
        self.added: list[RowChange] = []
        self.cells: dict[int, list[str]] = {}
        self.new_cells: list[list[str]] = []

    def rows(self) -> None:
        """Go through the sheet: each row is unchanged, changed or added."""
        columns, comma = self.columns, self.source.decimal_comma
        for number, values in columns.sheet.rows:
            texts = [""] * columns.width
            for at, place in columns.from_sheet.items():
                texts[at] = as_text(values[place], decimal_comma=comma)
            key = columns.key(texts)
            waiting = self.waiting.get(key)
            if waiting:
                self._compare(waiting.pop(), texts, number, key)
            else:
                for at, text in enumerate(texts):
                    if not text.strip():
                        texts[at] = ""
                cells = tuple(
                    CellChange(name, "", text)
                    for name, text in zip(columns.names, texts, strict=True)
                    if text
                )
                self.added.append(RowChange(self._words(key), None, number, cells))
                self.new_cells.append(texts)

    def _compare(self, record: Record, texts: list[str], number: int, key: _Key) -> None:
        columns, comma = self.columns, self.source.decimal_comma
        cells = list(record.cells)
        cells += [""] * (len(columns.names) - len(cells))
        at_header = len(self.source.header)
        trailing = cells[columns.width :] if len(record.cells) > columns.width else []
        new = cells[: columns.width]
        changes = []
        for at in columns.from_sheet:
            old = cells[at] if at < at_header else ""
            new[at] = old
            if not same(old, texts[at], columns.column(at), decimal_comma=comma):
                new[at] = texts[at]
                changes.append(CellChange(columns.names[at], old, texts[at]))
        if changes:
            self.changed.append(RowChange(self._words(key), record.row, number, tuple(changes)))
            self.cells[record.row] = new + trailing

    def missing(self) -> list[RowChange]:
        """Return the rows of the file which the sheet did not have."""
        return sorted(self._left(), key=lambda change: change.row or 0)

    def _left(self) -> Iterator[RowChange]:
        for key, records in self.waiting.items():
            for record in records:
                yield RowChange(self._words(key), record.row, None)

    def _words(self, key: _Key) -> Mapping[str, str]:
        return dict(zip(KEYS[self.source.table], key, strict=True))
