"""A workbook's sheets as rows of values, read with python-calamine once it was found harmless.

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
from contextlib import contextmanager
from dataclasses import field
from pathlib import Path
from typing import Any
from xml.parsers import expat

from python_calamine import CalamineWorkbook

from growthcast.book.cells.text import read_bytes
from growthcast.book.findings import refusal
from growthcast.book.sheets import values
from growthcast.book.tables import TABLES
from growthcast.book.words import column_letter, printable, shown
from growthcast.errors import Finding, UsageError
from growthcast.nouns import dataclass

MOST_EXPANDED = MOST_TEXT = 400_000_000
MOST_PARTS = 2_000
MOST_COLUMNS = 16_384
"""Columns of a sheet in any spreadsheet."""
_CHUNK = 1 << 20
_MB = 1_000_000
_AWAY = "look for a cell far away from the others, or delete what is no part of the book"
_PLACE = re.compile(r"([A-Z]{1,4})([0-9]{1,12})", re.IGNORECASE)


def guard_workbook(data: bytes, name: str) -> None:
    """Let a workbook pass that may be read; ``UsageError`` says why another may not."""
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise UsageError(refusal("older-workbook", name=name))
    if not data.startswith(b"PK"):
        raise UsageError(f"{name} is no .xlsx workbook; save the sheets as .xlsx")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            _check_list(packed.infolist(), name)
            parts = [part for part in packed.namelist() if part.lower().endswith((".xml", ".rels"))]
            shared: list[int] = []
            for part in sorted(parts, key=lambda part: not part.lower().endswith("strings.xml")):
                _Part(part, name, shared).read(packed)
    except (zipfile.BadZipFile, zlib.error, expat.ExpatError) as error:
        raise UsageError(f"{name} is damaged: it cannot be unpacked; save it again") from error
    except (NotImplementedError, ValueError, EOFError, LookupError) as error:
        raise UsageError(f"{name} cannot be unpacked; save it again") from error


def _check_list(parts: list[zipfile.ZipInfo], name: str) -> None:
    """Refuse what the zip's own list says, before anything is unpacked."""
    names = {part.filename.lower() for part in parts}
    expanded = sum(part.file_size for part in parts)
    packings = {part.compress_type for part in parts} - {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
    is_other = "xl/workbook.xml" not in names or names & {"content.xml", "xl/workbook.bin"}
    wrong = {
        f"has {len(parts):,} parts; a workbook of a book has a few dozen": len(parts) > MOST_PARTS,
        "holds two parts of one name; save it again": len(names) < len(parts),
        "is a workbook of another kind; save it as .xlsx": is_other,
        f"would unpack to {expanded / _MB:,.0f} MB, more than the {MOST_EXPANDED / _MB:.0f} MB "
        "that are read; it holds far more than a book does": expanded > MOST_EXPANDED,
        "is protected by a password; save it without one": any(p.flag_bits & 1 for p in parts),
        "is packed in a way that is not read; save it again": packings,
    }
    for why in (why for why, holds in wrong.items() if holds):
        raise UsageError(f"{name} {why}")


class _Part:
    """One part of a workbook while it is read: how far its cells reach and what text they hold.

    ``shared`` are the lengths of the texts that cells name by their number, filled in by the part
    that holds them. Any part may turn out to be a sheet.
    """

    def __init__(self, part: str, name: str, shared: list[int]) -> None:
        self.part, self.name, self.shared = part, name, shared
        self.row = self.column = self.rows = self.columns = self.cells = self.text = 0
        self.by_number = self.is_value = self.unseen = False

    def read(self, packed: zipfile.ZipFile) -> None:
        """Go through the part; ``UsageError`` as soon as it is more than may be opened."""
        parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.StartElementHandler = self._begin
        parser.CharacterDataHandler = self._characters
        with packed.open(self.part) as stream:
            while chunk := stream.read(_CHUNK):
                parser.Parse(chunk, False)
        parser.Parse(b"", True)
        if self.unseen:  # a sheet would lie in a part which is not looked through
            raise UsageError(f"{self.name} holds more than sheets; save it as .xlsx")

    def _begin(self, tag: str, attributes: dict[str, str]) -> None:
        tag = tag.rpartition(":")[2]
        self.is_value = tag == "v"
        if tag == "c":
            self._cell(attributes)
        elif tag == "row":
            row = attributes.get("r", "")
            self.row, self.column = int(row) if row.isdecimal() else self.row + 1, 0
        elif tag == "si":
            self.shared.append(0)
        elif tag == "Relationship" and self.part.lower() == "xl/_rels/workbook.xml.rels":
            is_seen = attributes.get("Target", "").lower().endswith(".xml")
            self.unseen = self.unseen or not is_seen

    def _cell(self, attributes: dict[str, str]) -> None:
        """Count a cell, which says where it is or stands beside the one before."""
        self.by_number = attributes.get("t") == "s"
        place = _PLACE.fullmatch(attributes.get("r", ""))
        self.column += 1
        if place is not None:
            self.row, self.column = int(place[2]), 0
            for letter in place[1].upper():
                self.column = 26 * self.column + ord(letter) - 64
        self.cells += 1
        self.rows, self.columns = max(self.rows, self.row), max(self.columns, self.column)
        why, reach = "", max(self.rows * self.columns, self.cells)
        if self.columns > MOST_COLUMNS:
            why = (
                f"a row of {self.columns:,} cells, more than the {MOST_COLUMNS:,} of a spreadsheet"
            )
        elif reach > values.MOST_CELLS:
            most = f"more than the {values.MOST_CELLS:,} that are read"
            why = f"a sheet that spans {reach:,} cells, {most}"
        if why:
            raise UsageError(f"{self.name} has {why}; {_AWAY}")

    def _characters(self, text: str) -> None:
        if self.is_value and self.by_number:
            number = int(text) if text.isdecimal() else -1
            self.text += self.shared[number] if 0 <= number < len(self.shared) else 0
        else:
            self.text += len(text)
            if self.shared and self.part.lower().endswith("strings.xml"):
                self.shared[-1] += len(text)
        if self.text > MOST_TEXT:
            raise UsageError(refusal("long-texts", name=self.name, megabytes=MOST_TEXT / _MB))


_WIDEST = 500
_Row = tuple[int, list[values.Value]]
_OF_OTHERS = "is none of a book's and was not read"
_NOT_READ = {"practice": "was not read: practice.toml is edited as text"}


@dataclass(frozen=True, slots=True)
class Workbook:
    """A workbook's sheets that belong to a book, and what in it is not read."""

    file: str
    tables: tuple[values.SheetTable, ...]
    not_read: tuple[str, ...]
    stamps: values.Stamps = field(default_factory=dict)


def read_workbook(path: Path) -> Workbook:
    """Return the sheets of an .xlsx file; ``UsageError`` says why there are none.

    Nothing in the file is run: of a formula the value last shown is taken. Names of sheets are
    compared with a book's tables and never become names of files.
    """
    name, book = _opened(path)
    sheets = [(typed, typed.strip().casefold()) for typed in book.sheet_names]
    known = [*TABLES]
    named = [one for _, one in sheets if one in known]
    if not named:
        raise UsageError(refusal("no-sheets", name=name, wanted=", ".join(known)))
    for one in (one for one in named if named.count(one) > 1):
        raise UsageError(f"{name} has two sheets named {shown(one)}; remove one")
    aside = {*known, values.LISTS, values.STAMP}
    others = [(shown(typed), one) for typed, one in sheets if one not in aside]
    not_read = tuple(f"sheet {typed} {_NOT_READ.get(one, _OF_OTHERS)}" for typed, one in others)
    rows = {one: _rows(book, typed, name) for typed, one in sheets}
    tables = {one: _table(one, rows[one], name) for one in named}
    stamps = values.read_stamps(rows.get(values.STAMP, ()))
    return Workbook(path.name, tuple(filter(None, tables.values())), not_read, stamps)


def read_sheet(path: Path) -> list[_Row]:
    """Return the rows of the first sheet of any .xlsx file that holds something."""
    name, book = _opened(path)
    found = (list(_rows(book, sheet, name)) for sheet in book.sheet_names)
    return next((rows for rows in found if rows), [])


def _opened(path: Path) -> tuple[str, CalamineWorkbook]:
    """Return a workbook that may be read, and its name as it is said."""
    name, named = printable(path.name), printable(str(path))
    if not path.exists():
        raise UsageError(f"there is no file {named}")
    data = read_bytes(path, workbooks=True)
    if isinstance(data, Finding):
        raise UsageError(f"{named} cannot be read: it is {data.found}; {data.fix}")
    guard_workbook(data, name)
    with _reading(name):
        return name, CalamineWorkbook.from_filelike(io.BytesIO(data))


@contextmanager
def _reading(name: str) -> Iterator[None]:
    """Turn whatever the reader of workbooks says, or stumbles over, into a sentence.

    A fault inside that reader is no ``Exception``.
    """
    try:
        yield
    except (UsageError, KeyboardInterrupt, SystemExit):
        raise
    except BaseException as error:
        large = isinstance(error, MemoryError)
        why = "too large" if large else "damaged, protected by a password or no workbook"
        raise UsageError(refusal("unread-workbook", name=name, why=why)) from error


def _rows(book: Any, sheet: str, name: str) -> Iterator[_Row]:
    """Yield the rows of a sheet that hold something, with their numbers."""
    with _reading(name):
        page = book.get_sheet_by_name(sheet)
        rows = page.to_python(skip_empty_area=False) if page.start is not None else []
    for number, row in enumerate(rows, start=1):
        cells = [None if cell == "" else cell for cell in row]
        if any(cell is not None and str(cell).strip() for cell in cells):
            yield number, cells


def _table(
    table: str, rows: Iterator[tuple[int, list[values.Value]]], name: str
) -> values.SheetTable | None:
    first = next(rows, None)
    if first is None:
        return None
    headings = tuple(values.as_text(value) for value in first[1])
    while headings and not headings[-1].strip():
        headings = headings[:-1]
    if len(headings) > _WIDEST:
        said = {"name": name, "table": table, "count": len(headings), "most": _WIDEST}
        raise UsageError(refusal("many-headings", **said))
    width = len(headings)
    kept = []
    for number, cells in rows:
        for at, cell in enumerate(cells[width:], start=width):
            if cell is not None and str(cell).strip():
                cell = f"{column_letter(at)}{number}"
                raise UsageError(refusal("cell-without-heading", name=name, table=table, cell=cell))
        kept.append((number, tuple(cells[:width])))
    return values.SheetTable(table, headings, tuple(kept))
