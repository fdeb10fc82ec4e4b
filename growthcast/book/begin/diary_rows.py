"""An old diary as rows of the log: its cells read by whole columns, the rest listed by row."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from growthcast.book.begin.agreed import read_dates, read_numbers, read_pairs
from growthcast.book.begin.diary import LOOK_WORDS, Diary, Meanings, Names
from growthcast.book.begin.typed import slug
from growthcast.book.book import Book
from growthcast.book.supposed import Cell
from growthcast.book.tables import column_of
from growthcast.book.words import shown
from growthcast.book.writing.append import tried
from growthcast.book.writing.replace import write_over
from growthcast.book.writing.source import edited, read_source
from growthcast.errors import Finding, RowsRefused, UsageError
from growthcast.nouns import dataclass

_UNITS = {"before_cm": "cm", "after_cm": "cm", "removed_cm": "cm", "removed_g": "g"}
_UNITS |= {"minutes": "min", "visit_min": "min", "water_share": "share"}
_OF_TANK = ("visit_min", "water_share")
_TEXTS = ("note", "by")
_PLACED = ("tank_id", "area_id")


@dataclass(frozen=True, slots=True)
class NotTaken:
    """A row of a diary that is left out, and why."""

    row: int
    why: str


@dataclass(frozen=True, slots=True)
class Understood:
    """Rows for the log, each with the diary's row that it comes from, and the rows left out."""

    rows: tuple[tuple[int, Mapping[str, Cell]], ...]
    not_taken: tuple[NotTaken, ...]


def understand_diary(diary: Diary, meanings: Meanings, book: Book) -> Understood:
    """Return a diary as rows of the log; nothing is guessed, what is not understood is left out.

    ``UsageError`` where it has no dates, or where dates or numbers may be read in two ways.
    """
    heading_of = {name: heading for heading, name in meanings.columns.items() if name}
    if "date" not in heading_of:
        raise UsageError("no column holds the days; write date beside it")
    read = {name: _column(name, diary.column(h), h, meanings) for name, h in heading_of.items()}
    places = {n: diary.column(heading_of[n]) for n in _PLACED if n in heading_of}
    names = Names(book)
    rows: list[tuple[int, dict[str, Cell]]] = []
    not_taken: list[NotTaken] = []
    for at, (number, _) in enumerate(diary.rows):
        try:
            cells = {name: column[at] for name, column in places.items()}
            values = {name: column[at] for name, column in read.items() if column[at] is not None}
            for trouble in (v for v in values.values() if isinstance(v, UsageError)):
                raise trouble
            rows.append((number, _row(values, cells, names)))
        except UsageError as trouble:
            not_taken.append(NotTaken(number, str(trouble)))
    return Understood(tuple(_joined(rows)), tuple(not_taken))


def _column(name: str, cells: Sequence[str], heading: str, meanings: Meanings) -> list[Any]:
    """Return a column's values: ``None`` for a blank cell, an error for one not understood."""
    found: Sequence[Any]
    try:
        if name == "date":
            found = read_dates(cells, meanings.dates)
        elif name in _UNITS:
            found = read_numbers(cells, _UNITS[name], meanings.numbers)
        elif name == "heights":
            pairs = read_pairs(cells, meanings.numbers)
            found = [None if pair == (None, None) else pair for pair in pairs]
        elif name == "look":
            found = [LOOK_WORDS.get(slug(cell)) for cell in cells]
        else:
            return [cell or None for cell in cells]
    except UsageError as trouble:
        raise UsageError(f"column {shown(heading)}: {trouble}") from trouble
    return [
        UsageError(f"{heading}: {shown(cell)} is not understood")
        if cell and value is None
        else value
        for cell, value in zip(cells, found, strict=True)
    ]


def _row(values: Mapping[str, Any], cells: Mapping[str, str], names: Names) -> dict[str, Cell]:
    """Return one row of the log."""
    if "date" not in values:
        raise UsageError("no day")
    row: dict[str, Cell] = {"date": values["date"]}
    row["tank_id"], row["area_id"] = names.place(cells, values["date"])
    row |= {name: values[name] for name in (*_UNITS, *_TEXTS, "look") if name in values}
    if "heights" in values:
        before, after = values["heights"]
        row |= {"before_cm": before} if before is not None else {}
        row |= {"after_cm": after} if after is not None else {}
    if len(row) == len(_PLACED) + 1:
        raise UsageError("nothing that the log holds")
    for name, value in row.items():
        column = column_of("trims", name)
        if isinstance(value, float) and column.high is not None and value > column.high:
            raise UsageError(f"{name}: {value:g} is beyond {column.expected}")
    return row


def _joined(rows: Sequence[tuple[int, dict[str, Cell]]]) -> list[tuple[int, Mapping[str, Cell]]]:
    """Move the time at the tank and its water, which a diary writes beside areas, to its row."""
    whole = {(row["date"], row["tank_id"]): row for _, row in rows if row["area_id"] is None}
    found: list[tuple[int, Mapping[str, Cell]]] = []
    for number, row in rows:
        of_tank = {name: row.pop(name) for name in _OF_TANK if name in row and row["area_id"]}
        if row.keys() - {"date", "tank_id", "area_id"}:
            found.append((number, row))
        key = row["date"], row["tank_id"]
        if of_tank and key not in whole:
            whole[key] = {"date": key[0], "tank_id": key[1], "area_id": None}
            found.append((number, whole[key]))
        for name, value in of_tank.items():
            whole[key].setdefault(name, value)
    return found


@dataclass(frozen=True, slots=True)
class Plan:
    """A diary laid beside a log: its rows, and the log's bytes before and with them."""

    rows: tuple[tuple[int, Mapping[str, Cell]], ...]
    not_taken: tuple[NotTaken, ...]
    notes: tuple[Finding, ...]
    before: bytes | None
    after: bytes | None


def plan_import(folder: Path, understood: Understood, *, today: date) -> Plan:
    """Return what can be added to the log, columns that it lacks with it; nothing is written.

    Rows that the log has already, and rows that a check refuses, are listed with what it says.
    ``UsageError`` where the log has problems of its own.
    """
    rows, not_taken = list(understood.rows), list(understood.not_taken)
    source = read_source(folder, "trims")
    notes: tuple[Finding, ...] = ()
    while rows:
        after, places = edited(folder, source, {}, [row for _, row in rows])
        files = {"trims.csv": after}, {"trims.csv": source.data}
        try:
            notes = tried(folder, *files, today=today).findings
            break
        except RowsRefused as refused:
            said = {i.row: i for i in reversed(refused.findings) if i.row in places}
        if not said:
            raise UsageError(
                "trims.csv has problems of its own; see growthcast check, mend it first"
            )
        gone = {places.index(row): item for row, item in said.items() if row is not None}
        for at, item in gone.items():
            why = f"trims.csv refuses it: {item.heading}: {item.found}; {item.fix}"
            held = item.slug == "same-rows"
            not_taken.append(NotTaken(rows[at][0], "the log has this row already" if held else why))
        rows = [row for at, row in enumerate(rows) if at not in gone]
    listed = tuple(sorted(not_taken, key=lambda one: one.row))
    return Plan(tuple(rows), listed, notes, source.data, after if rows else source.data)


def write_import(folder: Path, plan: Plan, file: str) -> None:
    """Write a plan's rows, all in one step, with a line in the journal."""
    files = {"trims.csv": plan.after}, {"trims.csv": plan.before}
    write_over(folder, *files, "import", f"{len(plan.rows)} rows from {file}")
