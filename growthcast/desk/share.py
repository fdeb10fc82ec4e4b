"""Visits offered to phones: codes to scan, sealed hello and hand-over, each visit once."""

from __future__ import annotations

import hashlib
import hmac
import json
import re
import secrets
import threading
import time
from collections import defaultdict
from collections.abc import Mapping
from datetime import date
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from growthcast.book.writing.visit import lines
from growthcast.desk.memory import Desk, words_of
from growthcast.desk.visit import STATIC, formula_free, known_visit, phone_page, static, write_visit
from growthcast.errors import GrowthcastError, NotWritten, UsageError
from growthcast.say.locale import open_locale

CODE_S = 600.0
"""A code waits so long for its phone."""
KEPT_S = 30 * 86400.0
"""A phone that has not been heard of for so long is forgotten."""
SHARED_S = 12 * 3600.0
"""Sharing ends by itself."""
CACHED = {"cache-control": f"private, max-age={int(KEPT_S)}"}
KINDS = {".css": "text/css", ".js": "text/javascript"}
WORD = re.compile(r"[0-9a-f]{16,64}")
MOST_ITEMS, LONGEST_ITEM, MOST_PHONES = 400, 500, 50
FAILURES, FORGOTTEN_AFTER_S, MOST_ADDRESSES = 20, 600.0, 1000


def sent(name: str, headers: Mapping[str, str]) -> Response:
    """Return the answer that is one of our own files."""
    return Response(static(name), media_type=KINDS[name[name.rindex(".") :]], headers=headers)


class Refused(Exception):
    """What came is not from a phone that was let in, or is not what such a phone sends."""


def seal(key: str, *parts: str) -> str:
    """Return the HMAC-SHA256 of some parts under a key, in hexadecimal digits."""
    return hmac.new(bytes.fromhex(key), "\n".join(parts).encode(), hashlib.sha256).hexdigest()


class Share:
    """One book offered on one address; its keys outlive the program, its codes do not."""

    def __init__(self, desk: Desk, address: str) -> None:
        self.desk, self.address = desk, address
        self.ends_at = time.monotonic() + SHARED_S
        self._failed: dict[str, list[float]] = defaultdict(list)
        self._lock = threading.Lock()

    def app(self) -> Starlette:
        """Return what phones reach: their page, hello and hand-over, and nothing of the desk."""
        routes = [
            Route("/phone/", self.page),
            *(Route(f"/phone/{name}", self.part) for name in STATIC),
            Route("/phone/hello", self.hello, methods=["POST"]),
            Route("/phone/visit", self.visit, methods=["POST"]),
        ]
        return Starlette(routes=routes)

    def new_code(self) -> str:
        """Return the address to scan; its key is in the fragment, which browsers do not send."""
        key, now = secrets.token_hex(16), time.time()
        with self._lock:
            known = lines.read_phones(self.desk.folder).items()
            kept = [(name, one) for name, one in known if _is_fresh(one, now)]
            newest = sorted(kept, key=lambda item: item[1]["used"])[-MOST_PHONES:]
            new = {"key": key, "phone": "", "used": now}
            lines.write_phones(self.desk.folder, dict(newest) | {_name(key): new})
        return f"http://{self.address}/phone/#k={key}"

    def phones(self) -> list[str]:
        """Return the day each phone that was let in was last heard of."""
        known = lines.read_phones(self.desk.folder).values()
        return [date.fromtimestamp(one["used"]).isoformat() for one in known if one["phone"]]

    async def page(self, _: Request) -> Response:
        """Answer with the page of phones: no client's data, so it may be kept."""
        known = self.desk.look()[0]
        tag = "en-GB" if known is None else known.book.practice.locale
        return Response(phone_page(tag), media_type="text/html", headers=CACHED)

    async def part(self, request: Request) -> Response:
        """Answer with one of the page's own files."""
        return sent(request.url.path.rpartition("/")[2], CACHED)

    async def hello(self, request: Request) -> Response:
        """Answer a phone that was let in with the visits, sealed for it."""
        return await self._sealed(request, "hello", self._day)

    async def visit(self, request: Request) -> Response:
        """Take a visit over, once; the receipt is sealed and says what became of it."""
        return await self._sealed(request, "visit", self._taken)

    async def _sealed(self, request: Request, what: str, answer: Any) -> Response:
        address = request.client.host if request.client else ""
        lately = time.monotonic() - FORGOTTEN_AFTER_S  # so that nobody tries keys for long
        if sum(at > lately for at in self._failed.get(address, ())) >= FAILURES:
            return JSONResponse({"why": "wait"}, 429)
        try:
            given = _json(await request.body())
            told = await run_in_threadpool(self._opened, what, given)
        except Refused:
            if len(self._failed) > MOST_ADDRESSES:
                self._failed.clear()
            self._failed[address] = [*self._failed[address], time.monotonic()][-FAILURES:]
            return JSONResponse({"why": "key"}, 403)
        try:
            text = json.dumps(await run_in_threadpool(answer, given), allow_nan=False)
        except (Refused, ValueError):
            return JSONResponse({"why": "form"}, 400)
        sealed = seal(told["key"], f"{what} answer", given["word"], text)
        return JSONResponse({"text": text, "mac": sealed}, headers={"cache-control": "no-store"})

    def _opened(self, what: str, given: Mapping[str, Any]) -> Mapping[str, Any]:
        """Return the key of a message, if it is whole and of the phone that the key belongs to."""
        text = {name: given.get(name) for name in ("id", "phone", "word", "text", "mac")}
        if not all(isinstance(one, str) for one in text.values()):
            raise Refused
        key_id, phone, word, body, mac = map(str, text.values())
        with self._lock:
            known, now = lines.read_phones(self.desk.folder), time.time()
            one = known.get(key_id)
            if one is None or not WORD.fullmatch(phone) or not WORD.fullmatch(word):
                raise Refused
            right = seal(one["key"], what, phone, word, body)
            if not hmac.compare_digest(right.encode(), mac.lower().encode("utf-8", "replace")):
                raise Refused
            if one["phone"] not in ("", phone) or not _is_fresh(one, now):
                raise Refused
            if not one["phone"] or now - one["used"] > CODE_S:
                one |= {"phone": phone, "used": now}
                lines.write_phones(self.desk.folder, known)
        return one

    def _day(self, _: Mapping[str, Any]) -> dict[str, Any]:
        known, busy, trouble = self.desk.look()
        if known is None:
            return {"visits": [], "until": "", "trouble": trouble, "busy": busy}
        locale = open_locale(known.book.practice.locale)
        visits = [known_visit(known, one, locale) for one in known.standings.values()]
        until, day = known.until.isoformat(timespec="minutes"), locale.long_date(known.on)
        practice = known.book.practice.name
        return {"practice": practice, "until": until, "day": day, "visits": visits}

    def _taken(self, given: Mapping[str, Any]) -> dict[str, Any]:
        told = _json(str(given["text"]).encode())
        number, tank, day, items = (told.get(name) for name in ("number", "tank", "day", "items"))
        if not isinstance(items, list) or not 0 < len(items) <= MOST_ITEMS or not number:
            raise Refused
        if not all(isinstance(one, str) for one in (number, tank, day, *items)):
            raise Refused
        if max(map(len, (str(tank), *items))) > LONGEST_ITEM:
            raise Refused
        try:
            free, on = tuple(formula_free(one) for one in items), date.fromisoformat(str(day))
            by, taps = lines.checked_name(str(told.get("by", ""))), str(told.get("taps", ""))
            if taps:
                lines.read_taps(taps)
            line = lines.Line(tank, on, free, lines.checked_number(str(number)), by=by, taps=taps)
            if line.day > self.desk.today():
                raise UsageError(f"{line.day} is later than today")
            state: str
            state, said = write_visit(self.desk, line)
        except NotWritten as error:  # the phone keeps it, and asks again by itself
            state, said = "later", words_of(error)
        except (GrowthcastError, ValueError) as error:
            state, said = "refused", words_of(error)
        return {"number": number, "state": state, "said": said}


def _is_fresh(key: Mapping[str, Any], now: float) -> bool:
    """Whether a key still opens: a phone's own for a month, one to scan for minutes."""
    return bool(now - key["used"] < (KEPT_S if key["phone"] else CODE_S))


def _name(key: str) -> str:
    """Return the name of a key, which tells nothing of it."""
    return hashlib.sha256(bytes.fromhex(key)).hexdigest()[:16]


def _json(data: bytes) -> dict[str, Any]:
    """Return an object of JSON; ``Refused`` for anything else, however it is nested."""

    def no_number(text: str) -> float:
        raise ValueError(text)

    try:
        told = json.loads(data.decode("utf-8"), parse_constant=no_number)
    except (ValueError, RecursionError) as error:
        raise Refused from error
    if not isinstance(told, dict):
        raise Refused
    return told
