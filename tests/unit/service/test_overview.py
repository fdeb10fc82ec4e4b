"""The practice's own page as numbers: how urgent each tank is, and the days without visits."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from growthcast.book.read import read_book
from growthcast.fit.growth import fit_growth
from growthcast.say.locale import open_locale
from growthcast.say.overview import off_words
from growthcast.service.pages.overview import DayOff, days_off, tank_standings
from tests.books import PRACTICE, make_book, write_book

CLOSED = (
    "client,tank_id,from_date,to_date\n"
    "Client A,,2026-12-30,2027-01-05\n"
    ",home,2026-12-30,2027-01-05\n"
    "Client B,,2027-02-01,2027-02-05\n"
)


@pytest.mark.parametrize(
    ("on", "state"),
    [
        (date(2026, 6, 1), {"lobby": "tight"}),
        (date(2026, 6, 20), {"lobby": "overdue"}),
    ],
)
def test_tanks_are_overdue_tight_or_fine_in_that_order(tmp_path, on, state):
    """The log's last visit of the lobby is of 1 June; it is to be visited every week."""
    book = make_book(tmp_path, on=on)
    standings = tank_standings(book, fit_growth(book, on))
    found = {standing.advice.tank_id: standing.state for standing in standings}
    assert found | state == found
    order = ["overdue", "tight", "fine", "unplanned"]
    places = [order.index(standing.state) for standing in standings]
    assert places == sorted(places)
    for one in standings:
        assert (one.state == "overdue") == (one.due_on < on)
        soon = one.due_on <= on + timedelta(days=7) or one.risk > 0.1
        assert (one.state == "tight") == (one.due_on >= on and soon)


def test_days_without_visits_are_those_of_the_practice_and_its_clients(tmp_path):
    rounds = '[rounds]\nholidays = "DE-BY"\ndays_off = [2026-12-28, 2027-03-01]\n'
    folder = write_book(tmp_path, practice=PRACTICE + rounds)
    (folder / "closed.csv").write_text(CLOSED)
    book = read_book(folder)
    found = days_off(book, date(2026, 12, 20), 14, "de")
    assert found == [
        DayOff(date(2026, 12, 25), date(2026, 12, 25), "holiday", "Erster Weihnachtstag"),
        DayOff(date(2026, 12, 26), date(2026, 12, 26), "holiday", "Zweiter Weihnachtstag"),
        DayOff(date(2026, 12, 28), date(2026, 12, 28), "off"),
        DayOff(date(2026, 12, 30), date(2027, 1, 5), "closed", tanks=("lobby", "home")),
        DayOff(date(2027, 1, 1), date(2027, 1, 1), "holiday", "Neujahr"),
    ]
    assert off_words(open_locale("en-GB"), found) == (
        "25 Dec (Erster Weihnachtstag), 26 Dec (Zweiter Weihnachtstag) and 1 Jan (Neujahr): public "
        "holidays on which nobody works.",
        "28 Dec: nobody works.",
        "30 Dec to 5 Jan: lobby and home cannot be visited.",
    )


def test_holidays_that_nobody_asked_to_keep_are_said_to_be_worked(tmp_path):
    book = make_book(tmp_path)
    [found] = days_off(book, date(2026, 12, 30), 3, "en")
    assert (found.first, found.kind) == (date(2027, 1, 1), "worked")
    assert "planned like any working day" in off_words(open_locale("en-GB"), [found])[0]
    assert off_words(open_locale("en-GB"), []) == (
        "None: no public holidays, no days off, and no client is closed.",
    )
