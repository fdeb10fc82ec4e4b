"""Edges of the growth curve."""

import numpy as np
import pytest

from growthcast.growth.logistic import (
    height_and_slope,
    height_at_stage,
    rate_from_speed,
    shape_factor,
    stage,
)
from tests.curve import height_after, speed_of_growth

SHAPES = [-1.0, -0.5, 0.0, 1e-9, 1.0, 2.0]


def test_logistic_and_gompertz_by_their_own_formulas():
    h, K = np.array([0.5, 3.0, 20.0, 39.0]), 40.0
    np.testing.assert_allclose(stage(h, K), np.log(h / (K - h)), rtol=1e-13, atol=1e-15)
    np.testing.assert_allclose(stage(h, K, 0.0), -np.log(np.log(K / h)), rtol=1e-13)
    np.testing.assert_allclose(stage(h, K, -1.0), -np.log(1 - h / K), rtol=1e-13)
    np.testing.assert_allclose(stage(h, K, 2.0), -np.log(((K / h) ** 2 - 1) / 2), rtol=1e-13)


def test_shape_factor_at_its_limit():
    assert shape_factor(0.0) == pytest.approx(1 / (2 * np.log(2)), rel=1e-15)
    assert shape_factor(1e-10) == pytest.approx(float(shape_factor(0.0)), rel=1e-9)


@pytest.mark.parametrize("shape", SHAPES)
def test_ceiling_is_reached_and_kept(shape):
    assert height_after(1e-9, 1e9, 0.1, 1e5, 1.0) == 1e5
    assert height_after(3.0, 1e6, 0.1, 40.0, shape) == 40.0
    assert np.all(np.isposinf(stage([40.0, 55.0], 40.0, shape)))
    assert height_at_stage(np.inf, 40.0, shape) == 40.0


def test_height_zero():
    assert height_after(0.0, 100.0, 0.1, 40.0, [0.0, 1.0, 2.0]).tolist() == [0.0] * 3
    assert np.all(np.isneginf(stage(0.0, 40.0, [0.0, 1.0, 2.0])))
    # below shape 0 a canopy leaves nothing at a finite stage
    assert stage(0.0, 40.0, -0.5) == pytest.approx(np.log(0.5))
    assert height_at_stage([-5.0, np.log(0.5)], 40.0, -0.5).tolist() == [0.0, 0.0]
    assert height_after(0.0, 10.0, 0.1, 40.0, -1.0) == pytest.approx(40 * (1 - np.exp(-0.5)))


def test_tiny_and_nearly_full_keep_their_digits():
    z = stage([1e-200, 40.0 * (1 - 1e-12)], 40.0)
    assert z[0] == pytest.approx(np.log(1e-200 / 40.0), rel=1e-14)
    assert z[1] == pytest.approx(12 * np.log(10), rel=1e-4)
    assert height_at_stage(-460.0, 40.0) == pytest.approx(40 * np.exp(-460.0), rel=1e-12)
    assert height_at_stage([-1e4, 1e4], 40.0, 0.0).tolist() == [0.0, 40.0]


def test_looking_back():
    assert height_after(30.0, -np.log(9.0) / 0.1, 0.1, 40.0) == pytest.approx(10.0)


def test_arguments_broadcast():
    out = height_after(np.ones((3, 1)), np.arange(4.0), 0.1, 40.0, [[0.0], [1.0], [2.0]])
    assert out.shape == (3, 4)
    assert np.ndim(stage(1.0, 40.0)) == np.ndim(height_at_stage(1.0, 40.0)) == 0


def test_not_known_stays_not_known():
    nan = float("nan")
    assert np.isnan(stage(nan, 40.0))
    assert np.isnan(height_at_stage(nan, 40.0, SHAPES)).all()
    assert np.isnan(height_at_stage(1.0, 40.0, nan))
    assert np.isnan(stage([nan, 1.0], [9.0, nan], 0.5)).all()


def test_speed_told_by_people():
    speeds = rate_from_speed([10.0, 0.75], [45.0, 6.0])
    assert speeds.round(3).tolist() == [0.127, 0.071]


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: stage(-1.0, 40.0), "height_cm must be 0 or more"),
        (lambda: stage(1.0, 0.0), "ceiling_cm must be above 0"),
        (lambda: height_at_stage(1.0, -4.0), "ceiling_cm must be above 0"),
        (lambda: height_at_stage(1.0, 40.0, 2.5), "shape must lie between -1 and 2"),
        (lambda: shape_factor([1.0, -1.5]), "shape must lie between -1 and 2"),
        (lambda: rate_from_speed(-1.0, 40.0), "cm_per_week must be 0 or more"),
    ],
)
def test_impossible_arguments_are_named(call, says):
    with pytest.raises(ValueError, match=says):
        call()


def test_growth_by_its_own_formulas():
    """``c(m) r h (1 - (h/K)^m) / m``: of the logistic, of Gompertz, of the straight approach."""
    h, K, r = np.array([0.5, 3.0, 20.0, 39.0]), 40.0, 0.1
    for shape, growth in (
        (1.0, r * h * (1 - h / K)),
        (0.0, r * h * np.log(K / h) / (2 * np.log(2))),
        (-1.0, r / 2 * (K - h)),
        (2.0, r * h * (1 - (h / K) ** 2) * 2 / 3),
    ):
        np.testing.assert_allclose(speed_of_growth(h, r, K, shape), growth, rtol=1e-12)


@pytest.mark.parametrize("shape", SHAPES)
def test_height_and_slope_are_those_of_the_curve(shape):
    z = np.array([-3.0, -0.6, 0.1, 2.0, 30.0, 800.0])
    z = z[z > (np.log(-shape) if shape < 0.0 else -np.inf)]  # below that nothing stands
    height, slope = height_and_slope(z, np.full(z.size, 40.0), np.full(z.size, shape))
    np.testing.assert_allclose(height, height_at_stage(z, 40.0, shape), rtol=1e-6, atol=1e-12)
    step = 1e-5
    ends = height_at_stage(z + step, 40.0, shape) - height_at_stage(z - step, 40.0, shape)
    np.testing.assert_allclose(slope, ends / (2.0 * step), rtol=1e-6, atol=1e-8)


def test_a_mixture_of_shapes_is_each_shape_alone():
    z, shapes = np.full(4, 0.5), np.array([1.0, 0.0, -1.0, 2.0])
    both = height_and_slope(z, np.full(4, 40.0), shapes)
    for place, shape in enumerate(shapes):
        alone = height_and_slope(z[:1], np.full(1, 40.0), np.array([shape]))
        assert [part[place] for part in both] == pytest.approx([part[0] for part in alone])
    np.testing.assert_allclose(height_at_stage(z, 40.0, shapes), both[0], rtol=1e-12)


def test_near_gompertz_the_shape_counts_to_first_order():
    """With ``y = ln(K/h)`` the stage is ``-ln y - m y / 2`` for a small shape ``m``."""
    y = np.array([0.5, 5.0, 50.0])
    moved = stage(40.0 * np.exp(-y), 40.0, 1e-7) - stage(40.0 * np.exp(-y), 40.0, 0.0)
    np.testing.assert_allclose(moved, -1e-7 * y / 2, rtol=1e-4)


def test_low_ceilings_and_short_plants_are_allowed():
    assert stage(0.25, 0.5) == 0.0
    assert height_after(0.25, 10.0, 0.0, 0.5) == 0.25
    assert rate_from_speed(0.35, 0.5) == pytest.approx(4 * 0.35 / 3.5)
