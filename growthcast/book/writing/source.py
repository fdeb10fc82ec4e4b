"""How a table file is written, so that what is added is written the same way."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import lru_cache
from pathlib import Path

from growthcast.book.cells.convert import match_header, number_cells
from growthcast.book.cells.numbers import DECIMAL_COMMA
from growthcast.book.cells.records import Grid, read_grid
from growthcast.book.cells.text import decoded, read_bytes
from growthcast.book.supposed import Cell
from growthcast.book.tables import TABLES
from growthcast.book.words import did_you_mean, plain, shown
from growthcast.book.writing.replace import read_file
from growthcast.errors import BookProblems, Finding, RowsRefused, UsageError
from growthcast.nouns import dataclass

_DECIMAL_POINT = re.compile(r"[+-]?[0-9]*\.[0-9]+")
_LINE_END = re.compile("\r\n|\n|\r")


@dataclass(frozen=True, slots=True)
class Dialect:
    """Encoding, separator, line end and decimal mark of a table's file, and its header as typed.

    ``mark`` is its byte order mark; ``places`` maps each declared column that the file has to its
    place in the header.
    """

    table: str
    mark: bytes
    codec: str
    delimiter: str
    line_end: str
    decimal_comma: bool
    header: tuple[str, ...]
    header_row: int
    places: Mapping[str, int]

    @property
    def file(self) -> str:
        """The file's name."""
        return f"{self.table}.csv"

    def line(self, cells: Sequence[str]) -> str:
        """Return a row without its line end; line breaks of either kind in a cell are quoted.

        Python's writer quotes only those that end its lines, so it is given both.
        """
        buffer = io.StringIO(newline="")
        csv.writer(buffer, delimiter=self.delimiter, lineterminator="\r\n").writerow(cells)
        return buffer.getvalue().removesuffix("\r\n")

    def rows(self, rows: Sequence[Mapping[str, Cell]]) -> bytes:
        """Return rows as bytes of this file.

        ``UsageError`` for a column which the file does not have, or text its encoding cannot hold.
        """
        written = []
        for row in rows:
            cells = [""] * len(self.header)
            for name, value in row.items():
                if value is not None and value != "":
                    cells[self._place(name)] = self.cell(value)
            written.append(self.line(cells) + self.line_end)
        return self.encode("".join(written))

    def encode(self, text: str) -> bytes:
        """Return text in the file's encoding; ``UsageError`` where that has no such letter."""
        try:
            return text.encode(self.codec)
        except UnicodeEncodeError as error:
            letter = shown(error.object[error.start : error.end])
            raise UsageError(
                f"{self.file} is saved as Windows-1252, which cannot hold {letter}; leave it out, "
                "or save the file as UTF-8 first"
            ) from error

    def _place(self, name: str) -> int:
        if name in self.places:
            return self.places[name]
        typed = [cell.strip() for cell in self.header]
        if name in typed:  # a column of the practice's own
            return typed.index(name)
        hint = did_you_mean(name, [*self.places, *typed], f"its columns are {', '.join(typed)}")
        raise UsageError(f"{self.file} has no column {shown(name)}; {hint}")

    def cell(self, value: Cell) -> str:
        """Return a cell as text of this file; a blank one for ``None``."""
        if value is None:
            return ""
        if isinstance(value, str):
            if not value.isprintable():
                raise UsageError(f"{shown(value)} holds a line break or another control character")
            return value
        if isinstance(value, date):
            return value.isoformat()
        return plain(value).replace(".", "," if self.decimal_comma else ".")


def read_dialect(data: bytes, table: str) -> tuple[Dialect | None, list[Finding]]:
    """Return how a table's file is written and the problems of its records and header.

    There is none where the file cannot be read as a table.
    """
    columns = frozenset(column.name for column in TABLES[table])
    grid, findings = read_grid(data, f"{table}.csv", columns)
    problems = [item for item in findings if item.level == "problem"]
    if grid is None:
        return None, problems
    mark, codec, text = decoded(data)
    ends = _LINE_END.findall(text[-100_000:])
    places, odd = match_header(grid, table)
    problems += [item for item in odd if item.slug == "double-column"]
    comma = _decimal_comma(grid, table, places)
    written = (mark, codec, grid.delimiter, ends[-1] if ends else "\n", comma)
    return Dialect(table, *written, grid.header, grid.header_row, places), problems


def new_dialect(table: str, header: Sequence[str] = ()) -> Dialect:
    """Return how a file that is not there yet is written."""
    places = {name: place for place, name in enumerate(header)}
    return Dialect(table, b"", "utf-8", ",", "\n", False, tuple(header), 0, places)


def _decimal_comma(grid: Grid, table: str, places: Mapping[str, int]) -> bool:
    """Whether numbers take a comma; where a semicolon file has no decimals yet, they do.

    Spreadsheets that separate cells by semicolons do so because the comma is their decimal mark.
    """
    if grid.delimiter == ",":
        return False
    cells = [*number_cells(grid, table, places)]
    if any(DECIMAL_COMMA.fullmatch(cell) for cell in cells):
        return True
    return grid.delimiter == ";" and not any(_DECIMAL_POINT.fullmatch(cell) for cell in cells)


def appended(
    data: bytes | None,
    table: str,
    rows: Sequence[Mapping[str, Cell]],
    like: tuple[str, bytes] | None = None,
) -> bytes:
    """Return a table file with rows at its end: the old bytes as they were, then the new lines.

    A file that is not there yet (``data`` is ``None``) starts with every declared column, written
    as another table of the book is (``like``: that table's name and bytes). ``RowsRefused`` where
    a file cannot be read as a table.
    """
    if data is None:
        dialect = new_dialect(table, [column.name for column in TABLES[table]])
        if like is not None:
            theirs = dialect_of(like[1], like[0])
            codec = "utf-8" if theirs.codec == "cp1252" else theirs.codec
            header, places = dialect.header, dialect.places
            dialect = replace(theirs, table=table, codec=codec, header=header, places=places)
        return dialect.mark + dialect.rows([{name: name for name in dialect.header}, *rows])
    dialect = dialect_of(data, table)
    ended = data.endswith(tuple(end.encode(dialect.codec) for end in "\r\n"))
    return data + (b"" if ended else dialect.encode(dialect.line_end)) + dialect.rows(rows)


def widened(
    data: bytes, table: str, rows: Sequence[Mapping[str, Cell]]
) -> tuple[bytes, tuple[str, ...]]:
    """Return a table file with the declared columns that rows need and it lacks, and their names.

    They come at the end of its header; its rows stay as they are, and are blank there.
    """
    dialect = dialect_of(data, table)
    needed = {n for row in rows for n, cell in row.items() if cell is not None and cell != ""}
    names = tuple(c.name for c in TABLES[table] if c.name in needed - dialect.places.keys())
    if not names:
        return data, ()
    mark, codec, text = decoded(data)
    ends = [end.start() for end in _LINE_END.finditer(text)] + [len(text)]
    at = ends[min(dialect.header_row, len(ends)) - 1]
    new = mark + (text[:at] + dialect.delimiter.join(("", *names)) + text[at:]).encode(codec)
    if dialect_of(new, table).header != (*dialect.header, *names):
        raise UsageError(f"{dialect.file} has a header to which only a person can add {names[0]}")
    return new, names


@lru_cache(maxsize=2)  # a table is added to by its bytes before and with the columns it lacked
def dialect_of(data: bytes, table: str) -> Dialect:
    """Return how a table's file is written; ``RowsRefused`` where it cannot be read as a table."""
    dialect, problems = read_dialect(data, table)
    if dialect is None:
        raise RowsRefused(tuple(problems))
    return dialect


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
    head = source.before.rstrip().rpartition("\n")[2]
    if new_columns and source.names and head.endswith(dialect.delimiter):  # columns without a name
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
