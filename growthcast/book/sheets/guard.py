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
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

from growthcast.errors import UsageError

__all__ = ["guard_workbook"]

MOST_PACKED = 100_000_000
MOST_EXPANDED = 400_000_000
MOST_PARTS = 2_000
MOST_CELLS = 4_500_000
MOST_TEXT = 400_000_000
_CHUNK = 1 << 20
_LONGEST_TAG = 1 << 16
_MB = 1_000_000

_XLSX = re.compile(
    rb"<(?:[\w.-]+:)?(?P<tag>row|c)(?=[\s/>])"
    rb"""|\sr\s*=\s*["'](?P<letters>[A-Za-z]{0,4})(?P<digits>[0-9]{1,12})["']"""
)
_ODS = re.compile(
    rb"<table:(?P<tag>table|table-row|table-cell|covered-table-cell)(?=[\s/>])"
    rb"""|table:number-(?P<axis>columns|rows)-repeated\s*=\s*["'](?P<times>[0-9]{1,12})["']"""
    rb"|(?P<filled>office:(?:value|date-value|time-value|boolean-value|string-value)\b|<text:)"
)
_SHARED = re.compile(rb"<(?P<close>/?)(?:[\w.-]+:)?si(?=[\s/>])")
_INDEX = re.compile(rb"<(?:[\w.-]+:)?v(?:\s[^>]*)?>\s*([0-9]{0,12})")


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
            scan = _Scan(name, kind)
            for part in parts:
                scan.part(part.filename, _expanded(data, part, name))
            if kind == "xlsx":
                scan.check_shared(data, parts)
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


@dataclass
class _Scan:
    """A workbook while it is looked through: how far its cells reach and how much they hold."""

    name: str
    kind: Literal["xlsx", "ods"]
    shared: list[int] = field(default_factory=list)
    cells: int = 0

    def part(self, part: str, chunks: Iterator[bytes]) -> None:
        """Look through one part of the workbook."""
        if self.kind == "ods" and part != "content.xml":
            for _ in chunks:
                pass
        elif self.kind == "ods":
            self._ods(self._text(chunks))
        elif part.lower().endswith("sharedstrings.xml"):
            self._shared(self._text(chunks))
        else:
            self._xlsx(self._text(chunks))

    def check_shared(self, data: bytes, parts: list[zipfile.ZipInfo]) -> None:
        """Refuse long texts that stand in very many cells."""
        longest = max(self.shared, default=0)
        if self.cells * longest <= MOST_TEXT:
            return
        total = 0
        for part in parts:
            if not part.filename.lower().endswith("sharedstrings.xml"):
                for text in self._text(_expanded(data, part, self.name)):
                    for found in _INDEX.finditer(text):
                        at = int(found[1] or 0)
                        total += self.shared[at] if at < len(self.shared) else 0
                    if total > MOST_TEXT:
                        raise self._too_long()

    def _text(self, chunks: Iterator[bytes]) -> Iterator[bytes]:
        """Yield text that ends between two tags."""
        kept = b""
        for chunk in chunks:
            text = kept + chunk
            cut = text.rfind(b"<")
            if cut < 0 or len(text) - cut > _LONGEST_TAG + _CHUNK:
                cut = len(text)
            kept = text[cut:]
            if b"\0" in text:
                kept = b""  # no XML that is read: a picture, or another encoding
                if self.kind == "ods" or text[:2] in {b"\xff\xfe", b"\xfe\xff"}:
                    raise UsageError(f"{self.name} is written in an encoding that is not read")
            yield text[:cut]
        yield kept

    def _xlsx(self, texts: Iterator[bytes]) -> None:
        row = column = last_row = last_column = 0
        for text in texts:
            for found in _XLSX.finditer(text):
                if found["tag"] == b"row":
                    row, column = row + 1, 0
                elif found["tag"]:
                    column += 1
                    self.cells += 1
                    last_row, last_column = max(last_row, row), max(last_column, column)
                else:
                    row = int(found["digits"])
                    if found["letters"]:
                        column = _column(found["letters"])
                        last_column = max(last_column, column)
                        last_row = max(last_row, row)
            self._check_reach(last_row * last_column)

    def _shared(self, texts: Iterator[bytes]) -> None:
        offset = began = 0
        for text in texts:
            for found in _SHARED.finditer(text):
                if found["close"]:
                    self.shared.append(offset + found.start() - began)
                else:
                    began = offset + found.start()
            offset += len(text)

    def _ods(self, texts: Iterator[bytes]) -> None:
        sheet = _Grown()
        for text in texts:
            for found in _ODS.finditer(text):
                at = sheet.offset + found.start()
                if found["tag"] == b"table":
                    sheet.row_ends(at)
                    self._check_reach(sheet.cells)
                    sheet = _Grown(offset=sheet.offset, text=sheet.text)
                elif found["tag"] == b"table-row":
                    sheet.row_ends(at)
                elif found["tag"]:
                    sheet.cell_begins(at)
                elif found["axis"] == b"rows":
                    sheet.times = int(found["times"])
                elif found["axis"]:
                    sheet.repeated = int(found["times"])
                else:
                    sheet.filled = True
            sheet.offset += len(text)
            self._check_reach(sheet.cells)
            if sheet.text > MOST_TEXT:
                raise self._too_long()
        sheet.row_ends(sheet.offset)
        self._check_reach(sheet.cells)
        if sheet.text > MOST_TEXT:
            raise self._too_long()

    def _check_reach(self, cells: int) -> None:
        if cells > MOST_CELLS:
            raise UsageError(
                f"{self.name} has a sheet that spans {cells:,} cells, more than the "
                f"{MOST_CELLS:,} that are read; look for a cell far away from the others, or "
                "delete what is no part of the book"
            )

    def _too_long(self) -> UsageError:
        return UsageError(
            f"{self.name} repeats long texts in so many cells that they would fill "
            f"{MOST_TEXT / _MB:.0f} MB; it was not opened"
        )


@dataclass
class _Grown:
    """A sheet of the open format while it grows: repeated rows and cells counted in full."""

    rows: int = 0
    filled_rows: int = 0
    width: int = 0
    times: int = 1
    column: int = 0
    repeated: int = 1
    filled: bool = False
    row_width: int = 0
    offset: int = 0
    began: int = 0
    row_text: int = 0
    text: int = 0
    at: int = 0

    @property
    def cells(self) -> int:
        """How many cells the sheet spans, blank ones at its ends left out."""
        return self.filled_rows * self.width

    def _cell_ends(self) -> None:
        self.column += self.repeated if self.at else 0
        if self.filled:
            self.row_width = self.column
        self.repeated, self.filled = 1, False

    def cell_begins(self, at: int) -> None:
        """End the cell before, whose text reached up to here."""
        if self.filled:
            self.row_text += (at - self.began) * self.repeated
        self._cell_ends()
        self.began = self.at = at

    def row_ends(self, at: int) -> None:
        """Count the row that ends here as often as it is repeated."""
        if self.filled:
            self.row_text += (at - self.began) * self.repeated
        self._cell_ends()
        self.rows += self.times if self.at else 0
        if self.row_width:
            self.filled_rows = self.rows
            self.width = max(self.width, self.row_width)
        self.text += self.row_text * self.times
        self.times, self.column, self.row_width, self.row_text, self.at = 1, 0, 0, 0, 0


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = 26 * number + letter - 64
    return number
