"""The closed form against a general solver of differential equations.

Source: scipy.integrate.solve_ivp (DOP853, an explicit Runge-Kutta method of order 8), which shares
nothing with the closed form but the differential equation, written out here once more.
"""

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from growthcast.growth.logistic import height_at_stage, shape_factor, stage
from tests.curve import days_to_height, height_after

CEILING_CM = 40.0
SHAPES = [-1.0, -0.4, 0.0, 0.3, 1.0, 2.0]


def growth(height, rate, shape):
    """dh/dt scaled so that it is rK/4 at K/2, from the definition."""
    share = height / CEILING_CM

    def bend(u):
        return -u * np.log(u) if shape == 0 else u * (1 - u**shape) / shape

    return rate * CEILING_CM / 4 * bend(share) / bend(0.5)


def solved(height, days, rate, shape):
    def slope(t, h):
        return growth(h, rate(t), shape)

    answer = solve_ivp(
        slope, (0, days[-1]), [height], method="DOP853", t_eval=days, rtol=1e-11, atol=1e-12
    )
    assert answer.success
    return answer.y[0]


@pytest.mark.parametrize("shape", SHAPES)
def test_constant_rate(shape):
    days = np.array([1.0, 7.0, 14.0, 30.0, 60.0, 120.0])
    ours = height_after(3.0, days, 0.09, CEILING_CM, shape)
    np.testing.assert_allclose(ours, solved(3.0, days, lambda t: 0.09, shape), rtol=1e-8)


@pytest.mark.parametrize("shape", SHAPES)
def test_rate_that_changes_with_the_days(shape):
    """Only the integral of the rate matters, whatever its course."""

    def rate(t):
        return 0.08 + 0.05 * np.sin(t / 5.0)

    days = np.array([5.0, 20.0, 45.0])
    moved = np.array([quad(rate, 0, day, epsabs=1e-13)[0] for day in days]) * shape_factor(shape)
    ours = height_at_stage(stage(4.0, CEILING_CM, shape) + moved, CEILING_CM, shape)
    theirs = solved(4.0, days, rate, shape)
    np.testing.assert_allclose(ours, theirs, rtol=1e-8)
    between = stage(theirs, CEILING_CM, shape) - stage(4.0, CEILING_CM, shape)
    np.testing.assert_allclose(between, moved, rtol=1e-7)


@pytest.mark.parametrize("shape", SHAPES)
def test_day_of_a_crossing(shape):
    """The solver's own event finder against the closed form."""

    def over(t, h):
        return h[0] - 25.0

    answer = solve_ivp(
        lambda t, h: growth(h, 0.09, shape),
        (0, 200),
        [5.0],
        method="DOP853",
        events=over,
        rtol=1e-11,
        atol=1e-12,
        max_step=0.5,
    )
    ours = days_to_height(5.0, 25.0, 0.09, CEILING_CM, shape)
    assert ours == pytest.approx(answer.t_events[0][0], rel=1e-7)
