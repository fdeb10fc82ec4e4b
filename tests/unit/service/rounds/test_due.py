"""When tanks are due and by what; tanks that are not planned; days on which nobody comes."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest

from growthcast.book.checks.rounds import closed_times, open_before, open_from
from growthcast.fit.design import day_number
from growthcast.fit.growth import fit_growth
from growthcast.say.rounds import rounds_notes
from growthcast.service.pages.overview import tank_standings
from growthcast.service.recommend import recommend
from growthcast.service.rounds.plan import plan_rounds
from growthcast.service.urgency import first_due, last_visits, tanks_due
from growthcast.service.visit.away import weeks_away
from growthcast.service.visit.peak import peak_plan
from tests.books import AREAS, HEADER, PRACTICE, make_book, stem_log

ON = date(2026, 6, 1)  # a Monday
SITES = (
    "tank_id,client,water_depth_cm,longest_interval_d,visit_weekday\n"
    "lobby,Client A,46,{},{}\nhome,Client B,34,{},\n"
)
TANKS = SITES.format("", "", "")
STEADY = np.full(29, 0.97)


def planned(folder, *, tanks=TANKS, start=ON + timedelta(1), weeks=3, practice=PRACTICE, **files):
    book = make_book(folder, practice=practice, tanks=tanks, **files)
    fit = fit_growth(book, ON)
    advice = recommend(book, fit)
    plan = plan_rounds(book, fit, advice, start, weeks)
    return book, fit, advice, plan


def closed(*rows):
    return "client,tank_id,from_date,to_date,note\n" + "".join(f"{row},\n" for row in rows)


def with_closed(folder, *rows, **files):
    folder.mkdir(parents=True)
    (folder / "closed.csv").write_text(closed(*rows))
    return planned(folder, **files)


def test_the_rhythm_decides_while_the_chance_holds():
    assert first_due(STEADY, 0.9, 0.99, 14, -2) == (12, "rhythm")
    assert first_due(STEADY, 0.9, 0.99, 14, -2, 5) == (5, "limit")


def test_a_chance_that_falls_early_makes_a_visit_due_before_the_rhythm():
    falling = np.where(np.arange(29) < 9, 0.97, 0.4)
    assert first_due(falling, 0.9, 0.99, 14, -2) == (8, "chance")


@pytest.mark.parametrize("within", [0.6, 0.75, 0.89])
def test_a_tank_that_is_not_known_well_is_not_overdue_after_a_visit(within):
    """It was left with the chance that it has: nothing has happened since."""
    for ago in (0, 2, 5):
        due = first_due(np.full(29, within), 0.9, within, 14, -ago)
        assert due == (14 - ago, "rhythm")


def test_a_tank_that_was_probably_left_over_is_due_at_once():
    assert first_due(np.full(29, 0.2), 0.9, 1.0, 14, 0) == (1, "chance")


def test_a_tank_of_which_no_visit_is_logged_is_not_overdue(tmp_path):
    book, fit, advice, plan = planned(tmp_path, trims=HEADER)
    for one, due in zip(advice, tanks_due(book, fit, advice, np.arange(2)), strict=True):
        days = one.recommended_interval_d or 7
        assert due.interval_d == days
        assert days // 2 <= due.due_d <= days
    assert not [note for note in rounds_notes(plan) if "overdue" in note]
    assert "no visit to lobby and home is logged: the rhythm is counted from 2026-06-01" in (
        rounds_notes(plan)
    )


def test_planting_not_long_ago_counts_as_a_visit(tmp_path):
    areas = AREAS.replace("2,9,3,2025-01-01", "2,9,3,2026-05-25")
    book = make_book(tmp_path, areas=areas)
    last = last_visits(book, fit_growth(book, ON))
    assert last.tolist() == [day_number(ON), day_number(date(2026, 5, 25))]


def test_looks_alone_two_days_ago_leave_no_tank_late(tmp_path):
    """Visited on a Saturday, to be visited on Fridays: five days after the plan begins."""
    days = [date(2026, 5, 30) - timedelta(days=14 * n) for n in range(6)]
    names = {"lobby": ("stems", "carpet"), "home": ("moss",)}
    looks = "".join(
        f"{day},{tank},{area},,,,,right,,\n"
        for day in sorted(days)
        for tank, areas in names.items()
        for area in areas
    )
    practice = PRACTICE + "[targets]\nintervals_d = [14, 21]\n"
    *_, plan = planned(
        tmp_path, tanks=SITES.format("", "fri", ""), practice=practice, trims=HEADER + looks
    )
    assert not [note for note in rounds_notes(plan) if "overdue" in note]
    first = {visit.tank_id: visit for visit in reversed(plan.visits)}
    assert set(first) == {"lobby", "home"}
    assert all(visit.days_late == 0 for visit in first.values())


def test_overview_and_rounds_are_due_by_the_same_thing(tmp_path):
    book, fit, advice, plan = planned(tmp_path, weeks=4)
    standings = {one.advice.tank_id: one for one in tank_standings(book, fit)}
    first = {visit.tank_id: visit for visit in reversed(plan.visits)}
    for tank_id, visit in first.items():
        assert standings[tank_id].due_by == visit.due_by
        assert standings[tank_id].due_on == visit.due_on
    assert [one.interval_d for one in tanks_due(book, fit, advice, np.arange(2))] == [
        one.recommended_interval_d for one in advice
    ]


def test_a_tank_that_its_last_visit_cleared_is_not_planned(tmp_path):
    areas = AREAS.replace("3,2025-01-01,\n", "3,2025-01-01,2026-06-01\n")
    trims = stem_log() + "2026-05-18,home,moss,8,3,,,,,\n2026-06-01,home,moss,7,0,,,,,\n"
    tanks = SITES.format("", "", "14")
    book, fit, advice, plan = planned(tmp_path, areas=areas, trims=trims, tanks=tanks, weeks=8)
    assert {visit.tank_id for visit in plan.visits} == {"lobby"}
    assert not [one for one in plan.late if one.tank_id == "home"]
    assert "home is not planned: its last visit cleared it" in rounds_notes(plan)
    home = advice[1]
    assert (home.recommended_interval_d, home.options) == (14, ())
    standing = next(s for s in tank_standings(book, fit) if s.advice.tank_id == "home")
    assert (standing.due_on, standing.due_by) == (None, "")
    [away] = weeks_away(book, fit, ON, ON + timedelta(days=30), np.array([1]))
    assert (away.state, away.areas) == ("lasts", ())
    assert peak_plan(book, fit, 1, ON + timedelta(days=20), [ON]).areas == ()


def test_an_empty_tank_without_a_limit_is_named_and_not_planned(tmp_path):
    areas = AREAS.replace("3,2025-01-01,\n", "3,2025-01-01,2026-03-01\n")
    *_, plan = planned(tmp_path, areas=areas, weeks=8)
    assert {visit.tank_id for visit in plan.visits} == {"lobby"}
    assert "home is not planned: nothing is planted in it" in rounds_notes(plan)


@pytest.mark.parametrize("limit", ["", "10"])
def test_a_dark_tank_is_not_planned_as_if_it_grew(tmp_path, limit):
    dark = "tank_id,from_date,ppfd_umol,photoperiod_h\nhome,2026-01-01,0,0\n"
    trims = stem_log() + "2026-06-01,home,moss,7,3,,,,,\n"
    book, fit, advice, plan = planned(
        tmp_path, conditions=dark, trims=trims, tanks=SITES.format("", "", limit), weeks=5
    )
    assert advice[1].nothing_holds
    mine = [visit for visit in plan.visits if visit.tank_id == "home"]
    assert all((visit.chance_over, visit.due_by) == (0.0, "limit") for visit in mine)
    assert bool(mine) == bool(limit)
    assert all(b.on - a.on <= timedelta(days=10) for a, b in pairwise(mine))
    [note] = [note for note in rounds_notes(plan) if note.startswith("home is")]
    assert ("not planned" if not limit else "by its own limit of 10 days alone") in note
    standing = next(s for s in tank_standings(book, fit) if s.advice.tank_id == "home")
    assert (standing.due_on is None) == (not limit)


def test_public_holidays_of_the_region_are_no_working_days(tmp_path):
    start = date(2026, 12, 21)
    region = PRACTICE + '[rounds]\nholidays = "DE-BY"\n'
    kept = planned(tmp_path / "kept", practice=region, start=start)[3]
    off = {date(2026, 12, 25), date(2027, 1, 1), date(2027, 1, 6)}
    assert not off & set(kept.dates)
    assert not [note for note in rounds_notes(kept) if "public holiday" in note]
    german = PRACTICE.replace('currency = "EUR"', 'currency = "EUR"\nlocale = "de-DE"')
    met = planned(tmp_path / "met", practice=german, start=start)[3]
    assert off <= set(met.dates)
    [note] = [note for note in rounds_notes(met) if "public holiday" in note]
    assert note.startswith("25 Dec (Christmas Day) and 1 Jan (New Year's Day) are public")
    assert 'write holidays = "DE"' in note


def test_nobody_is_sent_to_a_closed_client(tmp_path):
    weeks = ("Client A,,2026-06-03,2026-06-10", "Client A,,2026-06-09,2026-06-17")
    *_, plan = with_closed(tmp_path / "closed", *weeks, ",home,2026-06-02,2026-06-30", weeks=4)
    days = {tank: [v.on for v in plan.visits if v.tank_id == tank] for tank in ("lobby", "home")}
    assert days["home"] == []
    assert all(not date(2026, 6, 3) <= day <= date(2026, 6, 17) for day in days["lobby"])
    assert date(2026, 6, 2) in days["lobby"]  # the one day before it
    assert (
        "lobby is closed from 2026-06-03 to 2026-06-10 and from 2026-06-09 to 2026-06-17 "
        "(closed.csv)"
    ) in rounds_notes(plan)


@pytest.mark.slow
def test_the_next_visit_of_the_overview_falls_on_an_open_day(tmp_path):
    book, fit, *_ = planned(tmp_path / "open")
    due = {one.advice.tank_id: one.due_on for one in tank_standings(book, fit)}
    shut = f"Client A,,{due['lobby'] - timedelta(days=1)},{due['lobby'] + timedelta(days=9)}"
    book, fit, *_ = with_closed(tmp_path / "shut", shut)
    moved = {one.advice.tank_id: one.due_on for one in tank_standings(book, fit)}
    assert moved["lobby"] == due["lobby"] - timedelta(days=2)
    assert moved["home"] == due["home"]


def test_open_days_before_and_after_closed_times(tmp_path):
    book, *_ = with_closed(
        tmp_path / "b", "Client A,,2026-08-03,2026-08-10", ",lobby,2026-08-09,2026-08-20"
    )
    [(tank_id, times)] = closed_times(book).items()
    assert tank_id == "lobby"
    assert open_before(times, date(2026, 8, 15), date(2026, 8, 1)) == date(2026, 8, 2)
    assert open_before(times, date(2026, 8, 15), date(2026, 8, 3)) is None
    assert open_from(times, date(2026, 8, 5)) == date(2026, 8, 21)
    assert open_from(times, date(2026, 8, 21)) == date(2026, 8, 21)
