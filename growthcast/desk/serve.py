"""The desk on its address: found again by a second opening, stopped cleanly, shared for a while.

What reaches the pages at all passes a guard: who asks, from where, how much, how long, and how many
at once.
"""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import json
import os
import signal
import socket
import urllib.error
import urllib.request
import webbrowser
from collections.abc import Callable, Iterator
from typing import Any

import h11
import uvicorn
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from growthcast.desk.memory import Desk
from growthcast.desk.pages.app import Pages
from growthcast.desk.share import SHARED_S, Share
from growthcast.desk.visit import book_mark
from growthcast.errors import UsageError

MOST_BODY_BYTES = 64 * 1024
PATIENCE_S = 10.0
"""How long a request may take to arrive, and how long a connection may idle."""
MOST_CONNECTIONS, MOST_OF_ONE = 96, 24

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; frame-src 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-frame-options": "DENY",
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",  # without a referrer forms have no origin either
    "cross-origin-resource-policy": "same-origin",
}


class Guard:
    """Lets through what comes from our own pages to the address that we listen on."""

    def __init__(self, app: ASGIApp, hosts: tuple[str, ...], content_type: str) -> None:
        self.app, self.hosts, self.content_type = app, hosts, content_type

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it before any page sees it."""
        refused, body = self._refused(scope), await _body(receive)
        left: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

        async def whole() -> Message:
            return left.pop() if left else await receive()

        async def sealed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        app = self.app
        if refused or body is None:
            status, reason = refused or (413, "too large")
            app = PlainTextResponse(reason, status, {"connection": "close"})
        await app(scope, whole, sealed)

    def _refused(self, scope: Scope) -> tuple[int, str] | None:
        """Return status and reason where a request is not one of ours."""
        values = Headers(scope=scope)
        host = [one.lower() for one in values.getlist("host")]
        if len(host) != 1 or host[0] not in self.hosts:
            return 421, "this address is not served here"
        if scope["method"] in ("GET", "HEAD"):
            return None
        if scope["method"] != "POST":
            return 405, "only GET and POST"
        if values.getlist("origin") != [f"http://{host[0]}"]:
            return 403, "only from a page of this address"
        kinds = [one.split(";")[0].strip().lower() for one in values.getlist("content-type")]
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


HERE = "127.0.0.1"
FIRST_PORT, PORTS, TRIES = 20000, 6000, 8  # below those that systems lend to connections


def port_of(desk: Desk) -> int:
    """Return the book's own port: the same at every opening, so that a phone finds it again."""
    number = int(hashlib.sha256(book_mark(desk).encode()).hexdigest()[:8], 16)
    return FIRST_PORT + 2 * (number % PORTS)


class Quiet(uvicorn.Server):
    """A server that leaves the signals to the desk, which has two of them."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Capture nothing."""
        yield


def server(app: ASGIApp, hosts: tuple[str, ...], content_type: str) -> Quiet:
    """Return a server of an application behind its guard."""
    silent: dict[str, Any] = {"log_config": None, "log_level": "critical", "access_log": False}
    silent |= {"server_header": False, "date_header": False, "ws": "none", "lifespan": "off"}
    limits: dict[str, Any] = {"timeout_keep_alive": 5, "timeout_graceful_shutdown": 5}
    limits |= {"h11_max_incomplete_event_size": 16 * 1024, "http": Impatient}
    return Quiet(uvicorn.Config(Guard(app, hosts, content_type), **silent, **limits))


def listen(address: str, port: int) -> socket.socket | None:
    """Return a socket that listens, ``None`` where the port is taken."""
    place = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":  # elsewhere it would let two programs have one port
        place.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        place.bind((address, port))
        place.listen(128)
    except OSError as error:
        place.close()
        if isinstance(error, PermissionError) or port == 0:
            raise
        return None
    return place


def found_open(desk: Desk, port: int) -> bool | None:
    """Return whether the desk of the same book is on a port, and shared; ``None`` for no desk."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        with opener.open(f"http://{HERE}:{port}/about", timeout=3) as answer:
            told = json.loads(answer.read(1000))
            return bool(told["shared"]) if told.get("desk_of") == book_mark(desk) else None
    return None


def network_address() -> str:
    """Return this computer's address on its network; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # kept for documentation (RFC 5737), never reached
            return str(probe.getsockname()[0])
        except OSError:
            return HERE


def open_desk(
    desk: Desk, say: Callable[[str], None], share_at: str | None, port: int | None, *, browser: bool
) -> None:
    """Serve a desk until it is stopped; where the book is open already, only show that.

    ``share_at`` is the name or address at which phones reach this computer, "" to find it.
    """
    own = port or port_of(desk)
    place = None
    for number in range(own, own + 2 * TRIES, 2):
        if place := listen(HERE, number):
            break
        shared = found_open(desk, number)
        if shared is not None:
            say(f"This book is open already at http://{HERE}:{number}/")
            if share_at is not None and not shared:
                raise UsageError("it is not shared; stop it first, then open it with --share")
            _show(number, browser=browser)
            return
        say(f"Port {number} is taken by another program, so the next is tried.")
    if place is None:
        raise UsageError(f"no port is free from {own} to {own + 2 * TRIES}; give one with --port")
    number = place.getsockname()[1]
    share, servers = None, []
    if share_at is not None:
        share, offered = _offer(desk, share_at, number + 1)
        phones = server(share.app(), (share.address,), "application/json")
        servers.append((phones, offered))
        say(f"Visits are offered to phones at http://{share.address}/phone/ for 12 hours.")
        say("The page Phones has the code to scan. Anybody on the network can read along.")
    hosts = (f"{HERE}:{number}", f"localhost:{number}")
    pages = server(Pages(desk, share).app(), hosts, "application/x-www-form-urlencoded")
    servers.append((pages, place))
    desk.look()  # starts to read and fit
    say(f"The desk of {desk.folder} is open at http://{HERE}:{number}/ (Ctrl-C closes it).")
    _show(number, browser=browser)
    asyncio.run(_serve(servers))
    say("Closed.")


def _offer(desk: Desk, name: str, port: int) -> tuple[Share, socket.socket]:
    name = name or network_address()
    try:
        address = socket.gethostbyname(name)
        place = listen(address, port)
    except OSError as error:
        raise UsageError(f"this computer cannot listen at {name}: {error}") from error
    if place is None:
        raise UsageError(
            f"port {port} is taken by another program; a phone would look for this book there"
        )
    return Share(desk, f"{name}:{port}"), place


def _show(port: int, *, browser: bool) -> None:
    with contextlib.suppress(webbrowser.Error):
        if browser:
            webbrowser.open(f"http://{HERE}:{port}/")


async def _serve(servers: list[tuple[Quiet, socket.socket]]) -> None:
    """Serve until a signal comes; what is shared ends after its hours."""

    def stop() -> None:
        for one, _ in servers:
            one.should_exit = True

    loop = asyncio.get_running_loop()
    for name in (signal.SIGINT, signal.SIGTERM):
        try:
            loop.add_signal_handler(name, stop)
        except (NotImplementedError, RuntimeError, ValueError):  # not on this system or thread
            with contextlib.suppress(ValueError):
                signal.signal(name, lambda *_: stop())
    if len(servers) > 1:
        loop.call_later(SHARED_S, lambda: setattr(servers[0][0], "should_exit", True))
    await asyncio.gather(*(one.serve(sockets=[place]) for one, place in servers))
