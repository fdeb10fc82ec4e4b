"""Regrowth of a canopy cut back to a share of its ceiling.

Source: textbook algebra of the logistic, worked out apart from this code: t = (1/r) ln[q (1 - f) /
((1 - q) f)]; and the interval that maximises the mean gain between cuts, where the tangent rule of
Parsons and Chapman (2000) holds. A root-crown plant back to 95 % in 23 days (mown Myriophyllum
spicatum, LaDue Reservoir, J. Iowa Acad. Sci.) implies the rates of the last test. Tolerances are
the printed digits.
"""

import numpy as np
import pytest

from tests.curve import days_to_height, height_after, speed_of_growth

CEILING_CM, RATE = 40.0, 0.1


@pytest.mark.parametrize(
    ("share_left", "times"),
    [
        (0.1, [2.197, 3.584, 4.394, 5.142]),
        (0.2, [1.386, 2.773, 3.584, 4.331]),
        (0.3, [0.847, 2.234, 3.045, 3.792]),
        (0.5, [0.0, 1.386, 2.197, 2.944]),
    ],
)
def test_time_to_50_80_90_95_percent(share_left, times):
    wanted = CEILING_CM * np.array([0.5, 0.8, 0.9, 0.95])
    ours = RATE * days_to_height(CEILING_CM * share_left, wanted, RATE, CEILING_CM)
    np.testing.assert_allclose(ours, times, rtol=0, atol=6e-4)


@pytest.mark.parametrize(
    ("share_left", "rt", "share_at_cut", "mean_gain"),
    [
        (0.05, 4.191, 0.777, 0.1734),
        (0.10, 3.189, 0.729, 0.1974),
        (0.20, 2.049, 0.660, 0.2244),
        (0.30, 1.264, 0.603, 0.2395),
        (0.40, 0.607, 0.550, 0.2475),
    ],
)
def test_interval_of_the_largest_mean_gain(share_left, rt, share_at_cut, mean_gain):
    left = CEILING_CM * share_left
    days = np.arange(1, 60_000) * 1e-4 / RATE
    gain = (height_after(left, days, RATE, CEILING_CM) - left) / days
    best = int(np.argmax(gain))
    reached = height_after(left, days[best], RATE, CEILING_CM)
    assert RATE * days[best] == pytest.approx(rt, abs=6e-4)
    assert reached / CEILING_CM == pytest.approx(share_at_cut, abs=6e-4)
    assert gain[best] / (RATE * CEILING_CM) == pytest.approx(mean_gain, abs=6e-5)
    # the tangent rule: at that height growth equals the mean gain
    tangent = speed_of_growth(reached, RATE, CEILING_CM)
    assert tangent == pytest.approx(gain[best], rel=1e-3)


@pytest.mark.parametrize(("share_left", "rate"), [(0.05, 0.256), (0.1, 0.224), (0.2, 0.188)])
def test_rate_of_a_stump_that_recovers_in_23_days(share_left, rate):
    days = days_to_height(share_left, 0.95, 1.0, 1.0)
    assert days / 23.0 == pytest.approx(rate, abs=6e-4)
