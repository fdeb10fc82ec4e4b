"""Planned visits from a CSV of rounds: columns date and tank_id, others are not read."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from growthcast.book.cells.convert import read_table
from growthcast.book.cells.records import read_grid
from growthcast.book.cells.text import read_bytes
from growthcast.book.findings import finding, note_order
from growthcast.book.words import did_you_mean
from growthcast.errors import Finding, RowsRefused
from growthcast.nouns import dataclass

NEEDED = ("date", "tank_id")


@dataclass(frozen=True, slots=True)
class PlannedVisit:
    """A planned visit to one tank."""

    on: date
    tank_id: str


Plan = Sequence[PlannedVisit] | None
"""The visits of a plan, None where none was made."""


def read_visits(file: Path, tank_ids: list[str]) -> list[PlannedVisit]:
    """Return the visits of a plan by date, those of a day as the file has them.

    Its day and tank are written as the log's.

    Raises
    ------
    RowsRefused
        Where the file cannot be read, lacks a column, or names a date or tank that does not exist.
    """
    data = read_bytes(file)
    if isinstance(data, Finding):
        raise RowsRefused((data,))
    grid, findings = read_grid(data, file.name, frozenset(NEEDED))
    visits = []
    if grid is not None:
        table, more = read_table(grid, "trims")
        for name in (one for one in NEEDED if one not in table.letters):
            fix = "give the file that growthcast rounds --csv writes"
            at = file.name, grid.header_row, None, name
            findings.append(finding("missing-column", *at, fix=fix))
        findings += [one for one in more if one.column and one.heading in NEEDED]
        days, named = table.date("date").tolist(), [*map(str.strip, table.text("tank_id"))]
        for row, name in zip(table.rows.tolist(), named, strict=True):
            if name and name not in tank_ids:
                place = file.name, row, table.letters["tank_id"], "tank_id"
                fix = did_you_mean(name, tank_ids, "write a tank_id of tanks.csv")
                said = {"name": name, "home": "tanks.csv", "fix": fix}
                findings.append(finding("unknown-id", *place, **said))
        visits = [*map(PlannedVisit, days, named)]
    if problems := [one for one in findings if one.level == "problem"]:
        raise RowsRefused(tuple(sorted(problems, key=note_order)))
    return sorted(visits, key=lambda visit: visit.on)
