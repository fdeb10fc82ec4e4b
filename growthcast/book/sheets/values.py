"""Cells of the book and keys of ``practice.toml`` as spreadsheet values, and back.

The stamp of a workbook tells what each cell of the book held when it was exported: a row on a
hidden sheet for each of the book, with the table, the row's key and a checksum a column. An import
tells by it what changed in the sheet from what changed in the book since.
"""

from __future__ import annotations

import datetime as dt
import math
import re
import tomllib
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from decimal import Decimal
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from growthcast.book.cells.numbers import parse_date, parse_number
from growthcast.book.cells.text import decoded
from growthcast.book.findings import Fault, refusal
from growthcast.book.tables import KEYS, KINDS, TABLES, UNITS, Column, column_of
from growthcast.book.writing.source import Source
from growthcast.errors import UsageError
from growthcast.nouns import dataclass

SETTINGS, LISTS = "practice", "lists"
"""Names of the sheets beside those of the tables."""
MOST_CELLS = 4_500_000
"""Cells of a sheet that is read: as many are written at most."""

Value = str | float | bool | dt.date | dt.datetime | dt.time | dt.timedelta | None
"""What a cell of a spreadsheet holds; a blank one holds none."""

_IN_A_LIST = re.compile(r"[^\s,;](?:[^,;]*[^\s,;])?")
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
        text = number_text(float(value))
        return text.replace(".", ",") if decimal_comma else text
    if isinstance(value, dt.datetime):
        midnight = value.time() == dt.time()
        return value.date().isoformat() if midnight else value.isoformat(sep=" ")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return str(value)


def number_text(number: float) -> str:
    """Return a number as people write it, to the 15 digits that spreadsheets keep.

    >>> number_text(24.0), number_text(0.1 + 0.2), number_text(1e-5)
    ('24', '0.3', '0.00001')
    """
    if not math.isfinite(number):
        return str(number)
    text = f"{Decimal(f'{number:.15g}'):f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


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


@dataclass(frozen=True, slots=True)
class SettingRow:
    """One row of a sheet of keys as it came back."""

    row: int
    section: str
    key: str
    value: Value


@dataclass(frozen=True, slots=True)
class SettingChange:
    """One key that would change, as text; ``old`` is blank where the key is new."""

    section: str
    key: str
    old: str
    new: str


def settings_of(data: bytes) -> list[tuple[str, str, Value, str, str]]:
    """Return every key that ``practice.toml`` may hold: section, key, value, unit and meaning.

    The value is blank where it does not fit into a cell, and of keys which the file does not give:
    their default holds.
    """
    given, found = _given(data), []
    for section, key in ((section, key) for section, keys in KEYS.items() for key in keys):
        value = _as_value(given.get((section, key.name)))
        found.append((section, key.name, value, key.unit, f"{key.meaning}; {key.expected}"))
    return found


def _as_value(value: Any) -> Value:
    """Return a TOML value as one cell, none where it does not fit into one."""
    if isinstance(value, int | float):
        return float(value) if abs(value) < 1e15 else str(value)
    if not isinstance(value, list):
        return value if isinstance(value, str) and value else None
    items = [number_text(item) if isinstance(item, int | float) else item for item in value]
    fits = all(isinstance(item, str) and _IN_A_LIST.fullmatch(item) for item in items)
    return ", ".join(items) if items and fits else None


def _given(data: bytes) -> dict[tuple[str, str], Any]:
    """Return the value of each key that the file gives, by its section and name."""
    text = decoded(data)[2].replace("\r\n", "\n").replace("\r", "\n")
    sections = {name: keys for name, keys in tomllib.loads(text).items() if isinstance(keys, dict)}
    return {(name, key): value for name, keys in sections.items() for key, value in keys.items()}


def with_settings(
    data: bytes, rows: Iterable[SettingRow]
) -> tuple[bytes, list[SettingChange], list[str]]:
    """Return the file with the keys of a sheet, what changes, and what was not taken over.

    A blank value leaves its key as it is.
    """
    given, left_out = _given(data), list[str]()
    edits: list[tuple[SettingChange, Any]] = []
    for row in rows:
        key = next((key for key in KEYS.get(row.section, ()) if key.name == row.key), None)
        old, text = given.get((row.section, row.key)), as_text(row.value)
        if not text.strip() or (old and _as_value(old) is None):
            continue
        if key is None:
            words = f"no key {row.key} under [{row.section}] is known"
            left_out.append(f"row {row.row} of practice: {words}")
            continue
        value, was = _typed(text, old, key), "" if old is None else _shown(old)
        if old is None or (value != old and canonical(was) != canonical(_shown(value))):
            edits.append((SettingChange(row.section, row.key, was, _shown(value)), value))
    if not edits:
        return data, [], left_out
    mark, codec, text = decoded(data)
    try:
        document = tomlkit.parse(text)
        if tomlkit.dumps(document) != text:
            raise UsageError("practice.toml cannot be rewritten without touching other lines")
        for change, value in edits:
            if change.section not in document:
                document[change.section] = tomlkit.table()
            document[change.section][change.key] = value
        new = mark + tomlkit.dumps(document).encode(codec)
    except (TOMLKitError, UsageError, UnicodeEncodeError, ValueError) as error:
        names = ", ".join(change.key for change, _ in edits)
        raise UsageError(refusal("other-lines", names=names)) from error
    return new, [change for change, _ in edits], left_out


def _typed(text: str, old: Any, key: Column) -> Any:
    """Return a cell's text as its key holds it; what is no number stays text, for the check."""
    if KINDS.get(key.kind, {}).get("example"):
        parts = [part for part in re.split(r"\s*[,;]\s*", text.strip()) if part]
        return [_number(part) for part in parts] if key.kind == "intervals" else parts
    if key.kind != "number":
        return text
    number = _number(text)
    return float(number) if isinstance(number, int) and isinstance(old, float) else number


def _number(text: str) -> Any:
    for kind in (int, float):
        with suppress(ValueError):
            return kind(text)
    return text


def _shown(value: Any) -> str:
    return as_text(_as_value(value), decimal_comma=False)


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
