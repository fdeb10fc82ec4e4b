"""The posterior of one area, made without a fit."""

from __future__ import annotations

import numpy as np

from growthcast.fit.model.posterior import AreaPosterior, Parameters
from growthcast.fit.solver.problem import BORDER, CEILING, KNOTS, RATE

LAST_STAGE = -1.0


def one_area():
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
        beside_sd=np.zeros((2, 1)),
        by_beside=np.zeros((2, BORDER, 1)),
    )
