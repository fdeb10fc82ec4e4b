"""The pages of the desk: today, a tank, a visit, phones. Every one works without script."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping
from datetime import date
from functools import partial
from typing import Any, TypeAlias
from urllib.parse import parse_qsl, urlencode

import segno
from markupsafe import Markup
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from growthcast.book.findings import format_findings
from growthcast.book.read import read_book
from growthcast.book.writing.append import would_add
from growthcast.book.writing.journal import entries
from growthcast.book.writing.lock import book_lock
from growthcast.book.writing.unlog import last_entry, take_back
from growthcast.book.writing.visit.lines import Line, checked_number
from growthcast.book.writing.visit.places import visit_rows
from growthcast.desk.memory import Desk, Known
from growthcast.desk.phone_page import STATIC, kind, static, templates
from growthcast.desk.share import Share
from growthcast.desk.shown import tank_shown, today_shown
from growthcast.desk.visit import (
    Fields,
    book_mark,
    decimal,
    known_visit,
    rows_in_words,
    words_of,
    write_visit,
)
from growthcast.errors import GrowthcastError, UsageError
from growthcast.nouns import dataclass
from growthcast.say.locale import Locale, open_locale
from growthcast.say.words import named
from growthcast.service.doubts.understood import Understood, understand
from growthcast.service.pages.overview import TankStanding
from growthcast.service.visit.logged import before_visit

MOST_FIELDS = 1000


class NotThere(GrowthcastError):
    """A page is asked of what the book, or this desk, does not have."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a page is asked, and what is known to answer it; ``note`` stands above the answer."""

    known: Known
    locale: Locale
    given: dict[str, str]
    note: str

    def standing(self, tank_id: str) -> TankStanding:
        """Return how a tank stands; ``NotThere`` for no tank of the book."""
        found = self.known.standing(tank_id)
        if found is None:
            raise NotThere(self.locale.say("desk_no_tank"))
        return found


Page: TypeAlias = Callable[[Asked], Response]


class Pages:
    """The desk's pages, over what is known of one practice."""

    def __init__(self, desk: Desk, share: Share | None = None) -> None:
        self.desk, self.share = desk, share
        self.token = secrets.token_urlsafe(24)

    def app(self) -> Starlette:
        """Return the pages as an application."""
        routes = [
            Route("/", partial(self._get, self.today)),
            Route("/tank", partial(self._get, self.tank)),
            Route("/visit", partial(self._get, self.visit), methods=["GET"]),
            Route("/visit", partial(self._post, self.said), methods=["POST"]),
            Route("/unlog", partial(self._post, self.unlog), methods=["POST"]),
            Route("/phones", partial(self._get, self.phones), methods=["GET"]),
            Route("/phones", partial(self._post, self.new_code), methods=["POST"]),
            Route("/about", self.about),
            *(Route(f"/static/{name}", partial(self._static, name)) for name in STATIC),
        ]
        return Starlette(routes=routes)

    async def _static(self, name: str, _: Request) -> Response:
        headers = {"cache-control": "no-cache"}
        return Response(static(name), media_type=kind(name), headers=headers)

    async def about(self, _: Request) -> Response:
        """Say whose desk this is, so that a second opening of the book finds it."""
        return JSONResponse({"desk_of": book_mark(self.desk), "shared": self.share is not None})

    async def _get(self, page: Page, request: Request) -> Response:
        return await run_in_threadpool(self._answered, page, dict(request.query_params))

    async def _post(self, page: Page, request: Request) -> Response:
        text = (await request.body()).decode("utf-8", "replace")
        try:
            given = dict(parse_qsl(text, keep_blank_values=True, max_num_fields=MOST_FIELDS))
        except ValueError:
            return Response("too many fields", 400)
        if not secrets.compare_digest(given.pop("token", "").encode(), self.token.encode()):
            return Response("this form is of an earlier desk; open the page anew", 403)
        return await run_in_threadpool(self._answered, page, given)

    def _answered(self, page: Page, given: dict[str, str]) -> Response:
        """Answer from what is known; say so where that is nothing yet, or not of the last row."""
        known, busy, trouble = self.desk.look()
        if known is None:
            status = 503 if trouble else 200
            return self._page("wait.html", None, status=status, wait=not trouble, trouble=trouble)
        locale = open_locale(known.book.practice.locale)
        asked = Asked(known, locale, given, trouble or (locale.say("desk_busy") if busy else ""))
        try:
            return page(asked)
        except NotThere as error:
            return self._page("wait.html", asked, status=404, trouble=str(error))
        except GrowthcastError as error:
            return self._page("wait.html", asked, status=409, trouble=words_of(error))

    def _page(
        self, name: str, asked: Asked | None, *, status: int = 200, **given: Any
    ) -> HTMLResponse:
        locale = open_locale("en-GB") if asked is None else asked.locale
        practice = "growthcast"
        if asked is not None:
            practice = named(asked.known.book.practice.name, practice)
        usual = {
            "wait": False,
            "last": None,
            "note": "" if asked is None else asked.note,
            "until": "" if asked is None else f"{asked.known.until:%H:%M}",
            "practice": practice,
        }
        text = (
            templates()
            .get_template(name)
            .render(
                t=lambda key, **values: locale.say(f"desk_{key}", **values),
                lang=locale.language,
                token=self.token,
                shared=self.share is not None,
                comma="," in locale.number(0.5, 1),
                link=lambda path, **values: f"{path}?{urlencode(values)}",
                **{**usual, **given},
            )
        )
        return HTMLResponse(text, status, headers={"cache-control": "no-store"})

    # the pages

    def today(self, asked: Asked) -> Response:
        """Show the tanks by urgency: what is due, why, and a button to visit."""
        last = last_entry(self.desk.folder)
        return self._page("today.html", asked, last=last, **today_shown(asked.known, asked.locale))

    def tank(self, asked: Asked) -> Response:
        """Show a tank: its areas, its rhythm as a choice, looks, hours and price at once."""
        standing = asked.standing(asked.given.get("id", ""))
        every = asked.given.get("every", "")
        shown = tank_shown(asked.known, standing, every, asked.locale)
        return self._page("tank.html", asked, last=last_entry(self.desk.folder), **shown)

    def visit(self, asked: Asked) -> Response:
        """Show the form of a visit, empty."""
        fields = {"on": asked.known.on.isoformat(), "number": secrets.token_hex(8)}
        return self._form(asked, asked.given.get("tank", ""), fields | {"seen": self._seen()})

    def _form(
        self, asked: Asked, tank_id: str, fields: Mapping[str, str], trouble: str = ""
    ) -> Response:
        locale, known = asked.locale, asked.known
        return self._page(
            "visit.html",
            asked,
            status=422 if trouble else 200,
            visit=known_visit(known, asked.standing(tank_id), locale),
            day=locale.long_date(known.on),
            fields=fields,
            trouble=trouble,
            number=partial(decimal, locale),
        )

    def said(self, asked: Asked) -> Response:
        """Say a visit back, with what is doubtful marked; save it where that is asked."""
        given = dict(asked.given)
        tank_id, action = given.pop("tank", ""), given.pop("action", "")
        if action == "edit":
            return self._form(asked, tank_id, given)
        locale = asked.locale
        whole = known_visit(asked.known, asked.standing(tank_id), locale)
        changed = self._changed(given.get("seen", ""))
        try:
            items = Fields(given).items(whole["areas"], whole["grams"])
            line = self._line(asked, tank_id, items)
            if action == "save" and not changed:
                state = write_visit(self.desk, line)
                if state == "other":
                    raise UsageError(locale.say("desk_state_other"))
                return RedirectResponse(f"/tank?{urlencode({'id': tank_id})}", 303)
            visit = self._understood(asked.known, line)
            tried = would_add(self.desk.folder, "trims", visit.cells, today=self.desk.today())
        except GrowthcastError as error:
            return self._form(asked, tank_id, given, words_of(error))
        return self._page(
            "said.html",
            asked,
            tank={"id": tank_id, "name": named(tank_id)},
            day=locale.long_date(line.day),
            rows=rows_in_words(locale, visit),
            changed=changed,
            trouble=visit.trouble,
            findings=format_findings(tried.findings),
            fields={**given, "seen": self._seen()},
        )

    def _line(self, asked: Asked, tank_id: str, items: list[str]) -> Line:
        """Return a visit as its line; ``UsageError`` where its day or all of it is missing."""
        try:
            day = date.fromisoformat(asked.given.get("on", ""))
        except ValueError as error:
            raise UsageError(asked.locale.say("desk_no_day")) from error
        if day > self.desk.today():
            raise UsageError(asked.locale.say("desk_later"))
        if not items:
            raise UsageError(asked.locale.say("desk_nothing"))
        return Line(tank_id, day, tuple(items), checked_number(asked.given.get("number", "")))

    def _understood(self, known: Known, line: Line) -> Understood:
        """Hold a visit against what was expected, by the fit in memory where it is of the day."""
        tank_id, day = str(line.tank_id), line.day
        fresh = known.stamp == self.desk.stamp() and day == known.on
        book = known.book if fresh else read_book(self.desk.folder, today=self.desk.today())
        rows = visit_rows(book, tank_id, day, line.items)
        return understand(book, tank_id, day, rows, known.fit if fresh else before_visit(book, day))

    def _seen(self) -> str:
        return f"{sum(1 for _ in entries(self.desk.folder))}:{self.desk.stamp()!r}"

    def _changed(self, seen: str) -> list[str]:
        """Return what was changed since a page was opened: the journal's summaries of it."""
        if seen == self._seen():
            return []
        count = seen.partition(":")[0]
        since = [*entries(self.desk.folder)][int(count) if count.isdigit() else 0 :]
        return [f"{one.command}: {one.summary}" for one in since][-5:] or ["*.csv"]

    def unlog(self, asked: Asked) -> Response:
        """Take back the visit that the button named, where it is still the last one."""
        with book_lock(self.desk.folder):
            last = last_entry(self.desk.folder)
            if last is None or last.id != asked.given.get("entry"):
                raise UsageError(asked.locale.say("desk_not_last"))
            take_back(self.desk.folder)
        self.desk.look()
        return RedirectResponse("/", 303)

    def phones(self, asked: Asked, code: str = "") -> Response:
        """Show how a phone is let in, and which are."""
        if self.share is None:
            raise NotThere(asked.locale.say("desk_not_shared"))
        return self._page(
            "phones.html",
            asked,
            address=self.share.address,
            code=code,
            drawn=Markup(segno.make(code).svg_inline(omitsize=True)) if code else "",
            phones=self.share.phones(),
        )

    def new_code(self, asked: Asked) -> Response:
        """Make a code to scan, for one phone and a few minutes."""
        return self.phones(asked, self.share.new_code() if self.share else "")
