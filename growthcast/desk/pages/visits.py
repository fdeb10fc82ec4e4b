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
from growthcast.book.writing import append, areas
from growthcast.book.writing.journal import book_lock, entries, undone
from growthcast.book.writing.replace import read_file
from growthcast.book.writing.unlog import last_entry, take_back
from growthcast.book.writing.visit.entry import visit_rows
from growthcast.book.writing.visit.lines import Line, checked_name, checked_number
from growthcast.desk import visit as visiting
from growthcast.desk.memory import Desk, words_of
from growthcast.desk.pages.asked import Asked, called, cell, fields, finding_words, see
from growthcast.errors import Finding, GrowthcastError, UsageError
from growthcast.fit.growth import recalled_fit
from growthcast.say.words import named
from growthcast.service.doubts.judge import understand

SUMMARY, MOST_LOGGED = re.compile(r"(.+) on (\d{4}-\d\d-\d\d), (\d+) rows?"), 5
WHO, A_YEAR_S = "growthcast_by", 365 * 86400


def visit(asked: Asked) -> Response:
    """Show the form of a visit, empty but for who typed the last one."""
    fields = {"on": asked.known.on.isoformat(), "number": secrets.token_hex(8)}
    fields |= {"seen": _seen(asked.desk), "by": unquote(asked.request.cookies.get(WHO, ""))[:60]}
    return _form(asked, asked.get("tank"), fields)


def _form(asked: Asked, tank_id: str, fields: Mapping[str, str], trouble: str = "") -> Response:
    given: dict[str, Any] = {
        "visit": visiting.known_visit(asked.known, asked.standing(tank_id), asked.locale),
        "number": partial(visiting.decimal, asked.locale),
    }
    given |= {"fields": fields, "logged": logged(asked, tank_id), "trouble": trouble}
    return asked.page("visit.html", 422 if trouble else 200, **given)


def said(asked: Asked) -> Response:
    """Say a visit back, with what is doubtful marked; save it where that is asked."""
    given, locale = dict(asked.given), asked.locale
    tank_id, action = given.pop("tank", ""), given.pop("action", "")
    if action == "edit":
        return _form(asked, tank_id, given)
    cards = visiting.known_visit(asked.known, asked.standing(tank_id), locale)["areas"]
    changed, asks_again = _changed(asked.desk, given.get("seen", ""), tank_id)
    try:
        items = visiting.items_of(given, cards, locale.say("desk_doses"))
        line = _line(asked, tank_id, items)
        if action == "save" and not asks_again:
            if visiting.write_visit(asked.desk, line)[0] == "other":
                raise UsageError(locale.say("desk_state_other"))
            answer = see("/tank", id=tank_id)
            answer.set_cookie(WHO, quote(line.by), A_YEAR_S, httponly=True, samesite="strict")
            return answer
        desk, known, day = asked.desk, asked.known, line.day
        fresh = known.stamp == desk.stamp() and day == known.on
        book = known.book if fresh else read_book(desk.folder, today=desk.today())
        rows = visit_rows(book, tank_id, day, line.items)
        before = known.fit if fresh else recalled_fit(book, day)
        understood = understand(book, tank_id, day, rows, before, line.by)
        tried = append.would_add(desk.folder, "trims", understood.cells, today=desk.today())
    except GrowthcastError as error:
        return _form(asked, tank_id, given, words_of(error))
    return asked.page(
        "said.html",
        line=line,
        rows=visiting.rows_shown(locale, understood),
        changed=changed,
        trouble=understood.trouble,
        findings=format_findings(tried.findings),
        columns=visiting.columns_words(locale, tried),
        fields={**given, "seen": _seen(asked.desk)},
    )


def _line(asked: Asked, tank_id: str, items: list[str]) -> Line:
    """Return a visit as its line; ``UsageError`` where its day or all of it is missing."""
    day = _day(asked)
    if day > asked.desk.today():
        raise UsageError(asked.locale.say("desk_later"))
    if not items:
        raise UsageError(asked.locale.say("desk_nothing"))
    number, by = checked_number(asked.get("number")), checked_name(asked.get("by"))
    return Line(tank_id, day, tuple(items), number, by=by)


def _day(asked: Asked) -> date:
    try:
        return date.fromisoformat(asked.get("on"))
    except ValueError as error:
        raise UsageError(asked.locale.say("desk_no_day")) from error


def logged(asked: Asked, tank_id: str = "") -> list[dict[str, str]]:
    """Return the last visits, to a tank or to all, that can be taken back, the newest first."""
    known = list(entries(asked.desk.folder))
    gone, shown = undone(known), list[dict[str, str]]()
    for one in reversed(known):
        told = SUMMARY.fullmatch(one.summary)
        if told and one.command == "log" and one.id not in gone and len(shown) < MOST_LOGGED:
            tank, day, rows = told.groups()
            if tank_id not in ("", tank):
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


MOST_SHOWN = 60
OFFERED: Mapping[str, tuple[tuple[str, str, tuple[str, ...]], ...]] = {
    "areas": (("replace", "area", ("plant",)), ("move", "area", BOUNDS)),
    "tanks": (("retire", "tank", ()),),
}
"""Changes that are offered beside a table: their names, of what, and what they ask but the day."""
KIND_OF = {table: kind for kind, table in append.KINDS.items()}


def book(asked: Asked, trouble: str = "", back: str = "") -> Response:
    """Show one table as it is typed, what was found in it, and how to change it.

    ``back`` is a change as it was understood, to be written next.
    """
    table = asked.get("table") if asked.get("table") in TABLES else next(iter(TABLES))
    found, file = asked.desk.inspected(), f"{table}.csv"
    counts = Counter(one.file.removesuffix(".csv") for one in found if one.level != "remark")
    here = [one for one in found if one.file == file]
    header, rows = _rows(asked, read_file(asked.desk.folder, file), table, here)
    others = [one for one in found if one.file.removesuffix(".csv") not in TABLES]
    whole = [finding_words(asked, one, f"{one.file}: {one.heading}: ") for one in others]
    kind, known = KIND_OF.get(table, ""), asked.known
    names = [column.name for column in TABLES[table] if column.name != "removed_on"]
    changes, among, spoken = OFFERED.get(table, ()), list[str](), called(asked, table)
    if known is None:  # a book with problems is mended first
        changes = ()
    elif changes:
        design = known.fit.design
        living = design.area_id[design.alive] if table == "areas" else design.tank_id
        among = living.tolist()
    return asked.page(
        "book.html",
        422 if trouble else 200,
        table=table,
        found=counts.total(),
        tables=[(name, counts[name]) for name in TABLES],
        header=header,
        rows=rows,
        most=MOST_SHOWN,
        whole=[*whole, *(finding_words(asked, one) for one in here if one.row is None)],
        kind=kind,
        ask=fields(asked, table, names if kind else ()),
        changes=changes,
        among=[(one, spoken[one]) for one in among],
        back=back,
        typed=asked.given if back or trouble else {},
        trouble=trouble,
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


def change(asked: Asked) -> Response:
    """Change the book as one of its forms asks; what cannot be is said above the form."""
    action = asked.get("action")
    try:
        is_offered = any(action == one for all_ in OFFERED.values() for one, *_ in all_)
        said = _carried_out(asked, action) if is_offered else _add(asked)
        if is_offered and not asked.get("yes"):
            return book(asked, back=said)
    except GrowthcastError as error:
        return book(asked, words_of(error))
    asked.desk.look()
    return see("/book", table=asked.get("table"), said=said)


def _carried_out(asked: Asked, action: str) -> str:
    """Replace, move or retire, or say back what that would be; return what was understood."""
    folder, on, area = asked.desk.folder, _day(asked), asked.get("area")
    how: append.How = {"today": asked.desk.today(), "write": asked.get("yes") == "1"}
    if action == "replace":
        return areas.replace_area(folder, area, asked.get("plant"), on, **how).summary
    if action == "retire":
        return areas.retire(folder, on, tank_id=asked.get("tank"), **how).summary
    typed = [f"{name}={asked.get(name)}" for name in BOUNDS if asked.get(name)]
    heights: dict[str, Any] = append.parse_row("area", typed, whole=False)
    return areas.move_bounds(folder, area, on, **heights, **how).summary


def _add(asked: Asked) -> str:
    """Add a row at the end of a table."""
    table, desk = asked.get("table"), asked.desk
    typed = {c.name: cell(asked, table, c.name, 2) for c in TABLES.get(table, ())}
    kind = KIND_OF.get(table, "tank")
    row = append.parse_row(kind, [f"{name}={text}" for name, text in typed.items() if text])
    said: dict[str, Any] = {"command": f"add {kind}", "summary": append.row_in_words(row)}
    added = append.add_rows(desk.folder, table, [row], today=desk.today(), **said)
    return f"{said['summary']}; {visiting.columns_words(asked.locale, added)}".rstrip("; ")
