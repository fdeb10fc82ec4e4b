"""The pages of a visit: its form, what was understood of it, written, and taken back."""

from __future__ import annotations

import re
import secrets
from collections.abc import Mapping
from datetime import date
from functools import partial
from urllib.parse import quote, unquote

from starlette.responses import Response

from growthcast.book.findings import format_findings
from growthcast.book.read import read_book
from growthcast.book.writing.append import would_add
from growthcast.book.writing.journal import entries, undone
from growthcast.book.writing.lock import book_lock
from growthcast.book.writing.unlog import last_entry, take_back
from growthcast.book.writing.visit.lines import Line, checked_name, checked_number
from growthcast.book.writing.visit.places import visit_rows
from growthcast.desk.memory import Desk
from growthcast.desk.pages.asked import Asked, see
from growthcast.desk.visit import (
    columns_words,
    decimal,
    items_of,
    known_visit,
    rows_shown,
    words_of,
    write_visit,
)
from growthcast.errors import GrowthcastError, UsageError
from growthcast.say.words import named
from growthcast.service.doubts.judge import Understood, understand
from growthcast.service.visit.logged import before_visit

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
        line = _line(
            asked,
            tank_id,
            items_of(given, whole["areas"], locale.say("desk_doses")),
        )
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
    before = known.fit if fresh else before_visit(book, day)
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
