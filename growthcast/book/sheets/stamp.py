"""The stamp of a workbook: what each cell of the book held when it was exported, as checksums.

It lies on a hidden sheet, a row for each row of the book: the table, the row's key and a checksum a
column. An import tells by it what changed in the sheet from what changed in the book since.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence

from growthcast.book.cells.numbers import Fault, parse_date, parse_number
from growthcast.book.sheets.values import canonical, number_text
from growthcast.book.tables import TABLES, Column
from growthcast.book.writing.source import Source

STAMP = "stamp"
"""The name of the hidden sheet."""
KEYS: Mapping[str, tuple[str, ...]] = {
    "tanks": ("tank_id",),
    "areas": ("area_id",),
    "bounds": ("area_id", "from_date"),
    "trims": ("date", "tank_id", "area_id"),
    "conditions": ("tank_id", "from_date"),
    "closed": ("client", "tank_id", "from_date"),
    "species": ("species_id",),
}
"""By which columns a row of a sheet and a row of a file are the same row."""

Key = tuple[str, ...]
Stamps = Mapping[tuple[str, Key], Mapping[str, str]]
"""Checksums by column, of each row by its table and key."""


def key_of(table: str, cells: Mapping[str, str]) -> Key:
    """Return the key of a row, by which it is known again."""
    parts = []
    for name in KEYS[table]:
        cell = cells.get(name, "")
        if name in {"date", "from_date"}:
            day = parse_date(cell.strip())
            cell = cell.strip() if isinstance(day, Fault) else day
        parts.append(cell if cell.strip() else "")
    return tuple(parts)


def checksum(cell: str, column: Column | None, *, decimal_comma: bool) -> str:
    """Return a checksum that texts of a cell share which say the same; "" of a blank one."""
    text = cell.strip()
    kind = "text" if column is None else column.kind
    if kind == "number":
        number = parse_number(text, decimal_comma=decimal_comma)
        text = text if isinstance(number, Fault) else number_text(number)
    elif kind == "date":
        day = parse_date(text)
        text = text if isinstance(day, Fault) else day
    elif kind == "flag":
        text = text.casefold()
    return f"{zlib.crc32(canonical(text).encode()):08x}" if text else ""


def stamp_rows(sources: Mapping[str, Source]) -> Iterator[tuple[str, str, str, str]]:
    """Yield the rows of the hidden sheet: table, key, columns and their checksums."""
    for table, source in sources.items():
        declared = {column.name: column for column in TABLES[table]}
        comma, names = source.dialect.decimal_comma, ",".join(source.names)
        for record in source.rows():
            cells = dict(zip(source.names, record.cells, strict=False))
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
