"""What reaches the pages at all: who asks, from where, how much, how long, and how many at once."""

from __future__ import annotations

import asyncio
import time
from collections import defaultdict, deque
from typing import Any

import h11
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

MOST_BODY_BYTES = 64 * 1024
PATIENCE_S = 10.0
"""How long a request may take to arrive, and how long a connection may idle."""
MOST_CONNECTIONS, MOST_OF_ONE = 96, 24
FAILURES, FORGOTTEN_AFTER_S = 20, 600.0

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; frame-src 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
OF_A_SHEET = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'self'"
)
"""A client's page has its style inside, no script, and is shown in a frame of our own page."""
HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-frame-options", b"DENY"),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),  # without a referrer forms have no origin either
    (b"cross-origin-resource-policy", b"same-origin"),
)


class Guard:
    """Lets through what comes from our own pages to the address that we listen on."""

    def __init__(self, app: ASGIApp, hosts: tuple[str, ...], content_type: str) -> None:
        self.app, self.content_type = app, content_type.encode()
        self.hosts = {host.encode() for host in hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it before any page sees it."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        refused, body = self._refused(scope), await _body(receive)
        if refused or body is None:
            await _answer(send, *(refused or (413, "too large")))
            return
        left: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

        async def whole() -> Message:
            return left.pop() if left else await receive()

        async def sealed(message: Message) -> None:
            if message["type"] == "http.response.start":
                own = {name for name, _ in message["headers"]}
                ours = [one for one in HEADERS if one[0] not in own]
                message["headers"] = [*message["headers"], *ours]
            await send(message)

        await self.app(scope, whole, sealed)

    def _refused(self, scope: Scope) -> tuple[int, str] | None:
        """Return status and reason where a request is not one of ours."""
        values: dict[bytes, list[bytes]] = defaultdict(list)
        for name, value in scope["headers"]:
            values[name.lower()].append(value)
        host = values[b"host"]
        if len(host) != 1 or host[0].lower() not in self.hosts:
            return 421, "this address is not served here"
        if scope["method"] in ("GET", "HEAD"):
            return None
        if scope["method"] != "POST":
            return 405, "only GET and POST"
        if values[b"origin"] != [b"http://" + host[0].lower()]:
            return 403, "only from a page of this address"
        kinds = [one.split(b";")[0].strip().lower() for one in values[b"content-type"]]
        if kinds != [self.content_type]:
            return 415, "not in the form that is read here"
        return None


async def _body(receive: Receive) -> bytes | None:
    """Return the body of a request, ``None`` where it is longer than any that we ask for.

    Also of one that is refused: a connection closed on what is unread loses the answer.
    """
    body: bytes = b""
    while len(body) <= MOST_BODY_BYTES:
        message = await receive()
        body += bytes(message.get("body", b""))
        if not message.get("more_body"):
            return body
    return None


async def _answer(send: Send, status: int, reason: str) -> None:
    kind = (b"content-type", b"text/plain; charset=utf-8")
    length = (b"content-length", str(len(reason)).encode())
    headers = [kind, length, (b"connection", b"close"), *HEADERS]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": reason.encode()})


class Patience:
    """Counts failures by address, so that nobody tries keys for long."""

    def __init__(self) -> None:
        self._failed: dict[str, deque[float]] = defaultdict(deque)

    def is_over(self, address: str) -> bool:
        """Whether an address has failed too often of late."""
        times = self._failed.get(address, deque())
        while times and times[0] < time.monotonic() - FORGOTTEN_AFTER_S:
            times.popleft()
        return len(times) >= FAILURES

    def failed(self, address: str) -> None:
        """Note a failure."""
        if len(self._failed) > 10 * MOST_CONNECTIONS:
            self._failed.clear()
        self._failed[address].append(time.monotonic())


class Impatient(H11Protocol):
    """A connection that hangs up on a request which does not arrive, and on one too many."""

    _late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """Take a connection, unless there are too many."""
        super().connection_made(transport)
        assert self.client is not None  # a socket of the network always has one
        open_now = [getattr(one, "client", None) for one in self.connections]
        mine = sum(client is not None and client[:1] == self.client[:1] for client in open_now)
        if len(self.connections) > MOST_CONNECTIONS or mine > MOST_OF_ONE:
            transport.abort()
            return
        self._late = self.loop.call_later(PATIENCE_S, self._hang_up)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget a connection."""
        if self._late is not None:
            self._late.cancel()
        super().connection_lost(exc)

    def _hang_up(self) -> None:
        at_work = self.cycle is not None and not self.cycle.response_complete
        if at_work and self.conn.their_state is not h11.SEND_BODY:
            self._late = self.loop.call_later(PATIENCE_S, self._hang_up)
        else:
            self.transport.abort()
