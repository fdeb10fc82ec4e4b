"""How a table file is written, so that what is added is written the same way."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from growthcast.book.cells.header import match_header
from growthcast.book.cells.numbers import DECIMAL_COMMA
from growthcast.book.cells.records import Grid, read_grid
from growthcast.book.cells.text import decode
from growthcast.book.suppose import Cell
from growthcast.book.tables import TABLES
from growthcast.book.words import did_you_mean, plain, shown
from growthcast.errors import RowsRefused, UsageError

__all__ = ["Dialect", "appended", "dialect_of"]

_DECIMAL_POINT = re.compile(r"[+-]?[0-9]*\.[0-9]+")
_LINE_END = re.compile("\r\n|\n|\r")
_CODEC_NAMES = {"cp1252": "Windows-1252"}


def csv_line(cells: Sequence[str], delimiter: str) -> str:
    """Return a row without its line end; line breaks of either kind inside a cell are quoted.

    Python's writer quotes only those that end its lines, so it is told of both.
    """
    buffer = io.StringIO(newline="")
    csv.writer(buffer, delimiter=delimiter, lineterminator="\r\n").writerow(cells)
    return buffer.getvalue().removesuffix("\r\n")


@dataclass(frozen=True, slots=True)
class Dialect:
    """Encoding, separator, line end and decimal mark of a table file, and its header as typed.

    ``places`` maps each declared column that the file has to its place in the header; ``ended``
    tells whether the last line has its line end.
    """

    codec: str
    delimiter: str
    line_end: str
    decimal_comma: bool
    header: tuple[str, ...]
    places: Mapping[str, int]
    ended: bool = True

    def lines(self, rows: Sequence[Mapping[str, Cell]], table: str) -> bytes:
        """Return rows as bytes of this file.

        ``UsageError`` for a column which the file does not have, or text its encoding cannot hold.
        """
        written = []
        for row in rows:
            cells = [""] * len(self.header)
            for name, value in row.items():
                if value is not None and value != "":
                    cells[self._place(name, table)] = self._cell(value)
            written.append(csv_line(cells, self.delimiter) + self.line_end)
        try:
            return "".join(written).encode(self.codec)
        except UnicodeEncodeError as error:
            letter = shown(error.object[error.start : error.end])
            raise UsageError(
                f"{table}.csv is saved as {_CODEC_NAMES.get(self.codec, self.codec)}, which cannot "
                f"hold {letter}; leave it out, or save the file as UTF-8 first"
            ) from error

    def _place(self, name: str, table: str) -> int:
        if name in self.places:
            return self.places[name]
        typed = [cell.strip() for cell in self.header]
        if name in typed:  # a column of the practice's own
            return typed.index(name)
        if name in {column.name for column in TABLES[table]}:
            raise UsageError(
                f"{table}.csv has no column {name}; add {name} to its header row, then run this "
                "again"
            )
        hint = did_you_mean(name, [*self.places, *typed], f"its columns are {', '.join(typed)}")
        raise UsageError(f"{table}.csv has no column {shown(name)}; {hint}")

    def _cell(self, value: str | float | date) -> str:
        if isinstance(value, str):
            if not value.isprintable():
                raise UsageError(f"{shown(value)} holds a line break or another control character")
            return value
        if isinstance(value, date):
            return value.isoformat()
        return plain(value).replace(".", "," if self.decimal_comma else ".")


def dialect_of(data: bytes, table: str) -> Dialect:
    """Return how a table file is written; ``RowsRefused`` where it cannot be read as a table."""
    name = f"{table}.csv"
    grid, findings = read_grid(data, name, frozenset(column.name for column in TABLES[table]))
    if grid is None:
        raise RowsRefused(tuple(item for item in findings if item.level == "problem"))
    text = decode(data, name)[0] or ""
    ends = _LINE_END.findall(text[-100_000:])
    places, _ = match_header(grid, table)
    return Dialect(
        _codec(data),
        grid.delimiter,
        ends[-1] if ends else "\n",
        _decimal_comma(grid, table, places),
        grid.header,
        places,
        text[-1:] in {"\n", "\r"},
    )


def _codec(data: bytes) -> str:
    if data.startswith(b"\xff\xfe"):
        return "utf-16-le"
    if data.startswith(b"\xfe\xff"):
        return "utf-16-be"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _decimal_comma(grid: Grid, table: str, places: Mapping[str, int]) -> bool:
    """Whether numbers take a comma; where a semicolon file has no decimals yet, they do.

    Spreadsheets that separate cells by semicolons do so because the comma is their decimal mark.
    """
    if grid.delimiter == ",":
        return False
    cells = [
        cell.strip()
        for column in TABLES[table]
        if column.kind == "number" and column.name in places
        for cell in grid.columns[places[column.name]].values
    ]
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
    as another table of the book is (``like``: that table's name and bytes).
    """
    if data is None:
        return _started(table, rows, like)
    dialect = dialect_of(data, table)
    end = "" if dialect.ended else dialect.line_end
    return data + end.encode(dialect.codec) + dialect.lines(rows, table)


def _started(
    table: str, rows: Sequence[Mapping[str, Cell]], like: tuple[str, bytes] | None
) -> bytes:
    header = tuple(column.name for column in TABLES[table])
    places = {name: place for place, name in enumerate(header)}
    known = None if like is None else dialect_of(like[1], like[0])
    if known is None:
        dialect = Dialect("utf-8", ",", "\n", False, header, places)
        mark = b""
    else:
        codec = "utf-8" if known.codec == "cp1252" else known.codec
        comma = known.decimal_comma
        dialect = Dialect(codec, known.delimiter, known.line_end, comma, header, places)
        first = "\ufeff".encode(codec)
        mark = first if like is not None and like[1].startswith(first) else b""
    names = {name: name for name in header}
    return mark + dialect.lines([names, *rows], table)
