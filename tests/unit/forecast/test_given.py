"""What a forecast makes of a posterior: the rate of the day, and a stage given pace and ceiling."""

from __future__ import annotations

import numpy as np
import pytest

from growthcast.fit.model.noise import KNOT_WINDOWS_D, MEMORY_D, knot_precision
from growthcast.fit.model.posterior import rate_on_day
from growthcast.forecast.heights import _root
from tests.unit.fit.small_posterior import one_area


def test_a_rate_of_the_day_of_the_fit_holds_the_drift_of_that_day():
    """The drift of a day is regressed on its means over the windows that are known.

    It forgets by e in ``MEMORY_D`` days, so that a day and a window from ``a`` to ``b`` days before
    it go together by the mean of ``exp(-t / MEMORY_D)`` between, found here by quadrature.
    """
    ago = [(np.arange(4000) + 0.5) / 4000 * (end - began) + began for end, began in KNOT_WINDOWS_D]
    with_day = np.array([np.exp(-days / MEMORY_D).mean() for days in ago])
    weight = knot_precision() @ with_day
    mean, sd = rate_on_day(one_area())
    assert mean[0] == pytest.approx(np.log(0.05) + 0.3 * weight[0], abs=2e-3)
    variance = 0.04 + 2 * weight[0] * 0.02 + weight[0] ** 2 * 0.09 + (weight[1:] ** 2).sum()
    assert sd[0] == pytest.approx(np.sqrt(variance), rel=5e-3)


def test_a_stage_given_pace_and_ceiling_is_the_regression_of_the_textbook():
    """The root is numpy's; the last row's own part is what ``S_zx S_xx^-1`` leaves."""
    root = np.array([[0.3, 0.0, 0.0], [0.05, 0.2, 0.0], [0.4, -0.3, 0.5]])
    variance = root @ root.T
    found = _root(variance[None, None])[0, 0]
    np.testing.assert_allclose(found, np.linalg.cholesky(variance), atol=1e-12)
    by = np.linalg.solve(variance[:2, :2], variance[:2, 2])
    assert found[2, 2] ** 2 == pytest.approx(variance[2, 2] - by @ variance[:2, 2])


@pytest.mark.parametrize(("held", "free"), [(0, 1), (1, 0)])
def test_a_stage_follows_what_is_free_where_the_other_is_held(held, free):
    """A ceiling (or a pace) without variance says nothing: a regression on the other is left."""
    variance = np.array([[0.04, 0.04, 0.06], [0.04, 0.04, 0.06], [0.06, 0.06, 0.25]])
    variance[held] = variance[:, held] = 0.0
    root = _root(variance[None, None])[0, 0]
    assert root[free, free] == pytest.approx(0.2)
    assert root[2, free] / root[free, free] == pytest.approx(0.06 / 0.04)
    assert root[2, held] == root[held, held] == 0.0
    assert root[2, 2] ** 2 == pytest.approx(0.25 - 0.06**2 / 0.04)


def test_a_ceiling_that_goes_with_the_pace_alone_moves_the_stage_no_further():
    """It leaves a share of 1e-13 of its variance: what rounding says of it is not heard."""
    variance = np.array([[0.04, 0.04, 0.06], [0.04, 0.04, 0.06], [0.06, 0.06, 0.25]])
    variance[1, 1] += 4e-15
    variance[1, 2] = variance[2, 1] = 0.06 + 1e-9
    root = _root(variance)
    assert root[1] == pytest.approx([0.2, 0.0, 0.0])
    assert root[2] == pytest.approx([0.3, 0.0, 0.4])
