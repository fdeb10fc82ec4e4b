"""A table's file as it is written: taken apart, then put together with other cells and rows."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from itertools import islice
from pathlib import Path
from typing import Any

from growthcast.book.cells.convert import match_header, number_cells
from growthcast.book.cells.numbers import DECIMAL_COMMA
from growthcast.book.cells.records import Grid, read_grid
from growthcast.book.cells.text import decoded, read_bytes
from growthcast.book.findings import refusal
from growthcast.book.supposed import Cell
from growthcast.book.tables import TABLES
from growthcast.book.words import did_you_mean, plain, shown
from growthcast.book.writing.replace import read_file
from growthcast.errors import BookProblems, Finding, RowsRefused, UsageError
from growthcast.nouns import dataclass

_DECIMAL_POINT = re.compile(r"[+-]?[0-9]*\.[0-9]+")
_LINE_END = re.compile("\r\n|\n|\r")


@dataclass(frozen=True, slots=True)
class Record:
    """One record: its row as a spreadsheet shows it, its text with the line end, its cells."""

    row: int
    raw: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Source:
    """One table's file: its bytes, its columns, and how it is written.

    ``data`` is none where there is no file; it then has no columns either. ``names`` are its
    columns, declared ones as declared, others as typed, without spaces around. ``head`` is the text
    up to and with the header row, ``rest`` all that follows, ``mark`` the byte order mark.
    """

    table: str
    data: bytes | None = None
    names: tuple[str, ...] = ()
    header_row: int = 0
    head: str = ""
    rest: str = ""
    mark: bytes = b""
    codec: str = "utf-8"
    delimiter: str = ","
    line_end: str = "\n"
    decimal_comma: bool = False

    @property
    def file(self) -> str:
        """The file's name."""
        return f"{self.table}.csv"

    def records(self) -> Iterator[Record]:
        """Yield the records after the header, blank ones included."""
        lines = list(io.StringIO(self.rest, newline=""))
        reader = csv.reader(lines, delimiter=self.delimiter, strict=True)
        once: dict[str, str] = {}  # a long log holds the same cells many times
        start = 0
        for row, cells in enumerate(reader, start=self.header_row + 1):
            raw = "".join(lines[start : reader.line_num])
            start = reader.line_num
            yield Record(row, raw, tuple(once.setdefault(c, c) for c in cells))

    def rows(self) -> Iterator[tuple[Record, dict[str, str]]]:
        """Yield the records that hold something, each with its cells by column."""
        for record in self.records():
            if any(cell.strip() for cell in record.cells):
                yield record, dict(zip(self.names, record.cells, strict=False))

    def lacking(self, rows: Sequence[Mapping[str, Cell]]) -> tuple[str, ...]:
        """Return the declared columns that rows need and the file has not."""
        needed = {name for row in rows for name, cell in row.items() if cell not in (None, "")}
        declared = (column.name for column in TABLES[self.table])
        return tuple(name for name in declared if name in needed and name not in self.names)

    def typed(self, row: Mapping[str, Cell]) -> dict[str, str]:
        """Return a row's cells as texts of this file; blank ones of columns it lacks are left out.

        ``UsageError`` for a column which it does not have.
        """
        for name, cell in row.items():
            if name not in self.names and cell not in (None, ""):
                otherwise = f"its columns are {', '.join(self.names)}"
                hint = did_you_mean(name, self.names, otherwise)
                raise UsageError(f"{self.file} has no column {shown(name)}; {hint}")
        return {name: self.text(cell) for name, cell in row.items() if name in self.names}

    def text(self, value: Cell) -> str:
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

    def line(self, cells: Sequence[str], new: Mapping[str, str]) -> str:
        """Return a row without its line end, some of its cells new.

        Line breaks of either kind in a cell are quoted: Python's writer quotes only those that end
        its lines, so it is given both.
        """
        cells = [*cells, *[""] * (len(self.names) - len(cells))]
        for name, cell in new.items():
            cells[self.names.index(name)] = cell
        return self.joined(cells)

    def joined(self, cells: Sequence[str]) -> str:
        """Return cells as a line without its end."""
        buffer = io.StringIO(newline="")
        csv.writer(buffer, delimiter=self.delimiter, lineterminator="\r\n").writerow(cells)
        return buffer.getvalue().removesuffix("\r\n")

    def encoded(self, text: str) -> bytes:
        """Return text as bytes of this file; ``UsageError`` where they cannot hold it."""
        try:
            data = self.mark + text.encode(self.codec)
        except UnicodeEncodeError as error:
            letter = error.object[error.start : error.end]
            raise UsageError(refusal("latin-letter", file=self.file, letter=letter)) from error
        if decoded(data)[2] != text:  # bytes that would be taken for another encoding
            raise UsageError(refusal("latin-text", file=self.file))
        return data


def taken_apart(data: bytes, table: str) -> tuple[Source, list[Finding]]:
    """Return a table's file and the problems of its records and header.

    ``RowsRefused`` where it cannot be read as a table at all.
    """
    declared = frozenset(column.name for column in TABLES[table])
    grid, findings = read_grid(data, f"{table}.csv", declared)
    problems = [item for item in findings if item.level == "problem"]
    if grid is None:
        raise RowsRefused(tuple(problems))
    mark, codec, text = decoded(data)
    ends = _LINE_END.findall(text[-100_000:])
    places, odd = match_header(grid, table)
    problems += [item for item in odd if item.slug == "double-column"]
    typed = [name.strip() for name in grid.header]
    names = tuple(fold if (fold := name.casefold()) in declared else name for name in typed)
    stream = io.StringIO(text, newline="")
    next(islice(csv.reader(stream, delimiter=grid.delimiter), grid.header_row - 1, None))
    split = {"head": text[: stream.tell()], "rest": text[stream.tell() :]}
    comma, end = _decimal_comma(grid, table, places), ends[-1] if ends else "\n"
    written: dict[str, Any] = {"line_end": end, "decimal_comma": comma, **split}
    written |= {"mark": mark, "codec": codec, "delimiter": grid.delimiter}
    return Source(table, data, names, grid.header_row, **written), problems


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


def new_source(table: str, tanks: bytes | None = None) -> Source:
    """Return a file that is not there yet; it is written as tanks.csv is, but in UTF-8 or 16."""
    like = taken_apart(tanks, "tanks")[0] if tanks else Source("tanks")
    codec = "utf-8" if like.codec == "cp1252" else like.codec
    bare: dict[str, Any] = {"data": None, "names": (), "header_row": 0, "head": "", "rest": ""}
    return replace(like, table=table, codec=codec, **bare)


def read_source(folder: Path, table: str) -> Source:
    """Return a table's file as it stands; ``BookProblems`` where it cannot be taken apart."""
    path = folder / f"{table}.csv"
    if not path.exists() and not path.is_symlink():
        return new_source(table, read_file(folder, "tanks.csv"))
    data = read_bytes(path)
    if isinstance(data, Finding):
        raise BookProblems((data,))
    source, problems = taken_apart(data, table)
    if problems:
        raise BookProblems(tuple(problems))
    return source


def widened(source: Source, names: Sequence[str]) -> Source:
    """Return a file with more columns at the end of its header; its rows stay as they are.

    A last row without its line end gets one: it is shorter than the header now, and would be torn.
    """
    if not names:
        return source
    *_, typed = csv.reader(io.StringIO(source.head, newline=""), delimiter=source.delimiter)
    if len(typed) > len(source.names):  # columns without a name
        raise UsageError(refusal("blank-headings", file=source.file))
    head = _wider(source.head, source.joined(("", *names)))
    rest = source.rest + (source.line_end if source.rest and not _end(source.rest) else "")
    wide = replace(source, names=(*source.names, *names), head=head, rest=rest)
    return replace(wide, data=wide.encoded(head + rest))


def begun(source: Source, names: Sequence[str]) -> Source:
    """Return a new file with its header."""
    head = source.joined(names) + source.line_end
    return replace(source, data=b"", names=tuple(names), header_row=1, head=head)


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
    wide = (begun if source.data is None else widened)(source, new_columns)
    parts, row = [wide.head], wide.header_row
    if changed or without or new_columns:
        for record in (one for one in source.records() if one.row not in without):
            raw = record.raw
            if record.row in changed:
                raw = wide.line(record.cells, changed[record.row]) + _end(raw)
            elif new_columns and raw.strip():
                raw = _wider(raw, wide.delimiter * (len(wide.names) - len(record.cells)))
            parts.append(raw)
            row += 1
    else:  # a long log is not taken apart for a row more
        parts.append(source.rest)
        lines = csv.reader(io.StringIO(source.rest, newline=""), delimiter=source.delimiter)
        row += sum(1 for _ in lines)
    text = "".join(parts)
    text += wide.line_end if added and text and not _end(text) else ""
    text += "".join(wide.line((), cells) + wide.line_end for cells in added)
    return wide.encoded(text), list(range(row + 1, row + 1 + len(added)))


def edited(
    source: Source,
    changed: Mapping[int, Mapping[str, Cell]],
    added: Sequence[Mapping[str, Cell]],
    without: frozenset[int] = frozenset(),
) -> tuple[bytes, list[int]]:
    """Return a file as ``rewritten``, columns that it lacks added; a new one has all declared."""
    if source.data is None:
        source = begun(source, [column.name for column in TABLES[source.table]])
    lacking = source.lacking([*changed.values(), *added])
    typed = widened(source, lacking).typed
    cells = {row: typed(new) for row, new in changed.items()}
    rows = [typed(row) for row in added]
    return rewritten(source, cells, rows, new_columns=lacking, without=without)


def _end(raw: str) -> str:
    return raw[len(raw.rstrip("\r\n")) :]


def _wider(raw: str, more: str) -> str:
    end = _end(raw)
    return raw[: len(raw) - len(end)] + more + end
