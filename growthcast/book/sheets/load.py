"""A workbook's sheets as rows of values, read with python-calamine once it was found harmless."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from python_calamine import CalamineWorkbook

from growthcast.book.sheets.export import LISTS, SETTINGS
from growthcast.book.sheets.guard import MOST_PACKED, guard_workbook
from growthcast.book.sheets.settings import SettingRow
from growthcast.book.sheets.values import Value, as_text
from growthcast.book.tables import TABLES
from growthcast.book.words import column_letter, printable, shown
from growthcast.errors import UsageError

_WIDEST = 500


@dataclass(frozen=True, slots=True)
class SheetTable:
    """One sheet as it came back: the headings as typed, and its rows with their numbers.

    ``rows`` hold a value for each heading; rows without any value are not among them.
    """

    name: str
    headings: tuple[str, ...]
    rows: tuple[tuple[int, tuple[Value, ...]], ...]


@dataclass(frozen=True, slots=True)
class Workbook:
    """A workbook's sheets that belong to a book, its keys, and what in it is not read."""

    file: str
    tables: tuple[SheetTable, ...]
    settings: tuple[SettingRow, ...]
    not_read: tuple[str, ...]


def read_workbook(path: Path) -> Workbook:
    """Return the sheets of an .xlsx file; ``UsageError`` says why there are none.

    Nothing in the file is run: of a formula the value last shown is taken. Names of sheets are
    compared with a book's tables and never become names of files.
    """
    name = printable(path.name)
    data = _bytes(path)
    guard_workbook(data, name)
    tables: list[SheetTable] = []
    settings: tuple[SettingRow, ...] = ()
    not_read: list[str] = []
    seen: set[str] = set()
    with _Reading(name):
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
    del data
    for typed in book.sheet_names:
        known = typed.strip().casefold()
        if known == LISTS:
            continue
        if known not in TABLES and known != SETTINGS:
            not_read.append(f"sheet {shown(typed)} is none of a book's and was not read")
            continue
        if known in seen:
            raise UsageError(f"{name} has two sheets named {shown(known)}; remove one")
        seen.add(known)
        table = _table(known, _rows(book, typed, name), name)
        if known == SETTINGS:
            settings = _setting_rows(table, name)
        elif table is not None:
            tables.append(table)
    if not seen:
        wanted = ", ".join([*TABLES, SETTINGS])
        raise UsageError(
            f"{name} has none of the sheets of a book ({wanted}); growthcast export writes them"
        )
    return Workbook(path.name, tuple(tables), settings, tuple(not_read))


def _bytes(path: Path) -> bytes:
    named = printable(str(path))
    try:
        if path.is_dir():
            raise UsageError(f"{named} is a folder; name a workbook")
        if not path.exists():
            raise UsageError(f"there is no file {named}")
        if not path.is_file():
            raise UsageError(f"{named} is not an ordinary file; name a workbook")
        if path.stat().st_size > MOST_PACKED:
            raise UsageError(f"{named} is too large for a workbook of a book; up to 100 MB is read")
        return path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise UsageError(f"{named} cannot be read: {reason.lower()}") from error


class _Reading:
    """Turns whatever the reader of workbooks says, or stumbles over, into a sentence.

    A fault inside that reader is no ``Exception``.
    """

    def __init__(self, name: str) -> None:
        self.name = name

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: Any, error: BaseException | None, trace: Any) -> None:
        if error is None or isinstance(error, UsageError | KeyboardInterrupt | SystemExit):
            return
        why = "it is damaged, protected by a password or no workbook"
        if isinstance(error, MemoryError):
            why = "it is too large"
        raise UsageError(
            f"{self.name} cannot be read: {why}; open it in the spreadsheet and save it again"
        ) from None


def _rows(book: Any, sheet: str, name: str) -> Iterator[tuple[int, list[Value]]]:
    """Yield the rows of a sheet that hold something, with their numbers."""
    with _Reading(name):
        page = book.get_sheet_by_name(sheet)
        rows = page.to_python(skip_empty_area=False) if page.start is not None else []
    for number, cells in enumerate(rows, start=1):
        values = [None if cell == "" else cell for cell in cells]
        if any(value is not None and str(value).strip() for value in values):
            yield number, values


def _table(table: str, rows: Iterator[tuple[int, list[Value]]], name: str) -> SheetTable | None:
    first = next(rows, None)
    if first is None:
        return None
    headings = tuple(as_text(value, decimal_comma=False) for value in first[1])
    while headings and not headings[-1].strip():
        headings = headings[:-1]
    if len(headings) > _WIDEST:
        raise UsageError(
            f"{name}, sheet {table}, has {len(headings):,} columns; up to {_WIDEST} are read"
        )
    width = len(headings)
    kept = []
    for number, values in rows:
        for at, value in enumerate(values[width:], start=width):
            if value is not None and str(value).strip():
                raise UsageError(
                    f"{name}, sheet {table}, {column_letter(at)}{number}: a cell without a "
                    "heading; name its column in the first row, or clear it"
                )
        kept.append((number, tuple(values[:width])))
    return SheetTable(table, headings, tuple(kept))


def _setting_rows(table: SheetTable | None, name: str) -> tuple[SettingRow, ...]:
    if table is None:
        return ()
    places = {heading.strip().casefold(): at for at, heading in enumerate(table.headings)}
    if not {"section", "key", "value"} <= set(places):
        raise UsageError(f"{name}, sheet {SETTINGS}, needs the columns section, key and value")
    section, key, value = (places[word] for word in ("section", "key", "value"))
    return tuple(
        SettingRow(
            number,
            as_text(values[section], decimal_comma=False).strip(),
            as_text(values[key], decimal_comma=False).strip(),
            values[value],
        )
        for number, values in table.rows
    )
