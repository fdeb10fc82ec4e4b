"""A table's file without loss: every record as its own text, and the file written anew from them.

What is not changed keeps its bytes: quotes, blanks, line ends, encoding, columns nobody declared.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from growthcast.book.cells.convert import has_decimal_commas
from growthcast.book.cells.header import match_header
from growthcast.book.cells.records import read_grid
from growthcast.book.cells.text import read_bytes
from growthcast.book.tables import TABLES
from growthcast.book.words import printable, shown
from growthcast.errors import BookProblems, Finding, UsageError

__all__ = ["Record", "Source", "decoded", "read_source", "rewritten"]

_MARKS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))


@dataclass(frozen=True, slots=True)
class Record:
    """One record: its row as a spreadsheet shows it, its text with the line end, its cells."""

    row: int
    raw: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Source:
    """One table's file: its bytes, how they were written, its header and its records.

    ``before`` is the text up to and with the header row; ``records`` are all that follow, blank
    lines included. ``data`` is none where there is no file; its header is then blank as well.
    """

    table: str
    data: bytes | None
    mark: bytes
    codec: str
    delimiter: str
    decimal_comma: bool
    line_end: str
    header: tuple[str, ...]
    header_row: int
    before: str
    records: tuple[Record, ...]

    @property
    def open_header(self) -> bool:
        """Whether the header row ends with columns without a name."""
        head = self.before.rstrip("\r\n").rpartition("\n")[2]
        return bool(self.header) and head.rstrip().endswith(self.delimiter)

    @property
    def file(self) -> str:
        """The file's name."""
        return f"{self.table}.csv"

    @property
    def names(self) -> tuple[str, ...]:
        """Column names: declared ones as declared, others as typed, without spaces around."""
        declared = {column.name for column in TABLES[self.table]}
        folded = [name.strip().casefold() for name in self.header]
        return tuple(
            fold if fold in declared else name.strip()
            for fold, name in zip(folded, self.header, strict=True)
        )

    def rows(self) -> Iterable[Record]:
        """Yield the records that hold something."""
        return (record for record in self.records if any(c.strip() for c in record.cells))


def read_source(folder: Path, table: str) -> Source:
    """Return a table's file as it stands; ``BookProblems`` where it cannot be taken apart."""
    path = folder / f"{table}.csv"
    if not path.exists() and not path.is_symlink():
        return Source(table, None, b"", "utf-8", ",", False, "\n", (), 0, "", ())
    data = read_bytes(path)
    if isinstance(data, Finding):
        raise BookProblems((data,))
    known = frozenset(column.name for column in TABLES[table])
    grid, findings = read_grid(data, path.name, known)
    problems = tuple(item for item in findings if item.level == "problem")
    if grid is None or problems:
        raise BookProblems(problems)
    places, odd = match_header(grid, table)
    if doubles := tuple(item for item in odd if item.slug == "double-column"):
        raise BookProblems(doubles)
    mark, codec, text = decoded(data)
    before, records = _records(text, grid.delimiter, grid.header_row)
    return Source(
        table,
        data,
        mark,
        codec,
        grid.delimiter,
        has_decimal_commas(grid, table, places),
        _line_end(text),
        grid.header,
        grid.header_row,
        before,
        records,
    )


def decoded(data: bytes) -> tuple[bytes, str, str]:
    """Return a file's byte order mark, its encoding and its text."""
    for mark, codec in _MARKS:
        if data.startswith(mark):
            return mark, codec, data[len(mark) :].decode(codec)
    try:
        return b"", "utf-8", data.decode("utf-8")
    except UnicodeDecodeError:
        return b"", "cp1252", data.decode("cp1252")


def _line_end(text: str) -> str:
    """Return the first line end of a text, a plain newline where it has none."""
    at = min((at for at in (text.find("\r"), text.find("\n")) if at >= 0), default=-1)
    if at < 0 or text[at] == "\n":
        return "\n"
    return "\r\n" if text[at + 1 : at + 2] == "\n" else "\r"


def _records(text: str, delimiter: str, header_row: int) -> tuple[str, tuple[Record, ...]]:
    lines = list(io.StringIO(text, newline=""))
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    once: dict[str, str] = {}  # a long log holds the same cells many times
    records: list[Record] = []
    before: list[str] = []
    start = 0
    for row, cells in enumerate(reader, start=1):
        stop = reader.line_num
        raw = lines[start] if stop == start + 1 else "".join(lines[start:stop])
        start = stop
        if row <= header_row:
            before.append(raw)
        else:
            records.append(Record(row, raw, tuple(once.setdefault(c, c) for c in cells)))
    return "".join(before), tuple(records)


def rewritten(
    source: Source,
    changed: Mapping[int, Sequence[str]],
    added: Sequence[Sequence[str]],
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
        New cells by row, as long as the header and the new columns together.
    added
        Cells of rows to come after all others.
    new_columns
        Names to append to the header; rows that are not changed get a blank cell for each.
    without
        Rows to leave out.

    Raises
    ------
    UsageError
        A character that the file's encoding does not know, or no place for a new column.
    """
    write = _Writer(source.delimiter)
    if new_columns and source.open_header:
        raise UsageError(
            f"the header of {source.file} ends with blank columns, so that no column can be added; "
            "remove the separators at the end of its lines, then import again"
        )
    parts = [_wider(source.before, write.record(("", *new_columns)) if new_columns else "")]
    if source.data is None:
        parts = [write.record(new_columns) + "\n"]
    blanks = source.delimiter * len(new_columns)
    row = source.header_row or 1
    for record in source.records:
        if record.row in without:
            continue
        row += 1
        if record.row in changed:
            parts.append(write.record(changed[record.row]) + _end(record.raw))
        elif blanks and record.raw.strip():
            short = source.delimiter * max(len(source.header) - len(record.cells), 0)
            parts.append(_wider(record.raw, short + blanks))
        else:
            parts.append(record.raw)
    if added and parts[-1] and not _end(parts[-1]):
        parts.append(source.line_end)
    parts += [write.record(cells) + source.line_end for cells in added]
    return _encoded(source, "".join(parts)), list(range(row + 1, row + 1 + len(added)))


def _end(raw: str) -> str:
    return raw[len(raw.rstrip("\r\n")) :]


def _wider(raw: str, more: str) -> str:
    end = _end(raw)
    return raw[: len(raw) - len(end)] + more + end


@dataclass(frozen=True, slots=True)
class _Writer:
    delimiter: str

    def record(self, cells: Iterable[str]) -> str:
        """Return cells as one record without its line end."""
        return self.delimiter.join(self._cell(cell) for cell in cells)

    def _cell(self, cell: str) -> str:
        if self.delimiter in cell or '"' in cell or "\n" in cell or "\r" in cell:
            return '"' + cell.replace('"', '""') + '"'
        return cell


def _encoded(source: Source, text: str) -> bytes:
    try:
        data = source.mark + text.encode(source.codec)
    except UnicodeEncodeError as error:
        char = printable(error.object[error.start])
        raise UsageError(
            f"{source.file} is written in Windows-1252, which has no {shown(char)}; "
            "save the file as UTF-8 first, then import again"
        ) from error
    if decoded(data)[2] != text:  # bytes that would be taken for another encoding
        raise UsageError(
            f"{source.file} is written in Windows-1252 and would not be read back as typed; "
            "save the file as UTF-8 first, then import again"
        )
    return data
