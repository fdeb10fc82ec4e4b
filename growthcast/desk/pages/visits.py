"""Pages that write: a visit typed, said back and taken back, and the book as it is typed."""

from __future__ import annotations

import re
import secrets
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date
from functools import partial
from typing import Any
from urllib.parse import quote, unquote

from starlette.responses import Response

from growthcast.book.book import BOUNDS
from growthcast.book.cells.records import read_grid
from growthcast.book.findings import format_findings
from growthcast.book.read import read_book
from growthcast.book.tables import TABLES
from growthcast.book.words import column_letter
from growthcast.book.writing.append import KINDS, add_rows, parse_row, row_in_words, would_add
from growthcast.book.writing.areas import move_bounds, replace_area, retire
from growthcast.book.writing.journal import book_lock, entries, undone
from growthcast.book.writing.replace import read_file
from growthcast.book.writing.unlog import last_entry, take_back
from growthcast.book.writing.visit.entry import visit_rows
from growthcast.book.writing.visit.lines import Line, checked_name, checked_number
from growthcast.desk.memory import Desk
from growthcast.desk.pages.asked import Asked, called, cell, fields, finding_words, plants, see
from growthcast.desk.visit import (
    columns_words,
    decimal,
    items_of,
    known_visit,
    rows_shown,
    words_of,
    write_visit,
)
from growthcast.errors import Finding, GrowthcastError, UsageError
from growthcast.fit.growth import recalled_fit
from growthcast.say.words import named
from growthcast.service.doubts.judge import Understood, understand

SUMMARY, MOST_LOGGED = re.compile(r"(.+) on (\d{4}-\d\d-\d\d), (\d+) rows?"), 5
WHO, A_YEAR_S = "growthcast_by", 365 * 86400


def visit(asked: Asked) -> Response:
    """Show the form of a visit, empty but for who typed the last one."""
    fields = {"on": asked.known.on.isoformat(), "number": secrets.token_hex(8)}
    fields |= {"seen": _seen(asked.desk), "by": unquote(asked.get(f"cookie {WHO}"))[:60]}
    return _form(asked, asked.get("tank"), fields)


def _form(asked: Asked, tank_id: str, fields: Mapping[str, str], trouble: str = "") -> Response:
    return asked.page(
        "visit.html",
        422 if trouble else 200,
        visit=known_visit(asked.known, asked.standing(tank_id), asked.locale),
        day=asked.locale.long_date(asked.known.on),
        fields=fields,
        logged=logged(asked, tank_id),
        trouble=trouble,
        number=partial(decimal, asked.locale),
    )


def said(asked: Asked) -> Response:
    """Say a visit back, with what is doubtful marked; save it where that is asked."""
    given, locale = dict(asked.given), asked.locale
    tank_id, action = given.pop("tank", ""), given.pop("action", "")
    if action == "edit":
        return _form(asked, tank_id, given)
    whole = known_visit(asked.known, asked.standing(tank_id), locale)
    changed, asks_again = _changed(asked.desk, given.get("seen", ""), tank_id)
    try:
        line = _line(asked, tank_id, items_of(given, whole["areas"], locale.say("desk_doses")))
        if action == "save" and not asks_again:
            if write_visit(asked.desk, line)[0] == "other":
                raise UsageError(locale.say("desk_state_other"))
            answer = see("/tank", id=tank_id)
            answer.set_cookie(WHO, quote(line.by), A_YEAR_S, httponly=True, samesite="strict")
            return answer
        understood = _understood(asked, line)
        today = asked.desk.today()
        tried = would_add(asked.desk.folder, "trims", understood.cells, today=today)
    except GrowthcastError as error:
        return _form(asked, tank_id, given, words_of(error))
    return asked.page(
        "said.html",
        tank={"id": tank_id, "name": named(tank_id)},
        day=locale.long_date(line.day),
        rows=rows_shown(locale, understood),
        changed=changed,
        trouble=understood.trouble,
        findings=format_findings(tried.findings),
        by=line.by,
        columns=columns_words(locale, tried),
        fields={**given, "seen": _seen(asked.desk)},
    )


def _line(asked: Asked, tank_id: str, items: list[str]) -> Line:
    """Return a visit as its line; ``UsageError`` where its day or all of it is missing."""
    try:
        day = date.fromisoformat(asked.get("on"))
    except ValueError as error:
        raise UsageError(asked.locale.say("desk_no_day")) from error
    if day > asked.desk.today():
        raise UsageError(asked.locale.say("desk_later"))
    if not items:
        raise UsageError(asked.locale.say("desk_nothing"))
    number, by = checked_number(asked.get("number")), checked_name(asked.get("by"))
    return Line(tank_id, day, tuple(items), number, by=by)


def _understood(asked: Asked, line: Line) -> Understood:
    """Hold a visit against what was expected, by the fit in memory where it is of the day."""
    desk, known, tank_id, day = asked.desk, asked.known, str(line.tank_id), line.day
    fresh = known.stamp == desk.stamp() and day == known.on
    book = known.book if fresh else read_book(desk.folder, today=desk.today())
    rows = visit_rows(book, tank_id, day, line.items)
    before = known.fit if fresh else recalled_fit(book, day)
    return understand(book, tank_id, day, rows, before, line.by)


def logged(asked: Asked, tank_id: str = "") -> list[dict[str, str]]:
    """Return the last visits, to a tank or to all, that can be taken back, the newest first."""
    known = list(entries(asked.desk.folder))
    gone, shown = undone(known), list[dict[str, str]]()
    for one in reversed(known):
        told = SUMMARY.fullmatch(one.summary)
        if one.command == "log" and one.id not in gone and told and len(shown) < MOST_LOGGED:
            tank, day, rows = told.groups()
            if tank != (tank_id or tank):
                continue
            on = asked.locale.long_date(date.fromisoformat(day))
            said = asked.locale.say("desk_logged", tank=named(tank), date=on, rows=rows)
            by = asked.locale.say("desk_by_known", name=named(one.by)) if one.by else ""
            shown.append({"id": one.id, "said": said, "by": by})
    return shown


def _seen(desk: Desk) -> str:
    return f"{sum(1 for _ in entries(desk.folder))}:{desk.stamp()!r}"


def _changed(desk: Desk, seen: str, tank_id: str) -> tuple[list[str], bool]:
    """Return what was changed since a page was opened, and whether a visit is asked for again.

    The journal's summaries tell it. Visits to other tanks are only said: where phones hand theirs
    over one after another, nobody at the desk would ever be done with asking.
    """
    if seen == _seen(desk):
        return [], False
    count = seen.partition(":")[0]
    since = [*entries(desk.folder)][int(count) if count.isdigit() else 0 :]
    visits = [SUMMARY.fullmatch(one.summary) for one in since if one.command == "log"]
    others = [one for one in visits if one is not None and one[1] != tank_id]
    said = [f"{one.command}: {one.summary}" for one in since][-5:] or ["*.csv"]
    return said, not since or len(others) < len(since)


def unlog(asked: Asked) -> Response:
    """Take back the visit that the button named, where it is in the book still."""
    folder = asked.desk.folder
    with book_lock(folder):
        entry = asked.get("entry")
        last = last_entry(folder, id_=entry) if entry else None
        if last is None or last.id != entry:
            raise UsageError(asked.locale.say("desk_not_last"))
        take_back(folder, id_=entry, today=asked.desk.today())
    asked.desk.look()
    return see("/")


SHOWN = ("tanks", "areas", "bounds", "trims", "conditions", "closed", "species")
MOST_SHOWN = 60
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
        changes=_offered(asked, table),
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
    known = frozenset(column.name for column in TABLES[table])
    grid = None if data is None else read_grid(data, table, known)[0]
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


def _offered(asked: Asked, table: str) -> list[dict[str, Any]]:
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
            said = _carried_out(asked, action)
            if not asked.get("yes"):
                return book(asked, back=said)
        else:
            said = _add(asked)
    except GrowthcastError as error:
        return book(asked, words_of(error))
    asked.desk.look()
    return see("/book", table=asked.get("table"), said=said)


def _carried_out(asked: Asked, action: str) -> str:
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
