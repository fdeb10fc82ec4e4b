"""Growth, rests and cuts of living areas against plain loops over areas and draws."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import brentq

from growthcast.fit.model.clock import days_lost
from growthcast.fit.model.noise import KNOT_WINDOWS_D, MEMORY_D
from growthcast.growth.logistic import height_at_stage, shape_factor, stage
from growthcast.service import living as living_module
from growthcast.service.draws import span_normals
from growthcast.service.living import (
    HAND_SPREAD,
    blocks_of_tanks,
    living_areas,
    living_part,
)
from tests.curve import height_after
from tests.unit.service.made import made_areas, made_draws


def drift_ahead(knots, normal, spread, from_d, days):
    """Mean drift from ``from_d`` on, by the knots' means: sums of exp(-|t - s|)."""
    windows = [np.linspace(-b, -a, 151)[1:] - 0.5 * (b - a) / 150 for a, b in KNOT_WINDOWS_D]
    ahead = from_d + (np.arange(150) + 0.5) / 150 * days
    spans = [w / MEMORY_D for w in (*windows, ahead)]

    def shared(one, other):
        return np.exp(-np.abs(one[:, None] - other)).mean()

    covariance = np.array([[shared(one, other) for other in spans] for one in spans])
    weight = np.linalg.solve(covariance[:-1, :-1], covariance[:-1, -1])
    rest = covariance[-1, -1] - weight @ covariance[:-1, -1]
    return weight @ knots + spread * np.sqrt(rest) * normal


@pytest.mark.parametrize(("days", "after_d", "shape"), [(10, 0, 1.0), (20, 9, 1.6)])
def test_growth_is_rate_drift_and_luck_of_each_draw(days, after_d, shape):
    living = made_areas(draws=8, shape=shape)
    draws, found = living.draws, living.growth(days, float(after_d))
    own = draws.week if after_d == 0 else span_normals(living.area, after_d, 8)
    for area, run in enumerate(living.run):
        drift = drift_ahead(draws.knots[run], draws.drift[run], 0.2, after_d, days)
        spread = np.hypot(0.25 * np.sqrt(7.0 / days), living.doubt[area])
        luck = np.maximum(1.0 + spread * own[area], 0.0)
        expected = shape_factor(shape) * np.exp(draws.log_rate[area] + drift) * days * luck
        np.testing.assert_allclose(found[area], expected, rtol=2e-3)


def test_no_luck_lets_an_area_shrink_and_within_a_day_it_is_that_of_a_day():
    """A week's spread of 0.25 is 0.25 sqrt(7) in a day, and 2 deviations below are no growth."""
    living = made_areas((1,), draws=8)
    week = np.repeat(np.float32([[-2.0, 1.0]]), 4, axis=1)
    living = replace(living, draws=replace(living.draws, week=week))
    growth, usual = living.growth(1.0), living.unrested(1.0).usual
    np.testing.assert_array_equal(growth[0, :4], 0.0)
    np.testing.assert_allclose(growth[0, 4:] / usual[0, 4:], 1.0 + 0.25 * np.sqrt(7.0), rtol=1e-5)
    half = living.growth(0.5) / living.unrested(0.5).usual
    np.testing.assert_allclose(half[0, 4:], 1.0 + 0.25 * np.sqrt(7.0), rtol=1e-5)


@pytest.mark.parametrize("shape", [1.0, 1.5])
def test_a_rest_is_the_one_that_leads_to_itself(shape):
    """Of usual growth by a root, of each draw by one Newton step with the slope of a difference."""
    days, living = 12.0, made_areas(draws=16, shape=shape)
    ahead, draws = living.unrested(days), living.draws
    rest_d = living.rested(ahead, living.budget_cm)[1]
    slow, fast = np.quantile(ahead.growth.astype(float), [0.5, 0.95], axis=1)
    rested = 0
    for area in range(living.area.size):
        ceiling, lag = np.median(draws.ceiling_cm[area]), np.median(draws.lag_d[area])
        pause, low = living.pause_d[area], living.least_cut_cm[area]
        goal = stage(min(living.budget_cm[area], ceiling), ceiling, shape)

        def cut_for(rest, goal=goal, ceiling=ceiling, low=low, gain=fast[area]):
            return max(height_at_stage(goal - gain * (1 - rest / days), ceiling, shape), low)

        def follows(rest, cut, gain, ceiling=ceiling, lag=lag, pause=pause):
            start = stage(min(cut, 0.999999 * ceiling), ceiling, shape)
            end = height_at_stage(start + gain * (1 - rest / days), ceiling, shape)
            return float(days_lost(np.array(1 - cut / end), np.array(lag), np.array(pause)))

        longest = min(pause + lag, 0.9 * days)
        usual = brentq(
            lambda r, a=area, c=cut_for, f=follows: f(r, c(r), slow[a]) - r, 0.0, longest
        )
        cut = cut_for(usual)
        falls = (follows(usual, cut, fast[area]) - follows(usual + 0.1, cut, fast[area])) / 0.1
        for draw in range(16):
            own = {"ceiling": draws.ceiling_cm[area, draw], "lag": draws.lag_d[area, draw]}
            asked = follows(usual, cut, ahead.usual[area, draw], **own)
            expected = np.clip(usual + (asked - usual) / (1 + falls), 0.0, 0.9 * days)
            assert rest_d[area, draw] == pytest.approx(expected, abs=0.05)
            rested += 0.5 < expected < 0.9 * days
    assert rested > 16  # of 48


def test_growth_after_a_cut_is_what_is_left_of_the_interval_after_the_rest():
    living = made_areas()
    growth, rest_d = living.growth_after_cut(12.0)
    np.testing.assert_allclose(growth, living.growth(12.0) * (1 - rest_d / 12), rtol=1e-5)


@pytest.mark.parametrize("shape", [1.0, 0.5])
def test_the_highest_cut_comes_back_to_the_budget(shape):
    """By the hand of each draw; from any height up to the budget where the ceiling is below it."""
    living = made_areas(shape=shape, draws=64)
    growth = living.growth(9.0)
    highest, ceiling = living.highest_cut(growth), living.draws.ceiling_cm
    capped = ceiling <= living.budget_cm[:, None]
    assert capped.any()
    budget = np.broadcast_to(living.budget_cm[:, None], capped.shape)
    np.testing.assert_allclose(highest[capped], budget[capped], rtol=1e-6)
    left = highest * np.exp(HAND_SPREAD * living.draws.hand)
    free = ~capped & (highest < budget * 0.9999)
    assert free.sum() > 100
    ends = height_after(left, 1.0, growth / shape_factor(shape), ceiling, shape)
    np.testing.assert_allclose(ends[free], budget[free], rtol=1e-4)
    np.testing.assert_allclose(
        living.end_height(growth, np.full(3, 9.0)),
        height_after(
            np.minimum(9.0 * np.exp(HAND_SPREAD * living.draws.hand), ceiling),
            1.0,
            growth / shape_factor(shape),
            ceiling,
            shape,
        ),
        rtol=1e-4,
    )


def test_a_cut_above_the_ceiling_leaves_just_less_than_it():
    living = made_areas(draws=8)
    stages = living.stage_after_cut(np.full(2, 100.0), np.array([2, 0]))
    assert np.isfinite(stages).all()
    heights = height_at_stage(stages, living.draws.ceiling_cm[[2, 0]])
    np.testing.assert_allclose(heights, living.draws.ceiling_cm[[2, 0]], rtol=1e-5)


def test_bounds_as_they_look():
    """The least cut is the higher of floor and lowest safe cut; bare is 0.15 below it in logs."""
    living = made_areas(draws=8)
    assert living.least_cut_cm.tolist() == [8.0, 6.5, 8.0]
    bare = height_at_stage(living.bare_stage, living.draws.ceiling_cm)
    np.testing.assert_allclose(np.log(bare.T / living.floor_cm), -0.15, rtol=1e-4)


def test_some_areas_keep_their_tank_and_draws():
    living = made_areas((2, 1, 3), draws=8)
    part = living_part(living, np.array([False, True, False, True, False, True]))
    assert part.area.tolist() == [4, 6, 8]
    assert part.run.tolist() == [0, 1, 1]
    assert part.tank.tolist() == [2, 8]
    assert part.of_tank(1) == slice(1, 3)
    for name in ("log_rate", "ceiling_cm", "week", "hand", "lag_d", "settling"):
        whole, kept = (getattr(each.draws, name) for each in (living, part))
        np.testing.assert_array_equal(kept, whole[[1, 3, 5]])
    for name in ("knots", "drift"):
        whole, kept = (getattr(each.draws, name) for each in (living, part))
        np.testing.assert_array_equal(kept, whole[[0, 2]])
    for name in ("budget_cm", "floor_cm", "safe_cut_cm", "pause_d", "doubt", "shape"):
        np.testing.assert_array_equal(getattr(part, name), getattr(living, name)[[1, 3, 5]])


def test_a_tank_holds_in_the_draws_in_which_all_its_areas_do():
    living = made_areas((2, 1, 3), draws=16)
    holds = np.random.default_rng(3).random((6, 16)) < 0.8
    together = [holds[:2].all(axis=0), holds[2], holds[3:].all(axis=0)]
    assert living.all_hold(holds).tolist() == [each.mean() for each in together]
    values = living.draws.lag_d
    assert living.by_tank(np.add, values)[2] == pytest.approx(values[3:].sum(axis=0))
    assert living.by_tank(np.minimum, values)[0] == pytest.approx(values[:2].min(axis=0))


def test_tanks_are_taken_together_whose_areas_begin_within_the_same_400():
    """A tank without areas goes with its neighbours, or drops out where it is alone."""
    sizes = np.array([0, 300, 99, 0, 500, 1, 0])
    tank = np.repeat(np.arange(7), sizes)
    stays = np.ones(tank.size, bool)
    stays[-1] = False  # the one area of tank 5
    fit = SimpleNamespace(
        design=SimpleNamespace(tank=tank, stays=stays, tank_id=np.array(list("abcdefg")))
    )

    def blocks(tanks):
        return [block.tolist() for block in blocks_of_tanks(fit, np.array(tanks))]

    assert blocks([0, 1, 2, 3, 4, 5, 6]) == [[0, 1, 2, 3, 4]]
    assert blocks([1, 2, 4, 5]) == [[1, 2, 4]]
    assert blocks([4, 2, 1]) == [[4], [2, 1]]
    assert blocks([4, 1, 2]) == [[4], [1], [2]]
    assert blocks([0, 5]) == []


def test_living_areas_are_those_that_stay_sorted_by_tank(monkeypatch):
    """Of three tanks the first and the last are asked for; their areas stand mixed in the book."""
    rows = np.arange(5.0)
    design = SimpleNamespace(
        stays=np.array([True, True, False, True, True]),
        tank=np.array([2, 0, 0, 1, 0]),
        traits=SimpleNamespace(budget_cm=10.0 + rows, floor_cm=rows, pause_d=20.0 + rows),
        clock=SimpleNamespace(doubt=None),
        problem=SimpleNamespace(shape=30.0 + rows, errors="errors"),
        on_day=7.0,
    )
    fit = SimpleNamespace(design=design, lowest_cut_cm=40.0 + rows)
    asked = []

    def drawn(_, area, tank):
        asked.append((area.tolist(), tank.tolist()))
        return made_draws(2, 3, 8)

    monkeypatch.setattr(living_module, "draw_growth", drawn)
    found = living_areas(fit, np.array([0, 2]))
    assert asked == [([1, 4, 0], [0, 2])]
    assert found.run.tolist() == [0, 0, 1]
    assert [found.of_tank(run) for run in (0, 1)] == [slice(0, 2), slice(2, 3)]
    assert (found.tank.tolist(), found.area.tolist()) == ([0, 2], [1, 4, 0])
    assert (found.budget_cm - found.area).tolist() == [10.0] * 3
    assert (found.safe_cut_cm - found.area).tolist() == [40.0] * 3
    assert found.doubt.tolist() == [0.0] * 3
    design.clock.doubt = rows
    assert living_areas(fit, np.array([0, 2])).doubt.tolist() == [1.0, 4.0, 0.0]
