"""Cells of the book as spreadsheet values, and back.

The stamp of a workbook tells what each cell of the book held when it was exported: a row on a
hidden sheet for each of the book, with the table, the row's key and a checksum a column. An import
tells by it what changed in the sheet from what changed in the book since.
"""

from __future__ import annotations

import datetime as dt
import re
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence

from growthcast.book.cells.numbers import parse_date, parse_number
from growthcast.book.findings import Fault
from growthcast.book.tables import TABLES, UNITS, Column, column_of
from growthcast.book.words import plain
from growthcast.book.writing.source import Source
from growthcast.nouns import dataclass

LISTS = "lists"
"""Name of the sheet with the names of plants."""
DIGITS = 15
"""As many of a number are kept by spreadsheets."""
MOST_CELLS = 4_500_000
"""Cells of a sheet that is read: as many are written at most."""

Value = str | float | bool | dt.date | dt.datetime | dt.time | dt.timedelta | None
"""What a cell of a spreadsheet holds; a blank one holds none."""

_NO_XML = re.compile("[\x00-\x08\x0b-\x1f\ufffe\uffff\ud800-\udfff]")


def heading_text(name: str, column: Column | None) -> str:
    """Return a column's name with its unit in brackets, where it has one.

    >>> heading_text("light_share", None), heading_text("date", TABLES["trims"][0])
    ('light_share', 'date [YYYY-MM-DD]')
    """
    if column is None:
        return name
    unit = "YYYY-MM-DD" if column.kind == "date" else UNITS[column.unit]["heading"]
    return f"{name} [{unit}]" if unit else name


@dataclass(frozen=True, slots=True)
class SheetTable:
    """One sheet as it came back: the headings as typed, and its rows with their numbers.

    ``rows`` hold a value for each heading; rows without any value are not among them.
    """

    name: str
    headings: tuple[str, ...]
    rows: tuple[tuple[int, tuple[Value, ...]], ...]

    def names(self, own: Sequence[str] = ()) -> list[str]:
        """Return the columns that the headings mean, of the book's and those of its file."""
        declared = {column.name: column for column in TABLES[self.name]}
        known = {heading_text(name, column).casefold(): name for name, column in declared.items()}
        known |= {name: name for name in declared} | {name.casefold(): name for name in own if name}
        found = []
        for typed in map(str.strip, self.headings):
            bare = typed.rpartition("[")[0].strip() if typed.endswith("]") else typed
            found.append(known.get(typed.casefold()) or known.get(bare.casefold()) or typed)
        return found


def as_value(cell: str, column: Column | None, *, decimal_comma: bool) -> Value:
    """Return what a spreadsheet should hold for a cell of the book.

    Numbers and dates where the column declares them and the cell can be read as one; text as it
    stands everywhere else, ids and columns nobody declared too.
    """
    text, kind = cell.strip(), "text" if column is None else column.kind
    if not text:
        return None
    if kind == "number":
        number = parse_number(text, decimal_comma=decimal_comma)
        return cell if isinstance(number, Fault) else number
    day = parse_date(text) if kind == "date" else None
    return dt.date.fromisoformat(day) if isinstance(day, str) else cell


def as_text(value: Value, *, decimal_comma: bool = False) -> str:
    """Return the book's text for what a spreadsheet cell holds."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        text = plain(float(value), DIGITS)
        return text.replace(".", ",") if decimal_comma else text
    if isinstance(value, dt.datetime):
        midnight = value.time() == dt.time()
        return value.date().isoformat() if midnight else value.isoformat(sep=" ")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return str(value)


def canonical(text: str) -> str:
    """Return text as it comes back from a spreadsheet.

    Line ends become plain ones, characters that XML does not know a replacement mark.
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return _NO_XML.sub("\N{REPLACEMENT CHARACTER}", text)


def normal(cell: str, column: Column | None, *, decimal_comma: bool) -> str:
    """Return the text that all texts of a cell share which say the same in their column."""
    text = canonical(as_text(as_value(cell, column, decimal_comma=decimal_comma)))
    kind = "text" if column is None else column.kind
    if kind == "flag":
        return text.strip().casefold()
    return text.strip() if kind in {"number", "date", "choice"} else text


STAMP = "stamp"
"""The name of the hidden sheet."""
ROW_KEYS: Mapping[str, tuple[str, ...]] = {
    table: tuple(column.name for column in columns if column.key)
    for table, columns in TABLES.items()
}
"""By which columns a row of a sheet and a row of a file are the same row."""

Key = tuple[str, ...]
Stamps = Mapping[tuple[str, Key], Mapping[str, str]]
"""Checksums by column, of each row by its table and key."""


def key_of(table: str, cells: Mapping[str, str]) -> Key:
    """Return the key of a row, by which it is known again."""
    named = ((name, cells.get(name, "")) for name in ROW_KEYS[table])
    return tuple(normal(cell, column_of(table, name), decimal_comma=False) for name, cell in named)


def checksum(cell: str, column: Column | None, *, decimal_comma: bool) -> str:
    """Return a checksum that texts of a cell share which say the same; "" of a blank one."""
    text = normal(cell.strip(), column, decimal_comma=decimal_comma)
    return f"{zlib.crc32(text.encode()):08x}" if text else ""


def stamp_rows(sources: Mapping[str, Source]) -> Iterator[tuple[str, str, str, str]]:
    """Yield the rows of the hidden sheet: table, key, columns and their checksums."""
    for table, source in sources.items():
        declared = {column.name: column for column in TABLES[table]}
        comma, names = source.decimal_comma, ",".join(source.names)
        for _, cells in source.rows():
            sums = [checksum(c, declared.get(n), decimal_comma=comma) for n, c in cells.items()]
            yield table, "\n".join(key_of(table, cells)), names, ",".join(sums)


def read_stamps(rows: Iterable[tuple[int, Sequence[object]]]) -> Stamps:
    """Return the stamps of a workbook; a key that stands twice is none."""
    found: dict[tuple[str, Key], Mapping[str, str]] = {}
    twice: set[tuple[str, Key]] = set()
    for _, values in rows:
        texts = ["" if value is None else str(value) for value in values]
        table, key, names, sums = (*texts, "", "", "", "")[:4]
        place = table, tuple(key.split("\n"))
        twice |= {place} & found.keys()
        found[place] = dict(zip(names.split(","), sums.split(","), strict=False))
    return {place: sums for place, sums in found.items() if place not in twice}
