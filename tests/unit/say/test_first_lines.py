"""The first line of an answer is the answer, in words; from nouns made by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.book.book import Practice
from growthcast.say.ahead import lead_words as away_lead
from growthcast.say.forecast import lead_words as forecast_lead
from growthcast.say.interval import lead_words as interval_lead
from growthcast.say.rounds import rounds_answer
from growthcast.say.species import list_answer
from growthcast.say.watch import lead_words as watch_lead
from growthcast.say.words import OVERDUE, TIGHT
from growthcast.service.rounds.plan import PlannedVisit, RoundsPlan
from growthcast.service.watch.readings import IndexPoint
from growthcast.service.watch.watch import Finding, TankWatch, WatchReport

ON = date(2026, 11, 20)
USUAL = IndexPoint(ON, 1.0, 0.8, 1.2, 0.6, 1.4)


def slower(kind="tank", name="", share=0.4):
    days, shares = (ON, ON, ON), (share - 0.1, share, share + 0.1)
    return Finding(kind, ("lobby",), "", "", name, days, ON, shares)


def watched(*tanks, across=()):
    made = [TankWatch(name, "", 9, 5, recent, (), findings) for name, recent, *findings in tanks]
    return watch_lead(WatchReport(ON, ON, 0.5, tuple(made), (), across))


SIX = [(name, USUAL) for name in ("lobby", "desk", "study", "shop", "home", "attic")]


@pytest.mark.parametrize(
    ("tanks", "said"),
    [
        (SIX, "All six tanks grow as usual."),
        (SIX[:2], "lobby and desk grow as usual."),
        (SIX[:1], "lobby grows as usual."),
        ([("lobby", None)], "lobby cannot be judged yet."),
        (
            [("lobby", USUAL, slower()), *SIX[1:], ("cellar", None)],
            "lobby grows slower than usual; five tanks grow as usual; cellar cannot be judged yet.",
        ),
        (
            [("lobby", USUAL, slower("area", "Moss", share=1.6)), ("desk", USUAL)],
            "lobby grows quicker than usual in some areas; desk grows as usual.",
        ),
    ],
)
def test_watch_says_who_grows_how(tanks, said):
    assert watched(*tanks) == said


def test_watch_names_a_species_first():
    said = watched(*SIX, across=(slower("species", "Rotala"),))
    assert said == "All areas of Rotala grow slower than usual; all six tanks grow as usual."


def advised(**days):
    return [SimpleNamespace(tank_id=name, recommended_interval_d=d) for name, d in days.items()]


@pytest.mark.parametrize(
    ("days", "said"),
    [
        ({"lobby": 7}, "lobby weekly."),
        (
            {"lobby": 7, "desk": 14, "shop": 14, "study": 14, "home": 10, "attic": None},
            "lobby weekly; home every 10 days; three tanks every two weeks; no interval holds for "
            "attic.",
        ),
        (
            {"a": 14, "b": 14, "c": 14, "d": 28},
            "Three tanks every two weeks; d every four weeks.",
        ),
        ({"a": 1}, "a daily."),
    ],
)
def test_interval_says_how_often_the_most_frequent_first(days, said):
    assert interval_lead(advised(**days)) == said


VISIT = PlannedVisit(
    on=date(2026, 11, 30),
    tank_id="lobby",
    client="Client A",
    site="Hall",
    number=7,
    minutes=61.4,
    travel_min=20.0,
    due_on=date(2026, 12, 1),
    chance_over=0.08,
)
PLAN = RoundsPlan(
    on=ON,
    start=date(2026, 11, 23),
    end=date(2026, 12, 6),
    practice=Practice(name="Test practice (invented)", holidays="none"),
    tanks=(),
    visits=(replace(VISIT, on=date(2026, 11, 23), due_on=date(2026, 11, 23)), VISIT),
    late=(),
    dates=(date(2026, 11, 23), date(2026, 11, 30)),
    minutes_per_day=(90.0, 390.0),
    weighed_loss=0.0,
)


@pytest.fixture
def of_one_tank(monkeypatch):
    """Leave what is to be known of tanks to its own tests: here one that wants 90 %."""
    window = SimpleNamespace(tank_id="lobby", confidence=0.9)
    monkeypatch.setattr("growthcast.say.rounds.rounds_notes", lambda plan: [])
    return replace(PLAN, tanks=(window,))


def test_rounds_say_visits_lateness_and_the_fullest_week(of_one_tank):
    answer = rounds_answer(of_one_tank)
    table, hours = answer.table, PLAN.hours_per_day
    assert answer.lead == f"2 visits in 2 weeks, none late; busiest week 6.5 of {hours:g} h."
    weeks = [row[0] for row in table.rows if len(row) == 1]
    assert weeks == [f"Week of 23 Nov: 1.5 of {hours:g} h", f"Week of 30 Nov: 6.5 of {hours:g} h"]
    days = [row for row in table.rows if len(row) > 1]
    assert [row[0] for row in days] == ["Mon 23 Nov", "Mon 30 Nov"]
    assert days[1][-2:] == ["1 Dec, rhythm", "8 %"]


def test_what_is_late_or_tight_in_the_rounds_is_marked(of_one_tank):
    late = replace(VISIT, on=date(2026, 12, 3), chance_over=0.106)
    table = rounds_answer(replace(of_one_tank, visits=(late,))).table
    assert table.rows[1][-2:] == [f"{OVERDUE} 1 Dec, 2 days late", f"{TIGHT} 11 %"]
    rounded = replace(VISIT, chance_over=0.104)  # reads like the 10 % that are allowed
    table = rounds_answer(replace(of_one_tank, visits=(rounded,))).table
    assert table.rows[1][-1] == "10 %"


def area(name, now, budget, middle):
    passes = (ON, middle, None)
    heights = np.array([now - 1.0, now, now + 1.0])
    return SimpleNamespace(
        area_id=name,
        tank_id="lobby",
        height_cm_now=heights,
        budget_cm=budget,
        passes_budget_on=passes,
    )


@pytest.mark.parametrize(
    ("areas", "said"),
    [
        (
            [area("stems", 9.0, 20.0, date(2026, 12, 4)), area("moss", 3.0, 5.0, None)],
            "Stems (lobby) passes its height first, about Fri 4 Dec.",
        ),
        (
            [
                area("stems", 21.0, 20.0, date(2026, 11, 19)),
                area("moss", 4.0, 5.0, date(2026, 11, 25)),
                area("fern", 4.0, 5.0, date(2026, 11, 26)),
            ],
            "Stems stands over already; moss (lobby) passes its height next, about Wed 25 Nov; "
            "two of 3 areas do within a week.",
        ),
        ([area("moss", 3.0, 5.0, None)], "No area passes its height within 60 days."),
    ],
)
def test_forecast_says_which_area_passes_first(areas, said):
    assert forecast_lead(areas, {one.area_id: one.area_id for one in areas}, ON, 60) == said


def test_away_says_who_lasts_and_who_needs_somebody():
    states = {"a": "lasts", "b": "lasts", "c": "lasts", "d": "cut lower", "e": "stand-in"}
    tanks = [SimpleNamespace(tank_id=name, state=state) for name, state in states.items()]
    first, last = date(2026, 12, 21), date(2027, 1, 6)
    assert away_lead(tanks, ON, first, last) == (
        "Three tanks last as always from 21 Dec to 6 Jan; d lasts if cut lower before; e needs a "
        "stand-in."
    )
    assert away_lead(tanks[:3], ON, first, last) == (
        "All three tanks last as always from 21 Dec to 6 Jan."
    )


def test_species_are_a_screen_of_plants_unless_all_are_asked_for():
    plant = {
        "species_id": "rotala",
        "common_name": "",
        "form": "stem",
        "measure": "height_cm",
        "reaches_surface": True,
        "fastest_cm_per_week": 4.0,
        "low_stand_doubles_d": 9.0,
        "light": "high",
        "needs_co2": "helps",
        "basis": "growers",
    }
    answer = list_answer([plant] * 30, ", slowest first", all_of_them=False)
    assert answer.lead == "30 species, slowest first."
    assert len(answer.table.rows) + len(answer.notes) + 4 <= 24
    assert "16 more" in answer.notes[-1]
    every = list_answer([plant] * 30, "", all_of_them=True)
    assert len(every.table.rows) == 30
    assert not every.details
