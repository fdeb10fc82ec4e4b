"""Text to a grid of cells: delimiter, header, records, and where one of them is torn."""

from __future__ import annotations

import csv
import io
import re
from collections import defaultdict
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import IntArray
from growthcast.book.cells.text import decode, line_ends
from growthcast.book.findings import finding
from growthcast.book.words import column_letter
from growthcast.errors import Finding

_BLOCK = 512
_START = 20_000
_MOST_COLUMNS = 1000
_DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs"}


@dataclass(frozen=True, slots=True)
class Coded:
    """A column of texts as ``values[codes]``: each distinct text once."""

    codes: NDArray[np.int32]
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """A table as text: the header as typed, and the cells of each column."""

    file: str
    header: tuple[str, ...]
    header_row: int
    rows: IntArray
    columns: tuple[Coded, ...]
    delimiter: str


def read_grid(data: bytes, file: str, known: frozenset[str]) -> tuple[Grid | None, list[Finding]]:
    """Return the cells of a table and what was found on the way to them."""
    text, findings = decode(data, file)
    if text is None:
        return None, findings
    findings += line_ends(text, file)
    delimiter = _delimiter(text[:_START], known)
    if delimiter != ",":
        findings.append(finding("delimiter", file, marks=_DELIMITERS[delimiter]))
    reading = _Reading(file, delimiter)
    reading.read(text)
    findings += reading.findings
    if not reading.header_row and not any(item.level == "problem" for item in findings):
        findings.append(finding("no-header", file, 1, None, "header"))
    return reading.grid(), findings


def _delimiter(text: str, known: frozenset[str]) -> str:
    """Return the mark that yields most known column names, a comma in doubt."""
    lines = [line.strip() for line in io.StringIO(text, newline=None)]
    lines = [line for line in lines if line][:5]
    if lines and (mark := _sep_line(lines[0])):
        return mark

    def score(mark: str) -> int:
        cells = {cell.strip(' "').casefold() for line in lines for cell in line.split(mark)}
        return len(cells & known)

    return max(_DELIMITERS, key=score)


def _sep_line(line: str) -> str | None:
    """Return the mark of a ``sep=;`` line, which some spreadsheets write above the header."""
    line = line.strip('"').casefold()
    mark = line[4:5]
    return mark if line.startswith("sep=") and len(line) <= 5 and mark in _DELIMITERS else None


class _Coder:
    """Collects one column: a code for each cell, and each distinct cell once; 0 is blank."""

    def __init__(self) -> None:
        self.texts: defaultdict[str, int] = defaultdict(None, {"": 0})
        self.texts.default_factory = self.texts.__len__  # a new text takes the next code
        self.blocks: list[NDArray[np.int32]] = []

    def add(self, cells: tuple[str, ...]) -> None:
        codes = map(self.texts.__getitem__, cells)
        self.blocks.append(np.fromiter(codes, np.int32, len(cells)))

    def coded(self) -> Coded:
        if len(self.texts) == 1:  # a blank column takes no room
            size = sum(block.size for block in self.blocks)
            return Coded(np.broadcast_to(np.int32(0), size), ("",))
        return Coded(np.concatenate(self.blocks), tuple(self.texts))


@dataclass
class _Reading:
    """One pass over the records of a file."""

    file: str
    delimiter: str
    findings: list[Finding] = field(default_factory=list)
    header: tuple[str, ...] = ()
    header_row: int = 0
    typed: int = 0  # cells of the header row, blank ones at its end included
    seen: int = 0  # records so far: a spreadsheet numbers records, not lines
    coders: list[_Coder] = field(default_factory=list)
    rows: list[IntArray] = field(default_factory=list)
    short: list[int] = field(default_factory=list)

    def read(self, text: str) -> None:
        """Read every record; stop only where the text itself cannot be read on."""
        stream = io.StringIO(text, newline="")
        reader = csv.reader(stream, delimiter=self.delimiter, strict=True)
        more = True
        while more:
            block: list[list[str]] = []
            try:
                block.extend(islice(reader, _BLOCK))
                more = len(block) == _BLOCK
            except csv.Error as error:
                self.findings.append(_stopped(text, self.file, self.delimiter, str(error)))
                more = False
            self._take(block)
        self._end(text[-1:])

    def _end(self, last: str) -> None:
        """Say which rows end early, and which one is torn.

        Torn is a last row without its line end, and a row that ends early where no other does.
        Where several end early, someone leaves out the blank cells at the end: those are read. So
        is the first alone, which may be older than the last columns.
        """
        unended = last not in ("", "\r", "\n") and self.short[-1:] == [self.seen]
        alone = len(self.short) == 1 and sum(rows.size for rows in self.rows) > 2
        alone = alone and self.short[0] > self.rows[0][0]
        if unended or alone:
            self._found("torn-row", self.short.pop(), width=len(self.header))
        if self.short:
            said = {"count": len(self.short), "width": len(self.header)}
            self._found("short-rows", self.short[0], **said)

    def _found(self, slug: str, row: int, column: str | None = None, /, **values: Any) -> None:
        self.findings.append(finding(slug, self.file, row, column, "row", **values))

    def _take(self, block: list[list[str]]) -> None:
        width, first = len(self.header), self.seen + 1
        self.seen += len(block)
        columns, rows = list(zip(*block, strict=False)), np.arange(first, first + len(block))
        is_even = width > 0 and {*map(len, block)} == {width}
        if not is_even or not all(cell.strip("# ") for cell in {*columns[0]}):
            fitted = [self._fitted(number, cells) for number, cells in enumerate(block, first)]
            columns = list(zip(*(cells for cells in fitted if cells is not None), strict=True))
            rows = rows[[cells is not None for cells in fitted]]
        if rows.size:
            self.rows.append(rows)
            for coder, column in zip(self.coders, columns, strict=True):
                coder.add(column)

    def _take_header(self, number: int, cells: list[str]) -> None:
        self.typed = len(cells)
        while not cells[-1].strip():
            cells.pop()
        if len(cells) > _MOST_COLUMNS:
            found, fix = f"{len(cells):,} columns", "look for what was pasted into the first row"
            said = {"found": found, "expected": f"at most {_MOST_COLUMNS:,} columns", "fix": fix}
            self.findings.append(finding("too-large", self.file, number, None, "header", **said))
            cells = cells[:_MOST_COLUMNS]
        self.header, self.header_row = tuple(cells), number
        self.coders = [_Coder() for _ in cells]

    def _fitted(self, number: int, cells: list[str]) -> list[str] | None:
        """Return a record as long as the header; none for a blank one, a comment and the header."""
        if not cells or (not cells[0].strip() and not "".join(cells).strip()):
            return None
        if cells[0][:1] == "#" and not "".join(cells[1:]).strip():
            self._found("comment-line", number, "A", cell=cells[0])
            return None
        if not self.header_row:
            if not _sep_line(self.delimiter.join(cells)):
                self._take_header(number, cells)
            return None
        width = len(self.header)
        if len(cells) < width:
            self.short.append(number)
            return cells + [""] * (width - len(cells))
        if len(cells) > self.typed:
            letter = column_letter(self.typed)
            self._found("long-row", number, letter, count=len(cells), width=self.typed)
        return cells[:width]

    def grid(self) -> Grid | None:
        """Return the cells read, or nothing where there was no header."""
        if not self.header_row:
            return None
        return Grid(
            self.file,
            self.header,
            self.header_row,
            np.concatenate(self.rows) if self.rows else np.zeros(0, np.int64),
            tuple(coder.coded() for coder in self.coders),
            self.delimiter,
        )


def _stopped(text: str, file: str, delimiter: str, error: str) -> Finding:
    """Return why the csv module stopped, at the record where it did."""
    row, column = _place_of_stop(text, delimiter)
    if "field larger" in error:
        return finding("long-cell", file, row, None, "row", most=csv.field_size_limit())
    slug = "unclosed-quote" if "unexpected end" in error else "stray-quote"
    return finding(slug, file, row, column_letter(column), "row")


def _place_of_stop(text: str, delimiter: str) -> tuple[int, int]:
    lines = list(io.StringIO(text, newline=""))
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    row, start = 1, 0
    try:
        for _ in reader:
            row, start = row + 1, reader.line_num
    except csv.Error:
        pass
    mark = re.escape(delimiter)
    whole = re.compile(rf'(?:"[^"]*(?:""[^"]*)*"|[^"{mark}\r\n][^{mark}\r\n]*)?{mark}')
    record, column, at = "".join(lines[start:]), 0, 0
    while cell := whole.match(record, at):
        column, at = column + 1, cell.end()
    return row, column
