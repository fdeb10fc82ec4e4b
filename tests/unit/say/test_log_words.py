"""A logged visit in words, from nouns made by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from growthcast.say import log
from growthcast.say.log import outlook_answer
from growthcast.say.words import OVERDUE, Answer
from growthcast.service.effort.hours import Range
from growthcast.service.visit.logged import AfterVisit, AreaAfterVisit, PerhapsCut

ON = date(2026, 6, 8)


@pytest.fixture(autouse=True)
def reason(monkeypatch):
    """Leave the reason of the interval to its own tests."""
    monkeypatch.setattr(log, "reason", lambda advice: "because")


def area(label, *june, cut_cm=None):
    days = tuple(None if day is None else date(2026, 6, day) for day in june)
    expected, now = Range(17.0, 18.5, 20.0), Range(11.5, 12.0, 12.5)
    return AreaAfterVisit(label.lower(), label, "cm", 22.0, expected, now, days, cut_cm)


def said(*areas, **changes):
    known = {
        "areas": areas,
        "interval_d": 14,
        "advice": None,
        "due_on": date(2026, 6, 22),
        "due_by": "rhythm",
        "due_for": None,
        "unsure": (),
    }
    return outlook_answer(AfterVisit(**(known | changes)), "lobby", ON, {"stems": 19.0})


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, "Next due by Mon 22 Jun, 14 days after this visit: that is its rhythm of visits."),
        (
            {"due_on": date(2026, 6, 9), "due_by": "limit"},
            "Next due by Tue 9 Jun, 1 day after this visit: that is its longest interval between "
            "visits.",
        ),
        (
            {"due_on": date(2026, 6, 15), "due_by": "chance", "due_for": "Moss"},
            "Next due by Mon 15 Jun, 7 days after this visit, sooner than the rhythm of 14 days: "
            "some area may stand over its height budget after that, Moss first.",
        ),
        (
            {"due_on": None, "due_by": ""},
            "No next visit is planned: nothing that is likely to hold grows here.",
        ),
    ],
)
def test_when_to_come_again_is_said_with_its_reason(changes, words):
    assert said(area("Stems", 20, 25, 29), **changes).lead == words


def test_what_was_expected_found_and_left_and_when_it_passes_stand_in_one_table():
    table = said(
        area("Stems", 20, 25, 29, cut_cm=9.04),
        area("Moss", None, None, None),
        area("Fern", 15, None, None),
        area("Crypt", 7, 8, 9),
    ).table
    assert table.rows[0][:4] == ["Stems", "18 cm (17–20)", "19 cm", "12 cm (12–12)"]
    assert table.rows[1][2] == ""  # was not measured
    assert [row[5:] for row in table.rows] == [
        ["25 Jun (20 Jun–29 Jun)", "9 cm"],
        ["not within the horizon", "leave uncut"],
        ["later (15 Jun–later)", "leave uncut"],
        [f"{OVERDUE} stands over it already", "leave uncut"],
    ]


def test_a_look_that_lowers_a_height_is_explained():
    moss = replace(area("Moss", 8, 9, 10), perhaps_cut=PerhapsCut(date(2026, 5, 25), 0.43))
    lead = "Moss looked over its height budget and yet stands lower than was expected: it may have"
    rest = "A height settles it: moss=/HEIGHT as left by the cut, or moss=HEIGHT without one."
    where = "on 25 May, where the log has its look alone"
    assert f"{lead} been cut {where} (chance 43 %). {rest}" in said(moss).notes
    now = replace(moss, perhaps_cut=PerhapsCut(ON, 0.43))
    assert f"{lead} been cut at this visit (chance 43 %). {rest}" in said(now).notes


def test_without_an_interval_there_is_no_column_of_cuts():
    table = said(area("Stems", 20, 25, 29), interval_d=None).table
    assert len(table.columns) == len(table.rows[0]) == 6


def test_areas_hardly_known_are_named_and_an_empty_tank_says_nothing():
    answer = said(area("Stems", 8, 20, None), area("Moss", 8, 20, None), unsure=("Stems", "Moss"))
    assert (
        "Too little is known of Stems and Moss to say when the height budget is passed: measure "
        "the height before and after the next cut."
    ) in answer.notes
    assert said() == Answer()
