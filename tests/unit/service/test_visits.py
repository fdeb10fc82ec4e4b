"""A visit's sheet, a day to shine and a time away, held against plain simulations of the draws."""

from __future__ import annotations

import json
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest

from growthcast.fit.growth import fit_growth
from growthcast.fit.model.clock import LONGEST_PAUSE_SHARE, days_lost
from growthcast.forecast.heights import forecast_heights
from growthcast.plain import plain
from growthcast.say.ahead import why_not_best
from growthcast.say.cuts import cautions, watch_list
from growthcast.service.interval import interval_options
from growthcast.service.living import HAND_SPREAD, living_areas
from growthcast.service.recommend import recommend
from growthcast.service.visit.away import weeks_away
from growthcast.service.visit.cuts import cut_sheet
from growthcast.service.visit.peak import peak_plan
from growthcast.service.visit.standing import days_that_hold, only_areas, standing_areas
from tests.books import AREAS, make_book, stem_log
from tests.curve import height_after

ON = date(2026, 6, 1)
LATER = date(2026, 6, 8)


def fitted(folder, on=ON, **files):
    book = make_book(folder, **files)
    return book, fit_growth(book, on)


@pytest.fixture(scope="module")
def lobby(tmp_path_factory):
    """Return the small book and its fit a week after the last logged visit."""
    return fitted(tmp_path_factory.mktemp("book"), LATER)


@pytest.fixture(scope="module")
def standing(lobby):
    return standing_areas(lobby[1], np.arange(2))


def plain_heights(standing, start_cm, days):
    """Heights after a span from the day of the fit, by the closed form, a rest after the cut."""
    living = standing.living
    rate = living.growth(days) / days
    ceiling = living.draws.ceiling_cm
    taken = 1.0 - start_cm / standing.height_cm
    lost = days_lost(taken, living.draws.lag_d, living.pause_d[:, None])
    rest = np.maximum(lost, standing.rest_d)
    awake = days - np.minimum(rest, LONGEST_PAUSE_SHARE * days)
    return height_after(np.minimum(start_cm, ceiling * (1 - 1e-9)), awake, rate, ceiling)


@pytest.fixture(scope="module")
def hard_cut(tmp_path_factory):
    """Return the small book with stems cut to a fifth, and its fit six days later."""
    trims = stem_log() + "2026-06-02,lobby,stems,9,2,,,,,\n"
    return fitted(tmp_path_factory.mktemp("hard"), LATER, trims=trims)


@pytest.fixture(scope="module")
def dim(tmp_path_factory):
    """Return the small book in little light, and its fit a week after the last logged visit."""
    light = "tank_id,from_date,ppfd_umol,photoperiod_h\nlobby,2025-01-01,20,8\n"
    return fitted(tmp_path_factory.mktemp("dim"), LATER, conditions=light)


@pytest.mark.parametrize("ahead_d", [0, 10, 28])
@pytest.mark.parametrize("kind", ["lobby", "hard_cut", "dim"])
def test_draws_stand_where_the_forecast_says(kind, ahead_d, request):
    """The same posterior by another route: nodes and normal noise there, joint draws here."""
    _, fit = request.getfixturevalue(kind)
    standing = standing_areas(fit, np.arange(2))
    drawn = np.quantile(standing.later(ahead_d).height_cm, (0.1, 0.5, 0.9), axis=1).T
    days = np.array([fit.design.on_day + ahead_d])
    said = forecast_heights(fit, standing.living.area, days).height_cm[:, 0, [1, 3, 5]]
    # A thousand draws find a tenth to a hundredth: 0.05 cm where the carpet is nearly nothing.
    np.testing.assert_allclose(drawn, said, rtol=0.04, atol=0.05)


def test_a_high_stand_goes_with_fast_growth(standing):
    """About 0.2 on this book, most of a week being noise; 0 +- 0.03 if drawn apart."""
    stems = standing.height_cm[0]
    assert (
        np.corrcoef(stems, standing.living.growth(7.0)[0])[0, 1] > 0.08
    )  # a lag that is not known spreads growth beside


def test_later_spans_are_drawn_anew_but_the_drift_is_shared(standing):
    first, second = standing.living.growth(7.0), standing.living.growth(7.0, 7.0)
    for one, other in zip(first, second, strict=True):
        assert 0.2 < np.corrcoef(one, other)[0, 1] < 0.99
    np.testing.assert_allclose(np.median(first, axis=1), np.median(second, axis=1), rtol=0.1)


def test_part_of_a_block_is_what_it_is_alone(lobby, standing):
    part = only_areas(standing, standing.living.run == 1)
    alone = standing_areas(lobby[1], np.array([1]))
    np.testing.assert_array_equal(part.stages, alone.stages)
    np.testing.assert_array_equal(part.later(3).growth(9), alone.later(3).growth(9))


def test_days_that_hold_are_the_most_that_do(standing):
    tank = only_areas(standing, standing.living.run == 0)
    began = tank.cut(tank.living.least_cut_cm)
    days = days_that_hold(began, 60, 0.9)
    chance = [began.later(d).within().all(axis=0).mean() for d in (days, days + 1)]
    assert chance[0] >= 0.9 > chance[1]


def sheet_of(lobby, days, tank=0):
    book, fit = lobby
    return cut_sheet(book, fit, tank, LATER + timedelta(days=days))


def test_the_sheets_chance_is_that_of_a_plain_simulation(lobby):
    sheet = sheet_of(lobby, 7)
    assert sheet.feasible
    assert sheet.chance_all_within >= 0.9
    tank = standing_areas(lobby[1], np.array([0]))
    cuts = {area.area_id: area.cut_cm for area in sheet.areas}
    aim = np.array([cuts["stems"], cuts["carpet"]])[:, None]
    left = aim * np.exp(HAND_SPREAD * tank.living.draws.hand)
    start = np.minimum(tank.height_cm, left)
    within = plain_heights(tank, start, 7.0) <= tank.living.budget_cm[:, None] * (1 + 1e-9)
    assert sheet.chance_all_within == pytest.approx(within.all(axis=0).mean(), abs=2 / 1024)
    by_area = {area.area_id: area.chance_within for area in sheet.areas}
    assert by_area["stems"] == pytest.approx(within[0].mean(), abs=2 / 1024)


def test_the_sheets_cuts_are_the_highest_that_hold(lobby):
    sheet = sheet_of(lobby, 7)
    tank = standing_areas(lobby[1], np.array([0]))
    cuts = {area.area_id: area.cut_cm for area in sheet.areas}
    higher = tank.cut(1.05 * np.array([cuts["stems"], cuts["carpet"]]))
    assert higher.later(7).chance[0] < 0.9


def test_an_area_that_stands_low_leaves_the_others_more_room(tmp_path):
    """Just cut, the stems surely last a week: the carpet's cut need not allow for them."""
    book, fit = fitted(tmp_path)
    sheet = cut_sheet(book, fit, 0, ON + timedelta(days=7))
    carpet = next(area for area in sheet.areas if area.area_id == "carpet")
    tall = interval_options(living_areas(fit, np.array([0])), 7, np.array([0.9]))
    assert carpet.cut_cm > 1.08 * tall.cut_cm[1]
    assert sheet.chance_all_within == pytest.approx(0.9, abs=0.01)


def test_a_sheet_that_cannot_last_names_the_latest_date_that_would(lobby):
    sheet = sheet_of(lobby, 28)
    assert not sheet.feasible
    days = (sheet.holds_until - LATER).days
    assert sheet_of(lobby, days).feasible
    assert not sheet_of(lobby, days + 1).feasible


def test_a_later_next_visit_never_allows_a_higher_cut(lobby):
    cuts = [
        {area.area_id: area.cut_cm for area in sheet_of(lobby, days).areas} for days in (3, 5, 7, 9)
    ]
    for name in ("stems", "carpet"):
        heights = [one[name] for one in cuts]
        assert heights == sorted(heights, reverse=True)


def test_what_was_just_cut_is_left_and_today_is_said(tmp_path):
    book, fit = fitted(tmp_path)
    sheet = cut_sheet(book, fit, 0, ON + timedelta(days=3))
    stems = next(area for area in sheet.areas if area.area_id == "stems")
    assert stems.action == "leave"
    assert stems.minutes == 0.0
    assert any("already has rows of today for Back stems" in line for line in watch_list(sheet))


def test_an_area_over_its_budget_is_said_and_cut(tmp_path):
    book, fit = fitted(tmp_path, ON + timedelta(days=28))
    sheet = cut_sheet(book, fit, 0, ON + timedelta(days=35))
    stems = next(area for area in sheet.areas if area.area_id == "stems")
    assert stems.chance_over_now > 0.9
    assert stems.action == "cut"
    assert any("Probably over its height already: Back stems" in line for line in watch_list(sheet))


def test_the_sheet_names_cautions_order_and_time(lobby):
    sheet = sheet_of(lobby, 7)
    assert [area.order for area in sheet.areas] == [1, 2]
    assert [area.area_id for area in sheet.areas] == [
        "stems",
        "carpet",
    ]  # clippings fall on carpets
    said = " ".join(cautions(sheet))
    for must in ("mains off", "one sponge", "never into waterways"):
        assert must in said
    assert sheet.minutes == pytest.approx(
        sheet.travel_min + sheet.fixed_min + sum(area.minutes for area in sheet.areas)
    )
    assert sheet.trimming_min.p10 <= sheet.trimming_min.p50 <= sheet.trimming_min.p90
    json.dumps(plain(sheet), allow_nan=False)


def test_a_hard_cut_today_is_rested_after(tmp_path):
    """Cut from 18 cm to a fifth the stems rest for days, and the sheet's chance counts on it."""
    _, fit = fitted(tmp_path, LATER)
    tank = standing_areas(fit, np.array([0]))
    low, high = tank.cut(np.array([3.5, np.nan])), tank.cut(np.array([12.0, np.nan]))
    lag_d, pause_d = tank.living.draws.lag_d[0], np.median(low.rest_d[0] - high.rest_d[0])
    assert pause_d > 1.0
    # A third off brings no pause, but nearly the whole lag: 1 - exp(-0.33 / 0.1) = 0.96 of it.
    assert np.median(high.rest_d[0]) == pytest.approx(0.96 * np.median(lag_d), rel=0.05)
    assert (low.rest_d[1] == tank.rest_d[1]).all()
    grown = low.later(7).stages - low.stages
    awake = 1.0 - np.minimum(low.rest_d[0], 0.9 * 7.0) / 7.0
    assert np.median(grown[0] / tank.growth(7)[0]) == pytest.approx(np.median(awake), abs=0.02)


def test_settling_and_conditions_to_come_count(tmp_path):
    """Half the light from tomorrow on slows what the sheet foresees, as it does the forecast."""
    light = "tank_id,from_date,ppfd_umol,photoperiod_h\nlobby,2025-01-01,80,8\n"
    _, usual = fitted(tmp_path / "usual", LATER, conditions=light)
    dimmed = light + f"lobby,{LATER + timedelta(days=1)},20,8\n"
    _, fit = fitted(tmp_path / "dimmed", LATER, conditions=dimmed)
    bright, dark = (standing_areas(one, np.array([0])).later(14) for one in (usual, fit))
    assert np.median(dark.height_cm[0]) < 0.9 * np.median(bright.height_cm[0])
    days = np.array([fit.design.on_day + 14.0])
    said = forecast_heights(fit, np.array([0, 1]), days).height_cm[:, 0, 3]
    np.testing.assert_allclose(np.median(dark.height_cm, axis=1), said, rtol=0.04, atol=0.05)


def test_regulated_plants_are_named(tmp_path):
    areas = AREAS.replace("rotala-rotundifolia", "hygrophila-polysperma")
    book, fit = fitted(tmp_path, areas=areas)
    sheet = cut_sheet(book, fit, 0, LATER)
    assert any("Hygrophila polysperma: Regulated as invasive" in line for line in cautions(sheet))


def test_an_empty_tank_has_an_empty_sheet_plan_and_absence(tmp_path):
    areas = AREAS.replace("3,2025-01-01,\n", "3,2025-01-01,2026-03-01\n")
    book, fit = fitted(tmp_path, areas=areas)
    sheet = cut_sheet(book, fit, 1, LATER)
    assert (sheet.areas, sheet.chance_all_within, sheet.rhythm) == ((), 1.0, None)
    plan = peak_plan(book, fit, 1, LATER, [ON])
    assert (plan.areas, plan.chance_all_best) == ((), 1.0)
    [away] = weeks_away(book, fit, ON, LATER, np.array([1]))
    assert (away.state, away.chance_as_usual, away.chance_bridged) == ("lasts", 1.0, 1.0)
    assert away.stand_in_by is None
    for answer in (sheet, plan, away):
        json.dumps(plain(answer), allow_nan=False)


def test_a_next_visit_that_is_not_after_today_is_refused(lobby):
    with pytest.raises(ValueError, match="after the day"):
        sheet_of(lobby, 0)


def plan_of(lobby, days, visits, **shares):
    book, fit = lobby
    dates = [LATER + timedelta(days=d) for d in visits]
    return peak_plan(book, fit, 0, LATER + timedelta(days=days), dates, **shares)


def test_the_plan_ends_where_a_plain_simulation_ends(lobby):
    """One visit, today: cut as planned, grown to the day."""
    plan = plan_of(lobby, 6, [0])
    tank = standing_areas(lobby[1], np.array([0]))
    place = {"stems": 0, "carpet": 1}
    inside = np.zeros((2, tank.living.size), dtype=bool)
    for area in plan.areas:
        i = place[area.area_id]
        aim = np.full(2, np.nan)
        if area.cuts:
            aim[i] = area.cuts[-1].cut_cm
        start = tank.cut(aim).height_cm
        height = plain_heights(tank, start, 6.0)[i]
        inside[i] = (height >= area.low_cm) & (height <= area.high_cm * (1 + 1e-9))
        assert area.chance_best == pytest.approx(inside[i].mean(), abs=2 / 1024)
        assert area.height_on_day_cm.p50 == pytest.approx(np.median(height), rel=0.01)
    assert plan.chance_all_best == pytest.approx(inside.all(axis=0).mean(), abs=2 / 1024)


def test_a_plan_begins_on_the_day_of_the_fit_and_its_visits_lie_before_the_day(lobby):
    plan = plan_of(lobby, 6, [0, 5])
    assert (plan.on, plan.day) == (LATER, LATER + timedelta(days=6))
    days = {cut.on for area in plan.areas for cut in area.cuts}
    assert days <= {LATER, LATER + timedelta(days=5)}
    for day, visits in ((0, []), (6, [6]), (6, [-1]), (-1, [])):
        with pytest.raises(ValueError, match="between the day of the fit"):
            plan_of(lobby, day, visits)


def test_slow_areas_are_cut_first_and_come_first(lobby):
    plan = plan_of(lobby, 42, [7, 14, 21, 28, 35])
    growth = [area.cm_per_week / area.target_cm for area in plan.areas]
    assert growth == sorted(growth)
    shaped = [area.cuts[-1].on for area in plan.areas if area.cuts]
    assert len(shaped) == 2
    assert all(LATER < cut.on < plan.day for area in plan.areas for cut in area.cuts)
    assert shaped == sorted(shaped)
    for area in plan.areas:
        assert area.reachable
        assert area.regrown_share >= 0.15
        assert area.height_on_day_cm.p50 == pytest.approx(area.target_cm, rel=0.05)


def test_what_tomorrow_cannot_reach_is_said_with_when_it_would(tmp_path):
    """The stems were cut to 9 cm today: they do not stand at 15 tomorrow."""
    book, fit = fitted(tmp_path)
    plan = peak_plan(book, fit, 0, ON + timedelta(days=1), [ON])
    stems = next(area for area in plan.areas if area.area_id == "stems")
    assert not stems.reachable
    assert "too little time: even left uncut" in why_not_best(stems)
    assert stems.best_from > plan.day
    later = peak_plan(book, fit, 0, stems.best_from, [ON])
    assert next(area for area in later.areas if area.area_id == "stems").chance_best > 0.4


def test_a_cut_that_would_still_show_is_said(lobby):
    plan = plan_of(lobby, 8, [7], target_share=0.5, band_share=0.1)
    assert any("the cut will show" in why_not_best(area) for area in plan.areas)


def test_a_wider_band_is_never_less_likely(lobby):
    chances = [
        plan_of(lobby, 6, [0], band_share=band).chance_all_best for band in (0.05, 0.1, 0.15)
    ]
    assert chances == sorted(chances)


def absence(lobby, days, first_d=0):
    book, fit = lobby
    start = LATER + timedelta(days=first_d)
    return weeks_away(book, fit, start, start + timedelta(days=days))


def test_an_absence_lies_after_the_fit_and_lasts_a_day_at_least(lobby):
    for first_d, days in ((-1, 3), (0, 0), (2, -1)):
        with pytest.raises(ValueError, match="on or after the day of the fit"):
            absence(lobby, days, first_d)


def test_a_longer_absence_is_never_likelier_to_hold(lobby):
    chances = [[one.chance_bridged >= 0.9 for one in absence(lobby, d)] for d in (3, 9, 14, 28)]
    assert chances[0] == [True, True]
    assert not chances[-1][0]
    for earlier, later in pairwise(chances):
        assert all(e or not x for e, x in zip(earlier, later, strict=True))


def test_states_follow_the_chances_and_a_stand_in_comes_in_time(lobby):
    seen = set()
    for days in range(2, 30, 3):
        for one in absence(lobby, days):
            seen.add(one.state)
            assert (one.state == "lasts") == (one.chance_as_usual >= one.confidence)
            assert (one.state == "stand-in") == (one.chance_bridged < one.confidence)
            assert one.chance_bridged >= min(one.chance_as_usual, one.confidence)
            if one.state == "cut lower":
                assert any(area.bridging_cut_cm < area.usual_cut_cm for area in one.areas)
            if one.state == "stand-in":
                assert one.last_visit < one.stand_in_by < one.next_visit
            json.dumps(plain(one), allow_nan=False)
    assert seen == {"lasts", "cut lower", "stand-in"}


def test_the_stand_ins_date_is_the_last_that_holds(lobby):
    book, fit = lobby
    one = absence(lobby, 28)[0]
    sheet = cut_sheet(book, fit, 0, one.stand_in_by)
    assert sheet.feasible
    assert not cut_sheet(book, fit, 0, one.stand_in_by + timedelta(days=1)).feasible


def test_who_passes_and_when_agree(lobby):
    """An area is over on the day of the next visit as often as it has passed by then."""
    for one in absence(lobby, 14, first_d=7):
        for area in one.areas:
            first, middle, late = area.passes_on
            assert (area.chance_over >= 0.1) == (first is not None)
            assert (area.chance_over >= 0.5) == (middle is not None)
            assert (area.over_cm.p50 > 0.0) == (area.chance_over > 0.5)
            dates = [day for day in (first, middle, late) if day is not None]
            assert dates == sorted(dates)
            assert all(one.last_visit <= day <= one.next_visit for day in dates)


def test_an_absence_as_long_as_the_interval_is_bridged(lobby):
    """What a rhythm holds a visit holds about as well, though not from the same cuts."""
    book, fit = lobby
    for one in recommend(book, fit):
        days = one.recommended_interval_d
        if days is not None:
            [tank] = [t for t in absence(lobby, days) if t.tank_id == one.tank_id]
            assert tank.chance_bridged > one.confidence - 0.03
