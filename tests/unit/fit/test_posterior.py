"""What a fit says of areas by name, against sums done by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from growthcast.fit.model.clock import LEAST_AWAKE_SHARE
from growthcast.fit.model.noise import KNOT_COUNT
from growthcast.fit.solver.problem import KNOTS
from tests.unit.fit.small_posterior import LAST_STAGE, one_area


@pytest.fixture
def posterior():
    return one_area()


def test_numbers_have_names(posterior):
    assert np.exp(posterior.mean.log_rate) == pytest.approx(0.05)
    assert np.exp(posterior.mean.log_ceiling) == pytest.approx(40.0)
    assert posterior.mean.drift[:, 0].tolist() == [0.3, 0.0, 0.0, 0.0, 0.0]
    assert posterior.rate_variance == pytest.approx(0.04)
    assert posterior.log_ceiling_variance == pytest.approx(0.01)
    assert posterior.covariance[:, KNOTS, KNOTS] == pytest.approx(0.09)


def test_a_pace_is_a_rate_and_the_drift_of_its_span(posterior):
    """A span that regresses on today's drift alone: variances add up, with what they share."""
    weight = np.zeros((KNOT_COUNT, 1, 1))
    weight[0] = 1.0
    log_pace, covariance = posterior.pace_ceiling_stage(weight)
    assert log_pace[0, 0] == pytest.approx(np.log(0.05) + 0.3)
    assert covariance[0, 0] == pytest.approx(
        np.array(
            [
                [0.04 + 0.09 + 2 * 0.02, 0.0, 2.0 * (0.04 + 0.02)],
                [0.0, 0.01, 0.0],
                [2.0 * (0.04 + 0.02), 0.0, 4.0 * 0.04 + 0.25],
            ]
        )
    )


def test_a_last_stage_goes_with_the_rate_that_was_drawn(posterior):
    """Two to one, since it follows the rate so; the rest of its variance is its own."""
    log_rate = np.log(0.05) + np.array([[-0.1, 0.0, 0.1]])
    middle, sd = posterior.last_stage_given(
        log_rate,
        np.full((1, 3), np.log(40.0)),
        np.repeat(posterior.mean.drift.T[:, :, None], 3, axis=2),
    )
    assert middle[0] == pytest.approx([LAST_STAGE - 0.2, LAST_STAGE, LAST_STAGE + 0.2])
    assert sd == pytest.approx(0.5)


def test_a_lag_takes_its_days_of_a_span_and_leaves_a_tenth_at_least(posterior):
    """Half of a lag of two days follows the last cut: one day of ten, and all of a single day."""
    cut = replace(posterior, last_lag_share=np.full(1, 0.5), lag_d=np.full(1, 2.0))
    left, falls = cut.awake(np.array([[10.0, 4.0, 1.0]]))
    assert left[0] == pytest.approx([0.9, 0.75, LEAST_AWAKE_SHARE])
    # The logarithm of 1 - lag / 20 falls by (1 / 20) / 0.9 with a day of lag.
    assert falls[0] == pytest.approx([0.05 / 0.9, 0.125 / 0.75, 0.0])
