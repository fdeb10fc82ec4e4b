"""The book as sheets: one a table, the practice's keys, and the lists that cells choose from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from growthcast.book.read import read_shipped_species
from growthcast.book.sheets.guard import MOST_CELLS
from growthcast.book.sheets.settings import settings_of
from growthcast.book.sheets.source import Source, read_source
from growthcast.book.sheets.values import Value, as_value
from growthcast.book.tables import TABLES, Column
from growthcast.book.words import column_letter
from growthcast.errors import UsageError

SETTINGS, LISTS = "practice", "lists"
MOST_ROWS = 400_000
"""Rows of a sheet at most: more, and the spreadsheet that comes back would not be read."""
LONGEST_CELL = 32_767
"""Characters of a cell at most, as spreadsheets have it."""
ROOM_ROWS = 1000
"""Rows below the last which offer the same choices, for what is typed there."""

_HOMES = {"tank_id": "tanks", "area_id": "areas"}
_UNITS = {"umol": "µmol/m²/s", "c": "°C", "share": "share, 0 to 1", "cm2": "cm²", "h": "h a day"}


@dataclass(frozen=True, slots=True)
class Heading:
    """One column of a sheet: what its first row says, what its cells hold, what they offer.

    ``choices`` are words, or a range of another sheet in ``choices_from``: sheet, letter, last row.
    """

    text: str
    meaning: str = ""
    kind: str = "text"
    width: int = 12
    choices: tuple[str, ...] = ()
    choices_from: tuple[str, str, int] | None = None


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet; ``rows`` can be gone through once."""

    name: str
    headings: tuple[Heading, ...]
    rows: Iterable[tuple[Value, ...]]
    count: int
    room: int = ROOM_ROWS


def heading_text(name: str, column: Column | None) -> str:
    """Return a column's name with its unit in brackets, where it has one.

    >>> heading_text("light_share", None), heading_text("date", TABLES["trims"][0])
    ('light_share', 'date [YYYY-MM-DD]')
    """
    if column is None:
        return name
    unit = "YYYY-MM-DD" if column.kind == "date" else _UNITS.get(column.unit, column.unit)
    return f"{name} [{unit}]" if unit else name


def book_sheets(folder: Path) -> list[Sheet]:
    """Return the sheets of a book that was found without problems.

    Raises
    ------
    BookProblems
        A file that cannot be taken apart.
    UsageError
        More rows or longer cells than a spreadsheet holds.
    """
    sources = {table: read_source(folder, table) for table in TABLES}
    columns = {table: _columns(source) for table, source in sources.items()}
    species = _species_ids(sources["species"])
    sheets = [_settings(folder)]
    for table, source in sources.items():
        records = tuple(source.rows())
        most = min(MOST_ROWS, MOST_CELLS // len(columns[table]) - 1)
        if len(records) > most:
            raise UsageError(
                f"{table}.csv has {len(records):,} rows, more than the {most:,} that are read "
                "back from a spreadsheet; work on the CSV itself, or keep older years in a copy "
                "of the book"
            )
        headings = tuple(
            _heading(name, column, table, sources, columns, len(species))
            for name, column in columns[table]
        )
        sheets.append(Sheet(table, headings, _rows(source, columns[table]), len(records)))
    heading = Heading("species_id", "every plant known, for the choices; not read back", width=34)
    sheets.append(Sheet(LISTS, (heading,), ((name,) for name in species), len(species), 0))
    return sheets


def _columns(source: Source) -> list[tuple[str, Column | None]]:
    """Return the file's columns in its order, then the declared ones it does not have."""
    declared = {column.name: column for column in TABLES[source.dialect.table]}
    there = [(name, declared.get(name)) for name in source.names]
    absent = [(name, column) for name, column in declared.items() if name not in source.names]
    return [*there, *absent]


def _species_ids(own: Source) -> list[str]:
    ids = read_shipped_species().text("species_id").tolist()
    if "species_id" in own.names:
        at = own.names.index("species_id")
        ids += [record.cells[at] for record in own.rows() if at < len(record.cells)]
    return sorted({name for name in ids if name.strip()})


def _heading(
    name: str,
    column: Column | None,
    table: str,
    sources: dict[str, Source],
    columns: dict[str, list[tuple[str, Column | None]]],
    species: int,
) -> Heading:
    text = heading_text(name, column)
    if column is None:
        return Heading(text, "a column of the practice's own", width=_width(text))
    kind = column.kind
    choices = column.choices or (("true", "false") if kind == "flag" else ())
    choices_from = None
    home = _HOMES.get(name)
    if home is not None and home != table:
        at = [other for other, _ in columns[home]].index(name)
        last = 1 + len(sources[home].records) + ROOM_ROWS
        choices_from = (home, column_letter(at), last)
    elif name == "species_id" and table == "areas":
        choices_from = (LISTS, "A", 1 + species)
    meaning = f"{column.meaning}; {column.expected}"
    wide = 40 if name == "note" else _width(text) + (6 if kind == "id" else 0)
    return Heading(text, meaning, kind, wide, choices, choices_from)


def _width(text: str) -> int:
    return min(max(len(text) + 2, 12), 40)


def _rows(source: Source, columns: list[tuple[str, Column | None]]) -> Iterator[tuple[Value, ...]]:
    width = len(source.names)
    for record in source.rows():
        kept = record.cells[:width]
        cells = kept + ("",) * (len(columns) - len(kept))
        for (name, _), cell in zip(columns, cells, strict=True):
            if len(cell) > LONGEST_CELL:
                raise UsageError(
                    f"{source.dialect.file}, row {record.row}, {name}: {len(cell):,} characters, "
                    f"more than the {LONGEST_CELL:,} which a spreadsheet's cell holds; shorten it"
                )
        yield tuple(
            as_value(cell, column, decimal_comma=source.dialect.decimal_comma)
            for (_, column), cell in zip(columns, cells, strict=True)
        )


def _settings(folder: Path) -> Sheet:
    settings = settings_of((folder / "practice.toml").read_bytes())
    headings = (
        Heading("section", "part of practice.toml", width=12),
        Heading("key", "name of the key", width=22),
        Heading("value", "what it says; blank leaves practice.toml as it is", "value", 28),
        Heading("unit", "for reading only", width=12),
        Heading("meaning", "for reading only", width=60),
    )
    rows = [(one.section, one.key, one.value, one.unit, one.meaning) for one in settings]
    return Sheet(SETTINGS, headings, rows, len(rows), 0)
