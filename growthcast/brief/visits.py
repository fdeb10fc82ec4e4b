"""Planned visits from a CSV of rounds: columns date and tank_id, others are not read."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from growthcast.book.words import did_you_mean, printable, shown
from growthcast.errors import UsageError
from growthcast.nouns import dataclass

NEEDED = ("date", "tank_id")
MOST_BYTES = 20_000_000


@dataclass(frozen=True, slots=True)
class PlannedVisit:
    """A planned visit to one tank."""

    on: date
    tank_id: str


Plan = Sequence[PlannedVisit] | None
"""The visits of a plan, None where none was made."""


def read_visits(file: Path, tank_ids: list[str]) -> list[PlannedVisit]:
    """Return the visits of a plan by date, those of a day as the file has them.

    Raises
    ------
    UsageError
        Where the file cannot be read, lacks a column, or names a date or tank that does not exist.
    """
    named = printable(str(file))
    try:
        if file.stat().st_size > MOST_BYTES:
            raise UsageError(f'"{named}" is larger than any plan of visits')
        text = file.read_bytes().decode("utf-8-sig")
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise UsageError(f'"{named}" cannot be read: {reason}') from error
    except UnicodeDecodeError as error:
        raise UsageError(f'"{named}" is not text in UTF-8; save it as CSV in UTF-8') from error
    first = text.split("\n", 1)[0]
    mark = ";" if first.count(";") > first.count(",") else ","
    try:
        read = csv.reader(io.StringIO(text), delimiter=mark)
        rows = [[cell.strip() for cell in row] for row in read]
    except csv.Error as error:
        raise UsageError(f'"{named}" is not a table of text: {error}') from error
    head, *rows = rows or [[]]
    for name in NEEDED:
        if name not in head:
            raise UsageError(
                f'"{named}" has no column {name}; give the file that growthcast rounds --csv writes'
            )
    known, visits = set(tank_ids), []
    for number, row in enumerate(rows, start=2):
        if not any(row):
            continue
        told = dict(zip(head, row, strict=False))
        day, tank_id = (told.get(name, "") for name in NEEDED)
        visits.append(PlannedVisit(_day(day, f"{named}:{number}"), tank_id))
        if tank_id not in known:
            hint = did_you_mean(tank_id, tank_ids, "write a tank_id of tanks.csv")
            raise UsageError(f"{named}:{number}: the book has no tank {shown(tank_id)}; {hint}")
    return sorted(visits, key=lambda visit: visit.on)


def _day(text: str, where: str) -> date:
    try:
        if len(text) == 10:
            return date.fromisoformat(text)
    except ValueError:
        pass
    raise UsageError(f"{where}: {shown(text)} is not a date; write it as 2026-03-02")
