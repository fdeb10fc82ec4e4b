"""A visit on a phone, in a real browser, on a host name that is no secure context."""

from __future__ import annotations

import contextlib
import http.server
import json
import os
import signal
import subprocess
import threading
import time

import pytest

from tests.cli import run
from tests.desk import NAME, TODAY, Opened, chromium, seven_areas, violations

playwright = pytest.importorskip(
    "playwright.sync_api", reason="playwright is not installed; pip install -e '.[dev]' brings it"
)
PATIENCE_MS = 60_000
playwright.expect.set_options(timeout=PATIENCE_MS)
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        chromium() is None, reason="no Chromium; apt-get install chromium brings it"
    ),
]
NARROW = {"width": 390, "height": 844}
MOST_TAPS = 25


class Browser:
    """Chromium with a profile of its own, which may be killed and opened anew."""

    def __init__(self, profile, play) -> None:
        self.profile, self.play = profile, play
        self.open()

    def open(self) -> None:
        told = self.profile / "DevToolsActivePort"
        told.unlink(missing_ok=True)
        command = [chromium(), "--headless=new", "--no-sandbox", "--no-first-run"]
        command += [f"--user-data-dir={self.profile}", "--remote-debugging-port=0"]
        command += [f"--host-resolver-rules=MAP {NAME} 127.0.0.1", "about:blank"]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        self.program = subprocess.Popen(command, start_new_session=True, **quiet)
        while not told.exists() or not told.read_text().strip():
            assert self.program.poll() is None
            time.sleep(0.1)
        port = told.read_text().split()[0]
        self.link = self.play.chromium.connect_over_cdp(f"http://127.0.0.1:{port}")
        self.page = self.link.contexts[0].new_page()
        self.page.set_viewport_size(NARROW)
        self.page.set_default_timeout(PATIENCE_MS)
        self.faults: list[str] = []
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.taps = 0

    def kill(self) -> None:
        os.killpg(self.program.pid, signal.SIGKILL)
        self.program.wait()
        with contextlib.suppress(playwright.Error):
            self.link.close()

    def tap(self, what) -> None:
        what.click()
        self.taps += 1

    def area(self, label: str):
        return self.page.get_by_role("group", name=label, exact=True)

    def choose(self, label: str, choice: str) -> None:
        self.tap(self.area(label).locator("label", has_text=choice))

    def take(self, label: str, letter: str) -> None:
        self.tap(self.area(label).locator(f'[data-line="{letter}"] [data-tap="take"]'))

    def visit(self, tank: str) -> None:
        self.tap(self.page.get_by_role("button", name=f"Visit {tank}"))

    def is_kept(self) -> None:
        playwright.expect(self.page.locator("#state")).to_have_text("Kept on this phone")

    def keep(self) -> None:
        self.tap(self.page.get_by_role("button", name="Say it back"))
        self.tap(self.page.get_by_role("button", name="Keep it on this phone"))

    def stands(self, words: str) -> None:
        shown = self.page.locator("#kept .state")
        playwright.expect(shown).to_contain_text(words)


@pytest.fixture(scope="module")
def play():
    with playwright.sync_playwright() as one:
        yield one


@pytest.fixture
def browser(tmp_path, play):
    one = Browser(tmp_path / "profile", play)
    yield one
    one.kill()


@pytest.fixture
def desk(tmp_path):
    one = Opened(seven_areas(tmp_path / "book"), "--share", "--at", NAME)
    yield one
    one.stop(signal.SIGKILL)


def let_in(browser, desk):
    browser.page.goto(desk.code())
    playwright.expect(browser.page.locator("#tanks")).to_contain_text("lobby")
    return f"http://{NAME}:{desk.port + 1}/phone/"


def test_a_whole_visit_by_taps_through_a_lost_network_and_a_killed_browser(browser, desk):
    address = let_in(browser, desk)
    page = browser.page
    assert page.evaluate("window.isSecureContext") is False
    assert page.url == address  # the key has left the address bar
    browser.visit("lobby")
    browser.take("Back stems", "b")
    browser.tap(browser.area("Back stems").locator('[data-line="b"] [data-tap="more"]'))
    stood = browser.area("Back stems").locator("[name=b0],[name^=b]").first.input_value()
    browser.take("Back stems", "a")
    browser.choose("Left bush", "as usual")
    desk.stop(signal.SIGKILL)  # the network is gone
    browser.choose("Right bush", "as usual")
    browser.choose("Red <b>accent</b>", "right")
    browser.is_kept()
    taps = browser.taps
    browser.kill()

    browser.open()
    page = browser.page
    page.goto(address)  # from the phone's own store: nobody answers
    browser.visit("lobby")
    assert browser.area("Back stems").locator("[name^=b]").first.input_value() == stood
    browser.choose("Front carpet", "left alone")
    browser.take("Crypts", "b")
    browser.take("Crypts", "a")
    browser.choose("Stone moss", "as usual")
    whole = browser.area("The whole tank")
    browser.tap(whole.locator("[data-tap=more]").first)
    browser.tap(whole.locator("[data-tap=take]"))
    browser.keep()
    browser.stands("On this phone, not in the book")
    taps += browser.taps
    assert taps <= MOST_TAPS
    print(f"{taps} taps for seven areas")
    browser.kill()

    browser.open()
    desk.start()
    browser.page.goto(address)
    browser.stands("In the book")
    browser.page.reload()
    browser.stands("In the book")
    assert "taken back at the desk" in browser.page.locator("#in-book:visible").inner_text()
    rows = desk.rows()
    assert len(rows) == 8
    assert len({row.split(",")[2] for row in rows}) == 8
    stems = next(row for row in rows if ",a0," in row)
    assert stems.split(",")[3] == stood
    assert browser.faults == []


def test_what_is_grey_does_not_count(browser, desk):
    let_in(browser, desk)
    browser.visit("lobby")
    browser.tap(browser.page.get_by_role("button", name="Say it back"))
    playwright.expect(browser.page.locator("#state")).to_contain_text("Nothing was typed")
    browser.area("Left bush").locator("[name^=b]").first.fill("12,5")
    browser.is_kept()
    browser.keep()
    browser.stands("In the book")
    assert desk.rows() == [f"{TODAY},lobby,a1,12.5,,,,,,"]


def test_the_text_is_the_last_way_out_and_is_not_doubled(browser, desk, tmp_path):
    let_in(browser, desk)
    desk.stop(signal.SIGKILL)
    browser.visit("home")
    browser.choose("Moss", "right")
    browser.page.get_by_placeholder("remark").last.fill('"new" lamp = brighter')
    browser.is_kept()
    browser.keep()
    browser.stands("On this phone, not in the book")
    text = browser.page.locator("#text").input_value()
    sent = tmp_path / "message.txt"
    sent.write_text(text, encoding="utf-8")
    assert run("log", str(desk.folder), "--from", str(sent), "--yes").status == 0
    rows = desk.rows()
    assert rows[1] == f'{TODAY},home,,,,,,,,"""new"" lamp = brighter"'
    desk.start()
    browser.page.reload()
    browser.stands("In the book")
    assert desk.rows() == rows


def test_a_stranger_at_the_address_gets_nothing_and_nothing_is_forgotten(browser, desk):
    let_in(browser, desk)
    desk.stop(signal.SIGKILL)
    asked: list[str] = []

    class Stranger(http.server.BaseHTTPRequestHandler):
        def do_POST(self):
            body = self.rfile.read(int(self.headers["Content-Length"])).decode()
            asked.append(body)
            text = json.dumps({"visits": [], "number": "0", "state": "new", "said": ""})
            answer = json.dumps({"text": text, "mac": "00" * 32}).encode()
            self.send_response(200)
            self.send_header("Content-Length", str(len(answer)))
            self.end_headers()
            self.wfile.write(answer)

        def log_message(self, *_):
            pass

    false = http.server.ThreadingHTTPServer(("127.0.0.1", desk.port + 1), Stranger)
    thread = threading.Thread(target=false.serve_forever)
    thread.start()
    try:
        browser.visit("home")
        browser.choose("Moss", "as usual")
        browser.keep()
        shown = browser.page.locator("#trouble")
        playwright.expect(shown).to_contain_text("Another computer answers")
        browser.stands("On this phone, not in the book")
    finally:
        false.shutdown()
        thread.join()
        false.server_close()
    assert asked
    assert not any("m0" in one or json.loads(one)["text"] for one in asked)
    desk.start()
    browser.page.reload()
    browser.stands("In the book")
    assert len(desk.rows()) == 1


def test_a_day_as_one_file_is_filled_in_without_any_desk(browser, tmp_path):
    folder, file = seven_areas(tmp_path / "book"), tmp_path / "day.html"
    asked = ("cuts", str(folder), "--on", str(TODAY), "--tank", "home")
    assert run(*asked, "--phone", str(file)).status == 0
    assert run(*asked, "--phone", str(folder / "trims.csv")).status == 2
    browser.page.goto(file.as_uri())
    browser.visit("home")
    browser.choose("Moss", "as usual")
    browser.is_kept()
    browser.keep()
    browser.stands("On this phone, not in the book")
    shown = browser.page.locator("#text")
    playwright.expect(shown).not_to_have_value("")  # it is written once the visit is kept
    text = shown.input_value()
    browser.page.reload()
    browser.stands("On this phone, not in the book")
    sent = tmp_path / "visits.txt"
    sent.write_text(text, encoding="utf-8")
    assert run("log", str(folder), "--from", str(sent), "--yes").status == 0
    assert browser.faults == []


SMALL = """() => [...document.querySelectorAll('button, a, input, label')]
  .filter((one) => one.offsetParent && one.type !== 'hidden' && one.type !== 'radio')
  .map((one) => [one.outerHTML.slice(0, 90), one.getBoundingClientRect()])
  .filter(([, box]) => box.height < 43.5).map(([html]) => html)"""
NAMELESS = """() => [...document.querySelectorAll('button, a, input, textarea')]
  .filter((one) => one.offsetParent && one.type !== 'hidden')
  .filter((one) => !one.getAttribute('aria-label') && !one.textContent.trim())
  .filter((one) => !one.closest('label'))
  .map((one) => one.outerHTML.slice(0, 90))"""


def test_every_state_is_for_everybody(browser, desk):
    """Axe finds nothing in light or dark colours, a thumb hits everything, all has a name.

    The desk's own pages are held against axe in ``test_desk``.
    """
    page = browser.page
    desk.get("/")

    def is_for_everybody() -> None:
        assert page.evaluate(SMALL) == []
        assert page.evaluate(NAMELESS) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"]

    def axe_finds_nothing() -> None:
        assert violations(page) == []
        page.emulate_media(color_scheme="dark")
        assert violations(page, ["color-contrast"]) == []
        page.emulate_media(color_scheme="light")

    here = f"http://127.0.0.1:{desk.port}"
    for path in ("/", "/tank?id=lobby", "/phones"):
        page.goto(here + path)
        is_for_everybody()
    page.get_by_role("button", name="Make a code for a phone").click()
    axe_finds_nothing()
    page.goto(f"{here}/visit?tank=lobby")
    is_for_everybody()
    page.get_by_role("textbox", name="Back stems, expected (cm)").fill("60")
    axe_finds_nothing()
    page.get_by_role("button", name="Say it back").click()
    axe_finds_nothing()
    let_in(browser, desk)
    axe_finds_nothing()
    browser.visit("lobby")
    is_for_everybody()
    browser.choose("Left bush", "as usual")
    axe_finds_nothing()
    page.get_by_role("button", name="Say it back").click()
    axe_finds_nothing()
    desk.stop(signal.SIGKILL)
    page.get_by_role("button", name="Keep it on this phone").click()
    browser.stands("On this phone, not in the book")
    axe_finds_nothing()


def test_a_visit_on_the_desk_by_taps(browser, desk):
    desk.get("/")
    page = browser.page
    page.goto(f"http://127.0.0.1:{desk.port}/visit?tank=lobby")
    browser.take("Back stems", "b")
    browser.take("Back stems", "a")
    browser.choose("Left bush", "right")
    browser.choose("Left bush", "right")  # a second tap takes it back
    page.get_by_role("button", name="Say it back").click()
    page.get_by_role("button", name="Write it into the book").click()
    page.wait_for_url("**/tank?id=lobby")
    [row] = desk.rows()
    assert row.startswith(f"{TODAY},lobby,a0,")
    page.get_by_role("button", name="Take back").click()
    page.wait_for_url(f"http://127.0.0.1:{desk.port}/")
    assert desk.rows() == []
