"""Up with growth, down with each visit; and which tank needs a visit first."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from growthcast.fit.growth import fit_growth
from growthcast.forecast.heights import LEVELS, forecast_heights
from growthcast.service.effort.hours import LEVELS as COURSE_LEVELS
from growthcast.service.pages.client import course
from growthcast.service.recommend import option_of, recommend
from growthcast.service.urgency import chances_uncut
from growthcast.service.visit.standing import standing_areas
from tests.books import make_book

ON = date(2026, 6, 1)


@pytest.fixture(scope="module")
def fit(tmp_path_factory):
    return fit_growth(make_book(tmp_path_factory.mktemp("book"), on=ON), ON)


def test_a_course_starts_today_and_each_visit_leaves_what_it_cuts_to(fit):
    standing = standing_areas(fit, np.array([0]))
    went = course(standing, 0, 28, (5, 12, 19), 7, 9.0)
    assert went.height_cm[:, 0] == pytest.approx(
        np.quantile(standing.height_cm[0], COURSE_LEVELS), rel=1e-3
    )
    assert went.day[[0, -1]].tolist() == [0.0, 28.0]
    assert went.day.tolist().count(12.0) == 2
    after = np.searchsorted(went.day, (12.0, 19.0), side="right") - 1
    left = np.quantile(9.0 * standing.living.hand_share[0], COURSE_LEVELS)
    for place in after:
        assert went.height_cm[:, place] == pytest.approx(left, rel=0.02)
        assert (went.height_cm[:, place] < went.height_cm[:, place - 1]).all()
    assert (np.diff(went.height_cm, axis=0) >= 0.0).all()


def test_without_a_visit_a_course_is_the_forecast(fit):
    went = course(standing_areas(fit, np.array([0])), 0, 14)
    own = forecast_heights(fit, np.array([0]), np.array([fit.design.on_day + 14.0]))
    middle = [LEVELS.index(level) for level in COURSE_LEVELS]
    assert went.height_cm[:, -1] == pytest.approx(own.height_cm[0, 0, middle], rel=0.03)


def test_what_stands_lower_than_a_cut_is_left(fit):
    went = course(standing_areas(fit, np.array([0])), 0, 4, (2,), 2, 100.0)
    assert (np.diff(went.height_cm[1]) >= 0.0).all()


def test_regular_visits_find_what_the_rhythm_is_judged_by(tmp_path):
    book = make_book(tmp_path, on=ON)
    fit = fit_growth(book, ON)
    option, _ = option_of(book, fit, 0, 14)
    for place, area in enumerate(option.areas):
        standing = standing_areas(fit, np.array([0]))
        went = course(standing, place, 56, (14, 28, 42), 14, area.cut_cm)
        found = went.height_cm[:, np.searchsorted(went.day, 42.0)]
        assert found == pytest.approx([area.found.p10, area.found.p50, area.found.p90], rel=1e-3)


def test_one_areas_risk_is_that_of_its_forecast(fit):
    ahead = np.array([0, 7, 14])
    home = 1.0 - chances_uncut(fit, np.array([1]), 14)[1].all_within[ahead]  # one area: not joint
    own = forecast_heights(fit, np.array([2]), fit.design.on_day + ahead.astype(float))
    assert home == pytest.approx(own.chance_over_budget[0], abs=0.03)


def test_risk_of_a_tank_is_at_least_that_of_its_areas(fit):
    ahead = np.array([7, 14])
    lobby = 1.0 - chances_uncut(fit, np.array([0]), 14)[0].all_within[ahead]
    own = forecast_heights(fit, np.array([0, 1]), fit.design.on_day + ahead.astype(float))
    assert (lobby >= own.chance_over_budget.max(axis=0) - 0.03).all()
    assert (lobby <= own.chance_over_budget.sum(axis=0) + 0.03).all()


def test_an_empty_tank_has_nothing_that_could_be_over(tmp_path):
    areas = (
        "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on\n"
        "stems,lobby,Stems,rotala-rotundifolia,400,7,22,9,2025-01-01\n"
    )
    fit = fit_growth(make_book(tmp_path, on=ON, areas=areas), ON)
    lobby, home = chances_uncut(fit, np.array([0, 1]), 7).values()
    assert lobby.all_within[7] < 1.0
    assert (home.all_within == 1.0).all()
    assert home.over.shape == (0, 8)


def test_an_interval_worked_out_by_itself_is_the_one_recommended(tmp_path):
    book = make_book(tmp_path, on=ON)
    fit = fit_growth(book, ON)
    [advice] = recommend(book, fit, np.array([0]))
    listed = advice.option(14)
    assert option_of(book, fit, 0, 14)[0] == listed
    lower = np.array([0.9 * area.cut_cm for area in listed.areas])
    cut_lower, _ = option_of(book, fit, 0, 14, lower)
    assert cut_lower.chance_all_within > listed.chance_all_within
    for area, before in zip(cut_lower.areas, listed.areas, strict=True):
        assert area.found.p50 < before.found.p50
    assert [area.cut_cm for area in cut_lower.areas] == pytest.approx(lower)
