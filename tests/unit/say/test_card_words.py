"""The card for a visit, from nouns made by hand: each number of a sentence is one put in here."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from growthcast.say.card import (
    cut_words,
    lead,
    measure_first,
    note_words,
    place_of,
    places_words,
)
from growthcast.say.card import saving_words as saving
from growthcast.say.locale import open_locale
from growthcast.service.effort.hours import Range, Saving
from tests.unit.say.test_visit_words import cut, sheet

EN, DE = open_locale("en-GB"), open_locale("de-DE")


@pytest.mark.parametrize(
    ("cut_cm", "least_cm", "unit", "said"),
    [
        (10.99, 7.0, "cm", "10.5 cm"),  # downwards: what is cut lower lasts as well
        (11.0, 7.0, "cm", "11 cm"),
        (1.4, 1.2, "cm", "1.2 cm"),  # but never below what still looks right
        (1.2, 1.2, "cm", "1.2 cm"),
        (43.0, 10.0, "% cover", "40%"),
    ],
)
def test_the_height_to_leave_is_a_half_centimetre_that_lasts(cut_cm, least_cm, unit, said):
    area = cut(cut_cm=cut_cm, least_cut_cm=least_cm, unit=unit)
    assert cut_words(EN, area).replace("\u00a0", " ") == said


def test_an_area_that_lasts_is_left():
    assert cut_words(EN, cut(action="leave")) == "leave"
    assert cut_words(DE, cut(action="leave")) == "lassen"


def test_what_is_known_of_an_area_stands_beside_its_cut():
    area = cut(
        usual_cut_cm=12.0,
        usual_lasts_visits=2,
        planted_on=date(2026, 4, 20),  # six weeks before the visit
        removed_share=0.6,
        chance_over_now=0.5,
    )
    assert note_words(EN, sheet(area), area).replace("\u00a0", " ") == (
        "now about 15 cm (14 to 16 cm); probably over its height already; more than half comes "
        "off: growth may pause; never below 3 cm; your usual 12 cm lasts 2 visits; planted 6 weeks "
        "ago"
    )
    plain = replace(area, usual_lasts_visits=1, removed_share=0.5, chance_over_now=0.4)
    plain = replace(plain, planted_on=None)
    assert note_words(DE, sheet(plain), plain).replace("\u00a0", " ") == (
        "jetzt etwa 15 cm (14 bis 16 cm); nie unter 3 cm"
    )


def test_the_lead_says_until_when_the_cuts_last_and_what_would():
    next_on = "Monday, 15 June 2026"
    assert lead(EN, sheet()) == (
        f"Cut like this, every area stays within its height until the next visit on {next_on}, "
        "with a chance of 93%."
    )
    short = sheet(feasible=False, chance_all_within=0.898, holds_until=date(2026, 6, 12))
    assert lead(EN, short) == (
        "Even cut as low as still looks right, Stems may outgrow its height before the next visit "
        f"on {next_on}: all areas stay within theirs with a chance of 89.8%, not 90%. A next visit "
        "by Friday, 12 June 2026 would hold."
    )
    assert "Not even a visit tomorrow" in lead(EN, replace(short, holds_until=None))
    assert "nothing to cut" in lead(EN, replace(sheet(), areas=(), rhythm=None))


def test_what_is_not_known_well_is_measured_first():
    wide = cut("Moss", height_now_cm=Range(10.0, 12.0, 14.3))  # 4.3 of 12 cm is more than 0.35
    assert measure_first(EN, sheet(wide, cut("Fern", basis="table"), cut())) == (
        "Measure first, before any cut: Moss and Fern (the height today is not known well)."
    )
    assert measure_first(EN, sheet()) == ""


def test_leaving_areas_while_their_usual_cut_lasts_saves_hours_of_a_year():
    areas = cut(usual_lasts_visits=2), cut("Moss", usual_lasts_visits=1)
    saves = Saving(Range(2.0, 3.0, 4.0), Range(116.0, 174.0, 232.0))
    euro = open_locale("en-GB", "EUR")
    said = saving(euro, sheet(*areas, leaving_saves=saves)).replace("\u00a0", " ")
    assert said == (
        "Cut to its usual height and left at the visits that this lasts, Stems takes 3.0 (2.0 to "
        "4.0) hours a year less (€174) than with a cut at every visit."
    )
    free = Saving(saves.hours, Range(0.0, 0.0, 0.0))
    assert "€" not in saving(euro, sheet(*areas, leaving_saves=free))
    assert saving(EN, sheet(*areas)) == ""


def test_a_place_has_a_name_where_the_book_has_none():
    hall = sheet(site="Hall", client="Client A", name="the moss by the door")
    other = sheet(site="Hall", client="Client A", tank_id="home")
    assert place_of(hall, [hall]) == "Hall (Client A)"
    assert place_of(hall, [hall, other]) == "Hall, the moss by the door (Client A)"
    assert place_of(other, [hall, other]) == "Hall (Client A)"
    assert place_of(sheet(name="the moss"), [sheet()]) == "the moss"
    assert place_of(sheet(), [sheet()]) == "lobby"


def test_tanks_of_one_place_share_the_journey():
    here = sheet(site="Hall", client="Client A")  # 39 minutes, 20 of them on the road
    day = [here, replace(here, tank_id="other", travel_min=25.0, minutes=44.0), sheet()]
    assert places_words(day, EN).replace("\u00a0", " ") == (
        "In the order of travel: 1. Hall (Client A); 2. Hall (Client A); 3. lobby. About 1 h 42 in "
        "all, with travel."
    )  # 19 + 19 at the place and 25 there, and 39
