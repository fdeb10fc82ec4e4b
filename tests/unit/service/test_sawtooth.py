"""Up with growth, down with each visit; and which tank needs a visit first."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from growthcast.fit.growth import fit_growth
from growthcast.forecast.heights import forecast_heights
from growthcast.service.living import living_areas
from growthcast.service.sawtooth import SAWTOOTH_LEVELS, sawtooth
from growthcast.service.urgency import chance_some_area_over
from tests.books import make_book

ON = date(2026, 6, 1)


@pytest.fixture(scope="module")
def fit(tmp_path_factory):
    return fit_growth(make_book(tmp_path_factory.mktemp("book"), on=ON), ON)


def test_each_visit_leaves_what_it_cuts_to_and_nothing_stands_above_its_ceiling(fit):
    living = living_areas(fit, np.array([0]))
    saw = sawtooth(living, 0, 7, 9.0, weeks=4)
    begins = np.searchsorted(saw.day, [0.0, 7.0, 14.0], side="right") - 1
    left = np.quantile(9.0 * living.hand_share[0], SAWTOOTH_LEVELS)
    for at in begins:
        assert saw.height_cm[:, at] == pytest.approx(left, rel=1e-4)
    tall = sawtooth(living, 0, 7, 300.0, weeks=4)
    assert tall.height_cm.max() <= living.draws.ceiling_cm[0].max()


@pytest.mark.parametrize("interval_d", [7, 10, 28])
def test_first_span_ends_as_the_interval_rule_says(fit, interval_d):
    living = living_areas(fit, np.array([0]))
    cut = np.full(living.area.size, 9.0)
    saw = sawtooth(living, 0, interval_d, 9.0, weeks=8)
    end = living.end_height(living.growth_after_cut(interval_d)[0], cut)[0]
    before = [saw.before_visit_cm(level) for level in SAWTOOTH_LEVELS]
    assert before == pytest.approx(np.quantile(end, SAWTOOTH_LEVELS), rel=1e-6)
    assert saw.day[0] == 0.0
    assert saw.day[-1] <= 56.0
    assert (np.diff(saw.day) >= 0.0).all()
    assert (np.diff(saw.height_cm, axis=0) >= -1e-9).all()


def test_the_longer_the_wait_the_taller_the_area_is_found(fit):
    living = living_areas(fit, np.array([0]))
    found = [sawtooth(living, 0, d, 9.0, 8).before_visit_cm(0.9) for d in (7, 14, 28)]
    assert found == sorted(found)
    assert found[-1] > living.budget_cm[0] > found[0]


def test_one_areas_risk_is_that_of_its_forecast(fit):
    ahead = np.array([0, 7, 14])
    [home] = chance_some_area_over(fit, np.array([1]), ahead)  # one area, so nothing is joint
    own = forecast_heights(fit, np.array([2]), fit.design.on_day + ahead.astype(float))
    assert home == pytest.approx(own.chance_over_budget[0], abs=0.03)


def test_risk_of_a_tank_is_at_least_that_of_its_areas(fit):
    ahead = np.array([7, 14])
    [lobby] = chance_some_area_over(fit, np.array([0]), ahead)
    own = forecast_heights(fit, np.array([0, 1]), fit.design.on_day + ahead.astype(float))
    assert (lobby >= own.chance_over_budget.max(axis=0) - 0.03).all()
    assert (lobby <= own.chance_over_budget.sum(axis=0) + 0.03).all()


def test_an_empty_tank_has_nothing_that_could_be_over(tmp_path):
    areas = (
        "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on\n"
        "stems,lobby,Stems,rotala-rotundifolia,400,7,22,9,2025-01-01\n"
    )
    fit = fit_growth(make_book(tmp_path, on=ON, areas=areas), ON)
    chances = chance_some_area_over(fit, np.array([0, 1]), np.array([7]))
    assert (chances[0] > 0.0).all()
    assert (chances[1] == 0.0).all()
