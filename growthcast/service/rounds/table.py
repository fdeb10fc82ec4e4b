"""Planned visits as a CSV file that a spreadsheet opens safely, and read back."""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path
from typing import Any

from growthcast.book.words import printable, shown
from growthcast.errors import UsageError
from growthcast.plain import plain
from growthcast.service.rounds.result import PlannedVisit, RoundsPlan

__all__ = ["COLUMNS", "read_rounds_csv", "rounds_csv"]

COLUMNS = (
    *("date", "tank_id", "client", "site", "visit", "minutes", "travel_min", "due_on"),
    *("days_late", "chance_over", "due_by"),
)
TEXTS = ("tank_id", "client", "site")
RISKY = ("=", "+", "-", "@", "\t", "\r", "\n")
"""What a cell begins with that a spreadsheet takes for a formula."""


def rounds_csv(plan: RoundsPlan) -> str:
    """Return the visits as CSV; text that looks like a formula begins with an apostrophe."""
    stream = io.StringIO()
    writer = csv.DictWriter(stream, COLUMNS, extrasaction="ignore", lineterminator="\r\n")
    writer.writeheader()
    for visit in plan.visits:
        row = plain(visit)
        writer.writerow(row | {name: _guarded(row[name]) for name in TEXTS})
    return stream.getvalue()


def _guarded(text: str) -> str:
    return "'" + text if text.lstrip("'").startswith(RISKY) else text


def _unguarded(text: str) -> str:
    return text[1:] if text.startswith("'") and text.lstrip("'").startswith(RISKY) else text


def read_rounds_csv(path: str | Path) -> tuple[PlannedVisit, ...]:
    """Return the visits of a file that ``growthcast rounds --csv`` wrote, by date.

    Parameters
    ----------
    path : str or Path
        The file; columns other than ``date`` and ``tank_id`` may be missing.

    Returns
    -------
    tuple of PlannedVisit
        Numbers that are missing are 0; a missing ``due_on`` is the date itself.

    Raises
    ------
    UsageError
        Where the file cannot be read or is no such table; it says what to mend.
    """
    path = Path(path)
    named = printable(str(path))
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise UsageError(f'"{named}" cannot be read: {reason}') from error
    except UnicodeDecodeError as error:
        raise UsageError(f'"{named}" is not UTF-8 text; write it with rounds --csv') from error
    mark = ";" if ";" in text.split("\n", 1)[0] else ","
    try:
        rows = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
        header = [name.strip().casefold() for name in next(rows, [])]
        for name in ("date", "tank_id"):
            if name not in header:
                raise UsageError(
                    f'"{named}" has no column {name}; give a file that rounds --csv wrote'
                )
        visits = [
            _visit(dict(zip(header, row, strict=False)), f"{named}:{rows.line_num}")
            for row in rows
            if any(cell.strip() for cell in row)
        ]
    except csv.Error as error:
        raise UsageError(f'"{named}" is not a table: {error}') from error
    return tuple(sorted(visits, key=lambda visit: visit.on))


def _visit(row: dict[str, str], place: str) -> PlannedVisit:
    on = _date(row.get("date", ""), place)
    return PlannedVisit(
        on=on,
        tank_id=_unguarded(row.get("tank_id", "")),
        client=_unguarded(row.get("client", "")),
        site=_unguarded(row.get("site", "")),
        number=int(_number(row, "visit", place)),
        minutes=_number(row, "minutes", place),
        travel_min=_number(row, "travel_min", place),
        due_on=_date(row["due_on"], place) if row.get("due_on") else on,
        chance_over=_number(row, "chance_over", place),
        due_by=row.get("due_by") or "rhythm",
    )


def _date(cell: str, place: str) -> date:
    try:
        if len(cell.strip()) == 10:
            return date.fromisoformat(cell.strip())
    except ValueError:
        pass
    raise UsageError(f"{place}: {shown(cell)} is not a date; write it as YYYY-MM-DD")


def _number(row: dict[str, Any], name: str, place: str) -> float:
    cell = (row.get(name) or "0").strip()
    try:
        number = float(cell)
    except ValueError:
        number = float("nan")
    if not 0.0 <= number < 1e6:
        raise UsageError(f"{place}: {name}: {shown(cell)} is not a number; write a plain one")
    return number
