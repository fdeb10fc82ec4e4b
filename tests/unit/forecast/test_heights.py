"""Forecast quantiles, chances and crossings against draws from the same posterior."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.errors import BookProblems
from growthcast.fit.beside import LAG
from growthcast.fit.design import day_number
from growthcast.fit.growth import fit_growth
from growthcast.fit.model.clock import PAUSE_DOUBT
from growthcast.fit.model.noise import span_drift
from growthcast.fit.solver.problem import CEILING, KNOTS, RATE
from growthcast.forecast import heights, report
from growthcast.forecast.heights import (
    LEVELS,
    forecast_heights,
    growth_a_week,
    held_height,
)
from growthcast.forecast.report import (
    CROSSING_LEVELS,
    crossing_days,
    forecast_growth,
)
from growthcast.growth.logistic import height_and_slope, height_at_stage, stage
from growthcast.plain import plain
from tests.books import AREAS, HEADER, make_book, stem_log

ON = date(2026, 6, 1)


@pytest.fixture(scope="module")
def fit(tmp_path_factory):
    return fit_growth(make_book(tmp_path_factory.mktemp("book")), ON)


@pytest.fixture(scope="module")
def fit_after_a_hard_cut(tmp_path_factory):
    trims = stem_log() + "2026-06-02,lobby,stems,9,2,,,,,\n"
    book = make_book(tmp_path_factory.mktemp("hard"), trims=trims)
    return fit_growth(book, date(2026, 6, 2))


@pytest.mark.parametrize("kind", ["fit", "fit_after_a_hard_cut"])
def test_quantiles_agree_with_draws(kind, request):
    """200,000 draws of rate, ceiling, last stage and span: every quantile has its chance."""
    fit = request.getfixturevalue(kind)
    rng = np.random.default_rng(11)
    areas, days = np.array([0, 1]), np.array([day_number(date(2026, 6, 12))])
    made = forecast_heights(fit, areas, days)
    post, problem = fit.posterior(areas), fit.design.problem
    for i, a in enumerate(areas):
        lag_variance, size = post.beside_sd[LAG, i] ** 2, post.by_beside.shape[1]
        follows = post.by_beside[LAG, :, i] * lag_variance
        joint = np.empty((size + 1, size + 1))  # the lag last
        joint[:size, :size], joint[:size, size], joint[size, :size] = (
            post.covariance[i],
            follows,
            follows,
        )
        joint[size, size] = lag_variance
        middle = np.append(post.mean.border[:, i], post.lag_d[i])
        drawn = rng.multivariate_normal(middle, joint, 200_000)
        draws, lag_off = drawn[:, :size], drawn[:, size] - post.lag_d[i]
        off = draws - post.mean.border[:, i]
        last = post.last_stage[i] + off @ post.stage_follows[:, i]
        last += np.sqrt(post.last_stage_variance[i]) * rng.standard_normal(len(draws))
        began, pause_d = post.last_day[i : i + 1], post.last_pause_d[i : i + 1]
        growth_d, _ = fit.design.clock.growth_between(areas[i : i + 1], began, days, pause_d)
        doubt = PAUSE_DOUBT * pause_d / growth_d  # at reference conditions
        ahead = span_drift(began, days, fit.design.on_day)
        pace = draws[:, RATE] + draws[:, KNOTS:] @ ahead.weight[:, 0]
        per_d = post.last_lag_share[i] / (days - began)
        pace += np.log(1.0 - per_d * post.lag_d[i])
        pace -= lag_off * per_d / (1.0 - per_d * post.lag_d[i])
        relative = problem.errors.span_variance(days - began, ahead.remainder)
        surprise = 1.0 + np.sqrt(relative + doubt**2) * rng.standard_normal(len(draws))
        stage = last + growth_d * np.exp(pace) * surprise
        bent, ceiling = held_height(
            post.part(slice(i, i + 1)),
            problem.shape[[a]],
            np.exp(draws[None, :, CEILING]).astype(np.float32),
            post.stage_by_ceiling[[i]],
        )
        height = height_at_stage(stage + bent[0], ceiling[0].astype(float))
        below = (height[:, None] <= made.height_cm[i, 0]).mean(axis=0)
        np.testing.assert_allclose(below, LEVELS, atol=0.01)
        over = (height > fit.design.traits.budget_cm[a]).mean()
        assert made.chance_over_budget[i, 0] == pytest.approx(over, abs=0.005)


def test_crossing_is_where_the_chance_is_reached(fit):
    areas = np.array([0])
    start = day_number(ON)
    early, middle, late = crossing_days(fit, areas, start, 60)[0]
    assert start < early < middle < late
    for day, level in ((early, 0.1), (middle, 0.5), (late, 0.9)):
        around = forecast_heights(fit, areas, np.array([day - 1, day]))
        before, on_day = around.chance_over_budget[0]
        assert before < level <= on_day


@pytest.mark.slow
@pytest.mark.parametrize("horizon_d", [1, 9, 60, 365])
@pytest.mark.parametrize("kind", ["fit", "fit_after_a_hard_cut"])
def test_crossings_are_those_of_a_plain_search(kind, horizon_d, request):
    fit, areas = request.getfixturevalue(kind), np.arange(3)
    for start in fit.design.on_day + np.arange(0.0, 40.0, 3.0):
        days = start + np.arange(horizon_d + 1.0)
        over = forecast_heights(fit, areas, days).chance_over_budget
        found = crossing_days(fit, areas, start, horizon_d)
        for level, column in zip(CROSSING_LEVELS, found.T, strict=True):
            passed = over >= level
            first = np.where(passed.any(axis=1), days[passed.argmax(axis=1)], np.nan)
            np.testing.assert_array_equal(column, first)


def test_no_day_after_a_cut_soars_above_the_next(fit_after_a_hard_cut):
    """Days of growth that a cut costs end on some day: there the height is no less known."""
    days = fit_after_a_hard_cut.design.on_day + np.arange(15.0)
    high = forecast_heights(fit_after_a_hard_cut, np.arange(3), days).height_cm[..., -1]
    assert np.diff(high, axis=1).min() > -0.02 * high.min()


def test_nodes_are_enough(fit, monkeypatch):
    """Sixty times as many nodes move a chance by half a point at most, a level by 1.2."""
    areas, days = np.arange(3), day_number(ON) + np.array([0.0, 7.0, 28.0])
    made = forecast_heights(fit, areas, days)
    monkeypatch.setattr(heights, "NODES", 64 * heights.NODES)
    _forget_nodes()
    try:
        view = heights.outlook(fit, areas, days)
        over = heights.chance_over(fit, areas, view)
        below = [view.chance_below(made.height_cm[..., k]) for k in range(len(LEVELS))]
    finally:
        _forget_nodes()
    np.testing.assert_allclose(made.chance_over_budget, over, atol=0.005)
    for level, found in zip(LEVELS, below, strict=True):
        np.testing.assert_allclose(found, level, atol=0.012)


def _forget_nodes():
    heights._nodes.cache_clear()
    heights._noise.cache_clear()


def test_a_crossing_beyond_the_horizon_is_not_given(fit):
    assert np.isnan(crossing_days(fit, np.array([0]), day_number(ON), 2)).all()


def test_only_the_first_to_pass_are_told_in_whole_where_no_more_are_listed(fit):
    """Of the others the height now and the middle day are the same; no other day is told."""
    whole = forecast_growth(fit, (date(2026, 6, 8),), 60)
    some = forecast_growth(fit, (date(2026, 6, 8),), 60, first=1)
    days = [area.passes_budget_on[1] or date.max for area in whole]
    assert len({*days}) > 1
    for place, (area, brief) in enumerate(zip(whole, some, strict=True)):
        if place == days.index(min(days)):
            assert plain(brief) == plain(area)
            continue
        assert brief.passes_budget_on == (None, area.passes_budget_on[1], None)
        np.testing.assert_allclose(brief.height_cm_now, area.height_cm_now, rtol=1e-5)
        assert (brief.at, brief.height_cm.size) == ((), 0)


def test_an_area_over_its_budget_passes_today(tmp_path):
    unvisited = "".join(
        f"2026-06-{day:02},lobby,stems,{height},,,,,,\n"
        for day, height in ((8, 18), (15, 28), (19, 33))
    )
    book = make_book(tmp_path, trims=stem_log() + unvisited)
    fitted = fit_growth(book, date(2026, 6, 19))
    [stems, *_] = forecast_growth(fitted, (date(2026, 6, 26),), 60)
    assert stems.passes_budget_on[1] == date(2026, 6, 19)
    assert stems.chance_over_budget[0] > 0.95


def test_fewer_readings_are_less_sure(tmp_path):
    def width(visits):
        book = make_book(tmp_path / str(visits), trims=stem_log(visits=visits))
        return fit_growth(book, ON).posterior(np.array([0])).rate_variance[0] ** 0.5

    assert width(12) < width(4) < width(1)


def test_later_rows_change_nothing_before_them(tmp_path):
    """Poison the future: what is known on a day does not depend on rows after it."""
    known = make_book(tmp_path / "a", on=date(2026, 5, 20))
    poisoned = make_book(
        tmp_path / "b",
        on=date(2026, 5, 20),
        trims=stem_log() + "2026-06-02,lobby,stems,40,39,,,,,\n2026-06-03,lobby,carpet,9,8,,,,,\n",
    )
    first, second = (
        fit_growth(book, date(2026, 5, 20)).solution.point.border for book in (known, poisoned)
    )
    np.testing.assert_array_equal(first, second)


def test_a_removed_area_is_not_forecast(tmp_path):
    areas = AREAS.replace("2025-01-01,\nmoss", "2025-01-01,2026-05-30\nmoss")
    assert areas != AREAS
    fitted = fit_growth(make_book(tmp_path, areas=areas), ON)
    ids = [area.area_id for area in forecast_growth(fitted, (date(2026, 6, 8),), 60)]
    assert ids == ["stems", "moss"]


def test_a_forecast_as_json_holds_dates_and_finite_numbers(fit):
    made = plain(forecast_growth(fit, (date(2026, 6, 8), date(2026, 6, 15)), 60)[0])
    assert [h["at"] for h in made["heights"]] == ["2026-06-08", "2026-06-15"]
    heights = made["heights"][0]
    assert heights["p05"] < heights["p10"] < heights["p50"] < heights["p90"] < heights["p95"]
    assert made["passes_budget_on"]["p10"] <= made["passes_budget_on"]["p50"]
    assert made["rate_per_day"]["p10"] < made["rate_per_day"]["p90"]


def test_a_book_with_problems_is_never_fitted(tmp_path):
    with pytest.raises(BookProblems, match="1 problem"):
        make_book(tmp_path, trims=HEADER + "2026-05-01,lobby,stems,9,18,,,,,\n")


@pytest.mark.parametrize("shape", [0.5, 1.0])
def test_a_height_that_was_read_stays_whatever_the_ceiling(shape):
    """A stage that follows its ceiling along a straight line would show 11 cm where 16.7 was read.

    A height of 16.7 under 25 cm has the slope ``dz/d ln K = -h / (dh/dz)`` at a held height.
    """
    bend, ceilings = np.array([shape]), np.array([[14.0, 25.0, 50.0]], dtype=np.float32)
    begun = stage(np.array([16.7]), 25.0, bend)
    height, slope = height_and_slope(begun, np.array([25.0]), bend)
    mean = SimpleNamespace(log_ceiling=np.log([25.0]))
    post = SimpleNamespace(mean=mean, last_stage=begun)
    along = begun - height / slope * np.log(ceilings / 25.0)
    bent, lifted = held_height(post, bend, ceilings, -height / slope)
    shown = height_at_stage(along + bent, lifted, shape)
    assert height_at_stage(along, ceilings, shape)[0, 2] < 13.0
    assert shown[0] == pytest.approx([16.7, 16.7, 16.7], rel=1e-3)
    # What rests on growth since an old start does not hold its height: nothing is added.
    bent, lifted = held_height(post, bend, ceilings, 0.0 * height)
    assert not bent.any()
    assert (lifted == ceilings).all()
    # Nor where it moves the other way; where it follows more, as much is added as to a held one.
    assert not held_height(post, bend, ceilings, height / slope)[0].any()
    held, more = (held_height(post, bend, ceilings, by * height / slope)[0] for by in (-1, -2))
    np.testing.assert_array_equal(more, held)


def test_nothing_is_held_at_a_ceiling_that_was_reached_long_ago():
    """At stage 117 the curve is flat: a height over its slope is 1e51, beyond single precision."""
    begun, bend = np.array([117.0]), np.ones(1)
    mean = SimpleNamespace(log_ceiling=np.log([34.0]))
    post = SimpleNamespace(mean=mean, last_stage=begun)
    bent, _ = held_height(post, bend, np.array([[20.0, 60.0]], np.float32), -np.ones(1))
    assert (bent == 0.0).all()


def test_growth_a_week_is_that_of_the_logistic_curve_about_the_middle(fit):
    """Odds ``h / (K - h)`` grow by ``exp(r t)``: three and a half days before and after."""
    areas = np.flatnonzero(fit.design.alive)
    posterior, traits = fit.posterior(areas), fit.design.traits
    ceiling = np.exp(posterior.mean.log_ceiling)[:, None]
    middle = 0.5 * (traits.floor_cm + traits.budget_cm)[areas][:, None]
    assert (middle < 0.9 * ceiling).all()
    half = np.exp(3.5 * fit.rate_range(areas, posterior))
    odds = middle / (ceiling - middle)
    week = ceiling / (1.0 + 1.0 / (odds * half)) - ceiling / (1.0 + half / odds)
    np.testing.assert_allclose(growth_a_week(fit, areas), week, rtol=1e-5)


def test_a_ceiling_is_told_from_its_low_end_to_its_high_one(fit):
    """Chances of 10, 50 and 90 %, as far below the middle as above it in logarithms."""
    low, middle, high = forecast_growth(fit, (), 1)[0].ceiling_cm
    assert low < middle < high
    assert low * high == pytest.approx(middle**2)


@pytest.mark.parametrize(
    ("chance_on", "horizon_d", "found"),
    [
        (lambda day: np.full_like(day, 0.95), 60, [0.0, 0.0, 0.0]),  # reached at once
        (lambda day: np.where(day >= 700.0, 1.0, 0.01), 2000, [700.0, 700.0, 700.0]),  # a cliff
        (lambda day: ((day + 4) / 11.5) ** 4 / (1 + ((day + 4) / 11.5) ** 4), 60, [3, 8, 16]),
        (lambda day: (20.0 + day) / 100.0, 60, [0.0, 30.0, np.nan]),  # 90 % is after the last day
        (lambda day: (20.0 + day) / 100.0, 70, [0.0, 30.0, 70.0]),  # and here on it
    ],
)
def test_a_level_is_reached_on_the_first_day_of_such_a_chance(
    chance_on, horizon_d, found, monkeypatch
):
    """Odds of the fourth power of (days + 4) / 11.5 are 1 on day 7.5.

    They are 1 to 9 and 9 to 1 the root of 3 to either side, on days 2.6 and 15.9.
    """
    asked = []

    def over(fit, areas, days):
        asked.append(days)
        return chance_on(days - 20.0)

    monkeypatch.setattr(report, "outlook", lambda fit, areas, days, posterior: days)
    monkeypatch.setattr(report, "chance_over", over)
    known = SimpleNamespace(part=lambda some: None)
    days = crossing_days(None, np.array([0]), 20.0, horizon_d, known)
    np.testing.assert_array_equal(days - 20.0, [found])
    assert len(asked) <= np.ceil(np.log2(horizon_d + 2))
    assert min(day.min() for day in asked) >= 20.0


def test_an_area_of_which_only_a_slip_is_known_does_not_keep_back_the_others(tmp_path):
    """More was taken off than can have stood there: the stage after it follows the rate steeply."""
    areas = AREAS.splitlines()[0] + "\n"
    areas += "feather,lobby,,myriophyllum-aquaticum,1878,11.1,27.3,,2025-10-09,\n"
    trims = HEADER + "2026-09-15,lobby,feather,,,,,over,,\n2026-11-09,lobby,feather,,,86.5,,,,\n"
    tanks = "tank_id,client,water_depth_cm\nlobby,Client A,60\n"
    book = make_book(tmp_path, areas=areas, tanks=tanks, trims=trims)
    fit = fit_growth(book, date(2026, 11, 9))
    made = forecast_heights(fit, np.array([0]), np.array([fit.design.on_day]))
    assert np.isfinite(made.height_cm).all()
    low, high = made.height_cm[0, 0, [0, -1]]
    assert low < 10.0
    assert high > 40.0
