"""The desk over HTTP, without a browser: its pages, and what may not reach them."""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import html
import json
import re
import signal
import socket
import time
from urllib.parse import urlencode

import pytest

from growthcast.book.writing.journal import entries
from growthcast.desk import serve, share
from tests.cli import run
from tests.desk import NAME, TODAY, Opened, chromium, opened, seven_areas, violations

pytestmark = pytest.mark.slow
GERMAN = """[practice]
name = "Invented Aquatics"
locale = "de-DE"
currency = "EUR"
labour_rate_per_h = 60
[targets]
confidence = 0.8
intervals_d = [7, 10, 14, 21]
"""
RESCAPE = "/rescape?tank=lobby&area=a0&plant.a0=hygrophila-corymbosa"
PATHS = [
    *("/", "/tank?id=lobby", "/visit?tank=lobby", "/weeks", "/watch", "/client?tank=lobby"),
    *("/client/page?tank=lobby", "/quote", RESCAPE, "/book?table=areas", "/phones", "/nowhere"),
]


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    with opened(
        seven_areas(tmp_path_factory.mktemp("desk") / "book"), "--share", "--at", NAME
    ) as d:
        yield d


class Phone:
    """A phone without a browser: it seals as the page's script does."""

    def __init__(self, desk: Opened, code: str, phone: str = "ab" * 8) -> None:
        self.desk, self.phone = desk, phone
        self.key = code.partition("#k=")[2]

    def seal(self, *parts: str) -> str:
        key = bytes.fromhex(self.key)
        return hmac.new(key, "\n".join(parts).encode(), hashlib.sha256).hexdigest()

    def message(self, what: str, text: str = "", word: str = "12" * 8) -> dict[str, str]:
        name = hashlib.sha256(bytes.fromhex(self.key)).hexdigest()[:16]
        told = {"id": name, "phone": self.phone, "word": word, "text": text}
        return told | {"mac": self.seal(what, self.phone, word, text)}

    def ask(self, what: str, text: str = "", **changed: str) -> tuple[int, dict[str, object]]:
        message = self.message(what, text)
        body = json.dumps(message | changed)
        status, answer, _ = self.desk.ask(f"/phone/{what}", body, phone=True)
        told = json.loads(answer) if answer.startswith("{") else {}
        if status == 200:
            right = self.seal(f"{what} answer", message["word"], told["text"])
            assert told["mac"] == right
            told = json.loads(told["text"])
        return status, told

    def visit(self, number: str, *items: str, tank: str = "home", day: str = str(TODAY)):
        told = {"number": number, "tank": tank, "day": day, "items": items}
        return self.ask("visit", json.dumps(told))


@pytest.fixture(scope="module")
def phone(desk):
    desk.get("/")
    one = Phone(desk, desk.code())
    assert one.ask("hello")[0] == 200
    return one


@pytest.fixture
def unlogged(desk):
    """Take back what a test logs."""
    yield
    while desk.rows():
        assert run("unlog", str(desk.folder)).status == 0


def test_pages_show_tanks_a_tank_and_its_rhythms(desk):
    today = desk.get("/")
    assert today.index(">lobby<") < today.index(">home<")
    tank = desk.get("/tank?id=lobby&every=14")
    assert 'every=14" aria-current="true">14<' in tank
    assert tank.count('class="saw"') == 7
    assert "Red &lt;b&gt;accent&lt;/b&gt;" in tank
    assert "<b>accent" not in tank
    assert "no such tank" in desk.ask("/tank?id=nowhere")[1]


def test_a_visit_is_said_back_saved_once_and_taken_back(desk, unlogged):
    form = desk.form("home")
    typed = form | {"b0": "60", "a0": "3,5", "l0": "over", "minutes": "20", "note": "=1+1"}
    status, said = desk.post("/visit", typed | {"action": "said"})
    assert status == 200
    assert "stood at 60 cm; cut to 3.5 cm; looked over its height budget" in said
    assert "? 60 cm; expected" in said
    assert desk.rows() == []
    for _ in range(2):  # a second tap
        assert desk.post("/visit", typed | {"action": "save"}) == (303, "/tank?id=home")
        typed["seen"] = desk.form("home")["seen"]
    assert desk.rows() == [f"{TODAY},home,m0,60,3.5,,,over,,", f"{TODAY},home,,,,,,,20,'=1+1"]
    entry = list(entries(desk.folder))[-1]
    assert entry.visit[0] == form["number"]
    for path in ("/", "/tank?id=home", "/visit?tank=home"):  # each has it, one tap away
        assert f'name="entry" value="{entry.id}"' in desk.get(path)
    assert entry.id not in desk.get("/visit?tank=lobby")
    wrong = desk.post("/unlog", {"token": form["token"], "entry": "another"})
    assert "not in the book any more" in wrong[1]
    assert desk.post("/unlog", {"token": form["token"], "entry": entry.id}) == (303, "/")
    assert desk.rows() == []


def test_the_weeks_ahead_are_those_of_rounds(desk):
    plan = json.loads(
        run("rounds", str(desk.folder), "--on", str(TODAY), "--from", str(TODAY), "--json").out
    )
    while "The book has changed" in desk.get("/weeks"):  # what was logged before is worked in
        time.sleep(0.3)
    page, calendar = desk.get("/weeks"), desk.get("/weeks.ics")
    assert calendar.count("BEGIN:VEVENT") == len(plan["visits"])
    shown = re.findall(r'<a href="/tank\?id=(\w+)">', page)
    assert shown == [one["tank_id"] for one in plan["visits"]]
    assert page.count('class="is-late"') == sum(one["days_late"] > 0 for one in plan["visits"])
    assert len(desk.get("/weeks?weeks=2")) < len(page)


def test_the_watch_says_what_the_command_says(desk):
    page = desk.get("/watch")
    assert re.search(r">home</a>.*?cannot be told yet", page, re.DOTALL)
    assert "not enough visits yet: 0 of" in page


def test_the_clients_page_is_the_one_that_is_sent(desk, tmp_path):
    out = tmp_path / "page.html"
    asked = ("--tank", "lobby", "--every", "14", "--on", str(TODAY), "--out", str(out))
    assert run("brief", str(desk.folder), *asked).status == 0
    assert desk.get("/client/page?tank=lobby&every=14") == out.read_text()
    status, _, headers = desk.ask("/client/page?tank=lobby&every=14")
    assert status == 200
    assert "frame-ancestors 'self'" in headers["Content-Security-Policy"]
    assert "script-src" not in headers["Content-Security-Policy"]
    assert '<html lang="de"' in desk.get("/client/page?tank=lobby&lang=de-DE")
    assert desk.get("/client/page?tank=lobby&as=pdf").startswith("%PDF")
    assert 'lang=de-DE" aria-current="true"' in desk.get("/client?tank=lobby&lang=de-DE")


TYPED = {
    "done": "1",
    "tanks.name.2": "Hall",
    "tanks.length_cm.2": "120",
    "tanks.width_cm.2": "50",
    "tanks.water_depth_cm.2": "45",
    "areas.species_id.2": "rotala-rotundifolia",
    "areas.area_cm2.2": "400",
    "areas.floor_cm.2": "7,5",
    "areas.budget_cm.2": "22",
}


def test_a_quote_for_a_tank_that_is_typed(desk):
    before = {file.name: file.read_bytes() for file in desk.folder.glob("*.*")}
    wrong = desk.get("/quote?" + urlencode(TYPED | {"areas.budget_cm.2": "6,5"}))
    label = re.search(r'<label class="odd">(?:(?!</label>).)*floor-at-budget', wrong, re.DOTALL)
    assert 'name="areas.floor_cm.2"' in label[0]
    assert "/quote/page" not in wrong
    ready = desk.get("/quote?" + urlencode(TYPED))
    assert ready.index("/quote/page") < ready.index("<form")  # the answer first
    assert ready.index('name="done"') < ready.index('name="rows"')  # what Enter does
    page = desk.get("/quote/page?" + urlencode(TYPED))
    assert "Hall" in page
    assert "first estimate" in page.lower()
    assert before == {file.name: file.read_bytes() for file in desk.folder.glob("*.*")}


def test_a_rescape_compares_plants_and_puts_a_layout_together(desk):
    plants = desk.get("/rescape?tank=lobby&area=a0")
    put = re.findall(r'href="([^"]*)">Put in', plants)
    assert 3 <= len(put) <= 10
    laid_out = desk.get(html.unescape(put[0]))
    table = re.search(r"As it is</th>.*?Put together</th>.*?</table>", laid_out, re.DOTALL)
    assert table[0].count("<td>") == 10
    assert laid_out.index("Put together, the tank ") < laid_out.index("<table")


def test_the_book_shows_what_was_found_beside_its_cell_and_adds_rows(desk):
    table = desk.get("/book?table=areas")
    assert re.search(r"The check found (?:nothing|something: \d+)", table)
    assert "<td>Red &lt;b&gt;accent&lt;/b&gt;</td>" in table
    assert re.search(r'<option value="a5"[^>]*>Crypts, Cryptocoryne wendtii.* \(a5\)<', table)
    assert '<option value="home">Client B (home)</option>' in table
    form = {"token": desk.form("home")["token"], "table": "closed", "action": "add"}
    wrong = form | {"closed.tank_id.2": "hone", "closed.from_date.2": "2030-01-01"}
    status, page = desk.post("/book", wrong | {"closed.to_date.2": "2030-01-07"})
    assert status == 422
    assert 'value="hone"' in page
    right = wrong | {"closed.tank_id.2": "home", "closed.to_date.2": "2030-01-07"}
    assert desk.post("/book", right)[0] == 303
    assert (desk.folder / "closed.csv").read_text().splitlines()[
        1
    ] == ",home,2030-01-01,2030-01-07,"
    assert "<td>2030-01-07</td>" in desk.get("/book?table=closed")


def test_an_expected_value_counts_only_when_tapped(desk):
    form = desk.form("lobby")
    status, said = desk.post("/visit", form | {"action": "said"})
    assert status == 422
    assert "Nothing was typed or tapped" in said


def test_as_usual_and_left_alone(desk, unlogged):
    typed = desk.form("lobby") | {
        "d0": "usual",
        "d1": "left",
        "b2": "20",
        "d3": "left",
        "l3": "right",
    }
    assert desk.post("/visit", typed | {"action": "save"})[0] == 303
    usual, left, read, looked = desk.rows()
    assert usual.startswith(f"{TODAY},lobby,")
    assert ",right," in usual
    assert left.split(",")[3:6] == ["", "", "0"]
    assert read.split(",")[3:6] == ["20", "", ""]
    assert looked.split(",")[5:8] == ["0", "", "right"]


def test_what_is_not_understood_comes_back_with_what_was_typed(desk):
    typed = desk.form("home") | {"b0": "1,234", "note": "low light"}
    status, page = desk.post("/visit", typed | {"action": "said"})
    assert status == 422
    assert "may be 1234 or 1.23" in page
    assert 'value="low light"' in page
    later = desk.form("home") | {"on": "2099-01-01", "b0": "5", "action": "save"}
    assert "later than today" in desk.post("/visit", later)[1]


def test_a_page_opened_before_somebody_else_logged_says_so(desk, unlogged):
    typed = desk.form("home") | {"b0": "6", "a0": "3"}
    run("log", str(desk.folder), "--tank", "home", "--on", str(TODAY), "20min", "--yes")
    status, page = desk.post("/visit", typed | {"action": "save"})
    assert status == 200
    assert f"log: home on {TODAY}, 1 row" in page
    assert len(desk.rows()) == 1
    typed["seen"] = desk.form("home")["seen"]
    assert desk.post("/visit", typed | {"action": "save"})[0] == 303
    assert len(desk.rows()) == 2


def test_visits_to_other_tanks_are_said_and_hold_nobody_up(desk, unlogged):
    typed = desk.form("home") | {"b0": "6", "a0": "3"}
    run("log", str(desk.folder), "--tank", "lobby", "--on", str(TODAY), "a0=19/9", "--yes")
    assert f"log: lobby on {TODAY}, 1 row" in desk.post("/visit", typed | {"action": "said"})[1]
    assert desk.post("/visit", typed | {"action": "save"})[0] == 303
    assert len(desk.rows()) == 2


def test_a_second_opening_finds_the_first(desk):
    again = run("open", str(desk.folder), "--no-browser", "--port", str(desk.port))
    assert again.status == 0
    assert f"This book is open already at http://127.0.0.1:{desk.port}/" in again.err


# For everybody


@pytest.fixture(scope="module")
def browser():
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if chromium() is None:
        pytest.skip("no Chromium; apt-get install chromium brings it")
    with playwright.sync_playwright() as play:
        one = play.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])
        yield one
        one.close()


SMALL = """[...document.querySelectorAll('a,button,input:not([type=hidden]),select,summary')]
.filter(one => { const box = one.getBoundingClientRect();
  return box.width && !one.closest('label') && Math.min(box.width, box.height) < 43.5; })
.map(one => one.outerHTML.slice(0, 100))"""


def test_every_page_is_for_everybody(desk, browser):
    for path in PATHS:  # so that none of them is still being worked out
        desk.get(path)
    page = browser.new_context(bypass_csp=True).new_page()
    page.set_default_timeout(60_000)
    for path in PATHS:
        page.goto(f"http://127.0.0.1:{desk.port}{path}")
        for width, scheme, rules in ((390, "light", None), (1280, "dark", ["color-contrast"])):
            page.set_viewport_size({"width": width, "height": 844})
            page.emulate_media(color_scheme=scheme)
            assert violations(page, rules) == [], (path, scheme)
            if path.startswith("/client/"):
                continue
            assert page.evaluate(SMALL) == [], path
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path


# Attacks


@pytest.mark.parametrize(
    "host", ["evil.test", "evil.test:PORT", "127.0.0.1", "127.0.0.1:1", f"{NAME}:PORT", ""]
)
def test_a_foreign_host_is_refused(desk, host):
    given = host.replace("PORT", str(desk.port))
    assert desk.ask("/", headers={"Host": given})[0] in (400, 421)


def test_two_hosts_are_refused(desk):
    host = f"Host: 127.0.0.1:{desk.port}\r\n"
    assert raw(desk.port, f"GET / HTTP/1.1\r\n{host}{host}\r\n").startswith(b"HTTP/1.1 4")
    evil = f"GET / HTTP/1.1\r\n{host}Host: evil.test\r\n\r\n"
    assert raw(desk.port, evil).startswith(b"HTTP/1.1 4")


def raw(port: int, text: str | bytes) -> bytes:
    with socket.create_connection(("127.0.0.1", port), timeout=30) as link:
        link.sendall(text.encode() if isinstance(text, str) else text)
        return link.recv(4000)


@pytest.mark.parametrize("origin", ["http://evil.test", "null", "", "https://127.0.0.1:PORT"])
def test_a_foreign_null_or_missing_origin_is_refused(desk, phone, origin):
    given = {"Origin": origin.replace("PORT", str(desk.port))}
    typed = desk.form("home") | {"b0": "5", "action": "save"}
    assert desk.ask("/visit", urlencode(typed), headers=given)[0] == 403
    body = json.dumps(phone.message("hello"))
    assert desk.ask("/phone/hello", body, phone=True, headers=given)[0] == 403
    assert desk.rows() == []


def test_forms_need_the_token_and_phones_json(desk, phone):
    typed = desk.form("home") | {"token": "guessed", "b0": "5", "action": "save"}
    assert desk.post("/visit", typed)[0] == 403
    body = json.dumps(phone.message("hello"))
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""):
        refused = desk.ask("/phone/hello", body, phone=True, headers={"Content-Type": kind})
        assert refused[0] == 415
    assert desk.rows() == []


def test_the_network_reaches_the_phones_page_and_nothing_else(desk):
    for path in (
        "/",
        "/about",
        "/tank?id=lobby",
        "/visit?tank=lobby",
        "/phones",
        "/static/desk.css",
    ):
        assert desk.ask(path, phone=True)[0] == 404
    status, page, headers = desk.ask("/phone/", phone=True)
    assert status == 200
    assert "lobby" not in page
    assert "Client" not in page
    assert headers["Cache-Control"] == "private, max-age=2592000"


@pytest.mark.parametrize(
    "path",
    [
        "/static/../pages.py",
        "/static/%2e%2e/pages.py",
        "/static//etc/passwd",
        "/static/desk.css%00.py",
        "/phone/..%2f..%2ftrims.csv",
        "/phone/trims.csv",
    ],
)
def test_no_path_of_a_request_reaches_the_disk(desk, path):
    assert desk.ask(path)[0] in (400, 404)
    assert desk.ask(path, phone=True)[0] in (400, 404)


def test_pages_may_not_be_framed_and_run_no_script_of_others(desk):
    for path, at_phone in (("/", False), ("/phone/", True), ("/nowhere", False)):
        _, page, headers = desk.ask(path, phone=at_phone)
        policy = headers["Content-Security-Policy"]
        assert "frame-ancestors 'none'" in policy
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert headers["X-Frame-Options"] == "DENY"
        assert "onclick" not in page
        assert "style=" not in page


def test_a_code_is_of_one_phone_and_opening_it_alone_tells_nothing(desk, phone):
    assert Phone(desk, desk.code()).ask("hello", mac="00")[0] == 403  # guessed
    assert Phone(desk, desk.code() and f"#k={'0' * 32}").ask("hello")[0] == 403
    assert Phone(desk, f"#k={phone.key}", "cd" * 8).ask("hello")[0] == 403  # reused
    assert desk.ask("/phone/", phone=True)[0] == 200  # a preview sends no fragment
    assert phone.ask("hello")[0] == 200


def test_a_hello_tells_the_visits_and_what_to_expect(desk, phone):
    _, told = phone.ask("hello")
    lobby = next(one for one in told["visits"] if one["tank"] == "lobby")
    assert len(lobby["areas"]) == 7
    for card in lobby["areas"]:
        assert card["unit"] == "cm"
        assert card["expected"] % 0.5 == 0
        assert card["cut"] is None or card["cut"] % 0.5 == 0
    assert any(card["cut"] for card in lobby["areas"])


def test_a_visit_is_handed_over_once_whatever_comes(desk, phone, unlogged):
    assert phone.visit("aaaa1111", "m0=6/3")[1]["state"] == "new"
    for _ in range(3):
        assert phone.visit("aaaa1111", "m0=6/3")[1]["state"] == "known"
    assert phone.visit("aaaa1111", "m0=7/3")[1]["state"] == "other"
    refused = phone.visit("bbbb2222", "m0=7/3")[1]
    assert refused["state"] == "refused"
    assert "trims.csv" in refused["said"]
    assert desk.rows() == [f"{TODAY},home,m0,6,3,,,,,"]


def test_a_book_that_cannot_be_written_now_is_asked_again(desk, phone, unlogged):
    mark = desk.folder / ".~lock.trims.csv#"  # a spreadsheet has it open
    mark.touch()
    told = phone.visit("cccc1111", "m0=6/3")[1]
    mark.unlink()
    assert told["state"] == "later"
    assert "open in a spreadsheet" in told["said"]
    assert phone.visit("cccc1111", "m0=6/3")[1]["state"] == "new"


def test_a_replay_under_another_word_and_a_false_receipt_are_seen(desk, phone):
    message = phone.message("visit", '{"number": "cccc3333"}')
    body = json.dumps(message | {"word": "34" * 8})
    assert desk.ask("/phone/visit", body, phone=True)[0] == 403
    swapped = phone.message("hello")
    assert desk.ask("/phone/visit", json.dumps(swapped), phone=True)[0] == 403


@pytest.mark.parametrize(
    ("items", "state"),
    [
        (["m0=nan"], "refused"),
        (["m0=1e9"], "refused"),
        (["m9=6/3"], "refused"),
        (["a0=6/3"], "refused"),
        (["../../etc=6"], "refused"),
        (["m0=6/3\n2026-01-01,home,m0,1,1"], "refused"),
    ],
)
def test_hostile_items_are_refused_with_a_sentence(desk, phone, items, state):
    told = phone.visit("dddd4444", *items)[1]
    assert told["state"] == state
    assert told["said"]
    assert desk.rows() == []


@pytest.mark.parametrize("taps", ["{", '{"width": NaN}', "[" * 30000, {"corners": 1}, "x" * 25000])
def test_hostile_taps_are_refused_with_their_visit(desk, phone, taps):
    visit = {"number": "dddd5555", "tank": "home", "day": str(TODAY), "items": ["m0=6/3"]}
    told = phone.ask("visit", json.dumps(visit | {"taps": taps}))[1]
    assert told["state"] == "refused"
    assert "taps are not as the page" in told["said"]
    assert desk.rows() == []
    assert not (desk.folder / "taps.jsonl").exists()


def test_a_formula_in_a_remark_stays_text(desk, phone, unlogged):
    phone.visit("eeee5555", "m0=6/3+note:=HYPERLINK(1)", "note: @SUM(A1)")
    assert [row.rpartition(",")[2] for row in desk.rows()] == ["'=HYPERLINK(1)", "'@SUM(A1)"]


@pytest.mark.parametrize(
    "text",
    [
        "[]",
        "{",
        "null",
        '{"number": NaN}',
        "[" * 30000,
        '{"number": "ffff6666", "tank": "home", "day": "2026-01-01", "items": "m0=1"}',
        '{"number": "ffff6666", "tank": "home", "day": "2026-01-01", "items": []}',
        '{"number": "", "tank": "home", "day": "2026-01-01", "items": ["m0=1"]}',
        '{"number": ["x"], "tank": {}, "day": 1, "items": [1]}',
    ],
)
def test_what_is_no_visit_is_refused(desk, phone, text):
    assert phone.ask("visit", text)[0] == 400
    assert desk.rows() == []


def test_ten_megabytes_are_not_read(desk):
    head = f"POST /phone/visit HTTP/1.1\r\nHost: {NAME}:{desk.port + 1}\r\n"
    head += f"Origin: http://{NAME}:{desk.port + 1}\r\nContent-Type: application/json\r\n"
    big = b"x" * 200_000
    for length in (f"Content-Length: {len(big)}\r\n\r\n", "Transfer-Encoding: chunked\r\n\r\n"):
        body = big if "Content" in length else b"%x\r\n%b\r\n0\r\n\r\n" % (len(big), big)
        answer = b""
        try:
            answer = raw(desk.port + 1, (head + length).encode() + body)
        except OSError:
            continue  # hung up on before it was all sent
        assert answer.startswith(b"HTTP/1.1 413")


def test_half_open_connections_are_hung_up_on(desk):
    started = time.monotonic()
    links = [socket.create_connection(("127.0.0.1", desk.port + 1)) for _ in range(60)]
    for link in links:
        with contextlib.suppress(OSError):  # one too many is hung up on at once
            link.sendall(b"POST /phone/visit HTTP/1.1\r\nHost: ")
    links[0].settimeout(4 * serve.PATIENCE_S)
    with contextlib.suppress(ConnectionResetError):
        assert links[0].recv(1) == b""
    assert time.monotonic() - started >= serve.PATIENCE_S / 2
    assert desk.ask("/phone/", phone=True)[0] == 200
    for link in links:
        link.close()


@pytest.fixture(scope="module")
def german(tmp_path_factory):
    practice = (tmp_path_factory.mktemp("german") / "book").resolve()
    with opened(seven_areas(practice, GERMAN), "--share", "--at", NAME) as d:
        yield d


def test_keys_are_not_tried_for_long(german):
    german.get("/")
    phone = Phone(german, german.code())
    tried = [phone.ask("hello", mac="00")[0] for _ in range(share.FAILURES + 2)]
    assert tried == [403] * share.FAILURES + [429] * 2


@pytest.mark.parametrize("path", PATHS)
def test_german_pages_are_german(german, path):
    page = re.sub(
        r'<(\w+)[^>]* lang="en".*?</\1>|<style.*?</style>', "", german.get(path), flags=re.DOTALL
    )
    text = html.unescape(re.sub(r"<[^>]+>", " ", page)).replace(NAME, "")
    english = re.findall(r"\b(?:the|and|of|with|is|are|visits?|areas?|tanks?|days?)\b", text)
    assert not english
    assert '<html lang="de"' in page


def test_an_area_is_replaced_in_the_book_once_it_was_said_back(german):
    german.get("/")
    token = german.form("home")["token"]
    asked = {"token": token, "table": "areas", "action": "replace", "area": "m0", "on": str(TODAY)}
    typed = asked | {"plant": "vesicularia-dubyana"}
    before = (german.folder / "areas.csv").read_text()
    status, page = german.post("/book", typed)
    assert status == 200
    assert "vesicularia-dubyana" in page
    assert (german.folder / "areas.csv").read_text() == before
    status, page = german.post("/book", typed | {"plant": "no such plant"})
    assert status == 422
    assert '<input name="plant" value="no such plant"' in page
    assert german.post("/book", typed | {"yes": "1"})[0] == 303
    ended = f"taxiphyllum-barbieri,150,2,9,3,2025-01-01,{TODAY}"
    assert ended in (german.folder / "areas.csv").read_text()
    moved = asked | {"action": "move", "area": "a0", "budget_cm": "20,5", "yes": "1"}
    assert german.post("/book", moved)[0] == 303
    assert ",20.5," in (german.folder / "bounds.csv").read_text()
    retired = asked | {"action": "retire", "table": "tanks", "tank": "nowhere"}
    assert german.post("/book", retired)[0] == 422


def test_a_visit_is_said_back_in_german_with_its_doubts(german):
    typed = german.form("lobby") | {"b0": "60", "a0": "0,5", "action": "said"}
    status, page = german.post("/visit", typed)
    assert status == 200
    assert "stand bei 60 cm; geschnitten auf 0,5 cm" in page
    assert re.search(r"\? 60 cm; erwartet [\d,]+ bis [\d,]+ cm \(8 von 10 Mal\)", page)


def test_a_book_with_a_problem_is_shown_with_it_beside_the_cell(german):
    german.get("/")
    areas = german.folder / "areas.csv"
    whole = areas.read_text()
    areas.write_text(whole.replace("barbieri,150", "barbieri,15O"))
    page = german.get("/book?table=areas")
    areas.write_text(whole)
    cell = re.search(r'<td class="odd">15O<small class="found">(.*?)</small>', page, re.DOTALL)
    assert "eine Zahl mit ihrer Einheit: " in cell[1]
    assert "unit-in-number" in cell[1]


FOCUSED = """() => {
  const one = document.activeElement, box = one.getBoundingClientRect();
  const [x, y] = [box.x + box.width / 2, box.y + Math.min(box.height / 2, 20)];
  const over = document.elementFromPoint(x, y);
  return { words: one.matches("input, select") ? one.name : one.textContent.trim(),
    ring: getComputedStyle(one).outlineStyle,
    open: Boolean(over) && (one.contains(over) || over.contains(one)) }; }"""


def test_a_rescape_and_a_replacement_by_keyboard_alone(german, browser):
    german.get("/")
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.set_default_timeout(60_000)
    keys, ask = page.keyboard, f"http://127.0.0.1:{german.port}"

    def reach(words):
        for _ in range(90):
            keys.press("Tab")
            focused = page.evaluate(FOCUSED)
            assert focused["ring"] != "none", focused
            assert focused["open"], focused  # nothing lies over it
            if focused["words"].startswith(words):
                return
        raise AssertionError(words)

    page.goto(f"{ask}/rescape?tank=lobby")
    reach("Zum Inhalt")
    keys.press("Enter")
    reach("Pflanzen vergleichen Back stems")
    keys.press("Enter")
    page.wait_for_selector("#plants")
    reach("Einsetzen")
    keys.press("Enter")
    page.wait_for_selector("text=/Zusammengestellt: .* Stunden im Jahr statt/")
    page.goto(f"{ask}/book?table=areas")
    reach("Die Pflanze einer Fläche ersetzen")
    keys.press("Enter")
    reach("area")
    keys.type("Crypts")
    reach("plant")
    keys.type("anubias-barteri-nana")
    reach("Die Pflanze einer Fläche ersetzen")
    keys.press("Space")
    page.wait_for_selector("text=So wurde es verstanden")
    page.wait_for_selector("[autofocus]:focus")
    keys.press("Tab")
    assert page.evaluate(FOCUSED)["words"] == "Ins Buch schreiben"
    keys.press("Enter")
    page.wait_for_selector("text=Geschrieben:")
    assert "anubias-barteri-nana" in (german.folder / "areas.csv").read_text()
    page.close()


# Stopping


def test_the_desk_stops_cleanly_and_a_kill_loses_nothing(tmp_path):
    with opened(seven_areas(tmp_path / "book"), "--share", "--at", NAME) as desk:
        _stop_and_kill(desk)


def _stop_and_kill(desk):
    desk.get("/")
    typed = desk.form("lobby") | {"b0": "20", "by": "Ida", "water": "50", "visit_min": "70"}
    status, said, headers = desk.ask(
        "/visit", urlencode(typed | {"doses": "10 ml", "note": "new lamp", "action": "save"})
    )
    assert status == 303
    header = (desk.folder / "trims.csv").read_text().partition("\n")[0]
    assert header.endswith(",note,visit_min,water_share,by")
    assert "growthcast_by=Ida" in headers["Set-Cookie"]
    assert [row.split(",")[-4:] for row in desk.rows()] == [
        ["", "", "", "Ida"],
        ["doses: 10 ml; new lamp", "70", "0.5", "Ida"],
    ]
    assert run("unlog", str(desk.folder)).status == 0
    phone = Phone(desk, desk.code())
    assert phone.visit("aaaa1111", "m0=6/3")[1]["state"] == "new"
    desk.stop(signal.SIGKILL)
    assert len(desk.rows()) == 1
    desk.start()  # the same port, and the key still opens
    assert phone.visit("aaaa1111", "m0=6/3")[1]["state"] == "known"
    assert len(desk.rows()) == 1
    status, said = desk.stop(signal.SIGTERM)
    assert status == 0
    assert said.rstrip().endswith("Closed.")
    assert "Traceback" not in said
