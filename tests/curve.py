"""A canopy that grows at a constant rate: heights and days, for tests to compare with."""

from __future__ import annotations

import numpy as np

from growthcast.growth.logistic import height_and_slope, height_at_stage, shape_factor, stage


def height_after(height_cm, days, rate_per_day, ceiling_cm, shape=1.0):
    """Height after some days: the stage moves on by ``c(m) r t``."""
    moved = shape_factor(shape) * np.multiply(rate_per_day, days)
    return height_at_stage(stage(height_cm, ceiling_cm, shape) + moved, ceiling_cm, shape)


def days_to_height(from_cm, to_cm, rate_per_day, ceiling_cm, shape=1.0):
    """Days from one height to a greater one."""
    way = stage(to_cm, ceiling_cm, shape) - stage(from_cm, ceiling_cm, shape)
    return way / (shape_factor(shape) * rate_per_day)


def speed_of_growth(height_cm, rate_per_day, ceiling_cm, shape=1.0):
    """Growth a day at a height: the slope of the curve times ``c(m) r``."""
    z = np.asarray(stage(height_cm, ceiling_cm, shape))
    slope = height_and_slope(z, np.asarray(ceiling_cm), np.asarray(shape))[1]
    return shape_factor(shape) * rate_per_day * slope
