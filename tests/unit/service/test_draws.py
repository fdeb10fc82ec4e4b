"""Draws of growth have the moments of the posterior that they are drawn from."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from growthcast.fit.growth import fit_growth
from growthcast.fit.model.drift import KNOT_COUNT
from growthcast.fit.model.lags import Lags
from growthcast.fit.solver.linearise import CEILING, KNOTS, RATE
from growthcast.service.draws import draw_growth
from tests.books import make_book

ON = date(2026, 6, 1)
DRAWN = [RATE, CEILING, *range(KNOTS, KNOTS + KNOT_COUNT)]
MANY = 1 << 14
"""Draws that find a correlation to 1 / sqrt(16384), 0.008."""


@pytest.fixture(scope="module")
def fit(tmp_path_factory):
    """A fit whose lags after cuts are taken as known, so that what is drawn is normal."""
    found = fit_growth(make_book(tmp_path_factory.mktemp("book")), ON)
    spreads = found.design.spreads
    usual_d = spreads.lags.mean_d
    lags = Lags(usual_d, 1e-10 * np.eye(usual_d.size))
    return replace(found, design=replace(found.design, spreads=replace(spreads, lags=lags)))


def drawn(fit, widening=1.0):
    """Draws (A, P, D) of log rate at the reference, log ceiling and knots of every area."""
    areas, design = np.arange(fit.design.area_id.size), fit.design
    tanks = np.unique(design.tank[areas])
    draws = draw_growth(replace(fit, widening=widening), areas, tanks, MANY)
    log_rate = draws.log_rate - np.log(design.clock.speed(design.on_day)[areas])[:, None]
    own = np.stack([log_rate, np.log(draws.ceiling_cm)], axis=1)
    knots = draws.knots[np.searchsorted(tanks, design.tank[areas])]
    return np.concatenate([own, knots], axis=1).astype(np.float64), draws


def test_every_area_is_drawn_with_its_mean_and_covariance(fit):
    found, _ = drawn(fit)
    posterior = fit.posterior(np.arange(found.shape[0]))
    mean = np.stack([posterior.mean.log_rate, posterior.mean.log_ceiling, *posterior.mean.drift])
    for area, draws in enumerate(found):
        covariance = posterior.covariance[area][np.ix_(DRAWN, DRAWN)]
        sd = np.sqrt(np.diag(covariance))
        assert draws.mean(axis=1) == pytest.approx(mean[:, area], abs=0.02 * sd.max())
        both = np.outer(sd, sd)
        assert np.cov(draws) / both == pytest.approx(covariance / both, abs=0.035)


def test_widening_scales_departures_and_leaves_the_middle_and_the_hand(fit):
    (plain, one), (wide, other) = drawn(fit), drawn(fit, widening=1.5)
    middle = plain.mean(axis=2, keepdims=True)
    np.testing.assert_allclose(wide - middle, 1.5 * (plain - middle), atol=2e-3)
    np.testing.assert_allclose(other.week, 1.5 * one.week, rtol=1e-6)
    np.testing.assert_allclose(other.drift, 1.5 * one.drift, rtol=1e-6)
    np.testing.assert_array_equal(other.hand, one.hand)
