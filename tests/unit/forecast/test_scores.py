"""Scores and the learnt widening, worked by hand on forecasts that are normal."""

from __future__ import annotations

import numpy as np
import pytest

from growthcast.forecast.scores import (
    NORMAL_SCORES,
    Forecasts,
    Predictive,
    Recalibration,
    log_factors_that_hold,
    widening_of,
)


def lognormal(middle, log_sd, error_cm):
    """Return forecasts whose log heights are normal: straight over normal scores."""
    height = np.exp(np.log(middle) + np.outer(log_sd, NORMAL_SCORES))
    return Predictive(height, np.full_like(height, error_cm))


@pytest.mark.parametrize("factor", [0.5, 1.0, 3.0])
def test_a_normal_log_height_is_widened_about_its_middle_beyond_its_last_quantiles(factor):
    wide = lognormal(10.0, [0.1, 0.3], 0.4).widened(factor)
    np.testing.assert_allclose(
        wide.height_cm, lognormal(10.0, factor * np.array([0.1, 0.3]), 0.0).height_cm, rtol=1e-9
    )
    assert (wide.error_cm == 0.4).all()


def test_narrowed_forecasts_stand_at_their_own_quantiles_between():
    """Half of each normal score, read off the log heights on both sides of it."""
    log_height = np.where(NORMAL_SCORES < 0.0, 0.1, 0.7) * NORMAL_SCORES
    one = Predictive(np.exp(log_height)[None], np.ones((1, 100)))
    expected = np.interp(0.5 * NORMAL_SCORES, NORMAL_SCORES, log_height)
    np.testing.assert_allclose(one.widened(0.5).height_cm, np.exp(expected)[None], rtol=1e-12)


def test_the_factor_of_a_reading_is_that_whose_eight_of_ten_just_hold_it():
    """1.2816 deviations are 80 % of a normal: twice as far off asks for twice the width."""
    made = lognormal(10.0, np.full(5, 0.1), 1e-6)
    off = 1.2816 * 0.1 * np.array([-2.0, 1.5, 0.0, 9.0, np.nan])
    made.height_cm[4] = np.nan
    factors = np.exp(log_factors_that_hold(made, np.nan_to_num(10.0 * np.exp(off))))
    assert factors[:4] == pytest.approx([2.0, 1.5, 0.25, 4.0], rel=0.03)
    assert np.isnan(factors[4])


def test_the_factor_of_all_is_the_one_that_holds_eight_of_ten_and_one_more():
    """Rank ceil(0.8 (n + 1)); 20 visits are worth as much as the belief that widths are right."""
    factors = np.log([3.0, 1.0, 2.0, 1.5, 0.5, np.nan, 0.6, 0.7, 0.8, 0.9])
    root, two = pytest.approx(2.0**0.5), pytest.approx(2.0)
    assert widening_of(factors, 20) == Recalibration(root, two, 9, 20)
    assert widening_of(np.log([1.2, 1.1]), 0) == Recalibration(1.0, pytest.approx(1.2), 2, 0)


def test_scores_are_means_over_the_rows_asked_for():
    """Middles of 10 and 20 and 30 cm against readings of 8, 21 and 99; the last is not asked."""
    made = lognormal(np.array([[10.0], [20.0], [30.0]]), np.full(3, 0.2), 0.5)
    reading, budget = np.array([8.0, 21.0, 99.0]), np.array([20.0, 40.0, 10.0])
    against = Forecasts.of(made, reading)
    scores = against.scores(np.array([True, True, False]), reading, budget)
    assert scores.n == 2
    assert scores.mae_cm == pytest.approx(0.5 * (2.0 + 1.0), rel=0.01)
    assert scores.bias_share == pytest.approx(0.5 * (2.0 / 20.0 - 1.0 / 40.0), rel=0.02)
    crps = made.crps_cm(reading)
    assert scores.crps_cm == pytest.approx(0.5 * (crps[0] + crps[1]))
    assert scores.crps_share == pytest.approx(0.5 * (crps[0] / 20.0 + crps[1] / 40.0))


def test_a_central_range_holds_what_lies_on_its_edge():
    """Chances of 0.25 and 0.75 are the ends of 50 %, 0.1 of 80 %, 0.95 of 90 %."""
    chance, nothing = np.array([0.25, 0.75, 0.1, 0.95, 0.99]), np.zeros(5)
    against = Forecasts(Predictive.blank(5), np.ones(5, bool), nothing, nothing, chance)
    scores = against.scores(np.ones(5, bool), nothing, np.ones(5))
    found = scores.coverage_50, scores.coverage_80, scores.coverage_90
    assert found == pytest.approx((0.4, 0.6, 0.8))
    assert against.scores(np.zeros(5, bool), nothing, np.ones(5)).n == 0


def test_the_reading_of_a_chance_is_that_below_which_it_falls():
    """Of one normal of 10 with an error of 2 cm, 8 of 10 lie below 11.68."""
    one = Predictive(np.full((1, 100), 10.0), np.full((1, 100), 2.0))
    assert one.quantile_cm(0.8) == pytest.approx([10.0 + 2.0 * 0.841621], rel=1e-6)
    assert one.chance_below(np.array([11.683242])) == pytest.approx([0.8], abs=1e-6)
