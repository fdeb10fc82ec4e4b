"""A visit in words, from nouns made by hand: each number of a sentence is one put in here."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import pytest

from growthcast.desk.visit import card_of, phone_page
from growthcast.say.ahead import (
    away_answer,
    away_sentence,
    bare_cuts,
    peak_sentence,
    peaks_answer,
    why_not_best,
)
from growthcast.say.client import cautions as client_cautions
from growthcast.say.cuts import (
    cautions,
    sheet_answer,
    sheet_sentence,
    watch_list,
)
from growthcast.say.locale import open_locale
from growthcast.say.words import FINE, sentence
from growthcast.service.advice import CutLimit
from growthcast.service.effort.hours import Range
from growthcast.service.visit.away import AwayArea, AwayTank
from growthcast.service.visit.cuts import AreaCut, CutSheet, SteadyVisits
from growthcast.service.visit.peak import PeakArea, PeakCut, PeakPlan

CAUTIONS = sentence("cuts_always").splitlines()
TOO_MUCH = sentence("cuts_too_much")
ON, NEXT = date(2026, 6, 1), date(2026, 6, 15)
LIMIT = CutLimit("rotala", table_cm=6.0, limit_cm=5.0)
LIMIT_SAID = (
    "The species table says that rotala is not cut below 6 cm; the log shows stems growing on from "
    "5 cm. Where yours stands lower cuts, write lowest_cut_cm in species.csv, or log two such cuts "
    "(after_cm) from which it grows again"
)


def cut(label="Stems", **changes):
    """An area in the middle of its bounds, well known, of which a third comes off."""
    area = AreaCut(
        order=1,
        area_id=label.lower(),
        label=label,
        species_id="rotala",
        scientific_name="Rotala rotundifolia",
        common_name="Rotala",
        unit="cm",
        basis="log",
        action="cut",
        cut_cm=10.0,
        floor_cm=7.0,
        budget_cm=20.0,
        lowest_safe_cut_cm=3.0,
        least_cut_cm=7.0,
        needed_cut_cm=8.0,
        days_below_floor=0.0,
        height_now_cm=Range(14.0, 15.0, 16.0),
        height_next_cm=Range(17.0, 18.0, 19.0),
        removed_cm=5.0,
        removed_share=0.33,
        minutes=4.0,
        chance_over_now=0.0,
        chance_within=0.97,
        cut_practice="",
        limit=None,
        caution="",
        settled=True,
        logged_today=False,
        since_planted_d=100.0,
        settles_d=8.0,
        start="",
    )
    return replace(area, **changes)


def sheet(*areas, **changes):
    made = CutSheet(
        tank_id="lobby",
        client="",
        site="",
        practice="",
        on=ON,
        next_on=NEXT,
        interval_d=14,
        confidence=0.9,
        feasible=True,
        chance_all_within=0.93,
        rhythm=SteadyVisits(0.93, 1.0),
        holds_until=NEXT,
        areas=areas or (cut(),),
        travel_min=20.0,
        fixed_min=15.0,
        trimming_min=Range(3.0, 4.0, 5.0),
        minutes=39.0,
    )
    return replace(made, **changes)


@pytest.mark.parametrize(
    ("rhythm", "follows"),
    [
        (SteadyVisits(0.93, 0.8), ""),
        (SteadyVisits(0.932, 0.8), ""),  # the same as printed
        (
            SteadyVisits(0.81, 0.8),
            " At a steady rhythm of 14 days it would be 81 %: today the areas stand on average 20 "
            "% lower than a regular visit finds them, so they have more room.",
        ),
        (
            SteadyVisits(0.81, 1.25),
            " At a steady rhythm of 14 days it would be 81 %: today the areas stand on average 25 "
            "% higher than a regular visit finds them, so they are cut harder and rest longer.",
        ),
        (
            SteadyVisits(0.96, 0.7),
            " At a steady rhythm of 14 days it would be 96 %: today the areas stand on average 30 "
            "% lower than a regular visit finds them, so they are cut less and grow on sooner.",
        ),
        (SteadyVisits(0.96, 1.3), " At a steady rhythm of 14 days it would be 96 %."),
        (SteadyVisits(0.81, 1.004), " At a steady rhythm of 14 days it would be 81 %."),
    ],
)
def test_a_sheet_that_lasts_says_its_chance_the_wanted_one_and_the_rhythms(rhythm, follows):
    assert sheet_sentence(sheet(rhythm=rhythm)) == (
        "Cut as below, every area stays inside its height until Mon 15 Jun (14 days) with a chance "
        f"of 93 % (wanted: 90 %).{follows}"
    )


@pytest.mark.parametrize(
    ("chance", "shown"), [(0.6, "60 %"), (0.898, "89.8 %"), (0.001, "under 1 %")]
)
@pytest.mark.parametrize(
    ("until", "then"),
    [
        (date(2026, 6, 9), " A next visit by Tue 9 Jun would hold."),
        (None, " Not even tomorrow would hold: this tank needs a higher budget or lower floor."),
    ],
)
def test_a_sheet_that_falls_short_names_the_likeliest_area_and_what_would_hold(
    chance, shown, until, then
):
    areas = cut("Stems", chance_within=0.95), cut("Carpet", chance_within=0.61)
    made = sheet(
        *areas,
        feasible=False,
        chance_all_within=chance,
        rhythm=SteadyVisits(chance, 1.0),
        holds_until=until,
    )
    assert sheet_sentence(made) == (
        "Even cut as low as still looks right, the chance that every area stays inside its height "
        f"until Mon 15 Jun (14 days) is {shown}, not 90 %; Carpet is the first to go over.{then}"
    )


def test_an_empty_sheet_says_so():
    made = replace(sheet(), areas=(), rhythm=None)
    assert sheet_sentence(made) == (
        "Nothing is planted in this tank today, so there is nothing to cut."
    )
    assert watch_list(made) == []
    assert cautions(made) == [*CAUTIONS]


def test_nothing_is_watched_where_all_is_well_known_and_inside():
    assert watch_list(sheet()) == []


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (
            {"chance_over_now": 0.5, "height_now_cm": Range(19.0, 21.5, 23.0)},
            "Probably over its height already: Stems (22 cm (19–23) against 20).",
        ),
        ({"chance_over_now": 0.49}, "Perhaps over its height already: Stems (chance 49 %)."),
        ({"chance_over_now": 0.09}, None),
        (
            {"height_now_cm": Range(5.5, 6.0, 6.9)},
            "Still below its floor, so leave it: Stems (6.0 cm (5.5–6.9) against 7).",
        ),
        ({"height_now_cm": Range(6.3, 6.6, 7.0)}, None),
        (
            {"since_planted_d": 9.0, "settles_d": 14.0, "start": "emersed", "action": "leave"},
            "Stems: planted 9 days ago: leave it. Leaves grown above water drop while new ones "
            "come. It grows at full pace about 14 days after planting (an estimate).",
        ),
        ({"since_planted_d": 14.0, "settles_d": 14.0, "start": "emersed"}, None),
        (
            {"since_planted_d": 3.0, "settles_d": 25.0, "scientific_name": "Cryptocoryne parva"},
            "Stems: planted 3 days ago. Its leaves may melt and come back from the root. It grows "
            "at full pace about 25 days after planting (an estimate).",
        ),
        ({"removed_share": 0.504}, None),  # 50 % as printed is not more than half
        (
            {"removed_share": 0.506},
            "More than half comes off Stems (51 %): growth may pause for some days, and shaded "
            "lower leaves may show.",
        ),
        ({"removed_share": 0.6, "action": "leave"}, None),
        ({"basis": "tank"}, "Measure Stems before and after: little of their own is logged yet."),
        (
            {"height_now_cm": Range(10.0, 12.0, 14.3)},  # 4.3 of 12 cm is more than 0.35
            "Measure Stems first: the height today is not known well.",
        ),
        ({"height_now_cm": Range(10.0, 12.0, 14.1)}, None),
        ({"settled": False}, "The fit did not settle for Stems: trust the ruler, not this."),
        (
            {"logged_today": True},
            "The log already has rows of today for Stems; heights are after them.",
        ),
    ],
)
def test_what_is_watched_and_what_is_not(changes, said):
    assert watch_list(sheet(cut(**changes))) == ([] if said is None else [said])


def test_a_sheet_that_falls_short_says_which_cut_would_do_and_why_it_is_not_made():
    bare = cut(needed_cut_cm=5.0, days_below_floor=3.2)
    assert watch_list(sheet(bare)) == []  # only where it is asked for
    [said] = watch_list(sheet(bare, feasible=False))
    assert said == (
        "Stems would last from 5.0 cm, below its floor of 7 cm; it would look bare for about 3 "
        "days."
    )
    [said] = watch_list(sheet(replace(bare, days_below_floor=0.0), feasible=False))
    assert said.endswith("it would look hardly bare to the eye.")
    none = replace(bare, needed_cut_cm=None, limit=LIMIT)
    assert watch_list(sheet(none, replace(none, label="Others"), feasible=False)) == [
        "Stems does not last until the next visit even from its lowest safe cut, 3 cm.",
        "Others does not last until the next visit even from its lowest safe cut, 3 cm.",
        f"{LIMIT_SAID}.",
    ]


def test_a_plants_caution_is_said_once_with_its_plants():
    areas = [
        cut("A", caution="Toxic.", scientific_name="Plant one"),
        cut("B", caution="Toxic.", scientific_name="Plant one"),
        cut("C", caution="Toxic.", scientific_name="Plant two"),
        cut("D", scientific_name="Plant three"),
    ]
    assert cautions(sheet(*areas)) == [*CAUTIONS, "Plant one and Plant two: Toxic."]


def away_area(label="Stems", **changes):
    area = AwayArea(
        area_id=label.lower(),
        label=label,
        unit="cm",
        basis="log",
        budget_cm=20.0,
        floor_cm=7.0,
        usual_cut_cm=10.0,
        passes_on=(None, None, None),
        chance_over=0.05,
        over_cm=Range(0.0, 0.0, 0.0),
        bridging_cut_cm=10.0,
        chance_within=0.95,
        needed_cut_cm=10.0,
        days_below_floor=0.0,
        limit=None,
    )
    return replace(area, **changes)


def away(state, *areas, **changes):
    tank = AwayTank(
        tank_id="lobby",
        client="",
        last_visit=ON,
        next_visit=date(2026, 6, 22),
        confidence=0.9,
        chance_as_usual=0.62,
        chance_bridged=0.91,
        state=state,
        stand_in_by=None,
        areas=areas,
    )
    return replace(tank, **changes)


def test_a_tank_that_lasts_says_the_chance_as_always():
    assert away_sentence(away("lasts", away_area(), chance_as_usual=0.94)) == (
        "lasts until 22 Jun (21 days) when cut as always: every area stays inside with a "
        "chance of 94 %"
    )
    assert away_sentence(away("lasts")) == "nothing is planted in this tank"


def test_a_tank_that_lasts_as_always_has_no_chance_of_another_cut():
    answer = away_answer([(away("lasts", away_area()), "lasts")], ON, ON, ON)
    assert answer.lead == "lobby lasts as always from 1 Jun to 1 Jun."
    assert answer.table.rows == [["lobby", "", f"{FINE} lasts", "62 %", "", ""]]


@pytest.mark.parametrize(
    ("areas", "which"),
    [
        ([away_area(bridging_cut_cm=8.25), away_area("Moss")], "Stems to 8 cm is"),
        (
            [away_area(bridging_cut_cm=8.0), away_area("Moss", bridging_cut_cm=9.0)],
            "Stems to 8 cm and Moss to 9 cm are",
        ),
    ],
)
def test_a_tank_that_is_to_be_cut_lower_names_those_cuts_alone(areas, which):
    assert away_sentence(away("cut lower", *areas)) == (
        "lasts until 22 Jun (21 days) with a chance of 91 % (as always 62 %) when "
        f"{which} cut lower on 1 Jun"
    )


@pytest.mark.parametrize(
    ("day", "then"),
    [
        (date(2026, 6, 12), "A stand-in must come by Fri 12 Jun"),
        (None, "Not even one day holds: this tank needs a higher budget or a lower floor"),
    ],
)
def test_a_tank_that_does_not_last_says_who_must_come(day, then):
    areas = (
        away_area("Moss", chance_within=0.97),
        away_area(chance_within=0.55, needed_cut_cm=None, limit=LIMIT),
    )
    made = away("stand-in", *areas, chance_bridged=0.5, stand_in_by=day)
    assert away_sentence(made) == (
        "does not last until 22 Jun (21 days): cut as low as still looks right on 1 Jun, "
        "the chance that every area stays inside is 50 %, not 90 %; Stems goes over first. "
        f"{then}. {LIMIT_SAID}"
    )
    assert bare_cuts(made) == "Not even the lowest safe cut would hold Stems."


def test_cuts_below_the_floor_that_would_hold_are_named_with_their_bare_days():
    low = away_area(needed_cut_cm=5.0, days_below_floor=6.0)
    assert bare_cuts(away("stand-in", low, away_area("Moss"))) == (
        "Without a stand-in, cuts below the floor would hold: Stems to 5 cm (bare for about 6 days)"
        "."
    )
    assert bare_cuts(away("stand-in", away_area("Moss"))) == ""


def peak_area(label="Stems", **changes):
    area = PeakArea(
        area_id=label.lower(),
        label=label,
        unit="cm",
        basis="log",
        cm_per_week=4.0,
        height_now_cm=Range(9.0, 10.0, 11.0),
        low_cm=14.0,
        target_cm=17.0,
        high_cm=20.0,
        cuts=(),
        height_on_day_cm=Range(15.0, 17.0, 19.0),
        chance_best=0.88,
        regrown_share=0.4,
        reachable=True,
        best_from=None,
        shows_cut=False,
        uncut_on_day_cm=Range(20.0, 22.0, 24.0),
        limit=None,
    )
    return replace(area, **changes)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, ""),
        (
            {"shows_cut": True, "regrown_share": 0.084},
            "too little time to hide the cut: 17 cm (15–19) on the day, but only 8 % of "
            "that is new growth, so the cut will show; left uncut it would stand at 22 cm (20–24)",
        ),
        (
            {"reachable": False, "chance_best": 0.1, "uncut_on_day_cm": Range(11.0, 12.0, 13.5)},
            "too little time: even left uncut it stands at 12 cm (11–14) on the day, and "
            "is at its best from 14.0 cm (chance 10 %)",
        ),
        (
            {"reachable": False, "height_on_day_cm": Range(20.0, 20.5, 23.0), "limit": LIMIT},
            "it grows too fast for the visits left: it stands at 20 cm (20–23) on the "
            "day, above 20.0 cm, even from the lowest cut that looks right; a visit closer to the "
            f"day would mend it. {LIMIT_SAID}",
        ),
        (
            {"reachable": False, "height_on_day_cm": Range(8.0, 17.0, 30.0)},
            "its growth is not known well enough: 17 cm (8–30) on the day, and at its "
            "best only between 14.0 and 20.0 cm; measure it at the next visit and ask again",
        ),
    ],
)
def test_what_keeps_an_area_from_its_best_is_said_with_its_numbers(changes, said):
    assert why_not_best(peak_area(**changes)) == said


def test_a_plan_counts_the_likely_areas_and_gives_the_chance_of_the_others():
    moss = peak_area("Moss", reachable=False, chance_best=0.21)
    areas = (peak_area(), moss, peak_area("Fern", reachable=False, chance_best=0.001))
    plan = PeakPlan("lobby", "", ON, NEXT, 0.85, 0.15, (ON,), 0.004, areas)
    assert peak_sentence(plan) == (
        "on 15 Jun 2026 every area stands at its best at once with a chance of under 1 %; 1 of 3 "
        "areas more likely than not. Unlikely by then: Moss (21 %) and Fern (under 1 %)."
    )
    alone = replace(plan, areas=areas[:1], visits=(), chance_all_best=0.8)
    assert peak_sentence(alone) == (
        "on 15 Jun 2026 every area stands at its best at once with a chance of 80 %; 1 of 1 areas "
        "more likely than not. There is no visit before it, so nothing can be cut."
    )
    assert peak_sentence(replace(plan, areas=())) == (
        "nothing is planted in this tank, so there is nothing to bring to that day."
    )


def test_much_cut_at_once_is_a_caution():
    """Two areas, of one 70 and of the other 32 % off: 51 % of the plants; once it is left, 35 %."""
    two = cut(removed_share=0.7), cut(removed_share=0.32)
    assert TOO_MUCH in cautions(sheet(*two))
    assert TOO_MUCH not in cautions(sheet(two[0], replace(two[1], action="leave")))


def test_a_plan_that_cuts_much_at_once_says_so_once():
    """Seven of ten centimetres of one area, 32 % of the other: 51 %; on two days 35 and 16."""
    hard = PeakCut(ON, 3.0, 7.0, 1.0, 0.9, "shape")
    light = replace(hard, cut_cm=6.8, removed_cm=3.2)
    areas = peak_area(cuts=(hard,)), peak_area("Moss", cuts=(light,))
    plan = PeakPlan("lobby", "", ON, NEXT, 0.85, 0.15, (ON,), 0.5, areas)
    apart = areas[0], replace(areas[1], cuts=(replace(light, on=NEXT),))
    for plans, times in (([plan], 1), ([plan, plan], 1), ([replace(plan, areas=apart)], 0)):
        answer = peaks_answer(plans, ON)
        assert [*answer.notes, *answer.details].count(TOO_MUCH) == times


@pytest.mark.parametrize(
    ("shares", "said"), [((0.7, 0.32), True), ((0.7, 0.2), False), ((), False)]
)
def test_a_client_page_cautions_where_much_is_cut_at_once(shares, said):
    tank = SimpleNamespace(areas=(), option=None)
    cut = SimpleNamespace(areas=[SimpleNamespace(removed_share=share) for share in shares])
    locale = open_locale("en-GB")
    lines = client_cautions(locale, [tank, SimpleNamespace(areas=(), option=cut)])
    assert (locale.say("caution_much") in lines) is said


@pytest.mark.parametrize(("cut_cm", "as_told"), [(10.9, 10.5), (10.4, 10.0), (7.2, 7.0)])
def test_a_card_of_the_desk_cuts_to_what_the_sheet_says(cut_cm, as_told):
    area = cut(cut_cm=cut_cm)
    assert card_of(area, open_locale("en-GB"))["cut"] == as_told
    assert f"cut to {as_told:g} cm" in str(sheet_answer(sheet(area)))


def test_the_same_visits_are_the_same_page_on_a_phone():
    """Its words stand in one order, not in that of a set, which changes from run to run."""
    page = phone_page("en-GB", {"visits": []}).decode()
    [given] = re.findall(r'<script id="given"[^>]*>(.*?)</script>', page, re.DOTALL)
    words = list(json.loads(given)["words"])
    assert words == sorted(words) != []
