"""cuts, peak and away end to end: what is printed, and what wrong input gets."""

from __future__ import annotations

import re

import pytest

from growthcast.book.files import demo_dir
from tests.books import write_book
from tests.cli import run
from tests.e2e.test_commands import strict_json

DEMO = str(demo_dir())


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    return str(write_book(tmp_path_factory.mktemp("small")))


def test_cuts_prints_one_page(small):
    ran = run("cuts", small, "--tank", "lobby", "--on", "2026-06-08", "--next", "2026-06-15")
    assert ran.status == 0
    assert "until Mon 15 Jun (7 days)" in " ".join(ran.out.split())
    assert "Mains off before hands go into the water" in ran.out
    assert len(ran.out.splitlines()) <= 24
    asked = ["--tank", "lobby", "--on", "2026-06-08", "--next", "2026-06-15", "--details"]
    assert "lobby, cautions:" in run("cuts", small, *asked).out


def test_cuts_on_the_demo_as_json():
    ran = run("cuts", DEMO, "--tank", "lobby-stems", "--on", "2026-11-27", "--json")
    assert ran.status == 0
    sheet = strict_json(ran.out)
    assert sheet["next_on"] == "2026-12-04"
    assert sheet["feasible"]
    assert [area["order"] for area in sheet["areas"]] == [1, 2, 3, 4, 5]
    assert any("Regulated as invasive" in line for line in sheet["cautions"])


@pytest.mark.slow
def test_cuts_of_a_day_are_those_of_all_tanks_due_in_the_order_of_travel():
    ran = run("cuts", DEMO, "--day", "2026-11-27", "--json")
    assert ran.status == 0
    answer = strict_json(ran.out)
    assert answer["on"] == "2026-11-27"
    tanks = [(sheet["client"], sheet["tank_id"]) for sheet in answer["sheets"]]
    assert tanks == [
        ("Client A", "desk-nano"),
        ("Client D", "home-lowtech"),
        ("Lobby client", "lobby-stems"),
    ]
    alone = run("cuts", DEMO, "--tank", "home-lowtech", "--on", "2026-11-27", "--json")
    assert {**strict_json(alone.out), "not_fitted": []} == {
        **answer["sheets"][1],
        "not_fitted": [],
    }


@pytest.mark.slow
def test_cuts_on_a_day_without_a_due_tank_name_the_next(tmp_path):
    out = tmp_path / "a.html"
    ran = run("cuts", DEMO, "--out", str(out))
    assert ran.status == 0
    assert "No tank is due by 20 Nov; the next is desk-nano, due on Mon 23 Nov." in ran.err
    assert not out.exists()


@pytest.mark.slow
def test_cuts_of_a_plan_last_until_its_next_visit(tmp_path):
    plan = tmp_path / "plan.csv"
    days = ["2026-11-30,reception", "2026-11-30,desk-nano", "2026-12-09,reception"]
    plan.write_text("date,tank_id\n" + "\n".join(days) + "\n")
    asked = ["cuts", DEMO, "--day", "2026-11-30", "--visits", str(plan), "--json"]
    sheets = strict_json(run(*asked).out)["sheets"]
    assert [(sheet["tank_id"], sheet["next_on"]) for sheet in sheets] == [
        ("reception", "2026-12-09"),
        ("desk-nano", "2026-12-14"),
    ]
    asked[3] = "2026-12-01"
    assert "No visit on 2026-12-01 is in the plan." in run(*asked).err


def test_cards_are_a_sheet_of_paper_a_tank(tmp_path):
    pypdf = pytest.importorskip("pypdf")
    pytest.importorskip("typst")
    out = tmp_path / "cards.pdf"
    assert run("cuts", DEMO, "--day", "2026-11-27", "--out", str(out)).status == 0
    pages = [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(out).pages]
    places = ("Desk on the first floor (Client A)", "Living room", "Entrance hall (Lobby client)")
    assert len(pages) == 3
    for place, text in zip(places, pages, strict=True):
        assert place in text
        assert "Grams of trimmings" in text
        assert text.count("Remarks") == 1


def test_cuts_with_nothing_to_recommend_takes_the_shortest_interval(tmp_path):
    from tests.books import AREAS

    book = write_book(tmp_path, areas=AREAS.replace("400,7,22,9", "400,12,13,12"))
    ran = run("cuts", str(book), "--tank", "lobby")
    assert ran.status == 0
    assert "No listed interval is feasible for lobby" in ran.err
    assert "would hold" in ran.out or "Not even tomorrow" in ran.out


def test_peak_on_the_demo_as_json():
    ran = run("peak", DEMO, "--tank", "reception", "--shine", "2026-12-30", "--json")
    assert ran.status == 0
    plan = strict_json(ran.out)
    assert plan["visits"] == ["2026-12-04", "2026-12-18"]
    assert 0 < plan["chance_all_best"] < 1
    for area in plan["areas"]:
        assert all(cut["on"] in plan["visits"] for cut in area["cuts"])


def test_peak_tomorrow_counts_on_today(small):
    ran = run("peak", small, "--tank", "lobby", "--shine", "2026-06-02")
    assert ran.status == 0
    assert "today's, 2026-06-01, is counted on" in ran.err
    assert "too little time" in ran.out
    assert "left uncut, at its best from" in ran.out


def test_peak_without_a_tank_tells_of_all(small):
    ran = run("peak", small, "--shine", "2026-07-01")
    assert ran.status == 0
    assert "stand at their best on Wed 1 Jul" in " ".join(ran.out.split())
    tanks = strict_json(run("peak", small, "--shine", "2026-07-01", "--json").out)["tanks"]
    assert [tank["tank_id"] for tank in tanks] == ["lobby", "home"]
    alone = run("peak", small, "--tank", "home", "--shine", "2026-07-01", "--json")
    assert strict_json(alone.out)["areas"] == tanks[1]["areas"]


def test_away_lists_every_tank(small):
    ran = run("away", small, "--from", "2026-06-02", "--to", "2026-06-28")
    assert ran.status == 0
    assert "oxygen" in ran.out  # somebody cuts low before leaving
    assert "stand-in" in ran.out
    assert "home" in ran.out
    answer = strict_json(
        run("away", small, "--from", "2026-06-02", "--to", "2026-06-28", "--json").out
    )
    assert answer["last_visit"] == "2026-06-01"
    assert [tank["next_visit"] for tank in answer["tanks"]] == ["2026-06-29"] * 2


def test_interval_in_full_names_the_next_longer_and_how_sure(small):
    ran = run("interval", small, "--tank", "lobby")
    assert ran.status == 0
    for must in ("The next longer: every", "feasible, each worked out anew", "How sure:"):
        assert must in ran.out
    [tank] = strict_json(run("interval", small, "--tank", "lobby", "--json").out)["tanks"]
    longer = tank["next_longer"]
    assert longer["interval_d"] > tank["recommended_interval_d"]
    assert longer["hours_saved_range"]["p10"] < longer["hours_saved"]
    assert longer["hours_saved"] < longer["hours_saved_range"]["p90"]
    assert tank["mends"]
    assert 0 <= tank["certainty"]["chance_best"] <= 1


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["cuts", "--tank", "lobby", "--next", "2026-05-01"], "is not after 2026-06-01"),
        (["cuts", "--tank", "lobby", "--next", "2026-06-01"], "nearest next visit is 2026-06-02"),
        (["cuts", "--tank", "lobby", "--next", "2028-01-01"], "more than a year"),
        (["cuts", "--tank", "lobby", "--next", "next week"], "not a date"),
        (["cuts", "--tank", "loby"], "lobby"),
        (["peak", "--tank", "lobby"], "name the day to shine"),
        (["peak", "--tank", "lobby", "--shine", "2026-06-01"], "nearest day that can be planned"),
        (
            ["peak", "--tank", "lobby", "--shine", "2026-07-01", "--visits", "2026-07-01"],
            "does not lie between",
        ),
        (["peak", "--tank", "lobby", "--shine", "2026-07-01", "--target", "85"], "write 0.85"),
        (["peak", "--tank", "lobby", "--shine", "2026-07-01", "--within", "0"], "--within"),
        (["away", "--from", "2026-06-05"], "--to DATE"),
        (["away", "--from", "2026-06-05", "--to", "2026-06-01"], "swap them"),
        (["away", "--from", "2026-05-05", "--to", "2026-06-10"], "--from 2026-06-01"),
        (["away", "--from", "2026-06-05", "--to", "2028-06-10"], "plan it in parts"),
        (
            ["away", "--from", "2026-06-05", "--to", "2026-06-10", "--last-visit", "2026-06-09"],
            "--last-visit",
        ),
    ],
)
def test_wrong_input_gets_a_sentence(small, arguments, said):
    ran = run(arguments[0], small, *arguments[1:])
    assert ran.status == 2
    assert said in ran.err
    assert not ran.out


def test_closed_weeks_move_the_visits_around_a_time_away(tmp_path):
    book = str(write_book(tmp_path / "book"))
    row = ["client=Client A", "from_date=2026-06-08", "to_date=2026-06-22", "note=works holidays"]
    assert run("add", "closed", book, *row).status == 0
    ran = run("away", book, "--from", "2026-06-10", "--to", "2026-06-20", "--json")
    assert ran.status == 0
    assert "lobby is closed (closed.csv): its visits are counted on 2026-06-07 and 2026-06-23" in (
        " ".join(ran.err.split())
    )
    visits = {one["tank_id"]: one for one in strict_json(ran.out)["tanks"]}
    assert visits["lobby"]["last_visit"] == "2026-06-07"
    assert visits["lobby"]["next_visit"] == "2026-06-23"
    assert visits["home"]["last_visit"] == "2026-06-09"
    late = run("away", book, "--from", "2026-06-02", "--to", "2026-07-20", "--tank", "lobby")
    assert "it is closed from 2026-06-08 to 2026-06-22, so" in " ".join(late.out.split())


def test_peak_counts_on_no_visit_while_a_client_is_closed(tmp_path):
    book = write_book(tmp_path / "book")
    rows = "client,tank_id,from_date,to_date\nClient A,,2026-06-04,2026-06-20\n"
    (book / "closed.csv").write_text(rows)
    asked = ["peak", str(book), "--tank", "lobby", "--shine", "2026-06-28"]
    plan = strict_json(run(*asked, "--json").out)
    assert plan["visits"]
    assert all(not "2026-06-04" <= day <= "2026-06-20" for day in plan["visits"])
    ran = run(*asked, "--visits", "2026-06-10")
    assert ran.status == 2
    assert "lobby is closed from 2026-06-04 to 2026-06-20 (closed.csv)" in ran.err


@pytest.mark.parametrize("tank", ["lobby-stems", "reception", "shop-window"])
def test_the_minutes_of_a_sheet_add_up(tank):
    """As printed: the parts of the time, and the areas' minutes beside the trimming."""
    out = run("cuts", DEMO, "--tank", tank, "--on", "2026-11-27").out
    said = re.search(
        r"About (\d+) min: (\d+) on the road, (\d+) at the tank before trimming, (\d+)",
        " ".join(out.split()),
    )
    total, on_road, before, trimming = map(int, said.groups())
    assert total == on_road + before + trimming
    rows = [line.split() for line in out.splitlines() if re.search(r" \N{CHECK MARK} | ~ ", line)]
    assert sum(int(row[-1]) for row in rows) == trimming


def test_the_day_the_log_ends_is_that_of_its_last_row(small, tmp_path):
    out = run("fit", small, "--on", "2026-06-08").out
    assert "the log, which ends on 1 Jun 2026" in out
    page = tmp_path / "sheet.html"
    run("cuts", small, "--tank", "lobby", "--on", "2026-06-08", "--out", str(page))
    assert "Worked out on 8 June 2026 from visits up to 1 June 2026" in page.read_text("utf-8")
