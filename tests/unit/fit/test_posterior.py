"""What a fit says of areas by name, against sums done by hand."""

from __future__ import annotations

import numpy as np
import pytest

from growthcast.fit.model.drift import KNOT_COUNT, KNOT_WINDOWS_D, MEMORY_D, knot_precision
from growthcast.fit.model.posterior import AreaPosterior, Parameters
from growthcast.fit.solver.linearise import BORDER, CEILING, KNOTS, RATE
from growthcast.forecast.heights import rate_on_day

LAST_STAGE = -1.0


@pytest.fixture
def posterior():
    """One area without lags: its last stage follows its rate alone, today's drift goes with it."""
    border, follows, covariance = np.zeros((BORDER, 1)), np.zeros((BORDER, 1)), np.eye(BORDER)
    border[RATE], border[CEILING], border[KNOTS] = np.log(0.05), np.log(40.0), 0.3
    covariance[RATE, RATE], covariance[CEILING, CEILING] = 0.04, 0.01
    covariance[KNOTS, KNOTS] = 0.09
    covariance[RATE, KNOTS] = covariance[KNOTS, RATE] = 0.02
    follows[RATE] = 2.0
    return AreaPosterior(
        mean=Parameters(border),
        covariance=covariance[None],
        last_stage=np.array([LAST_STAGE]),
        last_stage_variance=np.array([0.25]),
        stage_follows=follows,
        last_day=np.zeros(1),
        last_pause_d=np.zeros(1),
        last_lag_share=np.zeros(1),
        lag_d=np.zeros(1),
        lag_sd_d=np.zeros(1),
        by_lag=np.zeros((BORDER, 1)),
    )


def test_numbers_have_names(posterior):
    assert np.exp(posterior.mean.log_rate) == pytest.approx(0.05)
    assert np.exp(posterior.mean.log_ceiling) == pytest.approx(40.0)
    assert posterior.mean.drift[:, 0].tolist() == [0.3, 0.0, 0.0, 0.0, 0.0]
    assert posterior.rate_variance == pytest.approx(0.04)
    assert posterior.log_ceiling_variance == pytest.approx(0.01)
    assert posterior.drift_variance == pytest.approx(0.09)


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


def test_a_rate_of_the_day_of_the_fit_holds_the_drift_of_that_day(posterior):
    """The drift of a day is regressed on its means over the windows that are known.

    It forgets by e in ``MEMORY_D`` days, so that a day and a window from ``a`` to ``b`` days before
    it go together by the mean of ``exp(-t / MEMORY_D)`` between, found here by quadrature.
    """
    ago = [(np.arange(4000) + 0.5) / 4000 * (end - began) + began for end, began in KNOT_WINDOWS_D]
    with_day = np.array([np.exp(-days / MEMORY_D).mean() for days in ago])
    weight = knot_precision() @ with_day
    mean, sd = rate_on_day(posterior)
    assert mean[0] == pytest.approx(np.log(0.05) + 0.3 * weight[0], abs=2e-3)
    variance = 0.04 + 2 * weight[0] * 0.02 + weight[0] ** 2 * 0.09 + (weight[1:] ** 2).sum()
    assert sd[0] == pytest.approx(np.sqrt(variance), rel=5e-3)
