"""The desk as a program of its own, on a book of seven areas; all of it is invented."""

from __future__ import annotations

import contextlib
import html
import http.client
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest

from tests.books import HEADER, write_book

NAME = "tank.test"
"""Where phones look for the desk: no secure context, as the loopback address would be."""
TODAY = date.today()
LABELS = (
    *("Back stems", "Left bush", "Right bush", "Red <b>accent</b>"),
    *("Front carpet", "Crypts", "Stone moss"),
)
SPECIES = (
    *("rotala-rotundifolia", "hygrophila-polysperma", "limnophila-sessiliflora"),
    *("ludwigia-repens", "hemianthus-callitrichoides", "cryptocoryne-wendtii"),
    "taxiphyllum-barbieri",
)
BOUNDS = ((7, 22, 9), (8, 22, 10), (8, 24, 10), (8, 20, 9), (1, 4.5, 1.5), (8, 18, 10), (2, 9, 3))
TANKS = """tank_id,client,water_depth_cm,longest_interval_d
lobby,"Client A & Sons",46,
home,Client B,34,
"""
AREAS = (
    "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on,removed_on\n"
    + "".join(
        f"a{n},lobby,{label},{plant},400,{floor},{budget},{cut},2025-01-01,\n"
        for n, (label, plant, (floor, budget, cut)) in enumerate(
            zip(LABELS, SPECIES, BOUNDS, strict=True)
        )
    )
    + "m0,home,Moss,taxiphyllum-barbieri,150,2,9,3,2025-01-01,\n"
)

START = """
import socket, sys
real = socket.gethostbyname
socket.gethostbyname = lambda name: "127.0.0.1" if name.endswith(".test") else real(name)
from growthcast.cli.main import main
main()
"""


def seven_areas(folder: Path, practice: str | None = None) -> Path:
    """Write a book with a tank of seven areas, visited every week until a week ago."""
    days = [TODAY - timedelta(days=7 * back) for back in range(8, 0, -1)]
    log = HEADER + "".join(
        f"{day},lobby,a{n},{budget - 0.2 * (budget - cut) * (1 + week % 2)},{cut},,,,,\n"
        for week, day in enumerate(days)
        for n, (_, budget, cut) in enumerate(BOUNDS)
    )
    given = {} if practice is None else {"practice": practice}
    return write_book(folder, tanks=TANKS, areas=AREAS, trims=log, **given)


def free_port() -> int:
    """Return a port that is free, with the next one."""
    for port in range(20000 + time.time_ns() // 1000 % 5000 * 2, 32000, 2):
        with contextlib.suppress(OSError), socket.socket() as one, socket.socket() as two:
            one.bind(("127.0.0.1", port))
            two.bind(("127.0.0.1", port + 1))
            return port
    raise AssertionError("no port is free")


class Opened:
    """A desk that runs: where it is, and how it is asked."""

    def __init__(self, folder: Path, *options: str, port: int = 0) -> None:
        self.folder, self.port = folder, port or free_port()
        self.options = (*options, "--no-browser", "--port", str(self.port))
        self.start()

    def start(self) -> None:
        """Start the program, and wait until it listens."""
        command = [sys.executable, "-c", START, "open", str(self.folder), *self.options]
        said = {"stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE}
        self.program = subprocess.Popen(command, text=True, **said)
        for _ in range(600):
            with contextlib.suppress(OSError):
                self.get("/about")
                return
            if self.program.poll() is not None:
                raise AssertionError(self.program.communicate()[1])
            time.sleep(0.1)
        raise AssertionError("the desk does not listen")

    def stop(self, how: signal.Signals = signal.SIGINT) -> tuple[int, str]:
        """Stop the program; return its exit status and what it said."""
        if self.program.poll() is None:
            self.program.send_signal(how)
        said = self.program.communicate(timeout=120)[1]
        return self.program.returncode, said

    def ask(
        self,
        path: str,
        body: bytes | str | None = None,
        *,
        phone: bool = False,
        headers: dict[str, str] | None = None,
    ) -> tuple[int, str, http.client.HTTPMessage]:
        """Ask as one of our own pages would; ``headers`` replace or, as "", leave out its own."""
        port = self.port + phone
        host = f"{NAME if phone else '127.0.0.1'}:{port}"
        kind = "application/json" if phone else "application/x-www-form-urlencoded"
        own = {"Host": host}
        if body is not None:
            own |= {"Origin": f"http://{host}", "Content-Type": kind}
        body = body.encode() if isinstance(body, str) else body
        own |= {} if body is None else {"Content-Length": str(len(body))}
        own |= headers or {}
        link = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
        with contextlib.closing(link):
            link.putrequest("GET" if body is None else "POST", path, True, True)
            for name, value in own.items():
                if value:
                    link.putheader(name, value)
            link.endheaders(body)
            answer = link.getresponse()
            return answer.status, answer.read().decode(errors="replace"), answer.headers

    def get(self, path: str) -> str:
        """Return a page of the desk, once what it needs is known."""
        while True:
            _, text, headers = self.ask(path)
            if "Refresh" not in headers:
                return text
            time.sleep(0.3)

    def post(self, path: str, fields: dict[str, str]) -> tuple[int, str]:
        """Send a form of the desk; return status and page, or where it leads."""
        status, text, headers = self.ask(path, urlencode(fields))
        return status, headers.get("Location", text)

    def form(self, tank: str) -> dict[str, str]:
        """Return the hidden fields and the day of a visit's form."""
        page = self.get(f"/visit?tank={tank}")
        hidden = re.findall(r'<input type="(?:hidden|date)" name="(\w+)" value="([^"]*)"', page)
        return {name: html.unescape(value) for name, value in hidden}

    def code(self) -> str:
        """Return a new code for a phone: the address to scan."""
        [token] = re.findall(r'name="token" value="([^"]*)"', self.get("/phones"))[-1:]
        _, page = self.post("/phones", {"token": token})
        return re.findall(r"http://\S+/phone/#k=\w+", page)[0]

    def rows(self) -> list[str]:
        """Return the log's rows of today."""
        lines = (self.folder / "trims.csv").read_text().splitlines()
        return [line for line in lines if line.startswith(TODAY.isoformat())]


@contextlib.contextmanager
def opened(folder: Path, *options: str) -> Iterator[Opened]:
    """Open a desk, and stop it in the end."""
    desk = Opened(folder, *options)
    try:
        yield desk
    finally:
        desk.stop(signal.SIGKILL)


def violations(page: Any, rules: list[str] | None = None) -> list[str]:
    """Return what axe finds on a page in a browser, by all rules or some."""
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="pip install -e '.[dev]' brings axe"
    )
    chosen = {"runOnly": rules} if rules else {}
    told = axe.Axe().run(page, options={"resultTypes": ["violations"], **chosen})
    return [f"{one['id']}: {one['nodes'][0]['html'][:120]}" for one in told.response["violations"]]


def chromium() -> str | None:
    """Return where the system's Chromium is."""
    return shutil.which("chromium") or shutil.which("chromium-browser")
