"""Months of work and fixed minutes, by hand."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from growthcast.fit.growth import fit_growth, last_logged
from growthcast.say.words import sentence
from growthcast.service.effort import hours
from growthcast.service.effort.hours import fixed_minutes, learn_fixed_minutes
from growthcast.service.effort.learn import learn_timing
from tests.books import AREAS, HEADER, PRACTICE, make_book, stem_log, write_book
from tests.cli import run

LOG = """date,tank_id,area_id,before_cm,after_cm,removed_g,grams_of,minutes,visit_min,note
2026-10-30,lobby,,,,50,,20,90,the month before
2026-11-02,lobby,stems,18,9,80,,10,,
2026-11-02,lobby,,,,200,,15,65,all of the bucket
2026-11-09,lobby,stems,18,9,80,,10,,
2026-11-09,lobby,,,,200,rest,,,the rest of it
2026-11-16,home,moss,6,3,,,,,
"""


def month_of_work(book, *asked):
    return hours.month_of_work(book, fit_growth(book, last_logged(book)), *asked)


def timing_of(book):
    return learn_timing(book, fit_growth(book, last_logged(book)))


def test_a_month_is_summed_up_by_client_and_tank(tmp_path):
    work = month_of_work(make_book(tmp_path / "book", trims=LOG), date(2026, 11, 30))
    lobby, home = work.tanks
    assert (lobby.client, lobby.visits, lobby.timed) == ("Client A", 2, 1)
    assert (lobby.visit_min, lobby.trimming_min) == (65.0, 15 + 10)  # of all, and of the stems
    assert lobby.grams == 200 + (80 + 200)  # everything that came out, then the rest beside
    assert (home.visits, home.timed, home.visit_min, home.grams) == (1, 0, None, None)
    assert month_of_work(make_book(tmp_path / "b", trims=LOG), date(2026, 11, 1), "Client B").tanks
    assert month_of_work(make_book(tmp_path / "c", trims=LOG), date(2026, 1, 1)).tanks == []


def timed(count, minutes=25, visit=75, tank="lobby"):
    rows = (
        f"2026-0{1 + n // 28}-{1 + n % 28:02},{tank},,,,,,{minutes},{visit},\n"
        for n in range(count)
    )
    return LOG.split("\n")[0] + "\n" + "".join(rows)


def test_fixed_minutes_come_from_visits_with_both_times(tmp_path):
    book = make_book(tmp_path / "book", trims=timed(40))
    timing = timing_of(book)
    assert timing.reading is None  # the fixed part is not in minutes beside which all stands
    [one] = learn_fixed_minutes(book, timing)
    assert (one.tank_id, one.visits, one.book_min, one.own) == ("lobby", 40, 30.0, False)
    assert one.learnt_min.p50 == pytest.approx(50, abs=0.5)
    assert one.differs
    assert fixed_minutes(book, timing).tolist() == [one.learnt_min.p50, 30.0]
    assert "Write fixed_min=50 into tanks.csv" in sentence("hours_fixed", one=one)


def test_one_visit_moves_them_a_little_and_is_not_used(tmp_path):
    book = make_book(tmp_path / "book", trims=timed(1))
    timing = timing_of(book)
    [one] = learn_fixed_minutes(book, timing)
    # prior 30 +- 15 and one visit of 50 with a scatter of 7.5: 30 + 20 * 15^2 / (15^2 + 7.5^2)
    assert one.learnt_min.p50 == pytest.approx(46.0)
    assert fixed_minutes(book, timing).tolist() == [30.0, 30.0]
    assert learn_fixed_minutes(make_book(tmp_path / "b", trims=timed(5, 80, 75)), timing) == []


def test_a_tank_keeps_its_own_word(tmp_path):
    tanks = "tank_id,water_depth_cm,fixed_min\nlobby,46,30\nhome,34,\n"
    book = make_book(tmp_path / "book", trims=timed(9), tanks=tanks)
    timing = timing_of(book)
    assert fixed_minutes(book, timing).tolist() == [30.0, 30.0]
    assert learn_fixed_minutes(book, timing)[0].own


def test_the_command_writes_a_table_for_the_invoice(tmp_path):
    folder = str(make_book(tmp_path / "book", trims=LOG, practice=PRACTICE).folder)
    file = tmp_path / "hours.csv"
    ran = run("hours", folder, "--month", "2026-11", "--client", "Client A", "--csv", str(file))
    assert ran.status == 0, ran.err
    assert file.read_text(encoding="utf-8").splitlines() == [
        "month,client,tank_id,visits,timed,visit_min,trimming_min,grams",
        "2026-11,Client A,lobby,2,1,65.0,25.0,480.0",
    ]
    assert "1 visit without the time at the tank" in ran.out
    assert run("hours", folder, "--month", "11/2026").status == 2
    assert "no client" in run("hours", folder, "--client", "Client C").err
    assert run("hours", folder, "--csv", str(tmp_path / "hours.txt")).status == 2


def test_what_only_a_forecast_rests_on_is_not_said_beside_hours(tmp_path):
    """No day to stand on, no plants left out, no CO2 taken for known: ``hours`` has no ``--on``."""
    later = AREAS + "later,home,,rotala-rotundifolia,150,7,22,9,2026-06-20,\n"
    conditions = "tank_id,from_date,co2_mg_l\nlobby,2025-01-01,0\n"
    for name, trims in (("none", HEADER), ("some", stem_log())):
        folder = write_book(tmp_path / name, areas=later, conditions=conditions, trims=trims)
        ran = run("hours", str(folder))
        assert (ran.status, ran.err) == (0, "")


@pytest.mark.parametrize("whole", ["all", "rest"])
def test_a_month_counts_whole_tanks_as_the_log_shows_that_they_are_kept(tmp_path, whole):
    """Ten visits: 108 g and 20 min at the stems, 41 g and 14 min at the carpet, or both in a row.

    Nothing in the practice or the rows says which; weights and minutes of all together show it.
    """
    rows = []
    for n, back in enumerate(range(9, -1, -1)):
        day, stood = date(2026, 6, 1) - timedelta(days=7 * back), 18 + 0.2 * (n % 3 - 1)
        grams, minutes = (149, 34) if whole == "all" else (41, 14)
        rows.append(f"{day},lobby,stems,{stood},9,,108,,20,\n")
        rows.append(f"{day},lobby,carpet,3,1.5,,,,,\n")
        rows.append(f"{day},lobby,,,,,{grams},,{minutes},\n")
    book = make_book(tmp_path / "book", trims=HEADER + "".join(rows))
    [may] = month_of_work(book, date(2026, 5, 1)).tanks
    assert (may.visits, may.trimming_min, may.grams) == (4, 4 * 34, 4 * 149)
