"""Whether a workbook may be opened at all: what it would grow to, found out before it does.

A workbook is a zip file of XML. A few kilobytes of it can stand for more memory than any computer
has: by what the zip expands to, by a cell far away from the others, by one long text in a million
cells. All of it is added up here from a stream, and refused with the reason.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from growthcast.errors import UsageError

__all__ = ["guard_workbook"]

MOST_PACKED = 100_000_000
MOST_EXPANDED = 400_000_000
MOST_PARTS = 2_000
MOST_CELLS = 4_500_000
MOST_TEXT = 400_000_000
MOST_COLUMNS = 16_384
"""Columns of a sheet in any spreadsheet."""
_CHUNK = 1 << 20
_LONGEST_ROW = 4_000_000
_MB = 1_000_000
_AWAY = "look for a cell far away from the others, or delete what is no part of the book"

_PREFIX = rb"<(?:[^\s<>/:]+:)?"
_XLSX_ROW = re.compile(_PREFIX + rb"(?:row|sheetData)(?=[\s/>])")
_XLSX_CELL = re.compile(_PREFIX + rb"c(?=[\s/>])")
_PLACE = re.compile(rb"""\sr\s*=\s*["']([A-Za-z]{0,4})([0-9]{1,12})["']""")
_SHARED = re.compile(_PREFIX + rb"si(?=[\s/>])")
_INDEX = re.compile(_PREFIX + rb"v(?:\s[^>]*)?>\s*([0-9]{0,12})")
_ODS_ROW = re.compile(rb"<table:table(?:-row)?(?=[\s/>])")
_ODS_CELL = re.compile(rb"<table:(?:covered-)?table-cell(?=[\s/>])")
_ROWS = re.compile(rb"""table:number-rows-repeated\s*=\s*["']([0-9]{1,12})["']""")
_COLUMNS = re.compile(rb"""table:number-columns-repeated\s*=\s*["']([0-9]{1,12})["']""")


def guard_workbook(data: bytes, name: str) -> Literal["xlsx", "ods"]:
    """Return the kind of a workbook that may be read; ``UsageError`` says why another may not."""
    if not data.startswith(b"PK"):
        raise UsageError(f"{name} is no workbook of the kinds .xlsx and .ods; {_what(data)}")
    if len(data) > MOST_PACKED:
        raise UsageError(f"{name} has {len(data) / _MB:.0f} MB; workbooks up to 100 MB are read")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            parts = packed.infolist()
            kind = _kind(packed, name)
            _check_directory(parts, name)
            _look_through(data, parts, kind, name)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, ValueError, EOFError) as error:
        raise UsageError(f"{name} is damaged: it cannot be unpacked; save it again") from error
    return kind


def _what(data: bytes) -> str:
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        return "it is an older or a protected one: open it and save it as .xlsx without a password"
    return "save the sheets as .xlsx or .ods from the spreadsheet"


def _kind(packed: zipfile.ZipFile, name: str) -> Literal["xlsx", "ods"]:
    names = set(packed.namelist())
    if "content.xml" in names:
        return "ods"
    if "xl/workbook.xml" in {part.lower() for part in names}:
        return "xlsx"
    raise UsageError(f"{name} holds no sheets that are read; save it as .xlsx or .ods")


def _check_directory(parts: list[zipfile.ZipInfo], name: str) -> None:
    """Refuse what the zip's own list says, before anything is unpacked."""
    if len(parts) > MOST_PARTS:
        raise UsageError(f"{name} has {len(parts):,} parts; a workbook of a book has a few dozen")
    expanded = sum(part.file_size for part in parts)
    if expanded > MOST_EXPANDED:
        raise UsageError(
            f"{name} would unpack to {expanded / _MB:,.0f} MB, more than the "
            f"{MOST_EXPANDED / _MB:.0f} MB that are read; it holds far more than a book does"
        )
    if any(part.flag_bits & 1 for part in parts):
        raise UsageError(f"{name} is protected by a password; save it without one")
    if len({part.filename.lower() for part in parts}) < len(parts):
        raise UsageError(f"{name} holds two parts of one name; save it again")


def _expanded(data: bytes, part: zipfile.ZipInfo, name: str) -> Iterator[bytes]:
    """Yield a part's bytes, and no more of them than the zip's own list promised."""
    head = data[part.header_offset : part.header_offset + 30]
    if len(head) < 30 or not head.startswith(b"PK\x03\x04"):
        raise zipfile.BadZipFile("no header")
    start = part.header_offset + 30
    start += int.from_bytes(head[26:28], "little") + int.from_bytes(head[28:30], "little")
    packed = memoryview(data)[start : start + part.compress_size]
    if part.compress_type == zipfile.ZIP_STORED:
        if part.compress_size != part.file_size:
            raise zipfile.BadZipFile("another size")
        yield from (bytes(packed[at : at + _CHUNK]) for at in range(0, len(packed), _CHUNK))
        return
    if part.compress_type != zipfile.ZIP_DEFLATED:
        raise UsageError(f"{name} is packed in a way that is not read; save it again")
    unpack, left, waiting = zlib.decompressobj(-15), part.file_size, bytes(packed)
    while waiting and not unpack.eof:
        chunk = unpack.decompress(waiting, _CHUNK)
        left -= len(chunk)
        if left < 0:
            raise UsageError(f"{name} would unpack to more than it says; it was not opened")
        waiting = unpack.unconsumed_tail
        yield chunk
    if left or not unpack.eof:
        raise zipfile.BadZipFile("another size")


def _look_through(
    data: bytes, parts: list[zipfile.ZipInfo], kind: Literal["xlsx", "ods"], name: str
) -> None:
    """Refuse a workbook whose cells reach too far or hold too much text."""
    shared: list[int] = []
    sheets: list[zipfile.ZipInfo] = []
    cells = 0
    for part in parts:
        chunks = _expanded(data, part, name)
        if kind == "ods" and part.filename == "content.xml":
            _ods(_pieces(chunks, _ODS_ROW, name), name)
        elif kind == "ods":
            deque(chunks, maxlen=0)  # nothing of it is read, but its size is checked
        elif part.filename.lower().endswith("sharedstrings.xml"):
            shared += map(len, _pieces(chunks, _SHARED, name))
        else:
            cells += _xlsx(_pieces(chunks, _XLSX_ROW, name), name)
            sheets.append(part)
    if cells * max(shared, default=0) > MOST_TEXT:
        for part in sheets:
            _check_shared(_pieces(_expanded(data, part, name), _XLSX_ROW, name), shared, name)


def _pieces(chunks: Iterator[bytes], tag: re.Pattern[bytes], name: str) -> Iterator[bytes]:
    """Cut a part of XML into pieces that each begin with a tag; what is before the first is left.

    A piece longer than any real row is refused, so that little is held at a time.
    """
    kept, began = b"", False
    for chunk in chunks:
        if not kept and chunk.startswith((b"\xff\xfe", b"\xfe\xff", b"<\0", b"\0<")):
            raise UsageError(f"{name} is written in an encoding that is not read")
        new = max(kept.rfind(b"<"), 0)
        kept += chunk
        starts = [found.start() for found in tag.finditer(kept, new) if found.start() or not began]
        if starts:
            yield from (kept[at:end] for at, end in pairwise([0, *starts] if began else starts))
            kept, began = kept[starts[-1] :], True
        elif not began:
            kept = kept[max(kept.rfind(b"<"), 0) :][-_CHUNK:]
        if len(kept) > _LONGEST_ROW:
            raise UsageError(f"{name} has a row of more than {_LONGEST_ROW / _MB:.0f} MB; {_AWAY}")
    if began:
        yield kept


@dataclass
class _Reach:
    """How far a sheet's cells reach: the last row and column that hold one, and how many do."""

    name: str
    row: int = 0
    column: int = 0
    cells: int = 0

    def hold(self, row: int, column: int, cells: int) -> None:
        """Count a row that holds cells; ``UsageError`` where it leads too far."""
        self.row, self.column = max(self.row, row), max(self.column, column)
        self.cells += cells
        if column > MOST_COLUMNS:
            raise UsageError(
                f"{self.name} has a row of {column:,} cells, more than the {MOST_COLUMNS:,} of a "
                f"spreadsheet; {_AWAY}"
            )
        if (reach := max(self.row * self.column, self.cells)) > MOST_CELLS:
            raise UsageError(
                f"{self.name} has a sheet that spans {reach:,} cells, more than the "
                f"{MOST_CELLS:,} that are read; {_AWAY}"
            )


def _xlsx(rows: Iterator[bytes], name: str) -> int:
    """Return how many cells a sheet of Excel's format has; some do not say where they are."""
    reach, last = _Reach(name), 0
    for row in rows:
        cells, places = len(_XLSX_CELL.findall(row)), _PLACE.findall(row)
        last = max(last + 1, *(int(digits) for digits in {digits for _, digits in places}), 0)
        if cells:
            placed = [letters for letters, _ in places if letters]
            column = max(map(_column, set(placed)), default=0) + cells - len(placed)
            reach.hold(last, max(column, cells), cells)
    return reach.cells


def _check_shared(rows: Iterator[bytes], shared: list[int], name: str) -> None:
    """Refuse long texts of Excel's format that stand in very many cells."""
    text = 0
    for row in rows:
        indices = (int(index or 0) for index in _INDEX.findall(row))
        text += sum(shared[index] for index in indices if index < len(shared))
        _check_text(text, name)


def _ods(rows: Iterator[bytes], name: str) -> None:
    """Count cells and text of sheets of the open format, repeated ones as often as they are."""
    reach, last, text = _Reach(name), 0, 0
    for row in rows:
        if not row.startswith(b"<table:table-row"):  # a sheet begins
            reach, last = _Reach(name), 0
            continue
        times = max(map(int, _ROWS.findall(row)), default=1)
        last += times
        if not (filled := _up_to_the_last_value(row)):
            continue
        parts = _ODS_CELL.split(filled)
        column, size = len(parts) - 1, len(filled)
        for part in parts:
            if b"repeated" in part:
                repeated = sum(map(int, _COLUMNS.findall(part)))
                column, size = column + repeated, size + repeated * len(part)
        reach.hold(last, column, times * column)
        text += times * size
        _check_text(text, name)


def _up_to_the_last_value(row: bytes) -> bytes:
    """Return a row of the open format without the blank cells at its end."""
    at = row.rfind(b"office:")
    while at > 0 and row[at - 1] in b"</":  # a tag, not a value of a cell
        at = row.rfind(b"office:", 0, at)
    at = max(at, row.rfind(b"<text:"))
    end = row.find(b"<table:", at)
    return b"" if at < 0 else row if end < 0 else row[:end]


def _check_text(text: int, name: str) -> None:
    if text > MOST_TEXT:
        raise UsageError(
            f"{name} repeats long texts in so many cells that they would fill "
            f"{MOST_TEXT / _MB:.0f} MB; it was not opened"
        )


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = 26 * number + letter - 64
    return number
