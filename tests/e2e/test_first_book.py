"""A first book and a visit typed as a person types them, keystrokes counted. All of it invented."""

from __future__ import annotations

import contextlib
import io
import shutil
import sys
from unittest import mock

import openpyxl

from growthcast.book.files import demo_dir
from growthcast.book.read import read_book
from tests.cli import run
from tests.unit.book.small_book import write_book

NINE_TANKS = """\
Water and Leaf
58
lobby, Hotel 120x45x48
limnophila se b
hygrophila po b
rotala r m
ludwigia re m
small-leaf
micranthemum t

desk, Client A 45x30x30
dwarf baby
eleocharis p f
java moss
rotala ro m

study, Client B 90x45x40
anubias b n
java fern b
bolbitis
bucephalandra p

reception, Client C 120x50x50
pogostemon s b
limnophila a b
alternanthera reineckii m
amazon sword
helanthium t
cryptocoryne pa f

home, Client D 100x40x45
water wisteria b
vallisneria s b
cryptocoryne we
java moss
frogbit

shop, Client E 80x35x40
bacopa c b
rotala ma b
blyxa
micranthemum g m
staurogyne

hall, Client F 150x55x55
ludwigia re b
hygrophila c b
rotala w m
cryptocoryne be
marsilea h

clinic, Client F 60x30x36
bacopa m b
pogostemon h
glossostigma
fissidens f

window, Client G 60x35x35
didiplis b
anubias barteri m
salvinia a


y
"""


class Terminal(io.StringIO):
    def isatty(self):
        return True


def start(folder, typed):
    with mock.patch.object(sys, "stdin", Terminal(typed)):
        return run("start", str(folder))


def test_a_first_book_of_nine_tanks_takes_few_keystrokes(tmp_path):
    folder = tmp_path / "book"
    ran = start(folder, NINE_TANKS)
    assert ran.status == 0, ran.err
    book = read_book(folder)
    assert (len(book.tanks), len(book.areas)) == (9, 42)
    assert len(NINE_TANKS) + len("growthcast start book\n") <= 1600
    assert book.practice.labour_rate_per_h == 58
    assert not book.areas.given("planted_on").any()  # before our time
    floor, budget = book.areas.number("floor_cm"), book.areas.number("budget_cm")
    assert (floor < budget).all()
    checked = run("check", str(folder))
    assert "heights are proposals, not agreed on, in 42 areas" in checked.err + checked.out
    assert "heights are proposals" in run("interval", str(folder), "--tank", "desk").err


def test_what_is_not_understood_is_asked_for_again_and_an_end_loses_nothing(tmp_path):
    folder = tmp_path / "book"
    ran = start(folder, "\n\nlobby\nlobby 120x45x48\nrotala\nrotala ma b 30-9\n")
    assert ran.status == 2
    assert not folder.exists()
    assert '"lobby" is no tank' in ran.err
    assert 'no plant "rotala"; it may be' in ran.err
    assert "floor_cm: found 30" in ran.err
    assert ran.err.endswith("nothing was written\n")
    assert "rotala ma b 30-9\n" in ran.err[ran.err.index("Typed so far") :]
    no = start(folder, "\n\nlobby 120x45x48\njava moss\n\n\nn\n")
    assert (no.status, folder.exists()) == (0, False)
    assert "135?" not in no.out
    assert "540?" in no.out  # ground of 120 x 45 cm, a tenth of it


def sheet_of(file, tanks, areas):
    made = openpyxl.Workbook()
    made.remove(made.active)
    for name, rows in (("tanks", tanks), ("areas", areas)):
        page = made.create_sheet(name)
        for row in rows:
            page.append(row)
    made.save(file)
    return file


TANKS = [["tank_id", "client", "length_cm", "width_cm", "water_depth_cm [cm]"]]
TANKS += [["Practice Hall 2", "Client A", 120, 45, 48]]


def test_a_first_book_comes_from_a_sheet(tmp_path):
    areas = [["tank_id", "species_id", "place", "budget_cm"]]
    areas += [
        ["Practice Hall 2", "java moss", "wood", 7],
        ["practice hall 2", "rotala ma", None, None],
    ]
    file = sheet_of(tmp_path / "sheet.xlsx", TANKS, areas)
    ran = run("start", str(tmp_path / "book"), "--from", str(file))
    assert ran.status == 0, ran.err
    book = read_book(tmp_path / "book")
    assert book.areas.text("area_id").tolist() == [
        "practice-hall-2-taxiphyllum",
        "practice-hall-2-rotala",
    ]
    assert book.areas.text("note").tolist() == [
        "proposed: area_cm2, floor_cm",
        "proposed: area_cm2, floor_cm, budget_cm",
    ]
    again = run("start", str(tmp_path / "book"), "--from", str(file))
    assert (again.status, "nothing is written over" in again.err) == (2, True)


def test_a_sheet_that_is_not_understood_is_said_by_row_and_writes_nothing(tmp_path):
    areas = [["tank_id", "species_id"], ["Practice Hall 2", "plastic"], ["Elsewhere", "java moss"]]
    file = sheet_of(tmp_path / "sheet.xlsx", TANKS, areas)
    ran = run("start", str(tmp_path / "book"), "--from", str(file))
    assert ran.status == 2
    assert 'sheet areas, row 2: the species table has no plant "plastic"' in ran.err
    areas[1][1] = "java moss"
    ran = run("start", str(tmp_path / "book"), "--from", str(sheet_of(file, TANKS, areas)))
    assert (ran.status, "sheet areas:3:" in ran.err) == (2, True)
    assert not (tmp_path / "book").exists()


SEVEN = "growthcast log ro=19/10 hy=24/12 lu=22/9 rest=r 35min -y\n"


def test_a_visit_of_seven_areas_is_a_short_line(tmp_path):
    names = ("rotala", "hygrophila", "ludwigia", "moss", "carpet", "fern", "crypt")
    head = "area_id,tank_id,species_id,area_cm2,floor_cm,budget_cm,planted_on\n"
    row = "lobby-{0},lobby,rotala-rotundifolia,300,8,25,\n"
    book = {
        "tanks.csv": "tank_id,water_depth_cm\nlobby,45\nhome,45\n",
        "areas.csv": head
        + "".join(map(row.format, names))
        + row.format("x").replace("lobby", "home"),
        "trims.csv": "date,tank_id,area_id,before_cm,after_cm,look,minutes\n",
        "conditions.csv": None,
    }
    folder = write_book(tmp_path / "book", book)
    with contextlib.chdir(folder):
        ran = run(*SEVEN.split()[1:])
    assert ran.status == 0, ran.err
    assert (folder / "trims.csv").read_text().count("lobby-") == 7
    assert len(SEVEN) <= 60


def test_an_added_area_gets_what_is_left_open_proposed(tmp_path):
    folder = tmp_path / "book"
    shutil.copytree(demo_dir(), folder)
    ran = run("add", "area", str(folder), "tank_id=reception", "species_id=java fern")
    assert ran.status == 0, ran.err
    last = (folder / "areas.csv").read_text(encoding="utf-8").splitlines()[-1]
    assert last.startswith("reception-leptochilus,reception,")
    assert "proposed: area_cm2, floor_cm, budget_cm" in last
    several = run("add", "area", str(folder), "tank_id=reception", "species_id=anub")
    assert several.status == 2
    assert "anubias-barteri-nana" in several.err


def test_an_old_log_gets_the_columns_that_a_visit_needs_when_it_is_written(tmp_path):
    folder = tmp_path / "book"
    shutil.copytree(demo_dir(), folder)
    log = folder / "trims.csv"
    before = log.read_text(encoding="utf-8")
    visit = (
        "log",
        str(folder),
        "-t",
        "reception",
        "--on",
        "2026-11-21",
        "visit=70min",
        "water=40%",
    )
    tried = run(*visit)
    assert tried.status == 0, tried.err
    assert "gets at the end of its first line: visit_min, water_share" in tried.err
    assert log.read_text(encoding="utf-8") == before
    assert run(*visit, "--yes").status == 0
    after = log.read_text(encoding="utf-8")
    head, *rows = before.splitlines()
    assert after.splitlines() == [
        f"{head},visit_min,water_share",
        *rows,
        "2026-11-21,reception,,,,,,,,,70,0.4",
    ]
