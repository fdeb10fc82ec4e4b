"""Draws of growth have the moments of the posterior that they are drawn from."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.beside import LAG
from growthcast.fit.growth import fit_growth
from growthcast.fit.model.noise import KNOT_COUNT
from growthcast.fit.model.spreads import Lags
from growthcast.fit.solver.problem import CEILING, KNOTS, RATE
from growthcast.service import draws as room_of_draws
from growthcast.service.draws import draw_growth, stratified_normals
from growthcast.service.effort import hours
from growthcast.service.effort.learn import learn_timing
from growthcast.service.living import living_areas
from tests.books import make_book

ON = date(2026, 6, 1)
DRAWN = [RATE, CEILING, *range(KNOTS, KNOTS + KNOT_COUNT)]
MANY = 1 << 14
"""Draws that find a correlation to 1 / sqrt(16384), 0.008."""


@pytest.fixture(scope="module")
def with_lags(tmp_path_factory):
    return fit_growth(make_book(tmp_path_factory.mktemp("book")), ON)


@pytest.fixture(scope="module")
def fit(with_lags):
    """The fit with its lags after cuts taken as known, so that what is drawn is normal."""
    found, spreads = with_lags, with_lags.design.spreads
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


def test_tanks_are_drawn_apart(fit):
    """What moves one tank's pace moves no other's, at its knots or beyond them."""
    _, draws = drawn(fit)
    first, second = (np.vstack([draws.knots[k], draws.drift[k]]) for k in (0, 1))
    together = np.corrcoef(np.vstack([first, second]))[: len(first), len(first) :]
    assert np.abs(together).max() < 0.04


def test_no_two_things_are_drawn_by_one_key(fit, monkeypatch):
    drawn_by = []

    def noted(keys, count):
        drawn_by.extend(keys.tolist())
        return stratified_normals(keys, count)

    monkeypatch.setattr(room_of_draws, "stratified_normals", noted)
    monkeypatch.setattr(hours, "stratified_normals", noted)
    room_of_draws._species_normals.cache_clear()
    living = living_areas(fit, np.arange(fit.design.tank_id.size))
    hours.hands_of(living, fit.design, learn_timing(fit.book, fit))
    assert len(drawn_by) == len(set(drawn_by))


def test_widening_scales_departures_and_leaves_the_middle_and_the_hand(fit):
    (plain, one), (wide, other) = drawn(fit), drawn(fit, widening=1.5)
    middle = plain.mean(axis=2, keepdims=True)
    np.testing.assert_allclose(wide - middle, 1.5 * (plain - middle), atol=2e-3)
    np.testing.assert_allclose(other.week, 1.5 * one.week, rtol=1e-6)
    np.testing.assert_allclose(other.drift, 1.5 * one.drift, rtol=1e-6)
    np.testing.assert_array_equal(other.hand, one.hand)


def test_growth_over_the_gaps_of_the_log_stays_as_the_log_tells_it(with_lags):
    """A longer lag asks for a faster rate: ``rate (1 - c lag)`` is known, ``c`` by its slope."""
    areas = np.arange(with_lags.design.area_id.size)
    tanks = np.unique(with_lags.design.tank)
    draws, shared = draw_growth(with_lags, areas, tanks, MANY), with_lags.shared(areas, tanks)
    usual_d = with_lags.posterior(areas).lag_d
    for area, slope in enumerate(shared.pace_by[LAG]):
        assert draws.lag_d[area].mean() == pytest.approx(usual_d[area], rel=0.01)
        share, short = slope / (1.0 + slope * usual_d[area]), draws.lag_d[area] < 4.0
        lag, log_rate = (each[area, short].astype(float) for each in (draws.lag_d, draws.log_rate))
        over_gaps = log_rate + np.log(1.0 - share * lag)
        assert np.corrcoef(over_gaps, lag)[0, 1] == pytest.approx(0.0, abs=0.05)
        assert slope == 0.0 or np.corrcoef(log_rate, lag)[0, 1] > 0.15


def test_a_ceiling_goes_with_the_lag_as_the_log_tells_it(with_lags):
    """Five per cent for every day of lag beyond the usual one."""
    areas = np.arange(with_lags.design.area_id.size)
    tanks = np.unique(with_lags.design.tank)
    shared = with_lags.shared(areas, tanks)

    def draws(by_lag):
        known = replace(shared, ceiling_by=np.array([[by_lag], [0.0]]) * np.ones(areas.size))
        of = SimpleNamespace(shared=lambda *_: known, design=with_lags.design, widening=1.0)
        return draw_growth(of, areas, tanks)

    plain, going = draws(0.0), draws(0.05)
    usual_d = with_lags.posterior(areas).lag_d[:, None]
    moved = np.log(going.ceiling_cm / plain.ceiling_cm)
    np.testing.assert_allclose(moved, 0.05 * (plain.lag_d - usual_d), atol=1e-5)


def test_rates_and_ceilings_go_with_settling_as_the_log_tells_it(with_lags):
    areas = np.arange(with_lags.design.area_id.size)
    tanks = np.unique(with_lags.design.tank)
    shared = with_lags.shared(areas, tanks)

    def draws(slope):
        both = {
            name: np.stack([getattr(shared, name)[LAG], np.full(areas.size, slope)])
            for name in ("pace_by", "ceiling_by")
        }
        known = replace(shared, **both)
        of = SimpleNamespace(shared=lambda *_: known, design=with_lags.design, widening=1.0)
        return draw_growth(of, areas, tanks)

    plain, going = draws(0.0), draws(0.3)
    assert plain.settling.std(axis=1) == pytest.approx(np.full(areas.size, 0.5), rel=0.05)
    np.testing.assert_allclose(going.log_rate - plain.log_rate, 0.3 * plain.settling, atol=1e-5)
    moved = np.log(going.ceiling_cm / plain.ceiling_cm)
    np.testing.assert_allclose(moved, 0.3 * plain.settling, atol=1e-5)
