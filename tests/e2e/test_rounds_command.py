"""``growthcast rounds`` as a person would call it."""

from __future__ import annotations

import json
from datetime import date

import pytest
from icalendar import Calendar

from growthcast.book.files import demo_dir
from growthcast.brief.visits import read_visits
from tests.books import PRACTICE, write_book
from tests.cli import run

pytestmark = pytest.mark.slow

DEMO = str(demo_dir())


def test_rounds_on_the_demo(tmp_path):
    csv, ics = tmp_path / "rounds.csv", tmp_path / "rounds.ics"
    ran = run("rounds", DEMO, "--weeks", "3", "--json", "--csv", str(csv), "--ics", str(ics))
    assert ran.status == 0
    assert f"Wrote {csv}" in ran.err
    plan = json.loads(ran.out)
    assert (plan["on"], plan["from"], plan["to"]) == ("2026-11-20", "2026-11-21", "2026-12-11")
    assert plan["late"] == []
    listed = [(visit["date"], visit["tank_id"]) for visit in plan["visits"]]
    tanks = sorted({tank for _, tank in listed})
    assert len(tanks) == 6
    assert [(v.on.isoformat(), v.tank_id) for v in read_visits(csv, tanks)] == listed
    events = Calendar.from_ical(ics.read_bytes()).walk("VEVENT")
    assert [event.decoded("DTSTART").isoformat() for event in events] == [d for d, _ in listed]
    assert len({str(event["UID"]) for event in events}) == len(listed)
    again = run("rounds", DEMO, "--weeks", "3", "--json")
    assert again.out == ran.out
    later = run("rounds", DEMO, "--from", "2026-11-30", "--weeks", "2", "--ics", str(ics))
    assert "visits it cancels: " in later.err
    said = {
        str(e["STATUS"])
        for e in Calendar.from_ical(ics.read_bytes()).walk("VEVENT")
        if "STATUS" in e
    }
    assert said == {"CANCELLED"}


def test_the_table_says_that_all_are_in_time():
    ran = run("rounds", DEMO, "--from", "2026-11-30", "--weeks", "1")
    assert ran.status == 0
    assert "Week of 30 Nov" in ran.out
    assert "none late; busiest week" in ran.out.splitlines()[0]
    assert "lobby-stems is overdue when the plan begins" in ran.out  # nobody came before


def test_what_is_lost_is_told_in_words(tmp_path):
    rounds = '[rounds]\nworking_days = ["wed"]\nhours_per_day = 1.2\n'
    book = write_book(tmp_path / "book", practice=PRACTICE + rounds)
    ran = run("rounds", str(book), "--weeks", "4")
    assert ran.status == 0
    said = " ".join(ran.out.split())
    assert "the chance that some area is over" in said
    assert "In all, late visits lose" in ran.out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--from", "2026-11-01"], "plan from 2026-11-21 on"),
        (["--from", "soon"], "is not a date"),
        (["--weeks", "0"], "--weeks 0 lies outside 1 to 26"),
        (["--weeks", "27"], "outside 1 to 26"),
        (["--ics", "rounds.txt"], "name it rounds.ics"),
        (["--csv", "nowhere/rounds.csv"], "there is no folder"),
    ],
)
def test_what_cannot_be_done_is_said(arguments, said):
    ran = run("rounds", DEMO, *arguments)
    assert ran.status == 2
    assert said in ran.err
    assert ran.out == ""
    assert "Traceback" not in ran.err


def test_a_file_of_the_book_is_not_written_over(tmp_path):
    book = write_book(tmp_path / "book")
    before = (book / "tanks.csv").read_bytes()
    ran = run("rounds", str(book), "--csv", str(book / "tanks.csv"))
    assert ran.status == 2
    assert "tanks.csv of the book" in ran.err
    assert (book / "tanks.csv").read_bytes() == before


@pytest.mark.parametrize(
    ("rounds", "said"),
    [
        ("hours_per_day = 0", "which leaves no time"),
        ("working_days = []", "an empty list"),
        ('working_days = ["monday"]', 'write "mon"'),
    ],
)
def test_settings_that_leave_nothing_are_problems_with_a_fix(rounds, said, tmp_path):
    book = write_book(tmp_path / "book", practice=PRACTICE + f"[rounds]\n{rounds}\n")
    ran = run("rounds", str(book))
    assert ran.status == 2
    assert said in ran.err


def test_a_plan_may_begin_on_the_day_stood_on():
    ran = run("rounds", DEMO, "--from", "2026-11-20", "--weeks", "1", "--json")
    assert ran.status == 0
    assert date.fromisoformat(json.loads(ran.out)["from"]) == date(2026, 11, 20)


def test_it_is_said_by_what_each_visit_is_due():
    ran = run("rounds", DEMO, "--weeks", "2", "--details")
    assert "Nov, rhythm" in ran.out
    assert "Nov, chance" in ran.out
    assert "Due by its rhythm: the recommended interval after the last visit" in ran.out
    visits = json.loads(run("rounds", DEMO, "--weeks", "2", "--json").out)["visits"]
    assert {visit["due_by"] for visit in visits} == {"rhythm", "chance"}


def test_holidays_are_kept_or_said(tmp_path):
    plain = write_book(tmp_path / "plain")
    ran = run("rounds", str(plain), "--from", "2026-12-21", "--weeks", "2", "--details")
    said = " ".join(ran.out.split())
    assert "25 Dec (Christmas Day)" in said
    assert 'write holidays = "GB", or the code of a part of it, under [rounds]' in said
    kept = write_book(tmp_path / "kept", practice=PRACTICE + '[rounds]\nholidays = "GB"\n')
    ran = run("rounds", str(kept), "--from", "2026-12-21", "--weeks", "2", "--json")
    assert "2026-12-25" not in {day["date"] for day in json.loads(ran.out)["days"]}
    wrong = write_book(tmp_path / "wrong", practice=PRACTICE + '[rounds]\nholidays = "DE-BYE"\n')
    ran = run("rounds", str(wrong))
    assert ran.status == 2
    assert 'did you mean "DE-BY"?' in ran.err
