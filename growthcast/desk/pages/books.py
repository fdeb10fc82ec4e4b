"""The book as it is typed, with what was found beside each cell, and forms that change it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from starlette.responses import Response

from growthcast.book.cells.records import read_grid
from growthcast.book.tables import TABLES
from growthcast.book.words import column_letter
from growthcast.book.writing.append import add_rows
from growthcast.book.writing.areas import move_bounds, replace_area, retire
from growthcast.book.writing.cells import KINDS, parse_row, row_in_words
from growthcast.book.writing.replace import read_file
from growthcast.desk.pages.asked import Asked, see
from growthcast.desk.pages.forms import called, cell, fields, finding_words, plants
from growthcast.desk.visit import columns_words, words_of
from growthcast.errors import Finding, GrowthcastError, UsageError
from growthcast.say.words import named

SHOWN = ("tanks", "areas", "bounds", "trims", "conditions", "closed", "species")
MOST_SHOWN = 60
BOUNDS = ("floor_cm", "budget_cm", "cut_cm")
OFFERED: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "replace": ("areas", ("plant",)),
    "move": ("areas", BOUNDS),
    "retire": ("tanks", ()),
}
"""Changes by name: the table beside which they are offered, and what they ask but place and day."""
KIND_OF = {table: kind for kind, table in KINDS.items()}


def book(asked: Asked, trouble: str = "", back: str = "") -> Response:
    """Show one table as it is typed, what was found in it, and how to change it.

    ``back`` is a change as it was understood, to be written next.
    """
    table = asked.get("table") if asked.get("table") in SHOWN else SHOWN[0]
    folder, file = asked.desk.folder, f"{table}.csv"
    found = asked.desk.inspected()
    counts = Counter(one.file for one in found if one.level != "remark")
    here = [one for one in found if one.file == file]
    header, rows = _rows(asked, read_file(folder, file), table, here)
    others = [one for one in found if one.file not in {f"{name}.csv" for name in SHOWN}]
    kind = KIND_OF.get(table, "")
    names = [column.name for column in TABLES[table] if column.name != "removed_on"]
    ask = fields(asked, table, names if kind else ())
    return asked.page(
        "book.html",
        422 if trouble else 200,
        table=table,
        found=counts.total(),
        tables=[(name, counts[f"{name}.csv"]) for name in SHOWN],
        header=header,
        rows=rows,
        most=MOST_SHOWN,
        above=[finding_words(asked, one) for one in here if one.row is None],
        others=[finding_words(asked, one, f"{one.file}: {one.heading}: ") for one in others],
        kind=kind,
        ask=[one for one in ask if one["required"] or one["value"]],
        ask_also=[one for one in ask if not (one["required"] or one["value"])],
        plants=plants(asked) if table == "areas" else [],
        tanks=called(asked, "tanks").items(),
        changes=_changes(asked, table),
        today=asked.desk.today().isoformat(),
        back=back,
        typed=asked.given if back or trouble else {},
        trouble=trouble,
        said=asked.get("said"),
    )


def _rows(
    asked: Asked, data: bytes | None, table: str, found: Sequence[Finding]
) -> tuple[list[str], list[dict[str, Any]]]:
    """Return the header of a table, its last rows and those in which something was found."""
    grid = (
        None
        if data is None
        else read_grid(data, table, frozenset(c.name for c in TABLES[table]))[0]
    )
    if grid is None:
        return [], []
    at: dict[tuple[int, str], list[tuple[str, str]]] = {}
    for one in found:
        if one.row is not None:
            at.setdefault((one.row, one.column or ""), []).append(finding_words(asked, one))
    marked, last = {row for row, _ in at}, len(grid.rows) - MOST_SHOWN
    rows = []
    for place, row in enumerate(grid.rows.tolist()):
        if place < last and row not in marked:
            continue
        cells = [str(one.values[one.codes[place]]) for one in grid.columns]
        letters = [column_letter(n) for n in range(len(cells))]
        beside = [at.pop((row, letter), []) for letter in letters]
        whole = [said for key in [*at] if key[0] == row for said in at.pop(key)]
        shown = [*zip(map(named, cells), beside, strict=True)]
        rows.append({"row": row, "found": whole, "cells": shown})
    return [named(name) for name in grid.header], rows[::-1]


def _changes(asked: Asked, table: str) -> list[dict[str, Any]]:
    """Return the changes that are offered beside a table: what each asks, and among what."""
    if asked.known is None:  # a book with problems is mended first
        return []
    design = asked.known.fit.design
    living = {"areas": design.area_id[design.alive], "tanks": design.tank_id}.get(table, ())
    names = called(asked, table)
    key = {"areas": "area", "tanks": "tank"}.get(table, "")
    return [
        {
            "action": action,
            "key": key,
            "among": [(str(one), names.get(str(one), one)) for one in living],
            "asks": asks,
        }
        for action, (its, asks) in OFFERED.items()
        if its == table
    ]


def change(asked: Asked) -> Response:
    """Change the book as one of its forms asks; what cannot be is said above the form."""
    action = asked.get("action")
    try:
        if action in OFFERED:
            said = _changed(asked, action)
            if not asked.get("yes"):
                return book(asked, back=said)
        else:
            said = _add(asked)
    except GrowthcastError as error:
        return book(asked, words_of(error))
    asked.desk.look()
    return see("/book", table=asked.get("table"), said=said)


def _changed(asked: Asked, action: str) -> str:
    """Replace, move or retire, or say back what that would be; return what was understood."""
    try:
        on = date.fromisoformat(asked.get("on"))
    except ValueError as error:
        raise UsageError(asked.locale.say("desk_no_day")) from error
    folder, write = asked.desk.folder, asked.get("yes") == "1"
    more: dict[str, Any] = {"today": asked.desk.today(), "write": write}
    if action == "replace":
        return replace_area(folder, asked.get("area"), asked.get("plant"), on, **more).summary
    if action == "retire":
        return retire(folder, on, tank_id=asked.get("tank"), **more).summary
    typed = [f"{name}={asked.get(name)}" for name in BOUNDS if asked.get(name)]
    more |= parse_row("area", typed, whole=False)
    return move_bounds(folder, asked.get("area"), on, **more).summary


def _add(asked: Asked) -> str:
    """Add a row at the end of a table."""
    table, desk = asked.get("table"), asked.desk
    typed = {c.name: cell(asked, table, c.name, 2) for c in TABLES.get(table, ())}
    kind = KIND_OF.get(table, "tank")
    row = parse_row(kind, [f"{name}={text}" for name, text in typed.items() if text])
    words, command = row_in_words(row), f"add {kind}"
    said: dict[str, Any] = {"command": command, "summary": words}
    added = add_rows(desk.folder, table, [row], today=desk.today(), **said)
    return f"{words}; {columns_words(asked.locale, added)}".rstrip("; ")
