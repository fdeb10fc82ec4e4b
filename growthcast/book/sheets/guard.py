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
from xml.parsers import expat

from growthcast.errors import UsageError

MOST_PACKED = 100_000_000
MOST_EXPANDED = 400_000_000
MOST_PARTS = 2_000
MOST_CELLS = 4_500_000
MOST_TEXT = 400_000_000
MOST_COLUMNS = 16_384
"""Columns of a sheet in any spreadsheet."""
_CHUNK = 1 << 20
_MB = 1_000_000
_AWAY = "look for a cell far away from the others, or delete what is no part of the book"
_PLACE = re.compile(r"([A-Z]{1,4})([0-9]{1,12})", re.IGNORECASE)


def guard_workbook(data: bytes, name: str) -> None:
    """Let a workbook pass that may be read; ``UsageError`` says why another may not."""
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise UsageError(
            f"{name} is an older workbook or a protected one: open it and save it as .xlsx without "
            "a password"
        )
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
    if len(parts) > MOST_PARTS:
        raise UsageError(f"{name} has {len(parts):,} parts; a workbook of a book has a few dozen")
    if len(names) < len(parts):
        raise UsageError(f"{name} holds two parts of one name; save it again")
    if "xl/workbook.xml" not in names or names & {"content.xml", "xl/workbook.bin"}:
        raise UsageError(f"{name} is a workbook of another kind; save it as .xlsx")
    expanded = sum(part.file_size for part in parts)
    if expanded > MOST_EXPANDED:
        raise UsageError(
            f"{name} would unpack to {expanded / _MB:,.0f} MB, more than the "
            f"{MOST_EXPANDED / _MB:.0f} MB that are read; it holds far more than a book does"
        )
    if any(part.flag_bits & 1 for part in parts):
        raise UsageError(f"{name} is protected by a password; save it without one")
    if any(p.compress_type not in {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED} for p in parts):
        raise UsageError(f"{name} is packed in a way that is not read; save it again")


class _Part:
    """One part of a workbook while it is read: how far its cells reach and what text they hold.

    ``shared`` are the lengths of the texts that cells name by their number, filled in by the part
    that holds them. Any part may turn out to be a sheet.
    """

    def __init__(self, part: str, name: str, shared: list[int]) -> None:
        self.part, self.name, self.shared = part, name, shared
        self.row = self.column = self.rows = self.columns = self.cells = self.text = 0
        self.by_number = self.is_value = False

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
            self._linked(attributes.get("Target", ""))

    def _linked(self, part: str) -> None:
        """Refuse a sheet that would lie in a part which is not looked through."""
        if not part.lower().endswith(".xml"):
            raise UsageError(f"{self.name} holds more than sheets; save it as .xlsx")

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
        if self.columns > MOST_COLUMNS:
            raise UsageError(
                f"{self.name} has a row of {self.columns:,} cells, more than the {MOST_COLUMNS:,} "
                f"of a spreadsheet; {_AWAY}"
            )
        if (reach := max(self.rows * self.columns, self.cells)) > MOST_CELLS:
            raise UsageError(
                f"{self.name} has a sheet that spans {reach:,} cells, more than the "
                f"{MOST_CELLS:,} that are read; {_AWAY}"
            )

    def _characters(self, text: str) -> None:
        if self.is_value and self.by_number:
            number = int(text) if text.isdecimal() else -1
            self.text += self.shared[number] if 0 <= number < len(self.shared) else 0
        else:
            self.text += len(text)
            if self.shared and self.part.lower().endswith("strings.xml"):
                self.shared[-1] += len(text)
        if self.text > MOST_TEXT:
            raise UsageError(
                f"{self.name} repeats long texts in so many cells that they would fill "
                f"{MOST_TEXT / _MB:.0f} MB; it was not opened"
            )
