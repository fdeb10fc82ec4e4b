"""Curves in single precision against the careful ones."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from growthcast.growth.logistic import height_at_stage, stage
from growthcast.growth.quick import quick_height, quick_normal_below, quick_stage

SHAPES = [1.0, 0.0, -1.0, 1.6]


def single(values):
    return np.asarray(values, dtype=np.float32)


@pytest.mark.parametrize("shape", SHAPES)
def test_heights_are_those_of_the_careful_curve(shape):
    stages = np.concatenate([[-1e30, -500.0], np.linspace(-20.0, 20.0, 200), [500.0, 1e30]])
    found = quick_height(single(stages), single([45.0]), single([shape]))
    assert found.dtype == np.float32
    np.testing.assert_allclose(found, height_at_stage(stages, 45.0, shape), rtol=1e-5, atol=1e-30)


@pytest.mark.parametrize("shape", SHAPES)
def test_stages_are_those_of_the_careful_curve(shape):
    heights = single([0.0, 1e-3, 1.0, 22.5, 40.0, 44.9, 45.0, 60.0])
    found = quick_stage(heights, single([45.0]), single([shape]))
    assert found.dtype == np.float32
    careful = np.maximum(stage(heights, 45.0, shape), -80.0)
    np.testing.assert_allclose(found, careful, rtol=1e-5, atol=1e-5)


def test_what_is_given_is_left_as_it_was():
    stages, ceiling = single([0.5, -0.5]), single([45.0, 45.0])
    quick_height(stages, ceiling, single([1.0]))
    quick_stage(single([9.0, 9.0]), ceiling, single([1.0]))
    quick_normal_below(stages)
    assert stages.tolist() == [0.5, -0.5]
    assert ceiling.tolist() == [45.0, 45.0]


def test_the_normal_is_near_enough():
    scores = np.linspace(-10.0, 10.0, 4001)
    found = quick_normal_below(single(scores))
    assert np.abs(found - ndtr(scores)).max() < 0.00015
    assert (np.diff(found) >= 0.0).all()
    assert quick_normal_below(single([-np.inf, np.inf])).tolist() == [0.0, 1.0]
