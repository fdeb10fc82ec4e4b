"""What an eye says of a height: bounds are judged with an error of 15 % of the height."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from growthcast.fit.model.noise import look_log_chance
from growthcast.log.visits import Look

FLOOR, BUDGET = np.array([6.0]), np.array([15.0])
HEIGHTS = np.array([[0.5, 4.0, 6.0, 9.5, 15.0, 18.0, 80.0]])


def chance(look, floor=FLOOR, height=HEIGHTS):
    return np.exp(look_log_chance(np.array([look]), height, floor, BUDGET))[0]


def test_the_three_words_share_every_height():
    total = chance(Look.SHORT) + chance(Look.RIGHT) + chance(Look.OVER)
    assert total == pytest.approx(1.0, abs=2e-4)


def test_each_word_is_as_likely_as_its_bounds_and_the_error_say():
    """An error of a log height is normal; once in ten thousand any word is said."""
    to_floor, to_budget = np.log(FLOOR / HEIGHTS[0]) / 0.15, np.log(BUDGET / HEIGHTS[0]) / 0.15
    for look, sure in (
        (Look.SHORT, ndtr(to_floor)),
        (Look.RIGHT, ndtr(to_budget) - ndtr(to_floor)),
        (Look.OVER, ndtr(-to_budget)),
    ):
        assert chance(look) == pytest.approx((1 - 1e-4) * sure + 1e-4 / 3, abs=2e-4)


def test_the_logarithm_is_right_to_1e_5_far_from_the_bounds_too():
    """Each word with the tail that is small: 1 less a chance near 1 would lose its digits."""
    heights = np.geomspace(0.6, 150.0, 4001)
    to_floor, to_budget = np.log(FLOOR / heights) / 0.15, np.log(BUDGET / heights) / 0.15
    right = np.where(
        to_floor > 0.0, ndtr(-to_floor) - ndtr(-to_budget), ndtr(to_budget) - ndtr(to_floor)
    )
    for look, sure in (
        (Look.SHORT, ndtr(to_floor)),
        (Look.RIGHT, right),
        (Look.OVER, ndtr(-to_budget)),
    ):
        said = look_log_chance(np.array([look]), heights[None], FLOOR, BUDGET)[0]
        exact = np.log((1.0 - 1e-4) * sure + 1e-4 / 3.0)
        np.testing.assert_allclose(said, exact, rtol=0.0, atol=1e-5)


def test_at_a_bound_both_words_are_even():
    assert chance(Look.SHORT)[2] == pytest.approx(0.5, abs=1e-3)
    assert chance(Look.RIGHT)[2] == pytest.approx(0.5, abs=1e-3)
    assert chance(Look.RIGHT)[4] == pytest.approx(0.5, abs=1e-3)
    assert chance(Look.OVER)[4] == pytest.approx(0.5, abs=1e-3)


def test_a_floor_of_nothing_is_judged_as_a_twentieth_of_the_budget():
    assert chance(Look.SHORT, floor=np.zeros(1), height=np.array([[0.75]])) == pytest.approx(
        0.5, abs=1e-3
    )
