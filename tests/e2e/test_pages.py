"""The pages of the demo, reviewed as text: ``python -m tests.e2e.test_pages`` writes them anew.

A golden file is the page's HTML without its style and with each drawing replaced by what it tells
those who cannot see it. Nothing else is changed: the same book gives the same bytes.
"""

from __future__ import annotations

import csv
import html
import io
import json
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from datetime import date
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import pytest

from tests.books import AREAS, HEADER, PRACTICE, TANKS, stem_log, write_book
from tests.cli import KNOWN, run

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "data" / "demo"
GOLDEN = Path(__file__).parent / "golden"
PAPER = 'contact = "Telephone 0123 456789"\nlogo = "logo.svg"\nlocale = "de-DE"\n'
LOGO = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">'
    '<script>alert(1)</script><circle cx="4" cy="4" r="4"/></svg>'
)


def german_demo(folder: Path) -> Path:
    """Copy the demo with a letterhead and the German locale."""
    book = Path(shutil.copytree(DEMO, folder / "book"))
    practice = (book / "practice.toml").read_text(encoding="utf-8")
    practice = practice.replace("[practice]\n", f"[practice]\n{PAPER}", 1)
    (book / "practice.toml").write_text(practice, encoding="utf-8")
    (book / "logo.svg").write_text(LOGO, encoding="utf-8")
    plan = "date,tank_id,minutes\n2026-12-04,study-rhizome,60\n2026-11-19,study-rhizome,60\n"
    (book / "plan.csv").write_text(plan, encoding="utf-8")
    return book


def write_page(name: str, folder: Path) -> Path:
    """Write one of the pages under review."""
    out = folder / f"{name}.html"
    if name == "brief.de":
        book = german_demo(folder)
        asked = ["brief", str(book), "--client", "Client B", "--visits", str(book / "plan.csv")]
    elif name == "brief.en":
        asked = ["brief", str(DEMO), "--tank", "lobby-stems"]
    else:
        book = german_demo(folder) if name == "cuts.de" else DEMO
        day = ["--day", "2026-12-03"] if name == "cuts.de" else ["--tank", "desk-nano"]
        asked = [name.split(".")[0], str(book), *(day if name.startswith("cuts") else [])]
    done = run(*asked, "--out", str(out))
    assert done.status == 0, done.err
    assert f"Wrote {out}" in done.err
    return out


def as_text(page: str) -> str:
    """Return a page without its style, each drawing told in words."""
    page = re.sub(r"<style>.*?</style>", "<style/>", page, flags=re.S)
    told = r"<svg .*?<title[^>]*>(.*?)</title>.*?<desc[^>]*>(.*?)</desc>.*?</svg>"
    return re.sub(told, r"[drawing: \1: \2]", page, flags=re.S)


PAGES = ("brief.en", "brief.de", "overview", "cuts", "cuts.de")


@pytest.fixture(scope="module")
def page_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Return what writes a page under review, once."""
    return cache(lambda name: write_page(name, tmp_path_factory.mktemp(name)))


@pytest.mark.parametrize("name", PAGES)
def test_pages_are_as_reviewed(name: str, page_of: Callable[[str], Path]) -> None:
    made = as_text(page_of(name).read_text(encoding="utf-8"))
    assert made == (GOLDEN / f"{name}.html.txt").read_text(encoding="utf-8")
    assert "<script" not in made


@pytest.fixture(scope="module")
def small_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_book(tmp_path_factory.mktemp("small"))


def brief(book: Path, out: Path, *more: str) -> str:
    done = run("brief", str(book), "--tank", "lobby", "--out", str(out), *more)
    assert done.status == 0, done.err
    return out.read_text(encoding="utf-8") if out.suffix == ".html" else done.err


@pytest.mark.slow
def test_the_same_book_gives_the_same_bytes(small_book: Path, tmp_path: Path) -> None:
    for form in ("html", "pdf") if find_spec("typst") else ("html",):
        first, second = tmp_path / f"a.{form}", tmp_path / f"b.{form}"
        brief(small_book, first)
        KNOWN.clear()
        brief(small_book, second)
        assert first.read_bytes() == second.read_bytes()


@pytest.mark.slow
def test_the_pdf_is_two_tagged_pages_with_the_conclusion(tmp_path: Path) -> None:
    pytest.importorskip("typst")
    pypdf = pytest.importorskip("pypdf")
    out = tmp_path / "lobby.pdf"
    assert run("brief", str(DEMO), "--tank", "lobby-stems", "--out", str(out)).status == 0
    made = pypdf.PdfReader(io.BytesIO(out.read_bytes()))
    assert len(made.pages) <= 2
    text = " ".join(" ".join(page.extract_text() for page in made.pages).split())
    golden = (GOLDEN / "brief.en.html.txt").read_text(encoding="utf-8")
    [lead] = re.findall(r'<p class="lead">(.*?)</p>', golden)
    assert html.unescape(lead)[:60] in text
    assert made.trailer["/Root"]["/MarkInfo"]["/Marked"]


def test_without_typst_the_way_to_print_is_told(
    small_book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("growthcast.cli.options.find_spec", lambda _: None)
    done = run("brief", str(small_book), "--tank", "lobby", "--out", str(tmp_path / "a.pdf"))
    assert done.status == 2
    assert "a.html" in done.err
    assert "print" in done.err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--tank", "lobby"), "--out FILE.html"),
        (("--out", "a.html"), "--tank ID"),
        (("--tank", "lobby", "--client", "Client A", "--out", "a.html"), "--client NAME"),
        (("--client", "Client A", "--every", "7", "--out", "a.html"), "name it with --tank ID"),
        (("--tank", "loby", "--out", "a.html"), 'did you mean "lobby"'),
        (("--client", "Client Z", "--out", "a.html"), "did you mean"),
        (("--client", "nobody", "--out", "a.html"), "the clients are Client A, Client B"),
        (("--tank", "lobby", "--out", "a.doc"), ".html or .pdf"),
        (("--tank", "lobby", "--out", "nowhere/a.html"), "there is no folder"),
        (("--tank", "lobby", "--out", "/proc/a.html"), "cannot be written"),
    ],
)
def test_wrong_arguments_are_answered_in_a_sentence(
    small_book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments, said
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run("brief", str(small_book), *arguments)
    assert done.status == 2, done.err
    assert said in done.err
    assert not list(tmp_path.iterdir())


def test_a_tank_without_a_log_or_any_plant(tmp_path: Path) -> None:
    one = AREAS.splitlines()[0] + "\n" + AREAS.splitlines()[3] + "\n"
    book = write_book(tmp_path / "book", areas=one, trims=HEADER)
    page = brief(book, tmp_path / "a.html", "--on", "2026-06-01")
    assert "Nothing is planted in this tank on 1 June 2026" in page
    done = run("brief", str(book), "--tank", "home", "--out", str(tmp_path / "b.html"))
    assert done.status == 0
    assert "so the day to stand on is today" in done.err
    page = (tmp_path / "b.html").read_text(encoding="utf-8")
    assert "these are usual figures of such plants" in page
    assert "How often our forecasts held" not in page
    done = run("overview", str(book), "--on", "2026-06-01", "--out", str(tmp_path / "c.html"))
    assert done.status == 0, done.err


def test_names_of_every_kind_stay_words(tmp_path: Path) -> None:
    long, evil = "A name of eighty characters " + "x" * 52, "<script>alert(2)</script>"
    areas = AREAS.replace("Back stems", evil).replace("Front carpet", long)
    tanks = TANKS.replace("Client A", "شركة 🌿 <b>")
    practice = PRACTICE.replace("[practice]\n", '[practice]\nlogo = "gone.png"\n')
    book = write_book(tmp_path / "book", areas=areas, tanks=tanks, practice=practice)
    done = run("brief", str(book), "--client", "شركة 🌿 <b>", "--out", str(tmp_path / "a.html"))
    assert done.status == 0, done.err
    assert "without the logo gone.png" in done.err
    page = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "<b>" not in page
    assert "شركة" in page
    assert long in page
    if find_spec("typst"):
        for command in (["brief", str(book), "--tank", "lobby"], ["overview", str(book)]):
            assert run(*command, "--out", str(tmp_path / "a.pdf")).status == 0


@pytest.mark.parametrize(
    ("command", "form"),
    [("brief", "html"), ("overview", "pdf"), ("cuts", "html"), ("cuts", "pdf")],
)
def test_a_logo_that_cannot_be_shown_is_left_out_and_said(tmp_path, form, command) -> None:
    if form == "pdf":
        pytest.importorskip("typst")
    practice = PRACTICE.replace("[practice]\n", '[practice]\nlogo = "logo.svg"\n')
    book = write_book(tmp_path / "book", practice=practice)
    (book / "logo.svg").write_text(LOGO.replace("alert(1)", "a & b"), encoding="utf-8")
    out = tmp_path / f"a.{form}"
    tank = [] if command == "overview" else ["--tank", "lobby"]
    done = run(command, str(book), *tank, "--out", str(out))
    assert done.status == 0, done.err
    assert done.err.count("The page is without the logo logo.svg of practice.toml") == 1
    assert b"<img" not in out.read_bytes()


def test_a_logo_that_only_a_pdf_cannot_show(tmp_path: Path) -> None:
    pytest.importorskip("typst")
    practice = PRACTICE.replace("[practice]\n", '[practice]\nlogo = "logo.svg"\n')
    book = write_book(tmp_path / "book", practice=practice)
    latin = f'<?xml version="1.0" encoding="ISO-8859-1"?>{LOGO}'.replace("alert(1)", "grün")
    (book / "logo.svg").write_bytes(latin.encode("latin-1"))
    done = run("overview", str(book), "--out", str(tmp_path / "a.pdf"))
    assert done.status == 0, done.err
    assert "without the logo of practice.toml: PDF cannot show it (failed to parse SVG" in done.err
    done = run("overview", str(book), "--out", str(tmp_path / "a.html"))
    assert "without the logo" not in done.err
    assert '<img class="logo"' in (tmp_path / "a.html").read_text(encoding="utf-8")


TERMS = 'vat_percent = 0\nterms = ["Fixed for a year.", "Four weeks\' notice."]\n'
WHOLE = """tank_id,client,site,name,water_depth_cm,longest_interval_d,visit_weekday
lobby,Client A,Hall,the tank in the hall,46,7,mon
home,Client A,Hall,the moss by the door,34,14,mon
"""
SOLD = 'vat_percent = 19\n[visit]\nincludes = ["glass cleaned, a third of the water changed"]\n'


def test_a_clients_page_adds_up_and_its_figures_are_written(tmp_path: Path) -> None:
    practice = PRACTICE.replace("[visit]\n", SOLD)
    book = write_book(tmp_path / "book", tanks=WHOLE, practice=practice)
    asked = ["brief", str(book), "--client", "Client A", "--out", str(tmp_path / "a.html")]
    done = run(*asked, "--data", str(tmp_path / "a.json"))
    assert done.status == 0, done.err
    page = (tmp_path / "a.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    [prices] = re.findall(r"What each tank gets.*?</table>", page, flags=re.S)
    month = [int(price.replace(",", "")) for price in re.findall(r">€([\d,]+)<", prices)]
    figures = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    net = figures["contract"]["cost"]["p50"] / 12
    assert len(month) == 3  # two tanks and the road
    assert sum(month) == pytest.approx(net, abs=1.6)
    assert f"€{round(net)} a month" in page
    assert f"€{round(net) + round(round(net) * 0.19)} a month" in page
    assert "With 19% VAT" in page
    assert "Tanks at one place share the journey" in page
    rows = re.findall(r">all tanks: €(\d+) a month \(€(?!\1)\d+ with VAT\)<", page)
    told = [row["all_tanks_per_month"] for row in figures["rhythms"]]
    assert [float(price) for price in rows] == told
    assert {round(net)} == {
        row["all_tanks_per_month"] for row in figures["rhythms"] if row["proposed"]
    }
    assert "<li>glass cleaned, a third of the water changed</li>" in page
    assert run(*asked, "--data", str(tmp_path / "a.csv")).status == 0
    *rhythms, whole = csv.DictReader((tmp_path / "a.csv").read_text("utf-8").splitlines())
    assert [row["tank_id"] for row in rhythms if row["proposed"] == "True"] == ["lobby", "home"]
    assert float(whole["cost_per_year"]) == figures["contract"]["cost"]["p50"]
    wrong = run(*asked, "--data", str(tmp_path / "a.txt"))
    assert (wrong.status, "does not end in .json or .csv" in wrong.err) == (2, True)


def test_a_tank_without_plants_has_no_rhythms_in_its_figures_either(tmp_path: Path) -> None:
    cleared = AREAS.replace("3,2025-01-01,", "3,2025-01-01,2026-05-20")
    book = write_book(tmp_path / "book", areas=cleared)
    asked = ("brief", str(book), "--tank", "home", "--out", str(tmp_path / "a.html"))
    for name, said in (("a.csv", "tank_id\n"), ("a.json", '"rhythms": []')):
        done = run(*asked, "--data", str(tmp_path / name))
        assert done.status == 0, done.err
        assert said in (tmp_path / name).read_text(encoding="utf-8")


def test_a_quote_is_a_clients_page_of_a_book_without_a_log(tmp_path: Path) -> None:
    book = write_book(tmp_path / "book", tanks=WHOLE, trims=HEADER)
    asked = [str(book), "--client", "Client A", "--on", "2026-06-01", "--out"]
    assert run("brief", *asked, str(tmp_path / "b.html")).status == 0
    done = run("quote", *asked, str(tmp_path / "a.html"))
    assert done.status == 0, done.err
    page = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert "First estimate for the tanks of Client A" in page
    assert "three visits settle them." in page
    assert page == (tmp_path / "b.html").read_text(encoding="utf-8")
    assert "before any VAT" in page
    assert "Still to agree: term, notice, and whether the price is fixed." in page
    assert "[practice] terms" in done.err
    assert "What a visit includes" not in page
    assert "A visit is about" in page
    assert done.err.count("[visit] includes") == 1


def test_a_quote_knows_what_is_planted_today_and_is_refused_where_there_is_a_log(
    small_book: Path, tmp_path: Path
) -> None:
    today = date.today().isoformat()
    one = AREAS.splitlines()[1].replace("2025-01-01", today)
    areas = f"{AREAS.splitlines()[0]}\n{one}\n"
    book = write_book(tmp_path / "book", areas=areas, trims=HEADER)
    out = tmp_path / "a.html"
    assert run("quote", str(book), "--tank", "lobby", "--out", str(out)).status == 0
    assert "First estimate. Your tank: a visit every" in out.read_text(encoding="utf-8")
    done = run("quote", str(small_book), "--tank", "lobby", "--out", str(tmp_path / "b.html"))
    assert (done.status, "growthcast brief writes the page" in done.err) == (2, True)


def test_terms_stand_where_one_says_yes(tmp_path: Path) -> None:
    practice = PRACTICE.replace("[practice]\n", f"[practice]\n{TERMS}")
    book = write_book(tmp_path / "book", practice=practice)
    page = brief(book, tmp_path / "a.html")
    assert re.search(r"To say yes</dt><dd>.*<span>Fixed for a year\. Four weeks&#39; notice", page)
    assert "Still to agree" not in page
    assert "In 8 of 10 years" not in page
    assert "no VAT is charged" in page


def test_thirty_areas(tmp_path: Path) -> None:
    head = AREAS.splitlines()[0] + "\n"
    rows = [f"a{i},lobby,Area {i},rotala-rotundifolia,100,7,22,9,2025-01-01,\n" for i in range(30)]
    trims = stem_log(4).replace("stems", "a3")
    book = write_book(tmp_path / "book", areas=head + "".join(rows), trims=trims)
    page = brief(book, tmp_path / "a.html")
    assert all(f"Area {i}<" in page for i in range(30))


def test_a_page_in_a_language_without_text_is_english_throughout(tmp_path: Path) -> None:
    practice = PRACTICE.replace("[practice]\n", '[practice]\nlocale = "fr-FR"\n')
    book = write_book(tmp_path / "book", practice=practice)
    done = run("overview", str(book), "--out", str(tmp_path / "a.html"))
    assert done.status == 0
    assert "no text in fr-FR yet: this one is in English throughout" in done.err
    page = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert '<html lang="en">' in page
    assert "1 June 2026" in page
    assert "juin" not in page


def test_an_overview_of_what_is_urgent_first(
    tmp_path: Path, page_of: Callable[[str], Path]
) -> None:
    page = page_of("overview").read_text(encoding="utf-8")
    rows = re.findall(r'<th role="rowheader" scope="row">([^<]+)</th>', page)
    assert rows[0] == "lobby-stems"
    assert len(rows) == 6
    data = tmp_path / "a.csv"
    asked = ["overview", str(DEMO), "--out", str(tmp_path / "a.html"), "--data", str(data)]
    assert run(*asked).status == 0
    figures = list(csv.DictReader(data.read_text(encoding="utf-8").splitlines()))
    assert [row["tank_id"] for row in figures] == rows
    assert {row["state"] for row in figures} <= {"overdue", "tight", "fine"}


AXE = """
const p = require('puppeteer-core'), fs = require('fs');
(async () => {
  const b = await p.launch({executablePath: process.argv[2], args: ['--no-sandbox']});
  const axe = fs.readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8'), found = [];
  for (const file of process.argv.slice(3)) for (const [width, dark] of
      [320, 390, 1280].flatMap(width => [[width, false], [width, true]])) {
    const page = await b.newPage();
    await page.setBypassCSP(true);
    const value = dark ? 'dark' : 'light';
    await page.emulateMediaFeatures([{name: 'prefers-color-scheme', value}]);
    await page.setViewport({width, height: 900});
    await page.goto('file://' + file);
    await page.evaluate(axe);
    const ran = await page.evaluate(async () => await axe.run());
    for (const v of ran.violations) found.push([file, width, value, v.id, v.nodes[0].html]);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth);
    if (wide > width) found.push([file, width, value, 'wider than the screen', wide]);
  }
  await b.close();
  console.log(JSON.stringify(found));
})();
"""


@pytest.mark.slow
def test_axe_finds_nothing(tmp_path: Path, page_of: Callable[[str], Path]) -> None:
    """Needs Chromium, node, and AXE_MODULES: a node_modules with axe-core and puppeteer-core."""
    chromium, node = shutil.which("chromium"), shutil.which("node")
    modules = Path(os.environ.get("AXE_MODULES", tmp_path))
    if not (chromium and node and (modules / "axe-core").is_dir()):
        pytest.skip("Chromium, node or axe-core is not there")
    script = tmp_path / "axe.js"
    script.write_text(AXE, encoding="utf-8")
    pages = [str(page_of(name)) for name in PAGES]
    done = subprocess.run(
        [node, str(script), chromium, *pages],
        env={**os.environ, "NODE_PATH": str(modules)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(done.stdout) == []


if __name__ == "__main__":
    for each in PAGES:
        with tempfile.TemporaryDirectory() as place:
            text = as_text(write_page(each, Path(place)).read_text(encoding="utf-8"))
            (GOLDEN / f"{each}.html.txt").write_text(text, encoding="utf-8")
