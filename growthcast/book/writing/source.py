"""A table's file without loss: every record as its own text, and the file written anew from them.

What is not changed keeps its bytes: quotes, blanks, line ends, encoding, columns nobody declared.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from growthcast.book.cells.text import decoded, read_bytes
from growthcast.book.supposed import Cell
from growthcast.book.tables import TABLES
from growthcast.book.writing.dialect import Dialect, appended, new_dialect, read_dialect, widened
from growthcast.book.writing.replace import read_file
from growthcast.errors import BookProblems, Finding, UsageError
from growthcast.nouns import dataclass


@dataclass(frozen=True, slots=True)
class Record:
    """One record: its row as a spreadsheet shows it, its text with the line end, its cells."""

    row: int
    raw: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Source:
    """One table's file: its bytes, how they were written and its records.

    ``names`` are its columns, declared ones as declared, others as typed, without spaces around.
    ``before`` is the text up to and with the header row; ``records`` are all that follow, blank
    lines included. ``data`` is none where there is no file; it then has no columns either.
    """

    data: bytes | None
    dialect: Dialect
    names: tuple[str, ...]
    before: str
    records: tuple[Record, ...]

    @property
    def open_header(self) -> bool:
        """Whether the header row ends with columns without a name."""
        head = self.before.rstrip("\r\n").rpartition("\n")[2]
        return bool(self.names) and head.rstrip().endswith(self.dialect.delimiter)

    def rows(self) -> Iterable[Record]:
        """Yield the records that hold something."""
        return (record for record in self.records if any(c.strip() for c in record.cells))


def read_source(folder: Path, table: str, rows: Sequence[Mapping[str, Cell]] = ()) -> Source:
    """Return a table's file as it stands, with the columns that rows need and it lacks.

    ``BookProblems`` where it cannot be taken apart.
    """
    path = folder / f"{table}.csv"
    if not path.exists() and not path.is_symlink():
        return Source(None, new_dialect(table), (), "", ())
    data = read_bytes(path)
    if isinstance(data, Finding):
        raise BookProblems((data,))
    data = widened(data, table, rows)[0] if rows else data
    dialect, problems = read_dialect(data, table)
    if dialect is None or problems:
        raise BookProblems(tuple(problems))
    declared = {column.name for column in TABLES[table]}
    typed = [name.strip() for name in dialect.header]
    names = tuple(fold if (fold := name.casefold()) in declared else name for name in typed)
    before, records = _records(decoded(data)[2], dialect)
    return Source(data, dialect, names, before, records)


def _records(text: str, dialect: Dialect) -> tuple[str, tuple[Record, ...]]:
    lines = list(io.StringIO(text, newline=""))
    reader = csv.reader(lines, delimiter=dialect.delimiter, strict=True)
    once: dict[str, str] = {}  # a long log holds the same cells many times
    records: list[Record] = []
    before: list[str] = []
    start = 0
    for row, cells in enumerate(reader, start=1):
        stop = reader.line_num
        raw = lines[start] if stop == start + 1 else "".join(lines[start:stop])
        start = stop
        if row <= dialect.header_row:
            before.append(raw)
        else:
            records.append(Record(row, raw, tuple(once.setdefault(c, c) for c in cells)))
    return "".join(before), tuple(records)


def rewritten(
    source: Source,
    changed: Mapping[int, Mapping[str, str]],
    added: Sequence[Mapping[str, str]],
    *,
    new_columns: Sequence[str] = (),
    without: frozenset[int] = frozenset(),
) -> tuple[bytes, list[int]]:
    """Return the file's bytes with rows changed, added and left out, and the rows of those added.

    Parameters
    ----------
    source
        The file as it was read.
    changed
        New cells of a row, by row and column.
    added
        Rows to come after all others, their cells by column.
    new_columns
        Names to append to the header; rows that are not changed get a blank cell for each.
    without
        Rows to leave out.

    Raises
    ------
    UsageError
        A character that the file's encoding does not know, or no place for a new column.
    """
    dialect, names = source.dialect, [*source.names, *new_columns]
    if new_columns and source.open_header:
        raise UsageError(
            f"the header of {dialect.file} ends with blank columns, so that no column can be "
            "added; remove the separators at the end of its lines, then import again"
        )

    def line(cells: Sequence[str], new: Mapping[str, str]) -> str:
        cells = [*cells, *[""] * (len(names) - len(cells))]
        for name, cell in new.items():
            cells[names.index(name)] = cell
        return dialect.line(cells)

    parts = [_wider(source.before, dialect.line(("", *new_columns)) if new_columns else "")]
    if source.data is None:
        parts = [dialect.line(new_columns) + "\n"]
    row = dialect.header_row or 1
    for record in source.records:
        if record.row in without:
            continue
        row += 1
        if record.row in changed:
            parts.append(line(record.cells, changed[record.row]) + _end(record.raw))
        elif new_columns and record.raw.strip():
            parts.append(_wider(record.raw, dialect.delimiter * (len(names) - len(record.cells))))
        else:
            parts.append(record.raw)
    if added and parts[-1] and not _end(parts[-1]):
        parts.append(dialect.line_end)
    parts += [line((), cells) + dialect.line_end for cells in added]
    text = "".join(parts)
    data = dialect.mark + dialect.encode(text)
    if decoded(data)[2] != text:  # bytes that would be taken for another encoding
        raise UsageError(
            f"{dialect.file} is saved as Windows-1252 and would not be read back as typed; save "
            "the file as UTF-8 first"
        )
    return data, list(range(row + 1, row + 1 + len(added)))


def edited(
    folder: Path,
    source: Source,
    changed: Mapping[int, Mapping[str, Cell]],
    added: Sequence[Mapping[str, Cell]],
) -> tuple[bytes, list[int]]:
    """Return a file with other cells and more rows, as ``rewritten``, columns that it lacks added.

    One that is not there begins with every declared column, written as tanks.csv is.
    """
    dialect = source.dialect
    if source.data is None:
        tanks = read_file(folder, "tanks.csv")
        like = ("tanks", tanks) if tanks else None
        return appended(None, dialect.table, added, like), list(range(2, 2 + len(added)))
    rows = [*changed.values(), *added]
    needed = {name for row in rows for name, cell in row.items() if cell is not None}
    declared = [column.name for column in TABLES[dialect.table]]
    lacking = [name for name in declared if name in needed and name not in source.names]

    def typed(row: Mapping[str, Cell]) -> dict[str, str]:
        known = {*source.names, *lacking}
        return {name: dialect.cell(cell) for name, cell in row.items() if name in known}

    cells = {row: typed(new) for row, new in changed.items()}
    return rewritten(source, cells, [*map(typed, added)], new_columns=lacking)


def _end(raw: str) -> str:
    return raw[len(raw.rstrip("\r\n")) :]


def _wider(raw: str, more: str) -> str:
    end = _end(raw)
    return raw[: len(raw) - len(end)] + more + end
