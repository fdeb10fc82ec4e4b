"""The desk's pages as one application: which function answers where, and when it cannot."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping
from functools import partial
from typing import TypeAlias, cast
from urllib.parse import parse_qsl

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from growthcast.desk.memory import Desk, Known, NotYet, words_of
from growthcast.desk.pages import offers, practice, visits
from growthcast.desk.pages.asked import Asked, NotThere
from growthcast.desk.share import Share, sent
from growthcast.desk.visit import STATIC, book_mark
from growthcast.errors import GrowthcastError
from growthcast.say.locale import locale_of, open_locale

MOST_FIELDS = 1000

Page: TypeAlias = Callable[[Asked], Response]
SHOWN: Mapping[str, Page] = {
    "/": practice.today,
    "/tank": practice.tank,
    "/visit": visits.visit,
    "/weeks": practice.weeks,
    "/weeks.ics": practice.calendar,
    "/watch": practice.watch,
    "/client": offers.client,
    "/client/page": offers.sheet,
    "/quote": offers.quote,
    "/quote/page": offers.quote_sheet,
    "/rescape": offers.rescape,
    "/book": visits.book,
    "/phones": practice.phones,
}
WRITTEN: Mapping[str, Page] = {
    "/visit": visits.said,
    "/unlog": visits.unlog,
    "/book": visits.change,
    "/phones": practice.new_code,
}


def no_page(asked: Asked) -> Response:
    """Say that there is no such page."""
    raise NotThere(asked.locale.say("desk_no_page"))


UNKNOWN: tuple[Page, ...] = (visits.book, visits.change, no_page)
"""Answers for a book with problems, which has to be mended before anything is known of it."""


class Pages:
    """The desk's pages, over what is known of one practice."""

    def __init__(self, desk: Desk, share: Share | None = None) -> None:
        self.desk, self.share = desk, share
        self.token = secrets.token_urlsafe(24)

    def app(self) -> Starlette:
        """Return the pages as an application."""
        answers = {f"/static/{name}": partial(self._static, name) for name in STATIC}
        answers |= {path: partial(self._get, page) for path, page in SHOWN.items()}
        routes = [Route("/about", self.about), *(Route(*one) for one in answers.items())]
        for path, page in WRITTEN.items():
            routes.append(Route(path, partial(self._post, page), methods=["POST"]))
        return Starlette(routes=routes, exception_handlers={404: self._nowhere})

    async def _nowhere(self, request: Request, _: Exception) -> Response:
        return await run_in_threadpool(self._answered, no_page, request, {})

    async def _static(self, name: str, _: Request) -> Response:
        return sent(name, {"cache-control": "no-cache"})

    async def about(self, _: Request) -> Response:
        """Say whose desk this is, so that a second opening of the book finds it."""
        return JSONResponse({"desk_of": book_mark(self.desk), "shared": self.share is not None})

    async def _get(self, page: Page, request: Request) -> Response:
        return await run_in_threadpool(self._answered, page, request, dict(request.query_params))

    async def _post(self, page: Page, request: Request) -> Response:
        text = (await request.body()).decode("utf-8", "replace")
        try:
            given = dict(parse_qsl(text, keep_blank_values=True, max_num_fields=MOST_FIELDS))
        except ValueError:
            return Response("too many fields", 400)
        if not secrets.compare_digest(given.pop("token", "").encode(), self.token.encode()):
            return Response("this form is of an earlier desk; open the page anew", 403)
        return await run_in_threadpool(self._answered, page, request, given)

    def _answered(self, page: Page, request: Request, given: dict[str, str]) -> Response:
        """Answer from what is known; say so where that is nothing yet, or not of the last row."""
        known, busy, trouble = self.desk.look()
        locale = open_locale("en-GB") if known is None else locale_of(known.book.practice)
        note = trouble or (locale.say("desk_busy") if busy else "")
        beside = cast("Known", known)  # the pages that are shown without it do not ask for it
        asked = Asked(self.desk, self.share, beside, locale, request, given, self.token, note)
        if known is None and page not in (UNKNOWN if trouble else (no_page,)):
            status, wait = (503, 0) if trouble else (200, 2)
            return asked.page("wait.html", status, wait=wait, trouble=trouble)
        try:
            return page(asked)
        except NotYet:
            return asked.page("wait.html", wait=1, trouble="")
        except NotThere as error:
            return asked.page("wait.html", 404, trouble=str(error))
        except GrowthcastError as error:
            return asked.page("wait.html", 409, trouble=words_of(error))
