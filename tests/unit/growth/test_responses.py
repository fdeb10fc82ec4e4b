"""Edges of the responses."""

import numpy as np
import pytest

from growthcast.growth.responses import (
    _beta,
    _monod,
    canopy_light,
    co2_response,
    co2_slope,
    light_gain_h,
    light_response,
    nutrient_response,
    temperature_response,
)

NAN = float("nan")


def test_light_at_a_height_of_the_canopy():
    assert canopy_light(100.0, 0.4, 0.0) == 40.0
    assert canopy_light(100.0, 1.0, 20.0) == pytest.approx(100 * np.exp(0.1))
    assert canopy_light(100.0, 1.0, 20.0, 0.0) == 100.0
    assert np.isnan(canopy_light(NAN, 1.0, 20.0))
    assert canopy_light(np.ones((2, 1)), np.ones(3), 1.0).shape == (2, 3)


def test_no_light_and_no_hours():
    dark = light_response([0.0, 100.0], [8.0, 0.0], 60.0, 0.5, 0.02, 100.0, 8.0)
    assert dark.tolist() == [0.0, 0.0]
    assert np.all(light_gain_h([0.0, 100.0], [8.0, 0.0], 60.0, 0.02) < 0.0)
    # without respiration a dark day gains nothing, and nothing grows either
    assert light_response(0.0, 8.0, 60.0, 0.5, 0.0, 100.0, 8.0) == 0.0


def test_floor_just_above_compensation():
    compensation = 60.0 * np.arctanh(24 * 0.05 / 8.0)
    just_above = light_response(compensation * 1.000001, 8.0, 60.0, 0.4, 0.05, 100.0, 8.0)
    just_below = light_response(compensation * 0.999999, 8.0, 60.0, 0.4, 0.05, 100.0, 8.0)
    assert just_above == pytest.approx(0.4, abs=1e-4)
    assert just_below == 0.0


def test_hours_beyond_twelve_bring_nothing():
    gain = light_gain_h(60.0, [6.0, 12.0, 16.0, 24.0], 60.0, 0.05)
    assert gain == pytest.approx(np.array([6, 12, 12, 12]) * np.tanh(1.0) - 1.2)


def test_light_in_part_not_known_takes_the_reference_for_that_part():
    known = light_response(50.0, 8.0, 60.0, 0.4, 0.05, 100.0, 8.0)
    assert light_response(50.0, NAN, 60.0, 0.4, 0.05, 100.0, 8.0) == known
    assert light_response(NAN, NAN, 60.0, 0.4, 0.05, 100.0, 8.0) == 1.0
    assert np.isnan(light_gain_h(NAN, 8.0, 60.0, 0.05))


def test_co2_and_nutrients_without_any():
    assert co2_response([0.0, 0.0, NAN], [5.0, 0.0, 5.0], 25.0).tolist() == [0.0, 1.0, 1.0]
    assert nutrient_response(0, 1, 15, 1.0, 0.1, 1.0, 15, 1, 15) == 0.0
    assert nutrient_response(0, 1, 15, 0.0, 0.0, 0.0, 15, 1, 15) == 1.0
    assert nutrient_response(NAN, NAN, NAN, 1.0, 0.1, 1.0, 15, 1, 15) == 1.0


def test_the_slope_over_co2_is_that_of_the_response():
    half, near = np.array([0.0, 1.5, 5.0]), 3.0 * 1e-5
    rise = np.log(co2_response(3.0 + near, half, 25.0) / co2_response(3.0 - near, half, 25.0))
    assert co2_slope(3.0, half) == pytest.approx(rise / np.log((3.0 + near) / (3.0 - near)))


def test_only_the_scarcest_nutrient_counts():
    # raw 15/16, 1/2, 15/16; at the reference 15/16, 10/11, 15/16
    low_phosphate = nutrient_response(15, 0.1, 15, 1.0, 0.1, 1.0, 15, 1, 15)
    assert low_phosphate == pytest.approx(0.5 / (10 / 11))
    assert nutrient_response(30, 0.1, 60, 1.0, 0.1, 1.0, 15, 1, 15) == low_phosphate
    assert nutrient_response(3, 0.1, 15, 1.0, 0.1, 1.0, 15, 1, 15) == low_phosphate


def test_temperature_not_known():
    assert temperature_response([NAN, 25.0], 8.0, 27.0, 36.0, 25.0).tolist() == [1.0, 1.0]


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: light_response(50, 8, 60, 0.4, 0.4, 100, 8), "at the reference light a species"),
        (lambda: light_gain_h(50, 8, 0, 0.05), "light_k_umol must be above 0"),
        (lambda: light_gain_h(-1, 8, 60, 0.05), "ppfd_umol must be 0 or more"),
        (lambda: light_gain_h(50, -8, 60, 0.05), "photoperiod_h must be 0 or more"),
        (lambda: co2_response(-1, 5, 25), "co2_mg_l must be 0 or more"),
        (lambda: co2_response(1, 5, 0), "reference_co2_mg_l must be above 0"),
        (lambda: nutrient_response(1, 1, 1, 1, -1, 1, 9, 9, 9), "half-saturation of po4_mg_l"),
        (lambda: nutrient_response(1, 1, 1, 1, 1, 1, 9, 9, 0), "reference_k_mg_l must be above 0"),
        (lambda: temperature_response(25, 30, 27, 36, 25), "temperatures must rise"),
        (lambda: temperature_response(25, 8, 27, 36, 36), "the reference temperature must lie"),
    ],
)
def test_impossible_arguments_are_named(call, says):
    with pytest.raises(ValueError, match=says):
        call()


def test_the_beta_function_is_one_at_its_best_and_zero_from_its_limits_on():
    """10, 26 and 34 make the power 16 / 8: (16 / 8) (8 / 16)^2 at 18, (4 / 8) (20 / 16)^2 at 30."""
    limits = (np.array(value) for value in (10.0, 26.0, 34.0))
    at = np.array([9.0, 10.0, 18.0, 26.0, 30.0, 34.0, 35.0, NAN])
    found = _beta(at, *limits)
    assert found[:-1] == pytest.approx([0.0, 0.0, 0.5, 1.0, 0.78125, 0.0, 0.0])
    assert np.isnan(found[-1])


def test_half_of_the_uptake_is_reached_at_half_saturation():
    amount, half = np.array([0.0, 2.0, 6.0, 0.0, 5.0]), np.array([2.0, 2.0, 2.0, 0.0, 0.0])
    assert _monod(amount, half).tolist() == [0.0, 0.5, 0.75, 1.0, 1.0]
